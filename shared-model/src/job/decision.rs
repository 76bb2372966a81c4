//! What a crew decides about the carpet's lie. Kept like readings: append-only, the newest in force counts.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use super::Stamp;
use crate::ids::{ChoiceId, GoodsId, RoomId, WallId};
use crate::length::Length;

/// A decision of the crew that is kept: append-only, like readings.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, JsonSchema)]
pub struct Choice {
    pub id: ChoiceId,
    pub decision: Decision,
    pub stamp: Stamp,
    pub supersedes: Vec<ChoiceId>,
}

#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, JsonSchema)]
pub enum Decision {
    /// This layout is to be cut.
    Plan(ChosenPlan),
    /// This piece of the cut list is cut.
    Cut(CutPiece),
    /// Every layout has to keep this.
    Pin { room: RoomId, pin: Pin },
    /// This piece of the cut list is not cut from the roll: the crew has carpet for it.
    LeaveOut { piece: String },
    /// This carpet is on hand; pieces are cut from it where that shortens the order.
    OnHand(Remnant),
}

/// A remnant or part roll.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, JsonSchema)]
pub struct Remnant {
    pub goods: GoodsId,
    /// The dye lot, as on its label.
    pub lot: String,
    /// Across the roll that it was cut from.
    pub width: Length,
    /// Along that roll: the pile lies this way.
    pub length: Length,
    /// What it is worth, as a length of new roll: it stays uncut unless it shortens the order by so much.
    #[serde(default)]
    pub worth: Length,
}

/// An order comes in at most so many rolls.
pub const MOST_ROLLS: u8 = 32;

/// The carpet that a piece is cut from.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize, JsonSchema)]
pub enum Source {
    /// One of the rolls that are ordered, from 0, below [`MOST_ROLLS`].
    Roll(u8),
    /// What is on hand, by the decision that says so.
    Remnant(ChoiceId),
}

/// A layout as it was chosen, to be compared with today's when readings change.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, JsonSchema)]
pub struct ChosenPlan {
    pub goods: GoodsId,
    /// The length that was to be ordered.
    pub order: Length,
    /// How each room and flight is carpeted, in the layout's words; by the room's or flight's id.
    #[schemars(extend("propertyNames" = { "format": "uuid" }))]
    pub ways: BTreeMap<Uuid, String>,
    /// By the pieces' ids.
    pub cuts: BTreeMap<String, CutPlace>,
}

/// A piece's size as cut, and its place on the carpet that it is cut from.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize, JsonSchema)]
pub struct CutPlace {
    pub source: Source,
    /// From the carpet's outer end.
    pub y: Length,
    /// From its left edge.
    pub x: Length,
    /// Across the roll.
    pub width: Length,
    /// Along the roll.
    pub length: Length,
}

/// A piece that is cut, and where from: what a later plan makes of the carpet cannot change that.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize, JsonSchema)]
pub struct CutPiece {
    pub goods: GoodsId,
    /// Its id in the plan that it was cut by.
    pub piece: String,
    pub place: CutPlace,
}

/// What a person asks of a room's carpet; the rest is planned around it.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, JsonSchema)]
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
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize, JsonSchema)]
pub enum PileDirection {
    North,
    East,
    South,
    West,
}

impl Source {
    /// The roll's number, from 0; `None` for what is on hand.
    pub const fn roll(self) -> Option<u8> {
        match self {
            Self::Roll(number) => Some(number),
            Self::Remnant(_) => None,
        }
    }

    /// The decision that says it is on hand; `None` for a roll that is ordered.
    pub const fn remnant(self) -> Option<ChoiceId> {
        match self {
            Self::Roll(_) => None,
            Self::Remnant(id) => Some(id),
        }
    }
}

impl CutPlace {
    /// Whether the rectangles of two pieces overlap on one carpet.
    pub fn overlaps(&self, other: &Self) -> bool {
        let across = self.x < other.x + other.width && other.x < self.x + self.width;
        let along = self.y < other.y + other.length && other.y < self.y + self.length;
        self.source == other.source && across && along
    }

    /// Width, length, x and y, each as eight bytes, the highest first; then the remnant's id, or the roll's number unless it is the first.
    pub(super) fn to_bytes(self) -> Vec<u8> {
        let sizes = [self.width, self.length, self.x, self.y].into_iter().flat_map(|it| it.0.to_be_bytes());
        let source = match self.source {
            Source::Roll(0) => Vec::new(),
            Source::Roll(number) => vec![number],
            Source::Remnant(id) => id.0.as_bytes().to_vec(),
        };
        sizes.chain(source).collect()
    }

    /// `None` for anything but four lengths of a sane size, and what they are cut from.
    pub(super) fn of_bytes(bytes: &[u8]) -> Option<Self> {
        let sane = |it: &Length| (Length::ZERO..=Length::MOST).contains(it);
        let (numbers, source) = bytes.split_at_checked(32)?;
        let (numbers, []) = numbers.as_chunks::<8>() else { return None };
        let all: Vec<Length> = numbers.iter().map(|it| Length(i64::from_be_bytes(*it))).filter(sane).collect();
        let &[width, length, x, y] = all.as_slice() else { return None };
        let source = match *source {
            [] => Source::Roll(0),
            [number] if number < MOST_ROLLS => Source::Roll(number),
            ref id => Source::Remnant(ChoiceId(Uuid::from_slice(id).ok()?)),
        };
        Some(Self { source, y, x, width, length })
    }
}
