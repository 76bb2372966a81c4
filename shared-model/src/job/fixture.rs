//! What stands in a room, and what the crew marks on its floor.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Room, Stamp};
use crate::ids::{FixtureId, MarkId, WallId};
use crate::length::Length;

/// Something fixed that the carpet goes around: a rectangle square to a wall.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, JsonSchema)]
pub struct Fixture {
    pub id: FixtureId,
    pub kind: FixtureKind,
    pub wall: WallId,
    /// From the wall's start to the near side, along the wall.
    pub offset: Length,
    /// From the wall's face to the near side. Zero: it stands against the wall.
    pub clear: Length,
    /// Along the wall.
    pub width: Length,
    /// Into the room.
    pub depth: Length,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Serialize, Deserialize, JsonSchema)]
pub enum FixtureKind {
    Hearth,
    Column,
    #[default]
    BuiltIn,
    /// An outlet in the floor: carpet is laid over it and cut out.
    Register,
    /// The floor ends here; its edge is finished, not stripped.
    StairWell,
}

impl FixtureKind {
    /// Carpet is laid over it and cut out.
    pub const fn is_laid_over(self) -> bool {
        matches!(self, Self::Register)
    }

    /// Tack strip runs around it.
    pub const fn is_stripped(self) -> bool {
        matches!(self, Self::Hearth | Self::Column | Self::BuiltIn)
    }
}

/// Something that the crew must find again. Never changed, like a reading.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, JsonSchema)]
pub struct Mark {
    pub id: MarkId,
    pub kind: MarkKind,
    /// Where, from this wall; `None` is the whole room.
    pub wall: Option<WallId>,
    /// From the wall's start, along the wall.
    pub offset: Length,
    /// From the wall's face into the room.
    pub clear: Length,
    pub text: String,
    pub stamp: Stamp,
    /// Taken back, or done; still kept.
    pub withdrawn: bool,
}

impl Room {
    /// The marks that nobody took back, oldest first.
    pub fn marks_in_force(&self) -> impl Iterator<Item = &Mark> {
        self.marks.iter().filter(|it| !it.withdrawn)
    }
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Serialize, Deserialize, JsonSchema)]
pub enum MarkKind {
    /// The subfloor moves here: screw it down before the pad is laid.
    Squeak,
    #[default]
    Note,
}

/// A mark about to be made; who and when are the change's.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct NewMark {
    pub id: MarkId,
    pub kind: MarkKind,
    pub wall: Option<WallId>,
    pub offset: Length,
    pub clear: Length,
    pub text: String,
}
