//! Where the breadths, fills and seams go.
//!
//! For each room and pile direction, `lines` says where seams may lie, `patch` what floor lies between them, `fill` what is
//! cut for it, and `variant` puts these together with the seams and what speaks against them (`cost`). `choose` combines
//! the rooms and flights of all nap groups, and `plan` lays the best combinations on the roll.

mod choose;
mod cost;
mod fill;
mod flight;
mod frame;
mod lines;
mod mouth;
mod opening;
mod patch;
mod plan;
mod stock;
mod variant;

use serde::{Deserialize, Serialize};

use crate::floor::{Floor, PlacedRoom};
use crate::ids::{FlightId, GoodsId, RoomId};
use crate::job::{Flight, Job};
use crate::length::{Length, Units};
use crate::nest::RollPlan;
use crate::polygon::{Area, Point, Ring};
use crate::problem::{Place, Problem, ProblemKind};

use choose::{Group, Unit};
use flight::Stair;
use stock::Stock;

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
    Breadth {
        room: RoomId,
        breadth: u32,
        fill: Option<u32>,
    },
    Flight {
        flight: FlightId,
        part: FlightPart,
    },
}

/// Which steps of a flight a piece is for; runs and winders count from 1.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum FlightPart {
    /// All straight steps in one piece.
    Whole,
    Run(u32),
    Winder(u32),
    Landing,
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
    let Some(goods) = job.goods.iter().find(|it| it.id == goods) else { return (Vec::new(), Vec::new()) };
    let (stock, mut problems) = Stock::of(goods, &job.rules, job.units);
    let Some(stock) = stock else { return (Vec::new(), problems) };
    let (groups, found) = groups(job, floor, &stock);
    problems.extend(found);
    if groups.is_empty() {
        return (Vec::new(), problems);
    }
    let (layouts, found) = plan::layouts(job, floor, &stock, &groups);
    problems.extend(found);
    (layouts, problems)
}

/// The nap groups of the goods with all variants of their rooms and flights; problems for what cannot be laid.
fn groups(job: &Job, floor: &Floor, stock: &Stock) -> (Vec<Group>, Vec<Problem>) {
    // Plain goods give the same cuts with the pile turned round.
    let piles = match stock.repeat {
        None => &[PileDirection::North, PileDirection::East][..],
        Some(_) => &[PileDirection::North, PileDirection::East, PileDirection::South, PileDirection::West],
    };
    let mut problems = Vec::new();
    let mut groups = Vec::new();
    for (index, group) in floor.groups.iter().enumerate().filter(|(_, it)| it.goods == stock.goods.id) {
        let mut units = Vec::new();
        for placed in group.rooms.iter().filter_map(|id| floor.rooms.iter().find(|it| it.room == *id)) {
            let unit = room_unit(job, floor, placed, piles, stock);
            match unit.variants.iter().all(|(_, it)| it.is_empty()) {
                true => problems.push(uncuttable(placed, stock, job.units)),
                false => units.push(unit),
            }
        }
        for flight in group.flights.iter().filter_map(|id| job.flights.iter().find(|it| it.id == *id)) {
            match flight_unit(flight, piles, stock, job.units) {
                Ok(unit) => units.push(unit),
                Err(problem) => problems.push(problem),
            }
        }
        let possible = |pile: &PileDirection| {
            units.iter().all(|it| it.variants.iter().any(|(of, variants)| of == pile && !variants.is_empty()))
        };
        // Stairs lie anywhere on the plan, so their pile has no direction there.
        let piles = if group.rooms.is_empty() { &piles[..1] } else { piles };
        let piles: Vec<PileDirection> = piles.iter().copied().filter(possible).collect();
        if !units.is_empty() && !piles.is_empty() {
            groups.push(Group { index, units, piles });
        }
    }
    (groups, problems)
}

fn room_unit(job: &Job, floor: &Floor, placed: &PlacedRoom, piles: &[PileDirection], stock: &Stock) -> Unit {
    let mouths = job.room(placed.room).map(|it| mouth::mouths(it, placed)).unwrap_or_default();
    let seamed = opening::is_seamed(job, floor, placed.room, stock.goods.id);
    let variants = piles.iter().map(|&pile| {
        let all = variant::of_room(placed, pile, stock, &mouths, seamed);
        (pile, choose::useful(all, stock))
    });
    Unit { variants: variants.collect() }
}

fn flight_unit(flight: &Flight, piles: &[PileDirection], stock: &Stock, units: Units) -> Result<Unit, Problem> {
    let problem = |kind, text: String| Err(Problem::new(kind, Place::Flight(flight.id), text));
    let name = plan::flight_title(flight);
    let Some(stair) = Stair::of(flight, stock.rules) else {
        let text = format!("{name}: its steps, riser, going or width are missing or impossible. Measure them.");
        return problem(ProblemKind::BadLength, text);
    };
    let variants = variant::of_flight(flight.id, &stair, stock.rules, stock);
    let widest = variants.iter().flat_map(|it| &it.pieces).map(|it| it.cut.width).max().unwrap_or_default();
    if widest > stock.goods.roll_width {
        let show = |it: Length| it.show(units.style());
        let text = format!(
            "{name}: with its tucked sides it is {} wide, but the roll only {}. Choose wider goods.",
            show(widest),
            show(stock.goods.roll_width)
        );
        return problem(ProblemKind::BadPiece, text);
    }
    Ok(Unit { variants: piles.iter().map(|&pile| (pile, variants.clone())).collect() })
}

fn uncuttable(placed: &PlacedRoom, stock: &Stock, units: Units) -> Problem {
    let width = stock.goods.roll_width.show(units.style());
    let text =
        format!("{}: no breadths of a roll {width} wide cover it. Check the room's size and the roll's.", placed.name);
    Problem::new(ProblemKind::BadPiece, Place::Room(placed.room), text)
}
