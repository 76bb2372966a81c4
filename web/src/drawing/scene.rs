//! What a floor plan shows at one scale: every line, text and mark at its place, before anything is drawn.

use shared_model::floor::PlacedRoom;
use shared_model::ids::RoomId;
use shared_model::job::{FloorAtOpening, Job, Opening, OpeningKind};
use shared_model::layout::{Layout, Part, Piece, PileDirection, Seam, SeamKind};
use shared_model::length::Length;
use shared_model::outline::{Certainty, sketch};
use shared_model::polygon::Point;
use shared_model::problem::{Place, ProblemKind};
use shared_model::takeoff::Takeoff;

use super::dims::{self, Dim, Measured};
use super::inside::{self, FixtureMark, FlightMark, FloorMark};
use super::pile::{field, stitches};
use super::space::{Patch, Spot, clearance, corners, extent, inside, settle, sides, text_width};
use crate::{cutting, shown};

/// What to draw of a job.
#[derive(Clone, Copy)]
pub struct Subject<'a> {
    pub job: &'a Job,
    pub takeoff: &'a Takeoff,
    pub level: i64,
    /// The layout whose breadths and seams lie on the floor; without one the walls carry their dimensions.
    pub layout: Option<&'a Layout>,
}

#[derive(Default)]
pub struct Scene {
    pub rooms: Vec<RoomMark>,
    pub breadths: Vec<BreadthMark>,
    pub trims: Vec<(Spot, Spot)>,
    pub walls: Vec<WallMark>,
    pub openings: Vec<OpeningMark>,
    pub fixtures: Vec<FixtureMark>,
    pub marks: Vec<FloorMark>,
    pub flights: Vec<FlightMark>,
    pub seams: Vec<SeamMark>,
    pub dims: Vec<Dim>,
    pub problems: Vec<ProblemMark>,
}

pub struct RoomMark {
    pub room: RoomId,
    pub ring: Vec<Spot>,
    /// Where the name's lines stand; `None` when they fit nowhere inside.
    pub name_at: Option<Spot>,
    /// The name is read from the right: the room is narrow.
    pub upright: bool,
    /// The name is written smaller.
    pub small: bool,
    pub name: String,
    /// Under the name; left out where there is no room for it.
    pub area: Option<String>,
}

pub struct BreadthMark {
    pub rings: Vec<Vec<Spot>>,
    /// Breadths in turn carry dense and sparse chevrons.
    pub dense: bool,
    pub chevrons: String,
    pub number: String,
    pub number_at: Option<Spot>,
    /// Where the line from a number beside the breadth ends in it; the breadth is too small to hold its number.
    pub leader: Option<Spot>,
}

pub struct WallMark {
    pub from: Spot,
    pub to: Spot,
    pub certainty: Certainty,
    /// Follows from the other walls.
    pub derived: bool,
    /// How far its middle stands off to the left of its way, in pixels; zero for a straight wall.
    pub bend: f64,
}

pub struct OpeningMark {
    pub from: Spot,
    pub to: Spot,
    /// Into the room.
    pub inward: Spot,
    pub kind: OpeningKind,
    pub floor: FloorAtOpening,
}

pub struct SeamMark {
    /// In the layout's list.
    pub index: usize,
    pub from: Spot,
    pub to: Spot,
    pub kind: SeamKind,
    pub path: String,
    pub label: String,
}

pub struct ProblemMark {
    pub at: Spot,
    /// Work not done yet, no mistake.
    pub work: bool,
    pub text: String,
}

/// The least and greatest corner of the level's rooms and stairs, in plan coordinates; `None` while no room is closed.
pub fn bounds(job: &Job, takeoff: &Takeoff, level: i64) -> Option<(Point, Point)> {
    let rooms = takeoff.floor.rooms.iter().filter(|it| it.level == level);
    let stairs = |room: &PlacedRoom| {
        let ends = job.flights.iter().filter_map(|it| inside::flight_end(it, room));
        ends.flat_map(|(from, to)| [from, to]).collect::<Vec<_>>()
    };
    let mut points = rooms.flat_map(|it| it.ring.0.iter().chain(&it.face.0).copied().chain(stairs(it)));
    let first = points.next()?;
    Some(points.fold((first, first), |(low, high), it| {
        (Point { x: low.x.min(it.x), y: low.y.min(it.y) }, Point { x: high.x.max(it.x), y: high.y.max(it.y) })
    }))
}

/// Places everything at `scale` pixels per millimetre.
pub fn scene(subject: Subject, scale: f64) -> Scene {
    let rooms: Vec<&PlacedRoom> = subject.takeoff.floor.rooms.iter().filter(|it| it.level == subject.level).collect();
    let mut scene = Scene::default();
    for room in &rooms {
        scene.walls.extend(walls(subject.job, room, scale));
        scene.openings.extend(openings(subject.job, room, scale));
        scene.fixtures.extend(inside::fixtures(subject.job, room, scale));
        scene.marks.extend(inside::marks_on_plan(subject.job, room, scale));
        scene.flights.extend(subject.job.flights.iter().filter_map(|it| inside::flight_mark(it, room, scale)));
    }
    scene.problems = problems(subject.takeoff, subject.job, &rooms, scale);

    // What is written first keeps its place: problems, breadth numbers, names, dimensions; chevrons fill what is left.
    let mut taken: Vec<Patch> = scene.walls.iter().map(|it| Patch::along(it.from, it.to, 4.0)).collect();
    taken.extend(scene.openings.iter().map(|it| Patch::along(it.from, it.to, 12.0)));
    taken.extend(scene.fixtures.iter().filter_map(FixtureMark::patch));
    taken.extend(scene.marks.iter().map(|it| Patch::level(it.at, 16.0, 16.0)));
    taken.extend(scene.flights.iter().flat_map(|it| &it.steps).map(|(a, b)| Patch::along(*a, *b, 6.0)));
    taken.extend(scene.problems.iter().map(|it| Patch::level(it.at, 24.0, 24.0)));
    if let Some(layout) = subject.layout {
        scene.seams = layout
            .seams
            .iter()
            .enumerate()
            .filter(|(_, it)| on_level(&rooms, it.room))
            .map(|(n, it)| seam(subject.job, n, it, scale))
            .collect();
        taken.extend(scene.seams.iter().map(|it| Patch::along(it.from, it.to, 10.0)));
        scene.breadths = breadths(layout, &rooms, scale, &mut taken);
        scene.trims = layout
            .placed()
            .map(|(piece, _)| piece)
            .filter(|it| piece_room(it).is_some_and(|room| on_level(&rooms, room)))
            .flat_map(|it| trims(it, subject.job.rules.seam_trim, scale))
            .collect();
    }
    scene.rooms = rooms.iter().map(|room| room_mark(subject.job, room, scale, &mut taken)).collect();
    if subject.layout.is_none() {
        let measured = rooms.iter().flat_map(|room| measured(subject.job, room, scale)).collect();
        let floors: Vec<Vec<Spot>> = rooms.iter().map(|it| corners(&it.ring, scale)).collect();
        scene.dims = dims::place(measured, &floors, &mut taken);
    }
    if let Some(layout) = subject.layout {
        fill_with_chevrons(&mut scene.breadths, layout, &rooms, &taken);
    }
    scene
}

fn on_level(rooms: &[&PlacedRoom], room: RoomId) -> bool {
    rooms.iter().any(|it| it.room == room)
}

/// The room a piece lies in; `None` for stairs.
fn piece_room(piece: &Piece) -> Option<RoomId> {
    match piece.part {
        Part::Breadth { room, .. } => Some(room),
        Part::Flight { .. } => None,
    }
}

fn walls(job: &Job, placed: &PlacedRoom, scale: f64) -> Vec<WallMark> {
    let ring = corners(&placed.ring, scale);
    let known = job.room(placed.room).map(|room| sketch(room, &job.rules).walls).unwrap_or_default();
    let certainty = |wall| known.iter().find(|it| it.wall == wall).map_or(Certainty::Unmeasured, |it| it.certainty);
    let walls = placed.outline.walls.iter().zip(&placed.outline.bends);
    let marks = sides(&ring).zip(walls).map(|((from, to), (&wall, bend))| WallMark {
        from,
        to,
        certainty: certainty(wall),
        derived: placed.outline.derived.contains(&wall),
        bend: bend.as_mm() * scale,
    });
    marks.collect()
}

fn openings(job: &Job, placed: &PlacedRoom, scale: f64) -> Vec<OpeningMark> {
    let Some(room) = job.room(placed.room) else { return Vec::new() };
    room.openings.iter().filter_map(|it| opening_mark(placed, it, scale)).collect()
}

fn opening_mark(placed: &PlacedRoom, opening: &Opening, scale: f64) -> Option<OpeningMark> {
    let (from, to) = placed.opening(opening)?;
    let (from, to) = (Spot::of(from, scale), Spot::of(to, scale));
    Some(OpeningMark { from, to, inward: from.toward(to).right(), kind: opening.kind, floor: opening.floor })
}

fn problems(takeoff: &Takeoff, job: &Job, rooms: &[&PlacedRoom], scale: f64) -> Vec<ProblemMark> {
    let marks = takeoff.problems.iter().filter_map(|problem| {
        let find = |room: RoomId| rooms.iter().find(|it| it.room == room).copied();
        let side = |placed: &PlacedRoom, wall| {
            let ring = corners(&placed.ring, scale);
            let at = placed.outline.walls.iter().position(|&it| it == wall)?;
            sides(&ring).nth(at)
        };
        let at = match problem.place {
            Place::Job | Place::Goods(_) | Place::Flight(_) => None,
            Place::Fixture(room, fixture) => {
                let fixture = job.room(room)?.fixtures.iter().find(|it| it.id == fixture)?;
                side(find(room)?, fixture.wall).map(|(a, b)| a.between(b, 0.5).shifted(a.toward(b).right(), 14.0))
            }
            Place::Room(room) => {
                let ring = corners(&find(room)?.ring, scale);
                settle(&ring, 24.0, 24.0, &[]).or_else(|| ring.first().copied())
            }
            Place::Wall(room, wall) => {
                side(find(room)?, wall).map(|(a, b)| a.between(b, 0.5).shifted(a.toward(b).right(), 14.0))
            }
            Place::Corner(room, wall) => side(find(room)?, wall).map(|(_, end)| end),
            Place::Opening(room, opening) => {
                let opening = job.room(room)?.openings.iter().find(|it| it.id == opening)?;
                opening_mark(find(room)?, opening, scale).map(|it| it.from.between(it.to, 0.5))
            }
        }?;
        Some(ProblemMark {
            at,
            work: matches!(problem.kind, ProblemKind::Unmeasured | ProblemKind::Unchecked),
            text: problem.text.clone(),
        })
    });
    marks.collect()
}

fn seam(job: &Job, index: usize, seam: &Seam, scale: f64) -> SeamMark {
    let (from, to) = (Spot::of(seam.from, scale), Spot::of(seam.to, scale));
    let kind = match seam.kind {
        SeamKind::Side => "Seam",
        SeamKind::Cross => "Cross seam",
        SeamKind::Opening => "Seam in the opening",
    };
    let room = job.room(seam.room).map_or("", |it| it.name.as_str());
    let label = format!("{kind}, {room}, {}: why it is here", shown::length(seam.length, job.units));
    SeamMark { index, from, to, kind: seam.kind, path: stitches(from, to), label }
}

/// What a number takes up, in pixels.
const RING: f64 = 30.0;

/// The breadths with their numbers; chevrons come last.
fn breadths(layout: &Layout, rooms: &[&PlacedRoom], scale: f64, taken: &mut Vec<Patch>) -> Vec<BreadthMark> {
    let cuts = cutting::in_order(layout);
    let here = cuts.iter().filter(|it| piece_room(it.piece).is_some_and(|room| on_level(rooms, room)));
    let marks = here.map(|cut| {
        let rings: Vec<Vec<Spot>> = cut.piece.covers.iter().map(|it| corners(it, scale)).collect();
        let number_at = rings.iter().find_map(|ring| settle(ring, RING, RING, taken));
        taken.extend(number_at.map(|at| Patch::level(at, RING, RING)));
        let dense = !matches!(cut.piece.part, Part::Breadth { breadth, .. } if breadth % 2 == 0);
        BreadthMark { rings, dense, chevrons: String::new(), number: cut.number.to_string(), number_at, leader: None }
    });
    let mut marks: Vec<BreadthMark> = marks.collect();
    let floors: Vec<Vec<Spot>> = rooms.iter().map(|it| corners(&it.ring, scale)).collect();
    for mark in marks.iter_mut().filter(|it| it.number_at.is_none()) {
        let Some((low, high)) = mark.rings.first().and_then(|it| extent(it)) else { continue };
        mark.number_at = beside(low.between(high, 0.5), &floors, taken);
        let Some(at) = mark.number_at else { continue };
        mark.leader = mark.rings.first().and_then(|it| nearest_inside(at, it));
        taken.push(Patch::level(at, RING, RING));
        taken.extend(mark.leader.map(|to| Patch::along(at, to, 8.0)));
    }
    marks
}

/// Where a line from `from` ends in a ring: just inside it, on the near side.
fn nearest_inside(from: Spot, ring: &[Spot]) -> Option<Spot> {
    let (low, high) = extent(ring)?;
    let grid = (1..20).flat_map(|x| (1..20).map(move |y| (f64::from(x) / 20.0, f64::from(y) / 20.0)));
    let spots = grid.map(|(x, y)| Spot::new(low.x + (high.x - low.x) * x, low.y + (high.y - low.y) * y));
    let deep = (high.x - low.x).min(high.y - low.y) * 0.3;
    spots
        .filter(|&at| inside(at, ring) && clearance(at, ring) > deep.min(7.0))
        .min_by(|a, b| a.distance(from).total_cmp(&b.distance(from)))
}

/// The nearest place for a number off all floors; on a floor when there is none near.
fn beside(of: Spot, floors: &[Vec<Spot>], taken: &[Patch]) -> Option<Spot> {
    let ways = (0..16).map(|it| f64::from(it) * std::f64::consts::TAU / 16.0);
    let spots = ways
        .flat_map(|way| (3..16).map(move |step| of.shifted(Spot::new(way.cos(), way.sin()), f64::from(step) * 12.0)));
    let free = spots.filter(|&at| Patch::level(at, RING, RING).is_free(taken));
    let far = |at: Spot| at.distance(of) + if floors.iter().any(|it| inside(at, it)) { 60.0 } else { 0.0 };
    free.min_by(|&a, &b| far(a).total_cmp(&far(b)))
}

fn fill_with_chevrons(breadths: &mut [BreadthMark], layout: &Layout, rooms: &[&PlacedRoom], taken: &[Patch]) {
    let cuts = cutting::in_order(layout);
    let here = cuts.iter().filter(|it| piece_room(it.piece).is_some_and(|room| on_level(rooms, room)));
    for (breadth, cut) in breadths.iter_mut().zip(here) {
        let spacing = if breadth.dense { 22.0 } else { 36.0 };
        breadth.chevrons = breadth.rings.iter().map(|ring| field(ring, cut.piece.pile, spacing, taken)).collect();
    }
}

/// The edges of the cut that stand out over the walls; seam edges are left to the seam.
fn trims(piece: &Piece, seam_trim: Length, scale: f64) -> Vec<(Spot, Spot)> {
    let all: Vec<Spot> = piece.covers.iter().flat_map(|it| corners(it, scale)).collect();
    let Some((low, high)) = extent(&all) else { return Vec::new() };
    // Seen with the pile running away, the start of the cut is near and its end far.
    let extra = piece.extra;
    let (west, north, east, south) = match piece.pile {
        PileDirection::North => (extra.left, extra.end, extra.right, extra.start),
        PileDirection::East => (extra.start, extra.left, extra.end, extra.right),
        PileDirection::South => (extra.right, extra.start, extra.left, extra.end),
        PileDirection::West => (extra.end, extra.right, extra.start, extra.left),
    };
    let out = |length: Length| length.as_mm() * scale;
    let (low, high) =
        (Spot::new(low.x - out(west), low.y - out(north)), Spot::new(high.x + out(east), high.y + out(south)));
    let (top_right, bottom_left) = (Spot::new(high.x, low.y), Spot::new(low.x, high.y));
    let edges =
        [(north, low, top_right), (east, top_right, high), (south, high, bottom_left), (west, bottom_left, low)];
    edges.into_iter().filter(|(extra, _, _)| *extra > seam_trim).map(|(_, a, b)| (a, b)).collect()
}

fn room_mark(job: &Job, placed: &PlacedRoom, scale: f64, taken: &mut Vec<Patch>) -> RoomMark {
    let ring = corners(&placed.face, scale);
    let area = shown::area(placed.outline.area, job.units);
    // Names are bold, and wider than other text.
    let wide = |size: f64| 1.1 * text_width(&placed.name, size) + 4.0;
    let ways = [
        (wide(16.0).max(text_width(&area, dims::SIZE)), 40.0, Some(area), false),
        (wide(16.0), 20.0, None, false),
        (wide(14.0), 18.0, None, true),
        (18.0, wide(14.0), None, true),
    ];
    let found = ways.into_iter().find_map(|(width, height, area, small)| {
        let at = settle(&ring, width, height, taken)?;
        taken.push(Patch::level(at, width, height));
        Some((at, area, small, height > width))
    });
    let (name_at, area, small, upright) = match found {
        Some((at, area, small, upright)) => (Some(at), area, small, upright),
        None => (None, None, false, false),
    };
    RoomMark { room: placed.room, ring, name_at, upright, small, name: placed.name.clone(), area }
}

/// The walls of a room with the lengths they have in the closed outline.
fn measured(job: &Job, placed: &PlacedRoom, scale: f64) -> Vec<Measured> {
    let ring = corners(&placed.ring, scale);
    let points = &placed.ring.0;
    let lengths = points.iter().zip(points.iter().cycle().skip(1)).map(|(a, b)| distance(*a, *b));
    sides(&ring)
        .zip(lengths)
        .map(|((from, to), length)| Measured { from, to, text: shown::length(length, job.units) })
        .collect()
}

/// For showing: exact along the axes, to the nearest count otherwise.
fn distance(a: Point, b: Point) -> Length {
    let (dx, dy) = ((a.x - b.x).abs(), (a.y - b.y).abs());
    if dx.0 == 0 || dy.0 == 0 { dx + dy } else { Length((dx.0 as f64).hypot(dy.0 as f64).round() as i64) }
}
