//! Everything a crew must be told: what is wrong, where, by how much, and what to do.

use serde::{Deserialize, Serialize};

use crate::ids::{FlightId, GoodsId, OpeningId, RoomId, WallId};

/// One thing the crew must know before it can trust or cut.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Problem {
    pub kind: ProblemKind,
    pub place: Place,
    /// One or two short sentences: what is known and what to do.
    pub text: String,
}

/// Where a problem is.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum Place {
    Job,
    Room(RoomId),
    Wall(RoomId, WallId),
    /// The corner at the end of the wall.
    Corner(RoomId, WallId),
    Opening(RoomId, OpeningId),
    Flight(FlightId),
    Goods(GoodsId),
}

/// What kind of problem, for marks, filters and exit codes.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum ProblemKind {
    /// A wall or a room is not measured yet: work to do, no mistake.
    Unmeasured,
    /// The readings do not give one ring: too open to adjust.
    OpenRing,
    /// The ring crosses itself.
    CrossedRing,
    /// A length that cannot be: zero, negative, absurdly long, or shorter than the door in it.
    BadLength,
    /// Two readings of one thing differ by more than the tape can.
    Disputed,
    /// Nothing checks this: no reading is redundant.
    Unchecked,
    /// An opening that lies outside its wall or overlaps another.
    BadOpening,
    /// Rooms that cannot stand beside each other as said.
    BadFloor,
    /// Goods that cannot be used as described.
    BadGoods,
    /// A piece that cannot be cut from the goods.
    BadPiece,
    /// The plan chosen before no longer fits today's readings.
    StalePlan,
}
