//! What a crew decides about the carpet's lie. Kept like readings: append-only, the newest in force counts.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use uuid::Uuid;

use super::Stamp;
use crate::ids::{ChoiceId, GoodsId, RoomId, WallId};
use crate::length::Length;

/// A decision of the crew that is kept: append-only, like readings.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Choice {
    pub id: ChoiceId,
    pub decision: Decision,
    pub stamp: Stamp,
    pub supersedes: Vec<ChoiceId>,
}

#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum Decision {
    /// This layout is to be cut.
    Plan(ChosenPlan),
    /// This piece of the cut list is cut.
    Cut { piece: String },
    /// Every layout has to keep this.
    Pin { room: RoomId, pin: Pin },
    /// This piece of the cut list is not cut from the roll: the crew has carpet for it.
    LeaveOut { piece: String },
    /// This carpet is on hand; pieces are cut from it where that shortens the order.
    OnHand(Remnant),
}

/// A remnant or part roll.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Remnant {
    pub goods: GoodsId,
    /// The dye lot, as on its label.
    pub lot: String,
    /// Across the roll that it was cut from.
    pub width: Length,
    /// Along that roll: the pile lies this way.
    pub length: Length,
}

/// A layout as it was chosen, to be compared with today's when readings change.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct ChosenPlan {
    pub goods: GoodsId,
    /// The length that was to be ordered.
    pub order: Length,
    /// How each room and flight is carpeted, in the layout's words; by the room's or flight's id.
    pub ways: BTreeMap<Uuid, String>,
    /// By the pieces' ids.
    pub cuts: BTreeMap<String, ChosenCut>,
}

/// A piece of a chosen plan: its size as cut, and its place on the roll.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct ChosenCut {
    /// Across the roll.
    pub width: Length,
    /// Along the roll.
    pub length: Length,
    /// From the roll's left edge.
    pub x: Length,
    /// From the roll's outer end.
    pub y: Length,
}

/// What a person asks of a room's carpet; the rest is planned around it.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum Pin {
    /// The pile of the room, and of all that share its direction, leans this way on the plan.
    Pile(PileDirection),
    /// A seam runs with the pile beside a wall, this far into the room from the wall's start, measured square to the seam.
    Seam { wall: WallId, distance: Length },
    /// The breadths start with a full one along this wall.
    Along { wall: WallId },
    /// No seam in this room.
    NoSeam,
}

/// Which way the pile leans on the plan.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
pub enum PileDirection {
    North,
    East,
    South,
    West,
}

impl ChosenCut {
    /// Width, length, x and y, each as eight bytes, the highest first.
    pub(super) fn to_bytes(self) -> Vec<u8> {
        [self.width, self.length, self.x, self.y].iter().flat_map(|it| it.0.to_be_bytes()).collect()
    }

    /// `None` for anything but four lengths of a sane size.
    pub(super) fn of_bytes(bytes: &[u8]) -> Option<Self> {
        let sane = |it: &Length| (Length::ZERO..=Length::MOST).contains(it);
        let (numbers, []) = bytes.as_chunks::<8>() else { return None };
        let all: Vec<Length> = numbers.iter().map(|it| Length(i64::from_be_bytes(*it))).filter(sane).collect();
        let &[width, length, x, y] = all.as_slice() else { return None };
        Some(Self { width, length, x, y })
    }
}
