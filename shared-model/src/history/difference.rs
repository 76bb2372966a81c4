//! The difference between two states of a job. What only their histories hold, as readings set aside in both, is none.

use std::collections::BTreeSet;

use crate::ids::{DeviceId, ReadingId, RoomId, WallId};
use crate::job::{
    Check, Choice, Decision, Dispute, Fixture, Flight, Goods, Job, Mark, Opening, Order, Photo, Pin, Print, Reading,
    Rise, Room, Rule, TurnStatement, Wall,
};
use crate::length::{Length, Units};

/// One thing that differs.
#[derive(Clone, PartialEq, Debug)]
pub struct Difference {
    /// Where, as problems say it: `Hall, wall 2`. Empty for the job as a whole.
    pub place: String,
    pub what: What,
}

/// Something that stands in only one of two states, or differs in them.
#[derive(Clone, PartialEq, Debug)]
pub enum Swap<T> {
    Came(T),
    Went(T),
    Became { before: T, after: T },
}

#[derive(Clone, PartialEq, Debug)]
pub enum What {
    Name(Swap<String>),
    Units(Swap<Units>),
    /// Whether the job is put away.
    Archived(Swap<bool>),
    Rule(Rule, Swap<i64>),
    /// The name that a device's person goes by.
    Person(DeviceId, Swap<String>),
    Goods(Swap<Goods>),
    /// A room that comes or goes does so with everything in it.
    Room(RoomId, Swap<Heading>),
    /// By its place in the ring.
    Wall(RoomId, WallId, Swap<Order>),
    /// A length in force: superseded and superseding belong together.
    Reading(RoomId, WallId, Swap<Reading>),
    Turn(RoomId, WallId, Swap<TurnStatement>),
    Rise(RoomId, WallId, Swap<Rise>),
    Check(RoomId, Swap<Check>),
    Opening(RoomId, Swap<Opening>),
    Fixture(RoomId, Swap<Fixture>),
    Mark(RoomId, Swap<Mark>),
    Flight(Swap<Flight>),
    /// A chosen plan, a pin, a piece cut or left out, a remnant on hand.
    Choice(Swap<Choice>),
    Print(Swap<Print>),
    Photo(Swap<Photo>),
    /// Two people say different things at the same time.
    Dispute(Swap<Dispute>),
}

/// A room without what is in it.
#[derive(Clone, PartialEq, Debug)]
pub struct Heading {
    pub name: String,
    pub level: i64,
    pub goods: Option<crate::ids::GoodsId>,
    pub closed: bool,
    pub order: Order,
    /// The newest length in force of each wall, to recognise a room by that came or went.
    pub lengths: Vec<Option<Length>>,
}

impl<T: Clone + PartialEq> Swap<T> {
    /// `None` when both are the same, or nothing.
    pub fn of(before: Option<&T>, after: Option<&T>) -> Option<Self> {
        match (before.cloned(), after.cloned()) {
            (Some(before), Some(after)) => (before != after).then_some(Self::Became { before, after }),
            (Some(it), None) => Some(Self::Went(it)),
            (None, Some(it)) => Some(Self::Came(it)),
            (None, None) => None,
        }
    }
}

impl<T> Swap<T> {
    /// What stood before, and what stands after.
    pub const fn sides(&self) -> (Option<&T>, Option<&T>) {
        match self {
            Self::Came(it) => (None, Some(it)),
            Self::Went(it) => (Some(it), None),
            Self::Became { before, after } => (Some(before), Some(after)),
        }
    }
}

/// What differs from `before` to `after`; nothing for equal states.
pub fn difference(before: &Job, after: &Job) -> Vec<Difference> {
    let mut found = Vec::new();
    let job = |what: What| Difference { place: String::new(), what };
    let name = |job: &Job| Some(job.name.clone()).filter(|it| !it.is_empty());
    found.extend(Swap::of(name(before).as_ref(), name(after).as_ref()).map(|it| job(What::Name(it))));
    found.extend(Swap::of(Some(&before.archived), Some(&after.archived)).map(|it| job(What::Archived(it))));
    found.extend(Swap::of(Some(&before.units), Some(&after.units)).map(|it| job(What::Units(it))));
    found.extend(Rule::all().filter_map(|rule| {
        let swap = Swap::of(Some(&before.rules.get(rule)), Some(&after.rules.get(rule)));
        swap.map(|it| job(What::Rule(rule, it)))
    }));
    let devices: BTreeSet<&DeviceId> = before.people.keys().chain(after.people.keys()).collect();
    found.extend(devices.into_iter().filter_map(|of| {
        // A device without a person's name has only not given it yet.
        let name = |job: &'_ Job| job.people.get(of).filter(|it| !it.is_empty()).cloned();
        Swap::of(name(before).as_ref(), name(after).as_ref()).map(|it| job(What::Person(*of, it)))
    }));
    found.extend(keyed(&before.goods, &after.goods, |it| it.id).map(|it| job(What::Goods(it))));
    for (before, after) in sides(&before.rooms, &after.rooms, |it| it.id) {
        rooms(before, after, &mut found);
    }
    found.extend(keyed(&before.flights, &after.flights, |it| it.id).map(|it| job(What::Flight(it))));
    found.extend(choices(before, after).map(|it| job(What::Choice(it))));
    found.extend(keyed(&before.prints, &after.prints, |it| it.id).map(|it| job(What::Print(it))));
    let photos = |job: &Job| job.photos_in_force().cloned().collect::<Vec<_>>();
    found.extend(keyed(&photos(before), &photos(after), |it| it.id).map(|it| job(What::Photo(it))));
    let disputed = |it: &Dispute| format!("{:?} {}", it.place, it.field);
    found.extend(keyed(&before.disputes, &after.disputes, disputed).map(|it| job(What::Dispute(it))));
    found
}

fn rooms(before: Option<&Room>, after: Option<&Room>, found: &mut Vec<Difference>) {
    let Some(of) = after.or(before) else { return };
    let whole = before.is_none() || after.is_none();
    let heading = |room: &Room| heading(room, whole);
    let heading = Swap::of(before.map(heading).as_ref(), after.map(heading).as_ref());
    found.extend(heading.map(|it| Difference { place: of.title().to_owned(), what: What::Room(of.id, it) }));
    let (Some(before), Some(after)) = (before, after) else { return };
    let id = of.id;
    for (was, is) in sides(&before.walls, &after.walls, |it| it.id) {
        walls(before, after, (was, is), found);
    }
    let place = |wall: Option<WallId>, stands: bool| {
        let room = if stands { after } else { before };
        wall.map_or_else(|| of.title().to_owned(), |it| place(room, it))
    };
    let wall_of = |side: (Option<WallId>, Option<WallId>)| place(side.1.or(side.0), side.1.is_some());
    found.extend(keyed(&before.openings, &after.openings, |it| it.id).map(|it| {
        let (was, is) = it.sides();
        Difference { place: wall_of((was.map(|it| it.wall), is.map(|it| it.wall))), what: What::Opening(id, it) }
    }));
    found.extend(keyed(&before.fixtures, &after.fixtures, |it| it.id).map(|it| {
        let (was, is) = it.sides();
        Difference { place: wall_of((was.map(|it| it.wall), is.map(|it| it.wall))), what: What::Fixture(id, it) }
    }));
    let marks = |room: &Room| room.marks_in_force().cloned().collect::<Vec<_>>();
    found.extend(keyed(&marks(before), &marks(after), |it| it.id).map(|it| {
        let (was, is) = it.sides();
        let wall = (was.and_then(|it| it.wall), is.and_then(|it| it.wall));
        Difference { place: wall_of(wall), what: What::Mark(id, it) }
    }));
    let checks =
        read_swaps((before.checks_in_force(), after.checks_in_force()), (&before.checks, &after.checks), |it| {
            &it.reading
        });
    found.extend(checks.into_iter().map(|it| Difference { place: of.title().to_owned(), what: What::Check(id, it) }));
}

fn walls(before: &Room, after: &Room, (was, is): (Option<&Wall>, Option<&Wall>), found: &mut Vec<Difference>) {
    let Some(of) = is.or(was) else { return };
    let place = place(if is.is_some() { after } else { before }, of.id);
    let mut differs = |what: What| found.push(Difference { place: place.clone(), what });
    let ids = (after.id, of.id);
    if let Some(order) = Swap::of(was.map(|it| &it.order), is.map(|it| &it.order)) {
        differs(What::Wall(ids.0, ids.1, order));
    }
    // A wall that went took everything with it.
    let Some(is) = is else { return };
    let none = Wall::bare(of.id, is.order.clone());
    let was = was.unwrap_or(&none);
    for it in read_swaps((was.in_force(), is.in_force()), (&was.readings, &is.readings), |it| it) {
        differs(What::Reading(ids.0, ids.1, it));
    }
    let stated = |wall: &Wall| wall.turn_stated().map(|it| TurnStatement { supersedes: Vec::new(), ..it.clone() });
    if let Some(turn) = Swap::of(stated(was).as_ref(), stated(is).as_ref()) {
        differs(What::Turn(ids.0, ids.1, turn));
    }
    for it in read_swaps((was.rises_in_force(), is.rises_in_force()), (&was.rises, &is.rises), |it| &it.reading) {
        differs(What::Rise(ids.0, ids.1, it));
    }
}

fn place(room: &Room, wall: WallId) -> String {
    format!("{}, {}", room.title(), room.wall_title(wall))
}

fn heading(room: &Room, whole: bool) -> Heading {
    let (name, order) = (room.name.clone(), room.order.clone());
    let Room { level, goods, closed, .. } = *room;
    let walls = room.walls.iter().filter(|_| whole);
    let lengths = walls.map(|it| it.in_force().last().map(|it| it.value)).collect();
    Heading { name, level, goods, closed, order, lengths }
}

/// The things of both lists by their keys: those of the second in its order, then those only of the first.
fn sides<'a, T, K: PartialEq>(
    before: &'a [T],
    after: &'a [T],
    key: impl Fn(&T) -> K,
) -> impl Iterator<Item = (Option<&'a T>, Option<&'a T>)> {
    let of = |list: &'a [T], like: &T| list.iter().find(|it| key(it) == key(like));
    let mut both: Vec<_> = after.iter().map(|it| (of(before, it), Some(it))).collect();
    both.extend(before.iter().filter(|it| of(after, it).is_none()).map(|it| (Some(it), None)));
    both.into_iter()
}

fn keyed<T: Clone + PartialEq, K: PartialEq>(
    before: &[T],
    after: &[T],
    key: impl Fn(&T) -> K,
) -> impl Iterator<Item = Swap<T>> {
    sides(before, after, key).filter_map(|(before, after)| Swap::of(before, after)).collect::<Vec<_>>().into_iter()
}

/// The readings that came into force, each with the one that it stands for now; and those that only went.
fn read_swaps<'a, T: Clone + PartialEq + 'a>(
    (before, after): (impl Iterator<Item = &'a T>, impl Iterator<Item = &'a T>),
    (all_before, all_after): (&'a [T], &'a [T]),
    reading: impl Fn(&T) -> &Reading,
) -> Vec<Swap<T>> {
    let (before, after): (Vec<&T>, Vec<&T>) = (before.collect(), after.collect());
    let said = |it: &T| {
        let it = reading(it);
        (it.id, it.value, it.typed.clone(), it.tool, it.stamp)
    };
    let stays = |it: &T, list: &[&T]| list.iter().any(|other| said(other) == said(it));
    let went: Vec<&T> = before.iter().filter(|it| !stays(it, &after)).copied().collect();
    let came: Vec<&T> = after.iter().filter(|it| !stays(it, &before)).copied().collect();
    let all: Vec<&Reading> = all_after.iter().chain(all_before).map(&reading).collect();
    paired(went, came, |newer, older| builds_on(&all, reading(newer).id, reading(older).id))
}

/// Whether a reading supersedes another, directly or by others in between; or is the same.
fn builds_on(all: &[&Reading], newer: ReadingId, older: ReadingId) -> bool {
    let (mut seen, mut next) = (BTreeSet::new(), vec![newer]);
    while let Some(id) = next.pop() {
        if id == older {
            return true;
        }
        if seen.insert(id) {
            next.extend(all.iter().filter(|it| it.id == id).flat_map(|it| &it.supersedes));
        }
    }
    false
}

fn choices(before: &Job, after: &Job) -> impl Iterator<Item = Swap<Choice>> {
    let only = |of: &Job, other: &Job| {
        let stays =
            |it: &&Choice| !other.choices.iter().any(|other| other.id == it.id && other.decision == it.decision);
        of.choices.iter().filter(stays).cloned().collect::<Vec<_>>()
    };
    let (went, came) = (only(before, after), only(after, before));
    let builds_on = |newer: &Choice, older: &Choice| {
        newer.supersedes.contains(&older.id) || same_matter(&newer.decision, &older.decision)
    };
    paired(went.iter().collect(), came.iter().collect(), builds_on).into_iter()
}

/// Whether two decisions answer one question, so that only one of them can stand.
pub(super) fn same_matter(one: &Decision, other: &Decision) -> bool {
    match (one, other) {
        (Decision::Plan(one), Decision::Plan(other)) => one.goods == other.goods,
        (Decision::Cut(one), Decision::Cut(other)) => one.goods == other.goods && one.piece == other.piece,
        (Decision::LeaveOut { piece: one }, Decision::LeaveOut { piece: other }) => one == other,
        (Decision::Pin { room: one, pin: Pin::Pile(_) }, Decision::Pin { room: other, pin: Pin::Pile(_) }) => {
            one == other
        }
        _ => false,
    }
}

fn paired<T: Clone + PartialEq>(mut went: Vec<&T>, came: Vec<&T>, builds_on: impl Fn(&T, &T) -> bool) -> Vec<Swap<T>> {
    let mut swaps = Vec::new();
    for new in came {
        let old = went.iter().position(|old| builds_on(new, old) || builds_on(old, new));
        swaps.push(match old.map(|it| went.remove(it)) {
            Some(old) => Swap::Became { before: old.clone(), after: new.clone() },
            None => Swap::Came(new.clone()),
        });
    }
    swaps.extend(went.into_iter().map(|it| Swap::Went(it.clone())));
    swaps
}
