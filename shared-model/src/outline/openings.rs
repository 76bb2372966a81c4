//! Openings that do not fit their walls or each other.

use super::{Outline, readings::Measured};
use crate::ids::WallId;
use crate::job::{Opening, Room};
use crate::length::{Length, Units};
use crate::problem::{Place, Problem, ProblemKind};

/// By how much an opening may seem to reach beyond its wall: offsets and widths are read with the same tape.
pub(super) const PLAY: Length = Length::sixty_fourths(32);

pub(super) fn inspect(
    room: &Room,
    measured: &[Option<Measured>],
    outline: Option<&Outline>,
    units: Units,
) -> Vec<Problem> {
    let mut problems = Vec::new();
    for (i, opening) in room.openings.iter().enumerate() {
        let length = wall_length(room, measured, outline, opening.wall);
        let fault = fault(room, opening, length, units).or_else(|| overlap(room, opening, &room.openings[..i]));
        if let Some((kind, text)) = fault {
            problems.push(Problem::new(kind, Place::Opening(room.id, opening.id), text));
        }
    }
    problems
}

/// The wall as measured or derived, or as adjusted if that is longer. `None` while it is unknown.
fn wall_length(room: &Room, measured: &[Option<Measured>], outline: Option<&Outline>, wall: WallId) -> Option<Length> {
    let i = room.walls.iter().position(|it| it.id == wall)?;
    let read = measured.get(i).copied().flatten().map(|it| it.length);
    let adjusted = outline.and_then(|it| it.wall(wall)).map(|(start, end)| start.distance(end));
    read.max(adjusted)
}

fn fault(room: &Room, opening: &Opening, wall: Option<Length>, units: Units) -> Option<(ProblemKind, String)> {
    let name = room.title();
    let what = opening.kind.title();
    let show = |it: Length| it.show(units.style());
    if room.wall(opening.wall).is_none() {
        return Some((
            ProblemKind::BadOpening,
            format!("{name}: a {what} is on a wall that was removed. Put it on another or remove it."),
        ));
    }
    let title = room.wall_title(opening.wall);
    let sizes = [opening.offset, opening.width, opening.depth];
    if opening.width <= Length::ZERO || sizes.iter().any(|it| !(Length::ZERO..=Length::MOST).contains(it)) {
        return Some((
            ProblemKind::BadLength,
            format!("{name}: the {what} in {title} has an impossible size. Measure it again."),
        ));
    }
    let wall = wall?;
    if opening.width > wall + PLAY {
        let text =
            format!("{name}: the {what} is {} wide, but {title} is only {} long.", show(opening.width), show(wall));
        return Some((ProblemKind::BadLength, text));
    }
    let beyond = opening.offset + opening.width - wall;
    if beyond > PLAY {
        let text =
            format!("{name}: the {what} ends {} beyond the end of {title}. Measure its place again.", show(beyond));
        return Some((ProblemKind::BadOpening, text));
    }
    None
}

fn overlap(room: &Room, opening: &Opening, before: &[Opening]) -> Option<(ProblemKind, String)> {
    let end = |it: &Opening| it.offset + it.width;
    let other =
        before.iter().find(|it| it.wall == opening.wall && it.offset < end(opening) && opening.offset < end(it))?;
    let (title, name) = (room.wall_title(opening.wall), room.title());
    let text = format!(
        "{name}: a {} and a {} in {title} overlap. Measure their places again.",
        other.kind.title(),
        opening.kind.title()
    );
    Some((ProblemKind::BadOpening, text))
}
