//! Corners that nobody measured: the other readings decide how they turn.

use crate::job::{Angle, Room, Turn, Wall};
use crate::polygon::Point;
use crate::problem::{Place, Problem, ProblemKind};
use crate::survey::{Adjusted, Survey, Unsolved};

/// Whether some corner of the room turns freely.
pub(super) fn has_any(room: &Room) -> bool {
    room.walls.iter().any(Wall::turns_freely)
}

/// The room with its free corners turned as its other readings say, all turns together once around.
///
/// # Errors
/// What is still to be measured.
pub(super) fn settled(room: &Room, survey: &Survey) -> Result<Room, Problem> {
    match &survey.result {
        Ok(adjusted) => Ok(turned(room, adjusted)),
        Err(unsolved) => Err(Problem::new(ProblemKind::OpenRing, Place::Room(room.id), why(room, unsolved))),
    }
}

fn turned(room: &Room, adjusted: &Adjusted) -> Room {
    let mut room = room.clone();
    let count = room.walls.len();
    let corner = |it: usize| adjusted.corners[it % count];
    let mut last = None;
    for i in 0..count {
        if room.walls[i].turns_freely() {
            let turn = between(corner(i + 1) - corner(i), corner(i + 2) - corner(i + 1));
            room.walls[i].turn_as(Turn(turn));
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
    room
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
