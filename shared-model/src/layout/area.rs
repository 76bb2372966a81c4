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

/// An opening that carpet may run through, seen from both its rooms.
#[derive(Clone)]
pub(super) struct Passage {
    sides: [(RoomId, OpeningId); 2],
    /// The edges of both rooms' floors half way through the wall.
    edges: [(Point, Point); 2],
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

    pub fn name(&self) -> String {
        self.rooms.iter().map(|it| it.name.as_str()).collect::<Vec<_>>().join(" and ")
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

    /// With another, through an opening between them. `None` where the floors do not meet.
    fn joined(&self, other: &Self, passage: &Passage) -> Option<Self> {
        let ((from, to), (back, forth)) = level(passage.edges[0], passage.edges[1])?;
        let here = around(&self.covered, passage.edges[0])?;
        let there = around(&other.covered, passage.edges[1])?;
        // Up to the opening, round the other floor, and on from the opening's other side.
        let ring = [&here[..], &[from, forth], &there[..], &[back, to]].concat();
        let covered = Ring(ring).tidied();
        if covered.crossing().is_some() || !covered.is_clockwise() {
            return None;
        }
        Some(Self {
            rooms: [&self.rooms[..], &other.rooms].concat(),
            covered,
            mouths: [&self.mouths[..], &other.mouths].concat(),
            through: [&self.through[..], &other.through, &[passage.sides.map(|it| it.1)]].concat(),
        })
    }
}

/// All ways to carpet a group's rooms as areas, the one with a seam in every opening first.
pub(super) fn partitions<'a>(
    job: &'a Job,
    rooms: &[&'a PlacedRoom],
    chosen: impl Fn(RoomId, RoomId) -> bool,
) -> Vec<Vec<Area<'a>>> {
    let passages = passages(job, rooms);
    let mut tried = vec![Vec::new(), passages.clone()];
    if passages.len() > 1 {
        tried.extend(passages.iter().take(MOST_PASSAGES).map(|it| vec![it.clone()]));
    }
    let as_chosen = passages.iter().filter(|it| chosen(it.sides[0].0, it.sides[1].0));
    tried.push(as_chosen.cloned().collect());

    let mut found: Vec<Vec<Area>> = Vec::new();
    let mut seen: BTreeSet<Vec<Vec<RoomId>>> = BTreeSet::new();
    for passages in tried {
        let areas = areas(job, rooms, &passages);
        let rooms: Vec<Vec<RoomId>> = areas.iter().map(|it| it.rooms.iter().map(|it| it.room).collect()).collect();
        if seen.insert(rooms) {
            found.push(areas);
        }
    }
    found
}

fn areas<'a>(job: &'a Job, rooms: &[&'a PlacedRoom], passages: &[Passage]) -> Vec<Area<'a>> {
    let mut areas: Vec<Area> = rooms.iter().map(|it| Area::of(job, it)).collect();
    for passage in passages {
        let of = |room| areas.iter().position(|it| it.contains(room));
        let (Some(one), Some(other)) = (of(passage.sides[0].0), of(passage.sides[1].0)) else { continue };
        // A second way between the same rooms stays seamed: an area has no hole.
        if one != other
            && let Some(joined) = areas[one].joined(&areas[other], passage)
        {
            areas[one] = joined;
            areas.remove(other);
        }
    }
    areas
}

/// The openings between the rooms that the crew says carpet runs through, seen from either side.
fn passages(job: &Job, rooms: &[&PlacedRoom]) -> Vec<Passage> {
    let mut passages: Vec<Passage> = Vec::new();
    for placed in rooms {
        let Some(room) = job.room(placed.room) else { continue };
        for mouth in mouths(room, placed).iter().filter(|it| is_carpeted(it)) {
            let Some(beyond) = rooms.iter().find(|it| mouth.opening.leads_to == Some(it.room)) else { continue };
            let sides = job.room(beyond.room).map(|it| mouths(it, beyond)).unwrap_or_default();
            let leads_back = |it: &&Mouth| it.opening.leads_to.is_none_or(|it| it == room.id) && is_carpeted(it);
            let far = |it: &&Mouth| middle(it.half_way()).distance(middle(mouth.half_way()));
            let Some(back) = sides.iter().filter(leads_back).min_by_key(far) else { continue };
            let through = [mouth, back].iter().any(|it| it.opening.floor == FloorAtOpening::RunsThrough);
            let known = passages.iter().flat_map(|it| it.sides).any(|(_, it)| it == mouth.opening.id);
            if through && !known {
                passages.push(Passage {
                    sides: [(room.id, mouth.opening.id), (beyond.room, back.opening.id)],
                    edges: [mouth.half_way(), back.half_way()],
                });
            }
        }
    }
    passages
}

fn is_carpeted(mouth: &Mouth) -> bool {
    mouth.opening.kind.reaches_floor() && mouth.opening.floor != FloorAtOpening::OtherFloor
}

fn middle((from, to): (Point, Point)) -> Point {
    Point::new((from.x + to.x) / 2, (from.y + to.y) / 2)
}

/// The corners of a ring from the end of one of its edges round to that edge's start, without these two. `None` without such an edge.
fn around(ring: &Ring, (from, to): (Point, Point)) -> Option<Vec<Point>> {
    let near = |one: Point, other: Point| one.distance(other) <= Length::sixty_fourths(1);
    let at = ring.edges().position(|(a, b)| near(a, from) && near(b, to))?;
    let count = ring.0.len();
    Some((2..count).map(|it| ring.0[(at + it) % count]).collect())
}

type Edge = (Point, Point);

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
