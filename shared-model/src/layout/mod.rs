//! Where the breadths, fills and seams go.
//!
//! For each room and pile direction, `lines` says where seams may lie, `patch` what floor lies between them, `fill` what is
//! cut for it, and `variant` puts these together with the seams and what speaks against them (`cost`). `choose` combines
//! the rooms and flights of all nap groups, and `plan` lays the best combinations on the roll: from remnants (`on_hand`), the rest from
//! as many `rolls` as their `division` takes, around what is `cut_already`, angled pieces in pairs where these `interlock`.

mod area;
mod choose;
mod cost;
mod cut_already;
mod division;
mod fill;
mod flight;
mod frame;
mod held;
mod interlock;
mod laying;
mod lines;
mod mouth;
mod on_hand;
mod opening;
mod patch;
mod plan;
mod rolls;
mod stock;
mod through;
mod units;
mod variant;
mod why;

use std::cmp::Reverse;
use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use uuid::Uuid;

pub use crate::job::PileDirection;
pub use plan::place_of;
pub(crate) use plan::tell_apart;
pub use why::{Moved, NotThere, Why};

use crate::floor::Floor;
use crate::ids::{FlightId, GoodsId, RoomId};
use crate::job::{ChosenPlan, CutPiece, CutPlace, Job, Rules, Source};
use crate::length::Length;
use crate::nest::{CutList, Offcut, Placement, RollPlan};
use crate::polygon::{Area, Axis, Point, Ring};
use crate::problem::Problem;

use choose::Group;
use cut_already::CutAlready;
use held::Held;
use plan::Planning;
use stock::Stock;

/// One way to carpet everything of one goods: pieces, seams, and their places on the roll.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Layout {
    pub goods: GoodsId,
    /// The same readings and rules always give the same key: how a chosen layout is found again.
    pub key: String,
    /// In words for the list to choose from: "Pile up, 2 seams".
    pub name: String,
    pub groups: Vec<GroupPile>,
    /// Rooms that are carpeted as one, through the openings between them; the first of them gives the pieces their names.
    #[serde(default)]
    pub areas: Vec<Vec<RoomId>>,
    /// How each room and flight is carpeted, by its id, in words that stay the same while readings change a little.
    pub ways: BTreeMap<Uuid, String>,
    /// Of the first roll.
    pub pieces: Vec<Piece>,
    /// Pieces that are not cut from the roll: the crew has carpet for them, or cut them from a remnant that is gone.
    #[serde(default)]
    pub left_out: Vec<Piece>,
    /// What else pieces are cut from: more rolls that are ordered, then remnants. Those in `pieces` are cut from the first roll.
    #[serde(default)]
    pub others: Vec<Strip>,
    /// Pieces that are cut already, by their ids, with the carpet that was cut for them.
    #[serde(default)]
    pub cut: BTreeMap<String, CutPlace>,
    pub seams: Vec<Seam>,
    /// The first roll.
    pub roll: RollPlan,
    /// How the first roll is cut up edge to edge; `None` when pieces must be cut around corners.
    #[serde(default)]
    pub cuts: Option<CutList>,
    /// The rolls' lengths in the plan, each rounded up to the supplier's increment, not less than the minimum, and not more than a whole
    /// roll.
    pub order: Length,
    /// Whether carpet that meets comes from two rolls, or from two dye lots: no roll is long enough, or some of it is cut already.
    #[serde(default)]
    pub parted: bool,
    /// The shorter order that cuts around corners would need, when the crew cuts edge to edge.
    #[serde(default)]
    pub freehand: Option<Length>,
    /// Floor covered by carpet, flights included.
    pub net: Area,
    pub ordered: Area,
    /// All that it takes: what is ordered, what is used of remnants, and the pieces that are left out.
    pub carpet: Area,
    pub seam_length: Length,
    /// Sum of the seams' costs, in points; less is better.
    pub seam_cost: i64,
}

/// More carpet that pieces are cut from, beside the first roll.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Strip {
    pub source: Source,
    /// A remnant's dye lot, as on its label; a roll's number, as in "roll 2".
    pub name: String,
    /// Of the whole remnant, along the roll that it was cut from; of a roll, as it is ordered.
    pub length: Length,
    /// What is cut off first at most, so that it begins with the pattern; places count from there.
    pub lead: Length,
    pub pieces: Vec<Piece>,
    pub roll: RollPlan,
    /// `None` when pieces must be cut around corners.
    pub cuts: Option<CutList>,
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

/// All ways to carpet the rooms and flights of one goods, as far as the crew's pins leave them open.
pub struct Ways<'a> {
    job: &'a Job,
    floor: &'a Floor,
    stock: Stock<'a>,
    groups: Vec<Group>,
    cut: CutAlready<'a>,
}

impl<'a> Ways<'a> {
    /// `None` when nothing can be laid with the goods, or nothing is closed yet. `plan` is the crew's choice: its ways are found
    /// again also where they would not be found worth trying today.
    pub fn of(
        job: &'a Job,
        floor: &'a Floor,
        goods: GoodsId,
        plan: Option<&'a ChosenPlan>,
    ) -> (Option<Self>, Vec<Problem>) {
        let Some(goods) = job.goods.iter().find(|it| it.id == goods) else { return (None, Vec::new()) };
        let (stock, mut problems) = Stock::of(goods, &job.rules, job.units);
        let Some(stock) = stock else { return (None, problems) };
        let (groups, found) = units::groups(job, floor, &stock, &Held::of(job, plan));
        problems.extend(found);
        let cut = CutAlready::of(job, &stock, plan);
        ((!groups.is_empty()).then_some(Self { job, floor, stock, groups, cut }), problems)
    }

    /// Every layout that is worth choosing from, best first: none is beaten by another on all of order length, seam
    /// length and seam cost. What is cut already stays where it was cut from.
    pub fn layouts(&self) -> (Vec<Layout>, Vec<Problem>) {
        plan::layouts(&self.planning(), &self.groups)
    }

    /// The chosen plan by today's readings: every room and flight carpeted as it was chosen where that can still be, the others
    /// as fits best around them. With the rooms and flights that had to be planned anew, and what is wrong if there is no such layout.
    pub fn as_chosen(&self) -> (Option<Layout>, Vec<Uuid>, Option<Problem>) {
        let (groups, anew) = units::as_chosen(&self.groups);
        let cut = self.cut.holding();
        let (layouts, problems) = plan::layouts(&Planning { cut: &cut, ..self.planning() }, &groups);
        (layouts.into_iter().next(), anew, problems.into_iter().next())
    }

    const fn planning(&self) -> Planning<'_> {
        Planning { job: self.job, floor: self.floor, stock: &self.stock, cut: &self.cut }
    }
}

impl Seam {
    /// The plan's axis that it runs along.
    pub fn axis(&self) -> Axis {
        let along = self.to - self.from;
        if along.x.abs() > along.y.abs() { Axis::X } else { Axis::Y }
    }
}

impl Layout {
    /// All that are cut, with their places: on the rolls that are ordered, and then on remnants.
    pub fn placed(&self) -> impl Iterator<Item = (&Piece, CutPlace)> {
        fn on<'a>(
            source: Source,
            pieces: &'a [Piece],
            roll: &'a RollPlan,
        ) -> impl Iterator<Item = (&'a Piece, CutPlace)> {
            let place = move |(it, at): (&'a Piece, &Placement)| {
                (it, CutPlace { source, y: at.y, x: at.x, width: it.width, length: it.length })
            };
            pieces.iter().zip(&roll.placements).map(place)
        }
        on(Source::Roll(0), &self.pieces, &self.roll)
            .chain(self.others.iter().flat_map(|it| on(it.source, &it.pieces, &it.roll)))
    }

    /// The rolls that are ordered beside the first.
    pub fn more_rolls(&self) -> impl Iterator<Item = &Strip> {
        self.others.iter().filter(|it| it.source.roll().is_some())
    }

    pub fn remnants(&self) -> impl Iterator<Item = &Strip> {
        self.others.iter().filter(|it| it.source.remnant().is_some())
    }

    /// The rolls that are ordered, with their numbers from 0 and their lengths.
    pub fn rolls(&self) -> Vec<(u8, Length)> {
        let more: Vec<(u8, Length)> =
            self.others.iter().filter_map(|it| Some((it.source.roll()?, it.length))).collect();
        let first = self.order - more.iter().map(|it| it.1).sum::<Length>();
        let all = std::iter::once((0, first)).chain(more);
        all.filter(|(_, length)| *length > Length::ZERO).collect()
    }

    /// Whether no plan of these pieces is shorter. How pieces are divided among several rolls is not proven.
    pub fn optimal(&self) -> bool {
        self.roll.optimal() && self.more_rolls().next().is_none()
    }

    /// Whether this cut piece is, or serves as, one of the layout's.
    pub fn is_cut_by(&self, piece: &str, cut: &CutPiece) -> bool {
        let serves = || self.cut.get(piece) == Some(&cut.place) && place_of(piece) == place_of(&cut.piece);
        self.goods == cut.goods && (piece == cut.piece || serves())
    }

    /// What of all the carpet that it takes covers no floor.
    pub fn waste(&self) -> Area {
        self.carpet - self.net
    }

    /// What is left over between the pieces and worth keeping: not shorter than the shop's least piece, and a foot across its
    /// shorter side (common practice). Largest first.
    pub fn offcuts(&self, rules: &Rules) -> Vec<(Option<&Strip>, Offcut)> {
        let worth = |(_, it): &(Option<&Strip>, Offcut)| {
            let (short, long) = (it.width.min(it.length), it.width.max(it.length));
            short >= Length::feet(1) && long >= rules.least_piece
        };
        let from_roll = self.cuts.iter().flat_map(|it| &it.offcuts).map(|it| (None, *it));
        let of_others = self.others.iter().flat_map(|of| of.cuts.iter().map(move |it| (of, it)));
        let others = of_others.flat_map(|(of, it)| it.offcuts.iter().map(move |it| (Some(of), *it)));
        let mut kept: Vec<_> = from_roll.chain(others).chain(self.ends()).filter(worth).collect();
        kept.sort_by_key(|(_, it)| (Reverse(it.width * it.length), it.y, it.x));
        kept
    }

    /// What is left at the far end of each roll and remnant.
    fn ends(&self) -> impl Iterator<Item = (Option<&Strip>, Offcut)> {
        let first = self.rolls().into_iter().find(|it| it.0 == 0).map(|it| (None, &self.roll, it.1));
        let others = self.others.iter().map(|it| (Some(it), &it.roll, it.length - it.lead));
        first.into_iter().chain(others).map(|(of, roll, length)| {
            (of, Offcut { x: Length::ZERO, y: roll.length, width: roll.width, length: length - roll.length })
        })
    }

    /// The decision to cut this layout, with what it takes by today's readings.
    pub fn chosen(&self, goods: GoodsId) -> ChosenPlan {
        let cuts = self.placed().map(|(piece, at)| (piece.id.clone(), at)).collect();
        ChosenPlan { goods, order: self.order, ways: self.ways.clone(), cuts }
    }
}
