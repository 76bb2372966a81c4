//! The ways to carpet one room or one flight with a given pile.

use super::area::Area;
use super::cost::{self, Surroundings};
use super::fill::{Cut, Fill, fills};
use super::flight::Stair;
use super::lines::{Start, lines};
use super::patch::{Ground, Patch};
use super::stock::Stock;
use super::through::Through;
use super::{Part, PileDirection, Seam, SeamKind};
use crate::ids::{FlightId, OpeningId, RoomId};
use crate::job::{Match, Rules};
use crate::length::Length;
use crate::nest::{Phase, Shape};
use crate::polygon::Point;
use uuid::Uuid;

/// More breadths that can each be pieced than this are all pieced alike.
const PIECED_APART: usize = 2;

/// One way to carpet one room or flight.
#[derive(Clone, Debug)]
pub(super) struct Variant {
    /// The room or flight; or all rooms that are carpeted as one, the first of which the pieces name.
    pub of: Vec<Uuid>,
    /// Openings that carpet runs through, seen from both sides.
    pub through: Vec<OpeningId>,
    /// The same for the same decisions, also when a reading changed a little.
    pub key: String,
    /// Where its side seams lie, in the frame of the pile.
    pub lines: Vec<Length>,
    pub pieces: Vec<Planned>,
    /// What the crew has carpet for.
    pub left_out: Vec<Planned>,
    /// On the plan.
    pub seams: Vec<Seam>,
}

/// A cut with its part in the house, and what the pattern asks of it.
#[derive(Clone, Debug)]
pub(super) struct Planned {
    pub cut: Cut,
    pub part: Part,
    pub shape: Shape,
}

impl Variant {
    /// Whether its breadths start with a full one at the west side, or at the east side, of the room.
    pub fn starts_at(&self, west: bool) -> bool {
        self.lines.is_empty() || self.key.starts_with(if west { 'w' } else { 'e' })
    }

    /// The words for a room or flight that is carpeted so.
    pub fn way(&self, pile: PileDirection) -> String {
        format!("{}/{}", pile.title(), self.key)
    }

    /// Without the pieces that the crew has carpet for.
    pub fn without(mut self, is_left_out: impl Fn(&Planned) -> bool) -> Self {
        (self.left_out, self.pieces) = self.pieces.into_iter().partition(is_left_out);
        self
    }

    pub fn seam_length(&self) -> Length {
        self.seams.iter().map(|it| it.length).sum()
    }

    pub fn seam_cost(&self) -> i64 {
        self.seams.iter().flat_map(|it| &it.costs).map(|it| it.points).sum()
    }

    /// Carpet cut, in square counts.
    pub fn carpet(&self) -> i128 {
        self.pieces.iter().map(|it| (it.cut.width * it.cut.length).0).sum()
    }

    /// The longest piece that another can lie beside.
    pub fn longest_narrow(&self, roll: Length) -> Length {
        let narrow = self.pieces.iter().filter(|it| it.cut.width * 2 <= roll);
        narrow.map(|it| it.cut.length).max().unwrap_or_default()
    }
}

/// The pile and the key of a [`Variant::way`]; `None` for other text.
pub(super) fn read_way(way: &str) -> Option<(PileDirection, &str)> {
    use PileDirection::{East, North, South, West};
    let (title, key) = way.split_once('/')?;
    let pile = [North, East, South, West].into_iter().find(|it| it.title() == title)?;
    Some((pile, key))
}

/// All variants of an area, or all whose seams go through given places. Empty when no breadths of these goods can cover it.
pub(super) fn of_area(
    area: &Area,
    pile: PileDirection,
    stock: &Stock,
    seamed: bool,
    through: Option<&Through>,
) -> Vec<Variant> {
    let Some(bounds) = area.covered.bounds() else { return Vec::new() };
    let Some(ground) = Ground::of(pile.northward(&area.covered), stock, seamed) else { return Vec::new() };
    let around = Surroundings { area, bounds, pile: pile.axis() };
    let of: Vec<Uuid> = area.rooms.iter().map(|it| it.room.0).collect();
    let with_whom: String = of[1..].iter().map(|it| format!("&{it}")).collect();
    let mut variants = Vec::new();
    let found = match through {
        Some(through) => through.laid(&ground, area, pile).into_iter().collect(),
        None => lines(&ground),
    };
    for (start, lines, patches) in found {
        let side = side_seams(pile, &patches, &around);
        for fills in combinations(patches.iter().map(|it| fills(&ground, it)).collect()) {
            let Some(origin) = origin_across(stock, &lines, &fills) else { continue };
            let mut seams = side.clone();
            seams.extend(cross_seams(pile, &fills, &around));
            let parts: String = fills.iter().map(|it| format!(".{}", it.cuts.len())).collect();
            let start = match start {
                Start::West => "w".to_owned(),
                Start::East => "e".to_owned(),
                Start::Balanced => "b".to_owned(),
                Start::Corner(i) => format!("c{i}"),
                Start::Given => through.map(Through::key).unwrap_or_default(),
            };
            let pieces = planned(area.room(), stock, &patches, fills, origin);
            let side_lines = lines.clone();
            let key = format!("{start}{parts}{with_whom}");
            variants.push(Variant {
                of: of.clone(),
                through: area.through.concat(),
                key,
                lines: side_lines,
                pieces,
                left_out: Vec::new(),
                seams,
            });
        }
    }
    variants
}

/// All variants of a flight.
pub(super) fn of_flight(flight: FlightId, stair: &Stair, rules: &Rules, stock: &Stock) -> Vec<Variant> {
    let runs = stair.runs(rules).into_iter().map(|cuts| {
        let several = cuts.len() > 1;
        let pieces = cuts.into_iter().map(|(part, cut)| {
            let part = Part::Flight { flight, part };
            // A single piece may start anywhere in the pattern; several continue it.
            let phase = stock.repeat.filter(|_| several).map(|step| Phase { step, offset: cut.start });
            let shape = Shape { width: cut.width, length: cut.length, phase, across: None };
            Planned { cut, part, shape }
        });
        let pieces: Vec<Planned> = pieces.collect();
        let key = pieces.len().to_string();
        Variant {
            of: vec![flight.0],
            through: Vec::new(),
            key,
            lines: Vec::new(),
            pieces,
            left_out: Vec::new(),
            seams: Vec::new(),
        }
    });
    runs.collect()
}

/// One fill of each patch, in every combination; when many patches can be pieced, all in the same number of parts.
fn combinations(options: Vec<Vec<Fill>>) -> Vec<Vec<Fill>> {
    if options.iter().filter(|it| it.len() > 1).count() > PIECED_APART {
        let most = options.iter().map(Vec::len).max().unwrap_or(0);
        let alike = |i: usize| options.iter().filter_map(|it| it.get(i).or(it.last()).cloned()).collect();
        return (0..most).map(alike).collect();
    }
    options.into_iter().fold(vec![Vec::new()], |combinations, fills| {
        let extended = combinations
            .iter()
            .flat_map(|before: &Vec<Fill>| fills.iter().map(|it| [&before[..], std::slice::from_ref(it)].concat()));
        extended.collect()
    })
}

/// Where on the floor the roll's left edge lies in the first full repeat, so that every cut finds its place in the
/// width. `None` when there is no such place; anywhere when the pattern does not repeat across.
fn origin_across(stock: &Stock, lines: &[Length], fills: &[Fill]) -> Option<Length> {
    let cuts = || fills.iter().flat_map(|it| &it.cuts);
    let (Some(repeat), Some(first)) = (stock.repeat_across, lines.first()) else {
        return cuts().next().map(|it| it.left);
    };
    // The seam lines lie one trim from the roll's left edge, or as far to the right as whole repeats allow.
    let trim = stock.rules.seam_trim;
    let origins = [*first - trim, *first - trim - stock.slack];
    origins.into_iter().find(|origin| {
        cuts().all(|it| Length((it.left - *origin).0.rem_euclid(repeat.0)) + it.width <= stock.goods.roll_width)
    })
}

fn planned(room: RoomId, stock: &Stock, patches: &[Patch], fills: Vec<Fill>, origin: Length) -> Vec<Planned> {
    let count = |breadth: usize| -> usize {
        patches.iter().zip(&fills).filter(|(it, _)| it.breadth == breadth).map(|(_, it)| it.cuts.len()).sum()
    };
    let counts: Vec<usize> = patches.iter().map(|it| count(it.breadth)).collect();
    let mut fill = 0;
    let mut before = usize::MAX;
    let mut pieces = Vec::new();
    for ((patch, cuts), count) in patches.iter().zip(fills).zip(counts) {
        if patch.breadth != before {
            fill = 0;
        }
        before = patch.breadth;
        for cut in cuts.cuts {
            fill += 1;
            let part = Part::Breadth { room, breadth: patch.breadth as u32 + 1, fill: (count > 1).then_some(fill) };
            let shift = drop(stock, patch.breadth);
            let phase = stock.repeat.map(|step| Phase { step, offset: cut.start + shift });
            let across = stock.repeat_across.map(|step| Phase { step, offset: cut.left - origin });
            let shape = Shape { width: cut.width, length: cut.length, phase, across };
            pieces.push(Planned { cut, part, shape });
        }
    }
    pieces
}

/// By how much the pattern of a breadth is shifted along the roll against the first breadth's.
fn drop(stock: &Stock, breadth: usize) -> Length {
    match (stock.goods.pattern, stock.repeat) {
        (Match::Drop { numerator, denominator }, Some(repeat)) => {
            let (numerator, denominator) = (u128::from(numerator), u128::from(denominator.max(1)));
            let parts = breadth as u128 * numerator % denominator;
            Length(((repeat.0 as u128 * parts) / denominator) as i64)
        }
        _ => Length::ZERO,
    }
}

fn side_seams(pile: PileDirection, patches: &[Patch], around: &Surroundings) -> Vec<Seam> {
    let width = |it: &Patch| it.bounds.max.x - it.bounds.min.x;
    let mut seams = Vec::new();
    for patch in patches {
        for &(from, to) in &patch.seams_east {
            let beside = patches.iter().filter(|it| {
                it.breadth == patch.breadth + 1
                    && it.bounds.min.y < to.y.max(from.y)
                    && it.bounds.max.y > to.y.min(from.y)
            });
            let narrowest = beside.map(width).fold(width(patch), Length::min);
            seams.push(seam(pile, SeamKind::Side, (from, to), narrowest, around));
        }
    }
    seams
}

fn cross_seams(pile: PileDirection, fills: &[Fill], around: &Surroundings) -> Vec<Seam> {
    let all = fills.iter().flat_map(|it| &it.seams);
    all.map(|&ends| seam(pile, SeamKind::Cross, ends, Length::ZERO, around)).collect()
}

fn seam(
    pile: PileDirection,
    kind: SeamKind,
    (from, to): (Point, Point),
    narrowest: Length,
    around: &Surroundings,
) -> Seam {
    let (from, to) = (pile.point_to_plan(from), pile.point_to_plan(to));
    let seam = Seam {
        room: around.area.room_at(from.middle(to)),
        kind,
        from,
        to,
        length: from.distance(to),
        costs: Vec::new(),
    };
    Seam { costs: cost::costs(&seam, narrowest, around), ..seam }
}
