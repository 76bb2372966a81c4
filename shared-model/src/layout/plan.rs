//! From a combination of variants to a layout with its place on the roll.

use std::collections::{BTreeMap, BTreeSet};

use uuid::Uuid;

use super::choose::{Choice, Group, beats, choices, shortlist};
use super::cut_already::{CutAlready, Wanted};
use super::flight::Stair;
use super::on_hand::{self, Divided};
use super::rolls::{Effort, rolls};
use super::stock::Stock;
use super::variant::{Planned, Variant};
use super::{FlightPart, GroupPile, Layout, Part, Piece, PileDirection, Seam, SeamKind, Strip, interlock, opening};
use crate::fingerprint::checksum;
use crate::floor::{Floor, PlacedRoom};
use crate::ids::{ChoiceId, FlightId, GoodsId, OpeningId, RoomId};
use crate::job::{Flight, Job, Remnant, Source};
use crate::length::Length;
use crate::nest::{Budget, NestPiece, Shape, nest_above};
use crate::polygon::Area;
use crate::problem::{Place, Problem, ProblemKind};

/// Layouts offered at most.
const OFFERED: usize = 8;
/// Combinations that are planned on the roll at a glance; the best of them with some patience.
const PLANNED: usize = 16;
const GLANCE: Effort = Effort { budget: Budget::steps(30_000), interlocked: false };
const PATIENCE: Effort = Effort { budget: Budget::steps(300_000), interlocked: true };

/// What layouts are planned for.
pub(super) struct Planning<'a> {
    pub job: &'a Job,
    pub floor: &'a Floor,
    pub stock: &'a Stock<'a>,
    pub cut: &'a CutAlready<'a>,
}

/// Remnants by the decisions that say they are on hand.
type Remnants<'a> = BTreeMap<ChoiceId, &'a Remnant>;

/// The layouts worth choosing from, best first.
pub(super) fn layouts(of: &Planning, groups: &[Group]) -> (Vec<Layout>, Vec<Problem>) {
    let choices = shortlist(choices(groups, of.stock), PLANNED, Choice::measures);
    let on_hand: Remnants = of.job.remnants(of.stock.goods.id).collect();
    let mut begun = on_hand.clone();
    begun.retain(|id, _| of.cut.end(Source::Remnant(*id)) > Length::ZERO);
    let (mut planned, problem) = of.planned(&choices, &on_hand);
    if begun.len() < on_hand.len() && !of.cut.holds() {
        planned.retain(|(it, choice)| of.saves_enough(it, choice, &on_hand, &begun));
        // What a remnant shortens at a glance may be shorter without it when planned with patience.
        planned.extend(of.planned(&choices, &begun).0);
        planned = unbeaten(planned);
    }
    let freehand = |it: &Layout, choice| freehand(it, choice, of.stock).filter(|_| of.cut.is_empty());
    let mut layouts: Vec<Layout> =
        planned.into_iter().map(|(it, choice)| Layout { freehand: freehand(&it, choice), ..it }).collect();
    tell_apart(&mut layouts);
    (layouts, problem.into_iter().collect())
}

/// Those that no other beats, best first.
fn unbeaten<T>(mut layouts: Vec<(Layout, T)>) -> Vec<(Layout, T)> {
    let measures = |it: &Layout| {
        [i128::from(it.order.0), i128::from(it.seam_length.0), i128::from(it.seam_cost), i128::from(it.parted)]
    };
    // Of layouts that do as well, the one that takes the least of the roll and of what is on hand together.
    let cut = |it: &Layout| it.roll.length + it.more_rolls().map(|it| it.roll.length).sum();
    let taken = |it: &Layout| cut(it) * it.roll.width + it.carpet - it.ordered;
    layouts.sort_by_key(|(it, _)| (measures(it), taken(it), it.pieces.len()));
    let mut best: Vec<(Layout, T)> = Vec::new();
    for (layout, of) in layouts {
        if !best.iter().any(|(it, _)| it.key == layout.key || beats(&measures(it), &measures(&layout))) {
            best.push((layout, of));
        }
    }
    shortlist(best, OFFERED, |(it, _)| measures(it))
}

impl Planning<'_> {
    /// Whether the order is so much shorter than without the remnants that nothing was cut from before, as these are worth.
    fn saves_enough(&self, layout: &Layout, choice: &Choice, on_hand: &Remnants, begun: &Remnants) -> bool {
        let used = layout.remnants().filter_map(|it| it.source.remnant()).filter(|it| !begun.contains_key(it));
        let worth: Length = used.filter_map(|it| on_hand.get(&it)).map(|it| it.worth).sum();
        worth == Length::ZERO
            || self.layout(choice, begun, PATIENCE).is_ok_and(|without| without.order - layout.order >= worth)
    }

    /// The combinations worth choosing from with these remnants, at a glance and then with patience; or why they cannot be cut.
    fn planned<'c, 'v>(
        &self,
        choices: &'c [Choice<'v>],
        remnants: &Remnants,
    ) -> (Vec<(Layout, &'c Choice<'v>)>, Option<Problem>) {
        let (mut planned, mut first) = (Vec::new(), None);
        for choice in choices {
            match self.layout(choice, remnants, GLANCE) {
                Ok(layout) => planned.push((layout, choice)),
                Err(problem) => first = first.or(Some(problem)),
            }
        }
        first = first.filter(|_| planned.is_empty());
        let mut planned = unbeaten(planned);
        let angled = |it: &Layout| {
            let mut rolls = std::iter::once(&it.pieces).chain(it.more_rolls().map(|it| &it.pieces));
            rolls.any(|it| interlock::any_angled(it, self.stock))
        };
        for (at_a_glance, choice) in planned.iter_mut().filter(|(it, _)| !it.optimal() || angled(it)) {
            if let Ok(layout) = self.layout(choice, remnants, PATIENCE) {
                *at_a_glance = layout;
            }
        }
        (unbeaten(planned), first)
    }

    fn layout(&self, choice: &Choice, remnants: &Remnants, effort: Effort) -> Result<Layout, Problem> {
        let Planning { job, floor, stock, cut } = self;
        let mut groups = Vec::new();
        let mut seams: Vec<Seam> = Vec::new();
        let mut ways = BTreeMap::new();
        let mut areas: Vec<Vec<RoomId>> = Vec::new();
        let mut through: Vec<OpeningId> = Vec::new();
        let mut left_out = Vec::new();
        let mut shapes = choice.shapes.iter();
        for (variants, &GroupPile { pile, .. }) in choice.variants.iter().zip(&choice.piles) {
            let mut pieces = Vec::new();
            for variant in variants {
                through.extend(&variant.through);
                if variant.of.len() > 1 {
                    areas.push(variant.of.iter().copied().map(RoomId).collect());
                }
                ways.extend(variant.of.iter().map(|it| (*it, variant.way(pile))));
                left_out.extend(variant.left_out.iter().map(|it| piece(job, it, pile, variant)));
                seams.extend(variant.seams.iter().cloned());
                for (planned, shape) in variant.pieces.iter().zip(shapes.by_ref()) {
                    let phase = shape.phase.map(|it| it.offset);
                    let piece = Piece { phase, ..piece(job, planned, pile, variant) };
                    pieces.push(Wanted { piece, shape: *shape, cut: None });
                }
            }
            groups.push(pieces);
        }
        cut.serve(&mut groups);
        let rooms: Vec<RoomId> = floor.rooms.iter().map(|it| it.room).filter(|id| ways.contains_key(&id.0)).collect();
        seams.extend(opening::seams(job, floor, &rooms, stock.goods.id, &through));

        let served = groups.iter().flatten().filter_map(|it| Some((it.piece.id.clone(), it.cut?.0))).collect();
        let meeting = meeting(job, floor, groups, &choice.piles);
        let together: Vec<Vec<String>> =
            meeting.iter().map(|group| group.iter().map(|it| it.piece.id.clone()).collect()).collect();
        let Divided { ordered, on_hand, elsewhere } = on_hand::divided(meeting, stock, remnants, cut);
        left_out.extend(elsewhere);
        let mut rolls = rolls(&ordered, stock, cut, effort).map_err(|it| {
            Problem::new(ProblemKind::BadPiece, Place::Goods(stock.goods.id), format!("{}: {it}", stock.goods.name))
        })?;
        let order = rolls.iter().map(|it| it.length).sum();
        let Strip { pieces, roll, cuts, .. } = rolls.remove(0);
        let net = net(job, floor, &rooms, &ways);
        let ordered = order * stock.goods.roll_width;
        let used: Area = on_hand.iter().map(|it| it.roll.length * it.roll.width).sum();
        let elsewhere: Area = left_out.iter().map(|it| it.width * it.length).sum();
        let seam_cost = seams.iter().flat_map(|it| &it.costs).map(|it| it.points).sum();
        let mut layout = Layout {
            goods: stock.goods.id,
            key: key(stock.goods.id, &ways),
            name: name(job, &choice.piles, &seams, &areas),
            groups: choice.piles.clone(),
            areas,
            seam_length: seams.iter().map(|it| it.length).sum(),
            ways,
            pieces,
            left_out,
            others: rolls.into_iter().chain(on_hand).collect(),
            cut: served,
            seams,
            roll,
            cuts,
            order,
            parted: false,
            freehand: None,
            net,
            ordered,
            carpet: ordered + used + elsewhere,
            seam_cost,
        };
        layout.parted = parted(&layout, &together);
        Ok(layout)
    }
}

/// Whether some pieces that meet are cut from two rolls or dye lots.
fn parted(layout: &Layout, together: &[Vec<String>]) -> bool {
    let lot = |source: Source| match source {
        Source::Roll(number) => (Some(number), None),
        Source::Remnant(_) => (None, layout.others.iter().find(|it| it.source == source).map(|it| it.name.trim())),
    };
    let lots: BTreeMap<&str, _> = layout.placed().map(|(piece, at)| (piece.id.as_str(), lot(at.source))).collect();
    together.iter().any(|group| group.iter().filter_map(|it| lots.get(it.as_str())).collect::<BTreeSet<_>>().len() > 1)
}

/// The pieces of each nap group together with those of the flights that start in one of its rooms: their carpet meets.
fn meeting(job: &Job, floor: &Floor, groups: Vec<Vec<Wanted>>, of: &[GroupPile]) -> Vec<Vec<Wanted>> {
    let at_foot = |flight: &FlightId| {
        let foot = job.flights.iter().find(|it| it.id == *flight)?.foot?;
        of.iter().map(|it| it.group).find(|it| floor.groups.get(*it).is_some_and(|it| it.rooms.contains(&foot.room)))
    };
    let mut meeting: BTreeMap<usize, Vec<Wanted>> = BTreeMap::new();
    for (wanted, of) in groups.into_iter().zip(of) {
        let group = floor.groups.get(of.group).and_then(|it| it.flights.iter().find_map(at_foot)).unwrap_or(of.group);
        meeting.entry(group).or_default().extend(wanted);
    }
    meeting.into_values().collect()
}

/// The shorter order that cuts around corners would need, where the crew makes none.
fn freehand(layout: &Layout, choice: &Choice, stock: &Stock) -> Option<Length> {
    let several = layout.more_rolls().next().is_some();
    if stock.rules.freehand || several || stock.goods.order_for(layout.roll.lower_bound) >= layout.order {
        return None;
    }
    let planned = choice.variants.iter().flatten().flat_map(|it| &it.pieces).map(piece_id).zip(&choice.shapes);
    let shapes: BTreeMap<String, Shape> = planned.map(|(id, shape)| (id, *shape)).collect();
    let pieces = layout.pieces.iter().filter_map(|it| Some(shapes.get(&it.id)?.named(&it.id)));
    let pieces: Vec<NestPiece> = pieces.collect();
    let roll = nest_above(&pieces, stock.goods.roll_width, GLANCE.budget, layout.roll.lower_bound).ok()?;
    Some(stock.goods.order_for(roll.length)).filter(|it| *it < layout.order)
}

/// The same for the same goods and ways.
fn key(goods: GoodsId, ways: &BTreeMap<Uuid, String>) -> String {
    let all = ways.iter().map(|(of, way)| format!("/{of}:{way}"));
    format!("{:016x}", checksum((goods.to_string() + &all.collect::<String>()).as_bytes()))
}

fn net(job: &Job, floor: &Floor, rooms: &[RoomId], ways: &BTreeMap<Uuid, String>) -> Area {
    let covered = floor.rooms.iter().filter(|it| rooms.contains(&it.room)).map(PlacedRoom::net_area);
    let stairs = job
        .flights
        .iter()
        .filter(|it| ways.contains_key(&it.id.0))
        .filter_map(|it| Some(Stair::of(it, &job.rules)?.area()));
    covered.chain(stairs).sum()
}

fn piece(job: &Job, planned: &Planned, pile: PileDirection, of: &Variant) -> Piece {
    let (cut, part) = (&planned.cut, planned.part);
    let label = match part {
        Part::Breadth { breadth, fill, .. } => {
            let name = names(job, of.of.iter().copied().map(RoomId));
            let breadth_of =
                if of.pieces.len() + of.left_out.len() > 1 { format!(", breadth {breadth}") } else { String::new() };
            let fill_of = fill.map(|it| format!(", part {it}")).unwrap_or_default();
            format!("{name}{breadth_of}{fill_of}")
        }
        Part::Flight { flight, part } => {
            let name = job.flights.iter().find(|it| it.id == flight).map_or("Stairs", flight_title);
            let words = match part {
                FlightPart::Whole => String::new(),
                FlightPart::Run(n) => format!(", run {n}"),
                FlightPart::Winder(n) => format!(", winder {n}"),
                FlightPart::Landing => ", landing".to_owned(),
            };
            format!("{name}{words}")
        }
    };
    Piece {
        id: piece_id(planned),
        label,
        part,
        covers: cut.covers.iter().map(|it| pile.to_plan(it)).collect(),
        pile,
        width: cut.width,
        length: cut.length,
        extra: cut.extra,
        phase: None,
    }
}

fn names(job: &Job, rooms: impl Iterator<Item = RoomId>) -> String {
    rooms.map(|it| job.room(it).map_or("Room", |it| it.title())).collect::<Vec<_>>().join(" and ")
}

/// Where it goes, and its size: another size is another piece.
pub(super) fn piece_id(planned: &Planned) -> String {
    let cut = &planned.cut;
    let size = format!("{}x{}", cut.width.0, cut.length.0);
    format!("{}-{:06x}", place_id(planned.part), short(&size))
}

/// The part of a piece's id that says where it goes: it stays when the size changes.
pub fn place_of(piece: &str) -> &str {
    piece.rsplit_once('-').map_or(piece, |(place, _)| place)
}

fn place_id(part: Part) -> String {
    match part {
        Part::Breadth { room, breadth, fill } => {
            format!("{:06x}-{breadth}{}", short(&room), fill.map(|it| format!(".{it}")).unwrap_or_default())
        }
        Part::Flight { flight, part } => {
            let place = match part {
                FlightPart::Whole => "0".to_owned(),
                FlightPart::Run(n) => n.to_string(),
                FlightPart::Winder(n) => format!("w{n}"),
                FlightPart::Landing => "l".to_owned(),
            };
            format!("{:06x}-{place}", short(&flight))
        }
    }
}

pub(super) fn flight_title(flight: &Flight) -> &str {
    match flight.name.trim() {
        "" => "Stairs without a name",
        name => name,
    }
}

/// "Pile up, 2 seams, 1 cross seam".
fn name(job: &Job, piles: &[GroupPile], seams: &[Seam], areas: &[Vec<RoomId>]) -> String {
    let mut titles: Vec<&str> = piles.iter().map(|it| it.pile.way()).collect();
    titles.sort_unstable();
    titles.dedup();
    let count = |kind: SeamKind| seams.iter().filter(|it| it.kind == kind).count();
    let named = |count: usize, what: &str| match count {
        1 => format!("1 {what}"),
        _ => format!("{count} {what}s"),
    };
    let mut name = format!("Pile {}, {}", titles.join(" and "), named(count(SeamKind::Side), "seam"));
    if count(SeamKind::Cross) > 0 {
        name += &format!(", {}", named(count(SeamKind::Cross), "cross seam"));
    }
    for rooms in areas {
        name += &format!(", {} as one", names(job, rooms.iter().copied()));
    }
    name
}

/// Numbers the layouts whose names are the same.
pub(crate) fn tell_apart(layouts: &mut [Layout]) {
    fn plain(name: &str) -> &str {
        name.split(" (").next().unwrap_or(name)
    }
    for i in 0..layouts.len() {
        let (before, rest) = layouts.split_at_mut(i);
        let own = &mut rest[0];
        let same = before.iter().filter(|it| plain(&it.name) == plain(&own.name)).count();
        own.name = match same {
            0 => plain(&own.name).to_owned(),
            _ => format!("{} ({})", plain(&own.name), same + 1),
        };
    }
}

/// 24 bits of the checksum: enough to tell the things of one house apart.
fn short(text: &impl ToString) -> u64 {
    let hash = checksum(text.to_string().as_bytes());
    (hash ^ (hash >> 24) ^ (hash >> 48)) & 0xff_ffff
}
