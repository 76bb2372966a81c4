//! Corners that nobody measured: the other readings decide how they turn.

use crate::job::{Angle, Room, Turn, Wall};
use crate::polygon::Point;
use crate::problem::{Place, Problem, ProblemKind};
use crate::survey::{Adjusted, Survey, Unsolved};

/// A corner that turns by less looks straight.
const STRAIGHT: Angle = Angle::degrees(5);

/// Whether some corner of the room turns freely.
pub(super) fn has_any(room: &Room) -> bool {
    room.walls.iter().any(Wall::turns_freely)
}

/// The room with its free corners turned as its other readings say, all turns together once around.
///
/// # Errors
/// What is still to be measured, or which corner turns to the other side than it looks.
pub(super) fn settled(room: &Room, survey: &Survey) -> Result<Room, Problem> {
    match &survey.result {
        Ok(adjusted) => turned(room, adjusted),
        Err(unsolved) => Err(Problem::new(ProblemKind::OpenRing, Place::Room(room.id), why(room, unsolved))),
    }
}

fn turned(room: &Room, adjusted: &Adjusted) -> Result<Room, Problem> {
    let mut room = room.clone();
    let count = room.walls.len();
    let corner = |it: usize| adjusted.corners[it % count];
    let mut last = None;
    for i in 0..count {
        if room.walls[i].turns_freely() {
            let turn = Turn(between(corner(i + 1) - corner(i), corner(i + 2) - corner(i + 1)));
            if let Some(problem) = mirrored(&room, i, turn) {
                return Err(problem);
            }
            room.walls[i].turn_as(turn);
            last = Some(i);
        }
    }
    // Angles are kept in milliseconds of arc: the last one takes up what is rounded.
    let sum: i64 = room.walls.iter().map(|it| it.turn().0.0).sum();
    if let Some(last) = last {
        let around = if sum < 0 { -Angle::FULL.0 } else { Angle::FULL.0 };
        let turn = room.walls[last].turn().0.0 + around - sum;
        room.walls[last].turn_as(Turn(Angle(turn)));
    }
    Ok(room)
}

/// The same lengths fit a corner that bulges and one that dents; what it looks like must agree with what was found.
fn mirrored(room: &Room, wall: usize, found: Turn) -> Option<Problem> {
    let look = room.walls[wall].turn();
    if look.0.0.signum() * found.0.0.signum() >= 0 || found.0.0.abs() <= STRAIGHT.0 {
        return None;
    }
    let (name, wall) = (room.title(), room.walls[wall].id);
    let side = |it: Turn| if it.0.0 < 0 { "left" } else { "right" };
    let text = format!(
        "{name}: the corner at the end of {} looks as if it turned {}, but the readings turn it {}. Measure another diagonal to it, or say how it looks.",
        room.wall_title(wall),
        side(look),
        side(found)
    );
    Some(Problem::new(ProblemKind::OpenRing, Place::Corner(room.id, wall), text))
}

/// The turn from one direction to the next, to the right.
fn between(before: Point, after: Point) -> Angle {
    let heading = |it: Point| libm::atan2(it.x.0 as f64, it.y.0 as f64);
    let turn = heading(after) - heading(before);
    let half = core::f64::consts::PI;
    let turn = if turn > half {
        turn - 2.0 * half
    } else if turn < -half {
        turn + 2.0 * half
    } else {
        turn
    };
    Angle(libm::round(turn / half * Angle::degrees(180).0 as f64) as i64)
}

/// Lengths that just determine a room with free corners say nothing of one another.
pub(super) fn unchecked(room: &Room, survey: &Survey) -> Option<Problem> {
    let adjusted = survey.result.as_ref().ok().filter(|it| has_any(room) && it.test.degrees == 0)?;
    let suggested = if adjusted.corners.len() > 3 { "another diagonal" } else { "its walls again" };
    let text = format!(
        "{}: its free corners follow from just enough lengths, so one slip in them goes unseen. Measure {suggested} as a check.",
        room.title()
    );
    Some(Problem::new(ProblemKind::Unchecked, Place::Room(room.id), text))
}

fn why(room: &Room, unsolved: &Unsolved) -> String {
    let name = room.title();
    match unsolved {
        Unsolved::Undetermined { .. } => {
            format!("{name}: its free corners still move. Measure a diagonal, from corner to corner.")
        }
        Unsolved::TooFewWalls(_) => format!("{name} has fewer than three walls. Add the others."),
        _ => format!("{name}: no room fits its readings. Measure its walls and diagonals again."),
    }
}
