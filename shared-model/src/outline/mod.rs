//! From a room's readings to its outline: a ring of corners that closes, or the reason why not.

use serde::{Deserialize, Serialize};

use crate::ids::{FixtureId, WallId};
use crate::job::{Angle, Opening, Room, Rules};
use crate::length::{Length, Units};
use crate::polygon::{Area, Point, Ring};
use crate::problem::{Place, Problem, ProblemKind};
use crate::survey::{Survey, survey, words};

mod checked;
mod face;
mod fixtures;
mod free;
mod openings;
mod readings;
mod stand_in;
mod traverse;

pub(crate) use face::face;
use readings::Measured;
pub use readings::bend as wall_bend;
use stand_in::stand_ins;
use traverse::{Solution, Traverse};

/// A closed, adjusted room in its own frame: the first wall starts at the origin and runs north; but when the room has
/// square corners, it is turned so that most of the walls that meet square run along the axes.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Outline {
    /// One corner per wall, the wall's start, clockwise; straight lines between them.
    pub ring: Ring,
    /// In the order of the corners.
    pub walls: Vec<WallId>,
    /// The direction in which each wall runs by the stated turns, in the order of `walls`.
    pub headings: Vec<Angle>,
    /// The crew walked with the room to the left: `walls` are in the reverse of the room's order, and each runs from the
    /// end that the crew came to last.
    pub reversed: bool,
    pub misclosure: Misclosure,
    /// Of the face.
    pub perimeter: Length,
    /// Of the floor: within the face, without holes.
    pub area: Area,
    /// Walls whose length was not read but follows from the others.
    pub derived: Vec<WallId>,
    /// How far the middle of each wall stands off the line between its corners, in the order of `walls`: out of the room is
    /// positive.
    pub bends: Vec<Length>,
    /// The floor's edge: arcs, and the near sides of fixtures against walls.
    pub face: Ring,
    /// The fixtures that can stand where they are said to.
    pub standing: Vec<FixtureId>,
    /// Fixtures that stand free on the floor, clockwise.
    pub holes: Vec<Ring>,
}

/// By how much a ring of readings fails to return to its start.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub struct Misclosure {
    pub east: Length,
    pub north: Length,
    /// Distance between start and end.
    pub gap: Length,
    /// Perimeter ÷ gap, rounded down: the n of 1:n. `None` when the gap is zero or nothing checks the ring.
    pub ratio: Option<i64>,
}

/// The room as far as it is known: for drawing while it is measured. Never fails.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Sketch {
    /// In the room's order, the first from the origin to the north.
    pub walls: Vec<SketchWall>,
    /// From the end of the last wall back to the start; `None` while a wall is unmeasured or there are fewer than two walls.
    pub gap: Option<Misclosure>,
    /// Whether the ring can be closed as it stands: at least three walls that turn once around, at most two of them
    /// unmeasured, and the gap is within what the tape can do.
    pub closes: bool,
}

#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct SketchWall {
    pub wall: WallId,
    pub from: Point,
    pub to: Point,
    pub certainty: Certainty,
    /// The length used: the mean of the readings in force; for an unmeasured wall what follows from the others, or
    /// else a stand-in.
    pub length: Length,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum Certainty {
    Unmeasured,
    Once,
    /// Two or more readings that agree.
    Agreed,
    /// Readings that differ by more than the tape can.
    Disputed,
}

/// Draws what is known of a room.
pub fn sketch(room: &Room, rules: &Rules) -> Sketch {
    // A closed room's free corners turn as its readings say; the units are those of texts that are not asked for.
    let judged = (room.closed && free::has_any(room)).then(|| survey(room, rules, Units::Imperial));
    let settled = judged.and_then(|it| free::settled(room, &it).ok());
    let room = settled.as_ref().unwrap_or(room);
    let measured: Vec<Option<Measured>> = room.walls.iter().map(readings::measured).collect();
    let traverse = Traverse::new(room, &measured, Angle::ZERO);
    let solution = traverse.solve().ok();
    let derived = |i: usize| solution.as_ref().map(|it| it.lengths[i]).filter(|&it| it > Length::ZERO);
    let headings: Vec<Angle> = (0..room.walls.len()).map(|i| traverse.heading(i)).collect();
    let read: Vec<Option<Length>> = measured.iter().map(|it| it.as_ref().map(|it| it.length)).collect();
    let stand_ins = stand_ins(&headings, &read, room.closed);

    let mut at = Point::ORIGIN;
    let mut walls = Vec::with_capacity(room.walls.len());
    for (i, ((wall, measured), stand_in)) in room.walls.iter().zip(&measured).zip(stand_ins).enumerate() {
        let length = measured.as_ref().map(|it| it.length).or_else(|| derived(i)).unwrap_or(stand_in);
        let to = at + Point::toward(traverse.heading(i), length);
        let certainty = measured.as_ref().map_or(Certainty::Unmeasured, Measured::certainty);
        walls.push(SketchWall { wall: wall.id, from: at, to, certainty, length });
        at = to;
    }
    let complete = walls.len() >= 2 && measured.iter().all(Option::is_some);
    Sketch {
        gap: complete.then(|| Misclosure::between(at, walls.iter().map(|it| it.length).sum())),
        closes: room.walls.iter().all(readings::are_possible)
            && solution.is_some_and(|it| it.is_sound() && it.misclosure.within(it.perimeter(), rules)),
        walls,
    }
}

/// Closes and adjusts a room's ring. `None` when it cannot be; then at least one problem says why and where.
///
/// A ring closes when its misclosure is at most its perimeter ÷ [`Rules::closure_ratio`] or at most
/// [`Rules::closure_least`]; it is then adjusted by the compass rule, with square corners kept square. With checks across
/// it closes when all readings agree, and is adjusted by all of them. Up to two unmeasured walls are derived. `units` are those of the problems' texts.
pub fn close(room: &Room, rules: &Rules, units: Units) -> (Option<Outline>, Vec<Problem>) {
    let (outline, problems, _) = close_surveyed(room, rules, units);
    (outline, problems)
}

/// The same with the survey that the room was judged by; none of a room that is not said to be closed, or of impossible readings.
pub fn close_surveyed(room: &Room, rules: &Rules, units: Units) -> (Option<Outline>, Vec<Problem>, Option<Survey>) {
    let measured: Vec<Option<Measured>> = room.walls.iter().map(readings::measured).collect();
    let mut problems = readings::inspect(room, units);
    let (mut outline, mut judged) = (None, None);
    if room.walls.iter().all(readings::are_possible) {
        let survey = room.closed.then(|| survey(room, rules, units));
        let closed = ring(room, &measured, survey.as_ref(), rules, units);
        // Of a ring that stays open the walls along its gap say as much; readings of one wall that differ are told by themselves.
        let told = |it: &Survey| problems.is_empty() && (closed.is_ok() || it.names_one());
        let suspect = survey.as_ref().filter(|it| told(it)).and_then(|it| words::problem(room, it, units));
        problems.extend(suspect);
        match closed {
            Ok(closed) => outline = Some(closed),
            Err(reason) => problems.push(reason),
        }
        judged = survey;
    }
    problems.extend(outline.as_ref().and_then(|it| unchecked(room, it)));
    problems.extend(judged.as_ref().filter(|_| outline.is_some()).and_then(|it| free::unchecked(room, it)));
    problems.extend(openings::inspect(room, &measured, outline.as_ref(), units));
    if let Some(outline) = &mut outline {
        problems.extend(fixtures::furnish(room, outline, units));
    }
    (outline, problems, judged)
}

fn ring(
    room: &Room,
    measured: &[Option<Measured>],
    survey: Option<&Survey>,
    rules: &Rules,
    units: Units,
) -> Result<Outline, Problem> {
    let place = Place::Room(room.id);
    let name = room.title();
    if room.walls.is_empty() {
        return Err(Problem::new(ProblemKind::Unmeasured, place, format!("{name} has no walls yet.")));
    }
    if !room.closed {
        let text = format!("{name} is not closed yet. Close it when its last wall meets the first.");
        return Err(Problem::new(ProblemKind::Unmeasured, place, text));
    }
    let settled = survey.filter(|_| free::has_any(room)).map(|it| free::settled(room, it)).transpose()?;
    let room = settled.as_ref().unwrap_or(room);
    let traverse = Traverse::new(room, measured, traverse::frame(room, measured));
    let solution = traverse.solve().map_err(|reason| traverse.problem(&reason, room))?;
    let checked = survey.and_then(|it| checked::corners(room, it, rules, units, &traverse));
    let corners = match checked {
        Some(corners) => corners,
        None => {
            solution.check(room, &traverse, rules, units)?;
            traverse.adjusted(&solution)
        }
    };
    let outline = outline(room, &traverse, &solution, corners);
    match outline.ring.crossing() {
        None => Ok(outline),
        Some((one, two)) => {
            let (one, two) = (outline.walls[one], outline.walls[two]);
            let (first, second) = (room.wall_title(one), room.wall_title(two));
            let text =
                format!("{name}: {first} meets {second} where it must not. Check the turns and lengths between them.");
            Err(Problem::new(ProblemKind::CrossedRing, Place::Wall(room.id, one), text))
        }
    }
}

fn outline(room: &Room, traverse: &Traverse, solution: &Solution, mut corners: Vec<Point>) -> Outline {
    let mut walls: Vec<WallId> = room.walls.iter().map(|it| it.id).collect();
    let derived = traverse.unknown().iter().map(|&i| walls[i]).collect();
    let mut headings: Vec<Angle> = (0..walls.len()).map(|i| traverse.heading(i)).collect();
    let reversed = traverse.turns_left();
    if reversed {
        walls.reverse();
        headings.reverse();
        headings.iter_mut().for_each(|it| *it = it.then(Angle::degrees(180)));
        // The corner at which the reversed wall starts is the one where the walk left it.
        corners.reverse();
        corners.rotate_right(1);
    }
    let ring = Ring(corners);
    let (perimeter, area, face) = (ring.perimeter(), ring.area(), ring.clone());
    let (bends, misclosure) = (face::bends(room, &walls), solution.misclosure);
    let (standing, holes) = (Vec::new(), Vec::new());
    Outline { ring, walls, headings, reversed, misclosure, perimeter, area, derived, bends, face, standing, holes }
}

fn unchecked(room: &Room, outline: &Outline) -> Option<Problem> {
    let (&first, others) = outline.derived.split_first()?;
    let name = room.title();
    let (place, text) = match others {
        [] => {
            let text = format!(
                "{name}: {} is not measured; its length follows from the others, so one slip in them goes unseen. Measure it as a check.",
                room.wall_title(first)
            );
            (Place::Wall(room.id, first), text)
        }
        _ => {
            let walls = room.wall_titles(&outline.derived);
            let text = format!(
                "{name}: {walls} are not measured; they follow from the others, and nothing checks the room. Measure one of them."
            );
            (Place::Room(room.id), text)
        }
    };
    Some(Problem::new(ProblemKind::Unchecked, place, text))
}

impl Outline {
    /// The ends of a wall, in the direction the crew walked it.
    pub fn wall(&self, wall: WallId) -> Option<(Point, Point)> {
        let i = self.walls.iter().position(|&it| it == wall)?;
        let (start, end) = self.ring.edges().nth(i)?;
        Some(if self.reversed { (end, start) } else { (start, end) })
    }

    /// The two sides of an opening on its wall, the first in clockwise order first, exact for walls along the axes.
    /// `None` when it does not fit its wall.
    pub fn opening(&self, opening: &Opening) -> Option<(Point, Point)> {
        self.span(opening.wall, opening.offset, opening.width).filter(|_| opening.depth >= Length::ZERO)
    }

    /// What lies `read_offset` from the start of a wall as the crew walked it, in clockwise order. `None` when it does not fit
    /// its wall.
    pub fn span(&self, wall: WallId, read_offset: Length, width: Length) -> Option<(Point, Point)> {
        let i = self.walls.iter().position(|&it| it == wall)?;
        let (start, end) = self.ring.edges().nth(i)?;
        let length = start.distance(end);
        if read_offset < Length::ZERO || width <= Length::ZERO {
            return None;
        }
        // The adjustment may have taken something off a wall whose end this reaches to.
        let offset = read_offset.min(length - width);
        if offset < Length::ZERO || read_offset - offset > openings::PLAY {
            return None;
        }
        let offset = if self.reversed { length - offset - width } else { offset };
        let along = |far: Length| start + (end - start).scaled(far, length);
        Some((along(offset), along(offset + width)))
    }
}

impl Misclosure {
    /// Of a walk around `perimeter` that ends at `end` instead of the origin.
    fn between(end: Point, perimeter: Length) -> Self {
        let gap = Point::ORIGIN.distance(end);
        Self { east: end.x, north: end.y, gap, ratio: perimeter.0.checked_div(gap.0) }
    }

    /// Whether the gap is what a tape leaves, not a slip.
    fn within(&self, perimeter: Length, rules: &Rules) -> bool {
        self.gap <= tolerance(perimeter, rules)
    }
}

/// The widest gap that is adjusted.
fn tolerance(perimeter: Length, rules: &Rules) -> Length {
    Length(perimeter.0.checked_div(rules.closure_ratio).unwrap_or(0)).max(rules.closure_least)
}
