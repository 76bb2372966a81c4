//! Checks across a room: what the taps on its sketch mean, and the edits that they make.

use shared_model::ids::WallId;
use shared_model::job::{Across, Angle, Check, Edit, Room, Tool};
use shared_model::survey::words::do_next;
use shared_model::survey::{Span, Survey};

use crate::keypad::Taken;
use crate::measuring::{Aim, new_reading};

/// Where the tape is held. A corner is named by the wall that starts there.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum End {
    Corner(WallId),
    Wall(WallId),
}

/// What a tape held at both ends reads; the reason when that is no check.
pub fn across(room: &Room, from: End, to: End) -> Result<Across, &'static str> {
    match (from, to) {
        (End::Corner(a), End::Corner(b)) if a == b => Err("Tap another corner, or a wall."),
        (End::Corner(a), End::Corner(b)) if is_wall(room, a, b) => {
            Err("From corner to corner here is a wall: pick the wall itself to read it again.")
        }
        (End::Corner(a), End::Corner(b)) => {
            let (from, to) = in_order(room, a, b);
            Ok(Across::Corners { from, to })
        }
        (End::Corner(corner), End::Wall(wall)) | (End::Wall(wall), End::Corner(corner)) => {
            if corner == wall || follows(room, wall) == Some(corner) {
                return Err("This wall starts or ends at that corner. Tap a wall across the room.");
            }
            Ok(Across::Offset { corner, wall })
        }
        (End::Wall(a), End::Wall(b)) if a == b => Err("Tap the wall across the room, parallel to this one."),
        (End::Wall(a), End::Wall(b)) if parallel(room, a, b) => {
            let (wall, opposite) = in_order(room, a, b);
            Ok(Across::Walls { wall, opposite })
        }
        (End::Wall(_), End::Wall(_)) => Err("These walls are not parallel. Measure from a corner instead."),
    }
}

/// What the keypad enters for the check that would help most, in a room that can be adjusted.
pub fn next(room: &Room, survey: &Survey) -> Option<(Aim, String)> {
    let next = survey.result.as_ref().ok()?.next?;
    let wall = |it: usize| room.walls.get(it).map(|it| it.id);
    let aim = match next.of {
        Span::Wall(of) => Aim::Wall(wall(of)?),
        Span::Across { from, to } => Aim::Check(Across::Corners { from: wall(from)?, to: wall(to)? }),
        Span::Offset { corner, wall: of } => Aim::Check(Across::Offset { corner: wall(corner)?, wall: wall(of)? }),
        Span::Width { wall: of, opposite } => Aim::Check(Across::Walls { wall: wall(of)?, opposite: wall(opposite)? }),
    };
    Some((aim, do_next(room, &next)))
}

/// The edit that keeps a check. One that was only proposed is set aside by it.
pub fn check(room: &Room, of: Across, taken: &Taken) -> Edit {
    let proposed = of_same(room, of).map(|it| &it.reading).filter(|it| it.tool == Tool::Plan && !it.withdrawn);
    Edit::AddCheck { room: room.id, of, reading: new_reading(taken, proposed.map(|it| it.id).collect()) }
}

/// The checks of one kind between the same places, also those set aside.
pub fn of_same(room: &Room, of: Across) -> impl Iterator<Item = &Check> {
    room.checks.iter().filter(move |it| ends(it.of) == ends(of))
}

/// `corner 1 to corner 3`, `corner 2 square to wall 4`, `wall 1 to wall 3, overall`.
pub fn words(room: &Room, of: Across) -> String {
    let number = |it: WallId| room.walls.iter().position(|wall| wall.id == it).map_or(0, |it| it + 1);
    match of {
        Across::Corners { from, to } => format!("corner {} to corner {}", number(from), number(to)),
        Across::Offset { corner, wall } => format!("corner {} square to wall {}", number(corner), number(wall)),
        Across::Walls { wall, opposite } => format!("wall {} to wall {}, overall", number(wall), number(opposite)),
    }
}

/// What the keypad's line says while both ends are looked for.
pub fn probe_words(room: &Room, from: Option<End>) -> String {
    let number = |it: WallId| room.walls.iter().position(|wall| wall.id == it).map_or(0, |it| it + 1);
    match from {
        None => "Check: tap a corner, or a wall".to_owned(),
        Some(End::Corner(it)) => format!("From corner {}: tap a corner or wall", number(it)),
        Some(End::Wall(it)) => format!("From wall {}: tap what lies across", number(it)),
    }
}

fn ends(of: Across) -> (u8, WallId, WallId) {
    match of {
        Across::Corners { from, to } => (0, from.min(to), from.max(to)),
        Across::Offset { corner, wall } => (1, corner, wall),
        Across::Walls { wall, opposite } => (2, wall.min(opposite), wall.max(opposite)),
    }
}

/// The same check from either end is one check: its ends in walking order.
fn in_order(room: &Room, a: WallId, b: WallId) -> (WallId, WallId) {
    let at = |wall: WallId| room.walls.iter().position(|it| it.id == wall);
    if at(a) <= at(b) { (a, b) } else { (b, a) }
}

/// The wall that starts where this one ends.
fn follows(room: &Room, wall: WallId) -> Option<WallId> {
    let at = room.walls.iter().position(|it| it.id == wall)?;
    room.walls.get((at + 1) % room.walls.len()).map(|it| it.id)
}

fn is_wall(room: &Room, a: WallId, b: WallId) -> bool {
    follows(room, a) == Some(b) || follows(room, b) == Some(a)
}

/// By the turns between them.
fn parallel(room: &Room, one: WallId, other: WallId) -> bool {
    let at = |wall: WallId| room.walls.iter().position(|it| it.id == wall);
    let (Some(a), Some(b)) = (at(one), at(other)) else { return false };
    let turned: i64 = room.walls[a.min(b)..a.max(b)].iter().map(|it| it.turn().0.0).sum();
    turned.rem_euclid(Angle::degrees(180).0) == 0
}

#[cfg(test)]
mod tests {
    use super::*;
    use shared_model::ids::RoomId;
    use shared_model::job::{Order, Wall};
    use uuid::Uuid;

    const fn wall(n: u128) -> WallId {
        WallId(Uuid::from_u128(n))
    }

    fn rectangle() -> Room {
        let walls = (1..=4).map(|n| Wall {
            id: wall(n),
            readings: Vec::new(),
            turns: Vec::new(),
            rises: Vec::new(),
            order: Order::default(),
        });
        Room {
            id: RoomId(Uuid::nil()),
            name: "Den".to_owned(),
            level: 0,
            goods: None,
            closed: true,
            walls: walls.collect(),
            openings: Vec::new(),
            fixtures: Vec::new(),
            marks: Vec::new(),
            checks: Vec::new(),
            order: Order::default(),
        }
    }

    #[test]
    fn two_taps_make_a_check() {
        let room = rectangle();
        let corner = |n| End::Corner(wall(n));
        assert_eq!(across(&room, corner(1), corner(3)), Ok(Across::Corners { from: wall(1), to: wall(3) }));
        assert_eq!(across(&room, corner(3), corner(1)), across(&room, corner(1), corner(3)));
        assert_eq!(across(&room, corner(1), End::Wall(wall(2))), Ok(Across::Offset { corner: wall(1), wall: wall(2) }));
        assert_eq!(across(&room, End::Wall(wall(2)), corner(1)), Ok(Across::Offset { corner: wall(1), wall: wall(2) }));
        assert_eq!(
            across(&room, End::Wall(wall(1)), End::Wall(wall(3))),
            Ok(Across::Walls { wall: wall(1), opposite: wall(3) })
        );
    }

    #[test]
    fn what_is_no_check_is_refused() {
        let room = rectangle();
        assert!(across(&room, End::Corner(wall(1)), End::Corner(wall(1))).is_err());
        assert!(across(&room, End::Corner(wall(1)), End::Corner(wall(2))).is_err(), "a wall");
        assert!(across(&room, End::Corner(wall(1)), End::Corner(wall(4))).is_err(), "the last wall");
        assert!(across(&room, End::Corner(wall(1)), End::Wall(wall(4))).is_err(), "it ends there");
        assert!(across(&room, End::Corner(wall(1)), End::Wall(wall(1))).is_err(), "it starts there");
        assert!(across(&room, End::Wall(wall(1)), End::Wall(wall(2))).is_err(), "square to each other");
    }
}
