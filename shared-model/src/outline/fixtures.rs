//! The floor's edge from the ring of corners: arcs and fixtures, as far as they can be.

use super::Outline;
use super::face::{face, is_notch, outward};
use super::openings::PLAY;
use crate::job::{Fixture, Opening, Room};
use crate::length::{Length, Units};
use crate::polygon::{Area, Point, Ring};
use crate::problem::{Place, Problem, ProblemKind};

/// By how much the corners of an overlap may be off, in a room as large as any.
const ROUNDING: Length = Length(200);

/// How deep before a doorway nothing stands.
const SILL: Length = Length::inches(1);

/// Gives the outline its face and holes; says what cannot be, and leaves it out.
pub(super) fn furnish(room: &Room, outline: &mut Outline, units: Units) -> Vec<Problem> {
    let mut problems = bent(room, outline, units);
    let bare = face(room, outline, |_| None);
    let bad = |fixture: &Fixture, text: String| {
        Problem::new(ProblemKind::BadFixture, Place::Fixture(room.id, fixture.id), text)
    };
    let mut standing: Vec<(&Fixture, Ring)> = Vec::new();
    for fixture in &room.fixtures {
        match stand(room, outline, &bare, fixture, &standing, units) {
            Ok(ring) => standing.push((fixture, ring)),
            Err(text) => problems.push(bad(fixture, text)),
        }
    }
    outline.standing = standing.iter().map(|it| it.0.id).collect();
    if !is_floor(&face(room, outline, |_| None)) {
        let (against, free): (Vec<_>, Vec<_>) = standing.iter().map(|it| it.0).partition(|it| is_notch(it));
        outline.standing = free.into_iter().map(|it| it.id).collect();
        for fixture in against {
            outline.standing.push(fixture.id);
            if !is_floor(&face(room, outline, |_| None)) {
                outline.standing.pop();
                let (name, title) = (room.title(), room.wall_title(fixture.wall));
                let text = format!(
                    "{name}: the {} at {title} leaves no floor between it and what is around. Measure where it stands again.",
                    fixture.kind.title()
                );
                problems.push(bad(fixture, text));
            }
        }
    }
    outline.face = face(room, outline, |_| None);
    let free = standing.into_iter().filter(|(it, _)| !is_notch(it) && !it.kind.is_laid_over());
    outline.holes = free.map(|(_, ring)| ring).collect();
    outline.perimeter = outline.face.perimeter();
    let holes: i128 = outline.holes.iter().map(|it| it.area().0).sum();
    outline.area = Area(outline.face.area().0 - holes);
    problems
}

/// Whether floor is left, in one part.
fn is_floor(face: &Ring) -> bool {
    face.0.len() > 2 && face.crossing().is_none()
}

/// Arcs that cannot be, and doors in arcs.
fn bent(room: &Room, outline: &mut Outline, units: Units) -> Vec<Problem> {
    let mut problems = Vec::new();
    let name = room.title();
    let chords: Vec<Length> = outline.ring.edges().map(|(start, end)| start.distance(end)).collect();
    for ((&wall, bend), chord) in outline.walls.iter().zip(&mut outline.bends).zip(chords) {
        if bend.abs() > chord / 2 {
            let text = format!(
                "{name}: {} rises {} over a chord of {}; an arc rises at most half its chord. Measure both again.",
                room.wall_title(wall),
                bend.abs().show(units.style()),
                chord.show(units.style())
            );
            problems.push(Problem::new(ProblemKind::BadLength, Place::Wall(room.id, wall), text));
            *bend = Length::ZERO;
        }
        let doors = room.openings.iter().filter(|it| it.wall == wall && it.kind.reaches_floor());
        for door in doors.filter(|_| *bend != Length::ZERO) {
            let text = format!(
                "{name}: the {} lies in an arc, {}. Set its rise aside, split the wall at the opening, and give the rise to the other part.",
                door.kind.title(),
                room.wall_title(wall)
            );
            problems.push(Problem::new(ProblemKind::BadOpening, Place::Opening(room.id, door.id), text));
        }
    }
    let bare = face(room, outline, |_| None);
    if bare.crossing().is_some() {
        let place = Place::Room(room.id);
        let text = format!("{name}: an arc reaches into another wall. Measure its rise again.");
        problems.push(Problem::new(ProblemKind::CrossedRing, place, text));
        outline.bends.iter_mut().for_each(|it| *it = Length::ZERO);
    }
    problems
}

/// The fixture on the floor, or why it cannot stand there.
fn stand(
    room: &Room,
    outline: &Outline,
    bare: &Ring,
    fixture: &Fixture,
    before: &[(&Fixture, Ring)],
    units: Units,
) -> Result<Ring, String> {
    let (name, what) = (room.title(), fixture.kind.title());
    let Some(at) = outline.walls.iter().position(|&it| it == fixture.wall) else {
        return Err(format!("{name}: a {what} is placed from a wall that was removed. Place it from another."));
    };
    let title = room.wall_title(fixture.wall);
    let sizes = [fixture.offset, fixture.clear, fixture.width, fixture.depth];
    let is_flat = fixture.width.min(fixture.depth) <= Length::ZERO;
    if is_flat || sizes.iter().any(|it| !(Length::ZERO..=Length::MOST).contains(it)) {
        return Err(format!("{name}: the {what} at {title} has an impossible size. Measure it again."));
    }
    let length = outline.wall(fixture.wall).map_or(Length::ZERO, |(start, end)| start.distance(end));
    let Some(ring) = outline.fixture(fixture) else {
        let beyond = (fixture.offset + fixture.width - length).show(units.style());
        return Err(format!("{name}: the {what} ends {beyond} beyond the end of {title}. Measure its place again."));
    };
    if is_notch(fixture) && outline.bends[at] != Length::ZERO {
        return Err(format!(
            "{name}: {title} is an arc. Measure the {what} from the line between its corners, not from its face."
        ));
    }
    let core = core(&ring);
    let within: i128 = bare.overlap(&core).iter().map(|it| it.area().0).sum();
    // What both have in common is rounded at its corners.
    if core.area().0 - within > (core.perimeter() * ROUNDING).0 {
        return Err(format!(
            "{name}: the {what} placed from {title} reaches out of the room. Measure its place again."
        ));
    }
    if let Some((other, _)) = before.iter().find(|(_, it)| !it.overlap(&core).is_empty()) {
        return Err(format!("{name}: a {} and a {what} stand in one place. Measure where again.", other.kind.title()));
    }
    let mut doors = room.openings.iter().filter(|it| it.kind.reaches_floor() && !fixture.kind.is_laid_over());
    let blocked = doors.find(|it| outline.sill(it).is_some_and(|it| !ring.overlap(&it).is_empty()));
    match blocked {
        Some(door) => Err(format!(
            "{name}: the {what} stands in front of the {} in {}. Measure where again.",
            door.kind.title(),
            room.wall_title(door.wall)
        )),
        None => Ok(ring),
    }
}

impl Outline {
    /// The floor just before an opening.
    fn sill(&self, opening: &Opening) -> Option<Ring> {
        let (from, to) = self.opening(opening)?;
        let inward = outward(from, to, -SILL);
        Some(core(&Ring(vec![from, to, to + inward, from + inward])))
    }
}

/// A rectangle without what its place may be off by: as much as an opening's, or a quarter of its size.
fn core(rectangle: &Ring) -> Ring {
    let sides: Vec<Point> =
        rectangle.edges().map(|(a, b)| (b - a).scaled(PLAY.min(a.distance(b) / 4), a.distance(b))).collect();
    let inner = |(i, &corner): (usize, &Point)| {
        let before = sides[(i + sides.len() - 1) % sides.len()];
        corner + sides[i] - before
    };
    Ring(rectangle.0.iter().enumerate().map(inner).collect())
}
