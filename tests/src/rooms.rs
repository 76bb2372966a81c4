//! Rooms as typed values, for tests that need no document.

use shared_model::ids::{DeviceId, ReadingId, RoomId, TurnId, WallId};
use shared_model::job::{Order, Reading, Room, Stamp, Timestamp, Tool, Turn, TurnStatement, Wall};
use shared_model::length::{Length, Units};
use uuid::Uuid;

/// A length as crews write it.
pub fn long(text: &str) -> Length {
    Length::parse(text, Units::Imperial).unwrap_or_else(|error| panic!("{text}: {error}"))
}

/// A turn as crews write it: `r`, `l`, `r45`, `l22.5`.
pub fn turn(text: &str) -> Turn {
    Turn::parse(text).unwrap_or_else(|error| panic!("{text}: {error}"))
}

/// A closed room on the ground floor. Each wall is its readings, parted by `|` (empty for an unmeasured wall), and the
/// turn at its end. Room `n` has wall ids that start with `n`.
pub fn room(n: u64, name: &str, walls: &[(&str, &str)]) -> Room {
    let readings = |text: &str| text.split('|').filter(|it| !it.is_empty()).map(long).collect::<Vec<_>>();
    let walls: Vec<_> = walls.iter().map(|&(read, at_end)| (readings(read), turn(at_end))).collect();
    measured_room(n, name, &walls)
}

/// The same from values.
pub fn measured_room(n: u64, name: &str, walls: &[(Vec<Length>, Turn)]) -> Room {
    let mut order = Order::default();
    let mut walls_made = Vec::new();
    for (i, (readings, turn)) in walls.iter().enumerate() {
        order = Order::between(Some(&order), None);
        walls_made.push(wall(wall_id(n, i), readings, *turn, order.clone()));
    }
    Room {
        id: room_id(n),
        name: name.to_owned(),
        level: 0,
        goods: None,
        closed: true,
        walls: walls_made,
        openings: Vec::new(),
        order: Order::default(),
    }
}

pub fn room_id(n: u64) -> RoomId {
    RoomId(Uuid::from_u64_pair(n, 0))
}

/// The `i`th wall of room `n`, counted from 0.
pub fn wall_id(n: u64, i: usize) -> WallId {
    WallId(Uuid::from_u64_pair(n, i as u64 + 1))
}

fn wall(id: WallId, readings: &[Length], turn: Turn, order: Order) -> Wall {
    let stamp = Stamp { by: DeviceId(Uuid::from_u128(1)), at: Timestamp(0) };
    let (high, low) = id.0.as_u64_pair();
    let reading = |(i, &value): (usize, &Length)| Reading {
        id: ReadingId(Uuid::from_u64_pair(high << 32 | low, i as u64)),
        value,
        typed: value.exact_text(),
        tool: Tool::Tape,
        stamp,
        supersedes: Vec::new(),
        withdrawn: false,
    };
    let stated = TurnStatement { id: TurnId(id.0), turn, stamp, supersedes: Vec::new(), withdrawn: false };
    Wall { id, readings: readings.iter().enumerate().map(reading).collect(), turns: vec![stated], order }
}
