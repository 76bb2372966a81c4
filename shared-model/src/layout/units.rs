//! The nap groups of one goods, with all ways to carpet their rooms and flights that the crew's pins leave open.

use std::collections::{BTreeMap, BTreeSet};

use uuid::Uuid;

use super::PileDirection;
use super::area::{self, Area};
use super::choose::{Group, Unit, alternatives};
use super::flight::Stair;
use super::held::{self, Held};
use super::laying::{House, Laying};
use super::plan;
use super::stock::Stock;
use super::variant::{self, Variant};
use crate::floor::{Floor, NapGroup, PlacedRoom};
use crate::ids::RoomId;
use crate::job::{Flight, Job, Pin};
use crate::length::Length;
use crate::problem::{Place, Problem, ProblemKind};

/// The nap groups of the goods with the variants of their rooms and flights; problems for what cannot be laid or pinned.
pub(super) fn groups(job: &Job, floor: &Floor, stock: &Stock, held: &Held) -> (Vec<Group>, Vec<Problem>) {
    House::of(job, floor, stock).groups(held)
}

/// The same groups with every room and flight carpeted as in the chosen plan, where that is possible; and those for which it is not.
pub(super) fn as_chosen(groups: &[Group]) -> (Vec<Group>, Vec<Uuid>) {
    let mut anew = Vec::new();
    let chosen = |it: &&Group| it.units.iter().filter(|it| it.chosen.is_some()).map(|it| it.of.len()).sum::<usize>();
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
                Unit { of: unit.of.clone(), variants, chosen: None }
            }
            _ => {
                anew.extend(&unit.of);
                Unit { chosen: None, ..unit.clone() }
            }
        });
        let units: Vec<Unit> = units.collect();
        let possible = |pile: &PileDirection| units.iter().all(|it| it.can_run(*pile));
        let piles = pile.map_or_else(|| group.piles.clone(), |it| vec![it]).into_iter().filter(possible).collect();
        Group { index: group.index, units, piles }
    });
    (held.collect(), anew)
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
        let names = || {
            let rooms = areas.iter().flat_map(|it| &it.rooms);
            rooms.map(|it| it.name.as_str()).collect::<Vec<_>>().join(", ")
        };
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
        let of = area.rooms.iter().map(|it| it.room.0).collect();
        let kept = laying.useful(piles, &pins);
        if !is_empty(&kept) {
            // Whoever pins something after a layout was chosen wants it otherwise.
            let chosen = chosen.filter(|(pile, variant)| held::keeps_all(&pins, area, *pile, variant));
            return (Some(Unit { of, variants: kept, chosen }), None);
        }
        let unit = |variants| Unit { of, variants, chosen };
        let free = laying.useful(piles, &[]);
        if is_empty(&free) {
            return (None, Some(uncuttable(area.rooms[0], self.stock, self.job)));
        }
        // The pin without which, or alone with which, nothing is possible is the one to name.
        let alone = pins.iter().find(|it| is_empty(&laying.useful(piles, &[**it]))).or(pins.last());
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
        let variants: Vec<Variant> =
            variants.into_iter().map(|it| it.without(|piece| held.leaves_out(piece))).collect();
        let way = held.plan.and_then(|it| it.ways.get(&flight.id.0));
        let chosen = way.and_then(|way| {
            let (pile, key) = variant::read_way(way)?;
            Some((pile, variants.iter().find(|it| it.key == key)?.clone()))
        });
        // A flight stands in a group of its own.
        let piles = chosen.as_ref().map_or_else(|| piles.to_vec(), |(pile, _)| vec![*pile]);
        Ok(Unit {
            of: vec![flight.id.0],
            variants: piles.iter().map(|&pile| (pile, variants.clone())).collect(),
            chosen,
        })
    }
}

fn pinned_piles(group: &NapGroup, held: &Held) -> BTreeSet<PileDirection> {
    let pins = group.rooms.iter().flat_map(|it: &RoomId| held.pins(*it));
    pins.filter_map(|it| if let Pin::Pile(pile) = it { Some(pile) } else { None }).collect()
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
