//! What a person can do to a job.

use serde::{Deserialize, Serialize};

use super::{Decision, Flight, Goods, Job, Opening, Order, Rule, Tool, Turn};
use crate::ids::{ChoiceId, FlightId, GoodsId, OpeningId, ReadingId, RoomId, TurnId, WallId};
use crate::length::{Length, Units};

/// One step of a person's action. New things carry an id that the caller made; nothing is ever deleted.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub enum Edit {
    NameJob { name: String },
    SetUnits { units: Units },
    /// A length counts in 1/8 µm, a number as it is.
    SetRule { rule: Rule, value: i64 },
    /// The name that the author's person goes by in this job.
    NamePerson { name: String },

    AddRoom { room: RoomId, name: String, level: i64, goods: Option<GoodsId>, order: Order },
    NameRoom { room: RoomId, name: String },
    SetRoomGoods { room: RoomId, goods: Option<GoodsId> },
    CloseRoom { room: RoomId, closed: bool },
    RemoveRoom { room: RoomId, removed: bool },

    AddWall { room: RoomId, wall: WallId, order: Order },
    RemoveWall { room: RoomId, wall: WallId, removed: bool },
    AddReading { room: RoomId, wall: WallId, reading: NewReading },
    WithdrawReading { room: RoomId, wall: WallId, reading: ReadingId, withdrawn: bool },
    StateTurn { room: RoomId, wall: WallId, turn: NewTurn },
    WithdrawTurn { room: RoomId, wall: WallId, turn: TurnId, withdrawn: bool },

    AddOpening { room: RoomId, opening: Opening },
    /// Writes only the fields that differ from what the document says.
    SetOpening { room: RoomId, opening: Opening },
    RemoveOpening { room: RoomId, opening: OpeningId, removed: bool },

    AddFlight { flight: Flight },
    SetFlight { flight: Flight },
    RemoveFlight { flight: FlightId, removed: bool },

    AddGoods { goods: Goods },
    SetGoods { goods: Goods },
    RemoveGoods { goods: GoodsId, removed: bool },

    Choose { choice: NewChoice },
    WithdrawChoice { choice: ChoiceId, withdrawn: bool },
}

/// A reading about to be added; who and when are the change's.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct NewReading {
    pub id: ReadingId,
    pub value: Length,
    pub typed: String,
    pub tool: Tool,
    pub supersedes: Vec<ReadingId>,
}

/// A statement of a turn about to be added.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct NewTurn {
    pub id: TurnId,
    pub turn: Turn,
    pub supersedes: Vec<TurnId>,
}

/// A decision about to be made.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct NewChoice {
    pub id: ChoiceId,
    pub decision: Decision,
    pub supersedes: Vec<ChoiceId>,
}

impl Edit {
    /// The edit that takes this one back, given the job as it was `before`. `None` when there is nothing to take back
    /// (the thing does not exist, or the value is the same).
    pub fn inverse(&self, before: &Job) -> Option<Self> {
        let _ = before;
        todo!()
    }
}
