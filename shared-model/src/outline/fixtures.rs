//! The floor's edge from the ring of corners: arcs and fixtures, as far as they can be.

use super::Outline;
use super::face::{MOST_BEND, face, is_notch};
use crate::job::{Fixture, Room};
use crate::length::{Length, Units};
use crate::polygon::Ring;
use crate::problem::{Place, Problem, ProblemKind};

/// Gives the outline its face and holes; says what cannot be, and leaves it out.
pub(super) fn furnish(room: &Room, outline: &mut Outline, units: Units) -> Vec<Problem> {
    let mut problems = bent(room, outline, units);
    let bare = face(room, outline, |_| None);
    let mut standing: Vec<(&Fixture, Ring)> = Vec::new();
    for fixture in &room.fixtures {
        match stand(room, outline, &bare, fixture, &standing, units) {
            Ok(ring) => standing.push((fixture, ring)),
            Err(text) => {
                let place = Place::Fixture(room.id, fixture.id);
                problems.push(Problem::new(ProblemKind::BadFixture, place, text));
            }
        }
    }
    outline.standing = standing.iter().map(|it| it.0.id).collect();
    let edge = face(room, outline, |_| None);
    if edge.crossing().is_none() && edge.0.len() > 2 {
        outline.face = edge;
    } else {
        let text = format!(
            "{}: what stands against its walls leaves no floor between. Measure where it stands again.",
            room.title()
        );
        problems.push(Problem::new(ProblemKind::BadFixture, Place::Room(room.id), text));
        outline.standing.retain(|id| standing.iter().any(|(it, _)| it.id == *id && !is_notch(it)));
        outline.face = bare;
    }
    let free = standing.into_iter().filter(|(it, _)| !is_notch(it) && outline.standing.contains(&it.id));
    outline.holes = free.filter(|(it, _)| !it.kind.is_laid_over()).map(|(_, ring)| ring).collect();
    outline.perimeter = outline.face.perimeter();
    let holes: i128 = outline.holes.iter().map(|it| it.area().0).sum();
    outline.area = crate::polygon::Area(outline.face.area().0 - holes);
    problems
}

/// Arcs that cannot be, and doors in arcs.
fn bent(room: &Room, outline: &mut Outline, units: Units) -> Vec<Problem> {
    let mut problems = Vec::new();
    let name = room.title();
    let chords: Vec<Length> = outline.ring.edges().map(|(start, end)| start.distance(end)).collect();
    for ((&wall, bend), chord) in outline.walls.iter().zip(&mut outline.bends).zip(chords) {
        if bend.abs() > Length((chord.0 as f64 / 2.0 * MOST_BEND) as i64) {
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
                "{name}: the {} lies in an arc, {}. Split the wall there, so that the opening has a straight one.",
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
    if sizes.iter().any(|it| !(Length::ZERO..=Length::MOST).contains(it)) {
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
    if !ring.0.iter().all(|it| bare.contains(*it)) {
        return Err(format!(
            "{name}: the {what} placed from {title} reaches out of the room. Measure its place again."
        ));
    }
    if let Some((other, _)) = before.iter().find(|(_, it)| !it.overlap(&ring).is_empty()) {
        return Err(format!("{name}: a {} and a {what} stand in one place. Measure where again.", other.kind.title()));
    }
    let end = |offset: Length, width: Length| offset + width;
    let door = room.openings.iter().filter(|it| is_notch(fixture) && it.kind.reaches_floor()).find(|it| {
        it.wall == fixture.wall
            && it.offset < end(fixture.offset, fixture.width)
            && fixture.offset < end(it.offset, it.width)
    });
    match door {
        Some(door) => Err(format!(
            "{name}: the {what} stands in front of the {} in {title}. Measure where again.",
            door.kind.title()
        )),
        None => Ok(ring),
    }
}
