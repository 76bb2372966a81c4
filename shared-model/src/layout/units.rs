//! The nap groups of one goods, with all ways to carpet their rooms and flights that the crew's pins leave open.

use std::collections::{BTreeMap, BTreeSet};

use uuid::Uuid;

use super::PileDirection;
use super::area::{self, Area};
use super::choose::{self, Group, Unit, alternatives};
use super::flight::Stair;
use super::held::{self, Held};
use super::patch::Ground;
use super::stock::Stock;
use super::through::Through;
use super::variant::{self, Variant};
use super::{cost, lines, opening, plan};
use crate::floor::{Floor, NapGroup, PlacedRoom};
use crate::ids::RoomId;
use crate::job::{Flight, Job, Pin};
use crate::length::Length;
use crate::polygon::Axis;
use crate::problem::{Place, Problem, ProblemKind};

/// In houses of more rooms no breadth is made to measure for a piece of another room.
const MOST_PAIRED: usize = 40;
/// So many widths are tried that leave room for another piece.
const MOST_PARTNERS: usize = 5;

/// The nap groups of the goods with the variants of their rooms and flights; problems for what cannot be laid or pinned.
pub(super) fn groups(job: &Job, floor: &Floor, stock: &Stock, held: &Held) -> (Vec<Group>, Vec<Problem>) {
    let house = House { job, floor, stock, partners: partners(floor, stock) };
    house.groups(held)
}

/// The same groups with every room and flight carpeted as in the chosen plan, where that is possible; and those for which it is not.
pub(super) fn as_chosen(groups: &[Group]) -> (Vec<Group>, Vec<Uuid>) {
    let mut anew = Vec::new();
    let chosen = |it: &&Group| it.units.iter().filter(|it| it.chosen.is_some()).flat_map(Unit::all).count();
    // Of the ways to take rooms as one, the one that was chosen; else the first.
    let closest = alternatives(groups).filter_map(|same| same.iter().rev().max_by_key(chosen));
    let held = closest.map(|group| {
        let piles: BTreeSet<PileDirection> =
            group.units.iter().filter_map(|it| it.chosen.as_ref()).map(|(pile, _)| *pile).collect();
        // Rooms that were chosen with different piles, and now share one, are planned anew.
        let pile = piles.first().copied().filter(|_| piles.len() == 1);
        let units = group.units.iter().map(|unit| match (&unit.chosen, pile) {
            (Some((pile, variant)), Some(_)) => {
                let variants = vec![(*pile, vec![variant.clone()])];
                Unit { of: unit.of, with: unit.with.clone(), variants, chosen: None }
            }
            _ => {
                anew.extend(unit.all());
                Unit { of: unit.of, with: unit.with.clone(), variants: unit.variants.clone(), chosen: None }
            }
        });
        let units: Vec<Unit> = units.collect();
        let possible = |pile: &PileDirection| units.iter().all(|it| it.can_run(*pile));
        let piles = pile.map_or_else(|| group.piles.clone(), |it| vec![it]).into_iter().filter(possible).collect();
        Group { index: group.index, units, piles }
    });
    (held.collect(), anew)
}

/// What is left of the roll beside the longest of the pieces that leave something, with full breadths in every room. A large house has
/// pieces enough to lie side by side; where the pattern repeats across, seams have no choice.
fn partners(floor: &Floor, stock: &Stock) -> Vec<Length> {
    let groups = || floor.groups.iter().filter(|it| it.goods == stock.goods.id);
    let rooms: BTreeSet<RoomId> = groups().flat_map(|it| it.rooms.iter().copied()).collect();
    if rooms.len() > MOST_PAIRED || stock.repeat_across.is_some() {
        return Vec::new();
    }
    let mut longest: BTreeMap<Length, Length> = BTreeMap::new();
    for placed in floor.rooms.iter().filter(|it| rooms.contains(&it.room)) {
        for pile in [PileDirection::North, PileDirection::East] {
            let ground = Ground::of(pile.northward(&placed.covered), stock, false);
            for patch in ground.and_then(|it| lines::from_the_west(&it)).unwrap_or_default() {
                let left = stock.whole_steps(stock.goods.roll_width - patch.width());
                let length = patch.bounds.size(Axis::Y);
                longest.entry(left).and_modify(|it| *it = length.max(*it)).or_insert(length);
            }
        }
    }
    longest.retain(|left, _| *left >= cost::NARROW);
    let mut widths: Vec<(Length, Length)> = longest.into_iter().map(|(left, length)| (length, left)).collect();
    widths.sort_unstable_by(|one, other| other.cmp(one));
    widths.into_iter().take(MOST_PARTNERS).map(|(_, left)| left).collect()
}

struct House<'a> {
    job: &'a Job,
    floor: &'a Floor,
    stock: &'a Stock<'a>,
    /// Widths of breadths that leave room on the roll beside them for a piece of another room.
    partners: Vec<Length>,
}

/// What came of areas of a nap group, by their rooms: most are in several of its partitions.
type Known = BTreeMap<Vec<RoomId>, (Option<Unit>, Option<Problem>)>;

/// What came of a nap group.
struct Found {
    group: Option<Group>,
    problems: Vec<Problem>,
    /// Its pins cannot all be kept, in words.
    contradiction: Option<String>,
}

impl House<'_> {
    fn groups(&self, held: &Held) -> (Vec<Group>, Vec<Problem>) {
        let (job, floor, goods) = (self.job, self.floor, self.stock.goods.id);
        let mut problems = Vec::new();
        let mut groups = Vec::new();
        for (index, group) in floor.groups.iter().enumerate().filter(|(_, it)| it.goods == goods) {
            let rooms: Vec<&PlacedRoom> =
                group.rooms.iter().filter_map(|id| floor.rooms.iter().find(|it| it.room == *id)).collect();
            let partitions = area::partitions(job, &rooms, |one, other| held.as_one(one, other));
            let mut ways = self.ways(index, group, &partitions, held);
            if let Some(text) = ways.first_mut().and_then(|it| it.contradiction.take()) {
                problems.push(Problem::new(ProblemKind::PinImpossible, Place::Goods(goods), text));
                ways = self.ways(index, group, &partitions, &held.without_pins(&group.rooms));
            }
            problems.extend(ways.first_mut().map(|it| std::mem::take(&mut it.problems)).unwrap_or_default());
            groups.extend(ways.into_iter().filter_map(|it| it.group));
        }
        (groups, problems)
    }

    /// The partitions of a nap group that leave the fewest wishes open.
    fn ways(&self, index: usize, group: &NapGroup, partitions: &[Vec<Area>], held: &Held) -> Vec<Found> {
        let unmet = |it: &Found| (it.contradiction.is_some(), it.problems.len());
        let mut known = Known::new();
        let mut ways: Vec<Found> = partitions.iter().map(|it| self.group(index, group, it, held, &mut known)).collect();
        let fewest = ways.iter().map(unmet).min();
        ways.retain(|it| Some(unmet(it)) == fewest);
        ways
    }

    fn group(&self, index: usize, group: &NapGroup, areas: &[Area], held: &Held, known: &mut Known) -> Found {
        let pinned = pinned_piles(group, held);
        let piles = self.piles(group, &pinned);
        let mut problems = Vec::new();
        let mut units = Vec::new();
        for area in areas {
            let rooms = area.rooms.iter().map(|it| it.room).collect();
            let (unit, problem) = known.entry(rooms).or_insert_with(|| self.area(area, &piles, held)).clone();
            units.extend(unit);
            problems.extend(problem);
        }
        for flight in group.flights.iter().filter_map(|id| self.job.flights.iter().find(|it| it.id == *id)) {
            match self.flight(flight, &piles, held) {
                Ok(unit) => units.push(unit),
                Err(problem) => problems.push(problem),
            }
        }
        let possible: Vec<PileDirection> =
            piles.iter().copied().filter(|pile| units.iter().all(|it| it.can_run(*pile))).collect();
        let has_pins = group.rooms.iter().any(|it| held.pins(*it).next().is_some());
        let impossible = !units.is_empty() && possible.is_empty();
        let names = || areas.iter().map(Area::name).collect::<Vec<_>>().join(", ");
        let contradiction = (has_pins && (impossible || !units.is_empty() && pinned.len() > 1)).then(|| {
            format!(
                "{}: these rooms share one pile direction, and their pins cannot all be kept with one. They are planned without \
                 their pins; take one back.",
                names()
            )
        });
        if impossible && contradiction.is_none() {
            let text = format!(
                "{}: these rooms share one pile direction, and with none do breadths of these goods cover all of them. Let another floor \
                 begin between them, or choose wider goods.",
                names()
            );
            problems.push(Problem::new(ProblemKind::BadPiece, Place::Goods(group.goods), text));
        }
        let laid = !units.is_empty() && !possible.is_empty();
        Found { group: laid.then_some(Group { index, units, piles: possible }), problems, contradiction }
    }

    /// The pile directions to try.
    fn piles(&self, group: &NapGroup, pinned: &BTreeSet<PileDirection>) -> Vec<PileDirection> {
        use PileDirection::{East, North, South, West};
        if !pinned.is_empty() {
            return pinned.iter().copied().collect();
        }
        match self.stock.repeat {
            // Stairs lie anywhere on the plan, so their pile has no direction there.
            _ if group.rooms.is_empty() => vec![North],
            // Plain goods give the same cuts with the pile turned round.
            None => vec![North, East],
            Some(_) => vec![North, East, South, West],
        }
    }

    /// An area's variants; where its pins leave none, those without its pins, and the reason.
    fn area(&self, area: &Area, piles: &[PileDirection], held: &Held) -> (Option<Unit>, Option<Problem>) {
        let laying = Laying::of(self, area, held);
        let chosen = held.plan.and_then(|it| it.ways.get(&area.room().0)).and_then(|way| laying.chosen(way));
        let pins: Vec<(RoomId, Pin)> =
            area.rooms.iter().flat_map(|it| held.pins(it.room).map(|pin| (it.room, pin))).collect();
        let with = area.rooms[1..].iter().map(|it| it.room.0).collect();
        let unit = |variants| Unit { of: area.room().0, with, variants, chosen };
        let kept = laying.variants(piles, &pins);
        if !is_empty(&kept) {
            return (Some(unit(kept)), None);
        }
        let free = laying.variants(piles, &[]);
        if is_empty(&free) {
            return (None, Some(uncuttable(area.rooms[0], self.stock, self.job)));
        }
        // The pin without which, or alone with which, nothing is possible is the one to name.
        let alone = pins.iter().find(|it| is_empty(&laying.variants(piles, &[**it]))).or(pins.last());
        let show = |it: Length| it.show(self.job.units.style());
        let problem = alone.and_then(|(room, pin)| {
            let placed = area.rooms.iter().find(|it| it.room == *room)?;
            let text = held::impossible(*pin, placed, self.stock, show);
            Some(Problem::new(ProblemKind::PinImpossible, Place::Room(*room), text))
        });
        (Some(unit(free)), problem)
    }

    fn flight(&self, flight: &Flight, piles: &[PileDirection], held: &Held) -> Result<Unit, Problem> {
        let problem = |kind, text: String| Err(Problem::new(kind, Place::Flight(flight.id), text));
        let name = plan::flight_title(flight);
        let Some(stair) = Stair::of(flight, self.stock.rules) else {
            let text = format!("{name}: its steps, riser, going or width are missing or impossible. Measure them.");
            return problem(ProblemKind::BadLength, text);
        };
        let variants = variant::of_flight(flight.id, &stair, self.stock.rules, self.stock);
        let widest = variants.iter().flat_map(|it| &it.pieces).map(|it| it.cut.width).max().unwrap_or_default();
        if widest > self.stock.goods.roll_width {
            let show = |it: Length| it.show(self.job.units.style());
            let text = format!(
                "{name}: with its tucked sides it is {} wide, but the roll only {}. Choose wider goods.",
                show(widest),
                show(self.stock.goods.roll_width)
            );
            return problem(ProblemKind::BadPiece, text);
        }
        let variants: Vec<Variant> = variants.into_iter().map(|it| without_left_out(it, held)).collect();
        let way = held.plan.and_then(|it| it.ways.get(&flight.id.0));
        let chosen = way.and_then(|way| {
            let (pile, key) = read_way(way)?;
            Some((pile, variants.iter().find(|it| it.key == key)?.clone()))
        });
        // A flight stands in a group of its own.
        let piles = chosen.as_ref().map_or_else(|| piles.to_vec(), |(pile, _)| vec![*pile]);
        Ok(Unit {
            of: flight.id.0,
            with: Vec::new(),
            variants: piles.iter().map(|&pile| (pile, variants.clone())).collect(),
            chosen,
        })
    }
}

/// An area with what its variants depend on.
struct Laying<'a> {
    area: &'a Area<'a>,
    stock: &'a Stock<'a>,
    partners: &'a [Length],
    seamed: bool,
    held: &'a Held<'a>,
}

impl<'a> Laying<'a> {
    fn of(house: &'a House<'a>, area: &'a Area<'a>, held: &'a Held<'a>) -> Self {
        let is_seamed = |it: &PlacedRoom| opening::is_seamed(house.job, house.floor, it.room, house.stock.goods.id);
        let seamed = area.rooms.iter().any(|it| is_seamed(it));
        Self { area, stock: house.stock, partners: &house.partners, seamed, held }
    }

    fn all(&self, pile: PileDirection, through: Option<&Through>) -> Vec<Variant> {
        let all = variant::of_area(self.area, pile, self.stock, self.seamed, through);
        all.into_iter().map(|it| without_left_out(it, self.held)).collect()
    }

    fn variants(&self, piles: &[PileDirection], pins: &[(RoomId, Pin)]) -> Vec<(PileDirection, Vec<Variant>)> {
        let through = held::pinned_seams(pins.iter().map(|it| it.1));
        let of_pile = |&pile: &PileDirection| {
            let mut all = self.all(pile, through.as_ref());
            if through.is_none() && all.iter().any(|it| !it.lines.is_empty()) {
                all.extend(self.paired(pile));
            }
            all.retain(|variant| pins.iter().all(|it| held::keeps(*it, self.area, pile, variant)));
            (pile, choose::useful(all, self.stock))
        };
        piles.iter().map(of_pile).collect()
    }

    /// With an outer breadth just so wide that a piece of another room can lie beside it.
    fn paired(&self, pile: PileDirection) -> Vec<Variant> {
        let Some(bounds) = pile.northward(&self.area.covered).bounds() else { return Vec::new() };
        let span = bounds.size(Axis::X);
        let trim = self.stock.rules.seam_trim;
        let wall = self.stock.rules.wall_allowance.max(if self.seamed { trim } else { Length::ZERO });
        let from_west = self.partners.iter().map(|width| *width - wall - trim).flat_map(|it| [it, span - it]);
        let inside = from_west.filter(|it| *it >= cost::NARROW && *it <= span - cost::NARROW);
        inside.flat_map(|it| self.all(pile, Some(&Through::from_west(it)))).collect()
    }

    /// The variant of a chosen way, if it is possible today.
    fn chosen(&self, way: &str) -> Option<(PileDirection, Variant)> {
        let (pile, key) = read_way(way)?;
        let all = self.all(pile, Through::read(key).as_ref());
        Some((pile, all.into_iter().find(|it| it.key == key)?))
    }
}

/// Every way to carpet these rooms as one with this pile, also those that pins rule out; with `through`, every way with seams at these
/// places.
pub(super) fn every_way(
    job: &Job,
    floor: &Floor,
    stock: &Stock,
    rooms: &[Uuid],
    pile: PileDirection,
    through: Option<&Through>,
) -> Vec<Variant> {
    let placed: Vec<&PlacedRoom> = floor.rooms.iter().filter(|it| rooms.contains(&it.room.0)).collect();
    let Some(area) = area::partitions(job, &placed, |_, _| true).into_iter().find(|it| it.len() == 1) else {
        return Vec::new();
    };
    let (held, house) = (Held::of(job, None), House { job, floor, stock, partners: Vec::new() });
    area.iter().flat_map(|it| Laying::of(&house, it, &held).all(pile, through)).collect()
}

/// The words for how a room or flight is carpeted.
pub(super) fn way(pile: PileDirection, variant: &Variant) -> String {
    format!("{}/{}", pile.title(), variant.key)
}

fn read_way(way: &str) -> Option<(PileDirection, &str)> {
    use PileDirection::{East, North, South, West};
    let (title, key) = way.split_once('/')?;
    let pile = [North, East, South, West].into_iter().find(|it| it.title() == title)?;
    Some((pile, key))
}

fn pinned_piles(group: &NapGroup, held: &Held) -> BTreeSet<PileDirection> {
    let pins = group.rooms.iter().flat_map(|it: &RoomId| held.pins(*it));
    pins.filter_map(|it| if let Pin::Pile(pile) = it { Some(pile) } else { None }).collect()
}

fn without_left_out(mut variant: Variant, held: &Held) -> Variant {
    let (out, kept) = variant.pieces.into_iter().partition(|it| held.leaves_out(&plan::piece_id(it)));
    (variant.left_out, variant.pieces) = (out, kept);
    variant
}

fn is_empty(variants: &[(PileDirection, Vec<Variant>)]) -> bool {
    variants.iter().all(|(_, it)| it.is_empty())
}

fn uncuttable(placed: &PlacedRoom, stock: &Stock, job: &Job) -> Problem {
    let width = stock.goods.roll_width.show(job.units.style());
    let text =
        format!("{}: no breadths of a roll {width} wide cover it. Check the room's size and the roll's.", placed.name);
    Problem::new(ProblemKind::BadPiece, Place::Room(placed.room), text)
}
