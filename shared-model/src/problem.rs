//! Everything a crew must be told: what is wrong, where, by how much, and what to do.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::ids::{FixtureId, FlightId, GoodsId, OpeningId, RoomId, WallId};
use crate::job::{FixtureKind, OpeningKind, Room};

/// One thing the crew must know before it can trust or cut.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Problem {
    pub kind: ProblemKind,
    pub place: Place,
    /// One or two short sentences: what is known and what to do.
    pub text: String,
}

/// Where a problem is.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, JsonSchema)]
pub enum Place {
    Job,
    Room(RoomId),
    Wall(RoomId, WallId),
    /// The corner at the end of the wall.
    Corner(RoomId, WallId),
    Opening(RoomId, OpeningId),
    Fixture(RoomId, FixtureId),
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
    /// A reading that does not fit the others, or several of which one does not.
    Suspect,
    /// Two readings of one thing differ by more than the tape can.
    Disputed,
    /// Nothing checks this: no reading is redundant.
    Unchecked,
    /// An opening that lies outside its wall or overlaps another.
    BadOpening,
    /// A fixture that does not stand in its room.
    BadFixture,
    /// Rooms that cannot stand beside each other as said.
    BadFloor,
    /// Outside what codes allow: more often a slip than so.
    Unusual,
    /// Goods that cannot be used as described.
    BadGoods,
    /// A piece that cannot be cut from the goods.
    BadPiece,
    /// The plan chosen before no longer fits today's readings.
    StalePlan,
    /// What the crew pinned cannot be kept.
    PinImpossible,
}

impl Problem {
    pub fn new(kind: ProblemKind, place: Place, text: impl Into<String>) -> Self {
        Self { kind, place, text: text.into() }
    }
}

/// How problems call things.
impl Room {
    pub(crate) fn title(&self) -> &str {
        match self.name.trim() {
            "" => "A room without a name",
            name => name,
        }
    }

    /// Walls have no names; they are counted in walking order.
    pub(crate) fn wall_title(&self, wall: WallId) -> String {
        match self.walls.iter().position(|it| it.id == wall) {
            Some(i) => format!("wall {}", i + 1),
            None => "a removed wall".to_owned(),
        }
    }

    /// "wall 2", "walls 2 and 4", "walls 1, 2 and 4".
    pub(crate) fn wall_titles(&self, walls: &[WallId]) -> String {
        let mut numbers: Vec<usize> =
            walls.iter().filter_map(|&id| self.walls.iter().position(|it| it.id == id)).map(|i| i + 1).collect();
        numbers.sort_unstable();
        let numbers: Vec<String> = numbers.iter().map(usize::to_string).collect();
        match &numbers[..] {
            [] => "no wall".to_owned(),
            [one] => format!("wall {one}"),
            [others @ .., last] => format!("walls {} and {last}", others.join(", ")),
        }
    }
}

impl FixtureKind {
    pub const fn title(self) -> &'static str {
        match self {
            Self::Hearth => "hearth",
            Self::Column => "column",
            Self::BuiltIn => "built-in",
            Self::Register => "floor register",
            Self::StairWell => "stair well",
        }
    }
}

impl OpeningKind {
    pub(crate) const fn title(self) -> &'static str {
        match self {
            Self::Doorway => "doorway",
            Self::CasedOpening => "cased opening",
            Self::Window => "window",
            Self::PassThrough => "pass-through",
        }
    }
}
