//! Where the breadths, fills and seams go.

use serde::{Deserialize, Serialize};

use crate::floor::Floor;
use crate::ids::{FlightId, GoodsId, RoomId};
use crate::job::Job;
use crate::length::Length;
use crate::nest::RollPlan;
use crate::polygon::{Area, Point, Ring};
use crate::problem::Problem;

/// Which way the pile leans on the plan.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
pub enum PileDirection {
    North,
    East,
    South,
    West,
}

/// One way to carpet everything of one goods: pieces, seams, and their places on the roll.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Layout {
    /// The same readings and rules always give the same key: how a chosen layout is found again.
    pub key: String,
    /// In words for the list to choose from: "Pile north, 2 seams".
    pub name: String,
    pub groups: Vec<GroupPile>,
    pub pieces: Vec<Piece>,
    pub seams: Vec<Seam>,
    pub roll: RollPlan,
    /// The roll's length in the plan, rounded up to the supplier's increment, not less than the minimum.
    pub order: Length,
    /// Floor covered by carpet, flights included.
    pub net: Area,
    pub ordered: Area,
    pub waste: Area,
    pub seam_length: Length,
    /// Sum of the seams' costs, in points; less is better.
    pub seam_cost: i64,
}

/// The pile of one nap group in a layout; `group` is an index into [`Floor::groups`].
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct GroupPile {
    pub group: usize,
    pub pile: PileDirection,
}

/// One piece to cut.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Piece {
    /// Stable name for check-off: room or flight, breadth, part, and cut size.
    pub id: String,
    /// For people: "Bedroom 2, breadth 3".
    pub label: String,
    pub part: Part,
    /// The floor it covers, on the plan. Empty for flights.
    pub covers: Vec<Ring>,
    pub pile: PileDirection,
    /// Across the roll, as cut.
    pub width: Length,
    /// Along the roll, as cut.
    pub length: Length,
    /// What of the cut is trimmed away or turned up; `left` and `right` as seen with the pile running away from you.
    pub extra: Extra,
    /// Where in the pattern repeat its start must lie, for goods with a pattern.
    pub phase: Option<Length>,
}

/// Which part of the house a piece is for.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum Part {
    /// `breadth` counts from 1; `fill` counts the parts of a breadth that is pieced from several, from 1.
    Breadth { room: RoomId, breadth: u32, fill: Option<u32> },
    Flight { flight: FlightId, part: u32 },
}

/// Seam trims and wall allowances at the four edges of a cut. `start` is cut first from the roll's outer end.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Serialize, Deserialize)]
pub struct Extra {
    pub left: Length,
    pub right: Length,
    pub start: Length,
    pub end: Length,
}

#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Seam {
    pub room: RoomId,
    pub kind: SeamKind,
    pub from: Point,
    pub to: Point,
    pub length: Length,
    pub costs: Vec<SeamCost>,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum SeamKind {
    /// Along the pile, between two breadths.
    Side,
    /// Across the pile, within a fill.
    Cross,
    /// Under a door leaf or across an opening, between two rooms.
    Opening,
}

/// Why a seam's place is worse than another, and how much.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct SeamCost {
    pub points: i64,
    /// One sentence with its source.
    pub reason: String,
}

/// Every layout of one goods that is worth choosing from, best first: none is beaten by another on all of order
/// length, seam length and seam cost.
pub fn layouts(job: &Job, floor: &Floor, goods: GoodsId) -> (Vec<Layout>, Vec<Problem>) {
    let _ = (job, floor, goods);
    todo!()
}
