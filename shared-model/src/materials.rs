//! What to bring besides the carpet.

use serde::{Deserialize, Serialize};

use crate::floor::{Floor, PlacedRoom};
use crate::job::{Fixture, FixtureKind, Flight, FloorAtOpening, Job, Opening};
use crate::layout::Layout;
use crate::length::Length;
use crate::polygon::{Area, Point, Ring};

/// Longest side that is stretched without a power stretcher: common practice.
const POWER_STRETCH: Length = Length::feet(12);

/// In counts: so near beside an edge a line lies on it. Points of slanted walls are rounded.
const BESIDE: u128 = 8;

/// Quantities for the day, without waste factors: each is a sum that can be shown.
#[derive(Clone, PartialEq, Debug, Default, Serialize, Deserialize)]
pub struct Materials {
    /// Floor to pad: net floor inside the outlines, plus the flights' treads, nosings and risers.
    pub pad: Area,
    /// Tack strip: along walls and around fixtures, less the openings one walks through (CRI 105 §11.1: none across door
    /// openings) and the edges at stairs. What the flights need depends on how they are laid, and is not in it.
    pub strip: Length,
    /// Edges of the floor at stair wells, to be finished.
    pub well_edges: Length,
    /// Seam tape: the seams' length.
    pub tape: Length,
    /// Openings where the floor changes: transition pieces, one each of this width.
    pub transitions: Vec<Length>,
    /// Sides longer than 12 ft, where a power stretcher is a must (common practice).
    pub power_stretch: Vec<String>,
}

/// Counts what the chosen layouts need.
pub fn materials(job: &Job, floor: &Floor, chosen: &[&Layout]) -> Materials {
    let laid = |it: &&PlacedRoom| floor.groups.iter().any(|group| group.rooms.contains(&it.room));
    let rooms: Vec<&PlacedRoom> = floor.rooms.iter().filter(laid).collect();
    let flights = job.flights.iter().filter(|it| job.goods_of(it.goods).is_some());
    Materials {
        pad: rooms.iter().map(|it| it.outline.area).chain(flights.map(developed)).sum(),
        strip: rooms.iter().map(|it| strip(job, it)).sum(),
        well_edges: rooms.iter().map(|it| well_edges(job, it)).sum(),
        tape: chosen.iter().map(|it| it.seam_length).sum(),
        transitions: transitions(job, &rooms),
        power_stretch: rooms.iter().flat_map(|it| long_sides(job, it)).collect(),
    }
}

/// Treads from the nosings' edges, and risers; a winder as the piece it is cut from. Nothing for sizes that cannot be.
fn developed(flight: &Flight) -> Area {
    let sizes = [flight.going, flight.nosing, flight.riser, flight.width, flight.winder_reach, flight.landing];
    if sizes.iter().any(|it| !(Length::ZERO..=Length::MOST).contains(it)) {
        return Area::ZERO;
    }
    let over = |going: Length| going + flight.nosing + flight.riser;
    let straight = over(flight.going) * i64::from(flight.steps.saturating_sub(flight.winders));
    let winders = over(flight.winder_reach) * i64::from(flight.winders);
    let landing = if flight.landing > Length::ZERO { over(flight.landing) } else { Length::ZERO };
    Area(((straight + landing) * flight.width).0 + (winders * flight.width.max(flight.winder_reach)).0)
}

/// The sound openings of a room that one walks through.
fn walked<'a>(job: &'a Job, placed: &'a PlacedRoom) -> impl Iterator<Item = &'a Opening> {
    let openings = job.room(placed.room).into_iter().flat_map(|it| &it.openings);
    openings.filter(|it| it.kind.reaches_floor() && placed.outline.opening(it).is_some())
}

/// The floor's edge, less what is no wall of it, each part once: an opening with a flight behind it is one gap.
fn strip(job: &Job, placed: &PlacedRoom) -> Length {
    let outline = &placed.outline;
    let starts = job.flights.iter().filter_map(|it| {
        let foot = it.foot.filter(|it| it.room == placed.room)?;
        outline.span(foot.wall, foot.offset, it.width)
    });
    let openings = walked(job, placed).filter_map(|it| outline.opening(it));
    let gaps: Vec<_> = openings.chain(starts).chain(well_sides(job, placed)).collect();
    let stripped = standing(job, placed).filter(|it| it.kind.is_stripped() && it.clear > Length::ZERO);
    let around = stripped.filter_map(|it| outline.fixture(it)).map(|it| it.perimeter());
    outline.perimeter + around.sum() - common(&outline.face, &gaps)
}

fn standing<'a>(job: &'a Job, placed: &'a PlacedRoom) -> impl Iterator<Item = &'a Fixture> {
    let fixtures = job.room(placed.room).into_iter().flat_map(|it| &it.fixtures);
    fixtures.filter(|it| placed.outline.standing.contains(&it.id))
}

/// What the floor ends at without a wall: the sides of stair wells that lie within the room.
fn well_edges(job: &Job, placed: &PlacedRoom) -> Length {
    let free = standing(job, placed).filter(|it| it.kind == FixtureKind::StairWell && it.clear > Length::ZERO);
    let around = free.filter_map(|it| placed.outline.fixture(it)).map(|it| it.perimeter());
    let against: Vec<_> = well_sides(job, placed).collect();
    around.sum::<Length>() + common(&placed.outline.face, &against)
}

/// The sides of stair wells against walls, those along a wall too.
fn well_sides<'a>(job: &'a Job, placed: &'a PlacedRoom) -> impl Iterator<Item = (Point, Point)> {
    let against = standing(job, placed).filter(|it| it.kind == FixtureKind::StairWell && it.clear == Length::ZERO);
    against.filter_map(|it| placed.outline.fixture(it)).flat_map(|it| it.edges().collect::<Vec<_>>())
}

/// How much of a ring's edges lies on one or more of the lines.
fn common(ring: &Ring, lines: &[(Point, Point)]) -> Length {
    let on_edge = |(start, end): (Point, Point)| {
        let mut parts: Vec<(Length, Length)> = lines.iter().filter_map(|it| part(start, end, *it)).collect();
        parts.sort_unstable();
        let mut reached = Length::ZERO;
        let mut common = Length::ZERO;
        for (from, to) in parts {
            common += (to - from.max(reached)).max(Length::ZERO);
            reached = reached.max(to);
        }
        common
    };
    ring.edges().map(on_edge).sum()
}

/// From where to where along an edge a line lies on it.
fn part(start: Point, end: Point, (a, b): (Point, Point)) -> Option<(Length, Length)> {
    let length = start.distance(end);
    let along = end - start;
    let beside = |it: Point| {
        let step = it - start;
        let product = |one: Area, other: Area| (one + other).0 / i128::from(length.0.max(1));
        let off = product(along.x * step.y, -along.y * step.x).unsigned_abs();
        let at = product(along.x * step.x, along.y * step.y);
        (off <= BESIDE).then(|| Length(i64::try_from(at).unwrap_or(0)).clamp(Length::ZERO, length))
    };
    let (one, other) = (beside(a)?, beside(b)?);
    Some((one.min(other), one.max(other)))
}

/// An opening between two of the rooms that was entered in both counts once.
fn transitions(job: &Job, rooms: &[&PlacedRoom]) -> Vec<Length> {
    let between = |placed: &PlacedRoom, to: &PlacedRoom| -> usize {
        changes(job, placed).filter(|it| it.leads_to == Some(to.room)).count()
    };
    let mut widths = Vec::new();
    for (n, placed) in rooms.iter().enumerate() {
        let mut counted: Vec<usize> = rooms[..n].iter().map(|earlier| between(earlier, placed)).collect();
        for opening in changes(job, placed) {
            let earlier = rooms[..n].iter().position(|it| opening.leads_to == Some(it.room));
            match earlier.and_then(|it| counted.get_mut(it)) {
                Some(left @ 1..) => *left -= 1,
                _ => widths.push(opening.width),
            }
        }
    }
    widths
}

fn changes<'a>(job: &'a Job, placed: &'a PlacedRoom) -> impl Iterator<Item = &'a Opening> {
    walked(job, placed).filter(|it| it.floor == FloorAtOpening::OtherFloor)
}

fn long_sides(job: &Job, placed: &PlacedRoom) -> Vec<String> {
    let edges = placed.outline.walls.iter().zip(placed.outline.ring.edges());
    let long = edges.map(|(&wall, (start, end))| (wall, start.distance(end))).filter(|&(_, it)| it > POWER_STRETCH);
    long.filter_map(|(wall, length)| {
        let room = job.room(placed.room)?;
        Some(format!("{}, {}: {}", room.title(), room.wall_title(wall), length.show(job.units.style())))
    })
    .collect()
}
