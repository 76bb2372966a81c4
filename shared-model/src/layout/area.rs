//! Rooms that are carpeted as one: the carpet runs through the openings between them.

use std::collections::BTreeSet;

use super::PileDirection;
use super::mouth::{Mouth, mouths};
use crate::floor::PlacedRoom;
use crate::ids::{OpeningId, RoomId, WallId};
use crate::job::{FloorAtOpening, Job};
use crate::length::Length;
use crate::polygon::{Axis, Point, Ring};

/// Where the floors of two rooms meet in an opening, they lie no farther apart than this, or the carpet does not run through: the plan
/// of rooms that were measured apart is no better there.
const APART: Length = Length::sixty_fourths(16);
/// Openings that are tried one by one.
const MOST_PASSAGES: usize = 3;

/// One room, or several that the carpet covers as one.
pub(super) struct Area<'a> {
    /// The first gives its pieces their names.
    pub rooms: Vec<&'a PlacedRoom>,
    /// On the plan, openings that are run through included.
    pub covered: Ring,
    /// Room by room.
    mouths: Vec<Vec<Mouth<'a>>>,
    /// The openings that are run through, seen from both rooms.
    pub through: Vec<[OpeningId; 2]>,
}

type Edge = (Point, Point);

/// An opening between two rooms, seen from both.
#[derive(Clone)]
struct Passage {
    sides: [(RoomId, OpeningId); 2],
    /// The edges of both rooms' floors half way through the wall.
    edges: [Edge; 2],
    /// The crew said so.
    runs_through: bool,
}

impl<'a> Area<'a> {
    pub fn of(job: &'a Job, placed: &'a PlacedRoom) -> Self {
        let mouths = job.room(placed.room).map(|it| mouths(it, placed)).unwrap_or_default();
        Self { rooms: vec![placed], covered: placed.covered.clone(), mouths: vec![mouths], through: Vec::new() }
    }

    pub fn room(&self) -> RoomId {
        self.rooms[0].room
    }

    pub fn contains(&self, room: RoomId) -> bool {
        self.rooms.iter().any(|it| it.room == room)
    }

    /// The room of its in which a point of the plan lies; the first if it lies within a wall.
    pub fn room_at(&self, at: Point) -> RoomId {
        self.rooms.iter().find(|it| it.covered.contains(at)).map_or_else(|| self.room(), |it| it.room)
    }

    /// Both ends of a wall, with this pile to the north.
    pub fn wall(&self, pile: PileDirection, wall: WallId) -> Option<(Point, Point)> {
        self.rooms.iter().find_map(|it| {
            let i = it.outline.walls.iter().position(|it| *it == wall)?;
            pile.northward(&it.ring).edges().nth(i)
        })
    }

    /// Its openings, each once.
    pub fn mouths(&self) -> impl Iterator<Item = &Mouth<'a>> {
        self.mouths.iter().flatten().filter(|it| self.through.iter().all(|[_, far]| *far != it.opening.id))
    }

    /// Straight ways through a room between each two openings that people walk through.
    pub fn paths(&self) -> impl Iterator<Item = (Point, Point)> + '_ {
        self.mouths.iter().flat_map(|mouths| {
            let walked = || mouths.iter().filter(|it| it.opening.kind.reaches_floor()).map(Mouth::middle);
            walked().enumerate().flat_map(move |(i, one)| walked().skip(i + 1).map(move |other| (one, other)))
        })
    }

    /// With another, through an opening between them, and through all others between their rooms: the same cuts lie on both sides of
    /// these. `None` where the floors do not meet.
    fn joined(&self, other: &Self, passage: &Passage, passages: &[Passage]) -> Option<Self> {
        let ((from, to), (back, forth)) = level(passage.edges[0], passage.edges[1])?;
        let here = around(&self.covered, passage.edges[0])?;
        let there = around(&other.covered, passage.edges[1])?;
        // Up to the opening, round the other floor, and on from the opening's other side.
        let ring = [&here[..], &[from, forth], &there[..], &[back, to]].concat();
        let mut joined = Self {
            rooms: [&self.rooms[..], &other.rooms].concat(),
            covered: Ring(ring).tidied(),
            mouths: [&self.mouths[..], &other.mouths].concat(),
            through: [&self.through[..], &other.through, &[passage.sides.map(|it| it.1)]].concat(),
        };
        // Through the others the floor's edges meet without a gap: the wall between two openings is no part of the floor.
        let mut gaping = joined.covered.clone();
        for further in
            passages.iter().filter(|it| it.sides.iter().all(|it| self.contains(it.0) || other.contains(it.0)))
        {
            let sides = further.sides.map(|it| it.1);
            if joined.through.contains(&sides) {
                continue;
            }
            let (one, other) = level(further.edges[0], further.edges[1])?;
            for (edge, to) in [(further.edges[0], one), (further.edges[1], other)] {
                let i = edge_at(&joined.covered, edge)?;
                joined.covered = with_edge(&joined.covered, i, to, Length::ZERO);
                gaping = with_edge(&gaping, i, to, Length::sixty_fourths(1));
            }
            joined.through.push(sides);
        }
        (gaping.crossing().is_none() && gaping.is_clockwise()).then_some(joined)
    }
}

/// All ways to carpet a group's rooms as areas, the one with a seam in every opening first.
pub(super) fn partitions<'a>(
    job: &'a Job,
    rooms: &[&'a PlacedRoom],
    chosen: impl Fn(RoomId, RoomId) -> bool,
) -> Vec<Vec<Area<'a>>> {
    let passages = passages(job, rooms);
    let pairs = || passages.iter().filter(|it| it.runs_through).map(|it| it.sides.map(|it| it.0));
    let all: BTreeSet<[RoomId; 2]> = pairs().collect();
    let mut tried = vec![BTreeSet::new(), all.clone()];
    if all.len() > 1 {
        let mut one_by_one: Vec<BTreeSet<[RoomId; 2]>> = pairs().map(|it| BTreeSet::from([it])).collect();
        one_by_one.dedup();
        tried.extend(one_by_one.into_iter().take(MOST_PASSAGES));
    }
    tried.push(all.into_iter().filter(|[one, other]| chosen(*one, *other)).collect());

    let mut found: Vec<Vec<Area>> = Vec::new();
    let mut seen: BTreeSet<Vec<Vec<RoomId>>> = BTreeSet::new();
    for pairs in tried {
        let areas = areas(job, rooms, &passages, |it| pairs.contains(it));
        let rooms: Vec<Vec<RoomId>> = areas.iter().map(|it| it.rooms.iter().map(|it| it.room).collect()).collect();
        if seen.insert(rooms) {
            found.push(areas);
        }
    }
    found
}

/// These rooms as one area, if carpet runs through between all of them.
pub(super) fn as_one<'a>(job: &'a Job, rooms: &[&'a PlacedRoom]) -> Option<Area<'a>> {
    let mut areas = areas(job, rooms, &passages(job, rooms), |_| true);
    areas.pop().filter(|_| areas.is_empty())
}

/// The areas that come of carpet running through between these pairs of rooms.
fn areas<'a>(
    job: &'a Job,
    rooms: &[&'a PlacedRoom],
    passages: &[Passage],
    run_through: impl Fn(&[RoomId; 2]) -> bool,
) -> Vec<Area<'a>> {
    let mut areas: Vec<Area> = rooms.iter().map(|it| Area::of(job, it)).collect();
    for passage in passages.iter().filter(|it| it.runs_through && run_through(&it.sides.map(|it| it.0))) {
        let of = |room| areas.iter().position(|it| it.contains(room));
        let (Some(one), Some(other)) = (of(passage.sides[0].0), of(passage.sides[1].0)) else { continue };
        if one != other
            && let Some(joined) = areas[one].joined(&areas[other], passage, passages)
        {
            areas[one] = joined;
            areas.remove(other);
        }
    }
    areas
}

/// The openings between the rooms that carpet lies on both sides of, each once.
fn passages(job: &Job, rooms: &[&PlacedRoom]) -> Vec<Passage> {
    let mut passages: Vec<Passage> = Vec::new();
    for placed in rooms {
        let Some(room) = job.room(placed.room) else { continue };
        for mouth in mouths(room, placed).iter().filter(|it| it.opening.is_carpeted()) {
            let Some(beyond) = rooms.iter().find(|it| mouth.opening.leads_to == Some(it.room)) else { continue };
            let sides = job.room(beyond.room).map(|it| mouths(it, beyond)).unwrap_or_default();
            let leads_back =
                |it: &&Mouth| it.opening.leads_to.is_none_or(|it| it == room.id) && it.opening.is_carpeted();
            let middle = |it: &Mouth| it.half_way().0.middle(it.half_way().1);
            let far = |it: &&Mouth| middle(it).distance(middle(mouth));
            let Some(back) = sides.iter().filter(leads_back).min_by_key(far) else { continue };
            let known = passages.iter().flat_map(|it| it.sides).any(|(_, it)| it == mouth.opening.id);
            if !known {
                passages.push(Passage {
                    sides: [(room.id, mouth.opening.id), (beyond.room, back.opening.id)],
                    edges: [mouth.half_way(), back.half_way()],
                    runs_through: [mouth, back].iter().any(|it| it.opening.floor == FloorAtOpening::RunsThrough),
                });
            }
        }
    }
    passages
}

/// Which of a ring's edges this is.
fn edge_at(ring: &Ring, (from, to): Edge) -> Option<usize> {
    let near = |one: Point, other: Point| one.distance(other) <= Length::sixty_fourths(1);
    ring.edges().position(|(a, b)| near(a, from) && near(b, to))
}

/// The ring with one of its edges elsewhere, drawn back into the floor by so much: the floor lies to the right of its edges.
fn with_edge(ring: &Ring, i: usize, (from, to): Edge, back: Length) -> Ring {
    let along = to - from;
    let inward = Point::new(back * along.y.0.signum(), -back * along.x.0.signum());
    let mut ring = ring.clone();
    let next = (i + 1) % ring.0.len();
    (ring.0[i], ring.0[next]) = (from + inward, to + inward);
    ring
}

/// The corners of a ring from the end of one of its edges round to that edge's start, without these two. `None` without such an edge.
fn around(ring: &Ring, edge: Edge) -> Option<Vec<Point>> {
    let at = edge_at(ring, edge)?;
    let count = ring.0.len();
    Some((2..count).map(|it| ring.0[(at + it) % count]).collect())
}

/// The edges of two floors that face each other, brought to one line. `None` when they lie too far apart.
fn level(one: Edge, other: Edge) -> Option<(Edge, Edge)> {
    let axis = [Axis::X, Axis::Y].into_iter().find(|it| one.0.along(*it) == one.1.along(*it));
    let gap = |axis| (one.0.along(axis) - other.0.along(axis)).abs();
    match axis.filter(|it| other.0.along(*it) == other.1.along(*it)) {
        Some(axis) if gap(axis) <= APART => {
            let at = (one.0.along(axis) + other.0.along(axis)) / 2;
            let put = |it: Point| if axis == Axis::X { Point::new(at, it.y) } else { Point::new(it.x, at) };
            Some(((put(one.0), put(one.1)), (put(other.0), put(other.1))))
        }
        // Walls that run aslant are one line only if they agree to the count.
        None if one.0.distance(other.1).max(one.1.distance(other.0)) <= Length(8) => Some((one, (one.1, one.0))),
        _ => None,
    }
}
