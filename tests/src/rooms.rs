//! Rooms as typed values, for tests that need no document.

use std::collections::BTreeMap;

use shared_model::ids::{ChoiceId, DeviceId, FlightId, GoodsId, JobId, OpeningId, ReadingId, RoomId, TurnId, WallId};
use shared_model::job::{
    Choice, Decision, Flight, FloorAtOpening, Goods, Job, Match, Opening, OpeningKind, Order, Reading, Room, Rules,
    Stamp, Timestamp, Tool, Turn, TurnStatement, Wall,
};
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
        fixtures: Vec::new(),
        marks: Vec::new(),
        checks: Vec::new(),
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
        set_aside: None,
    };
    let stated = TurnStatement { id: TurnId(id.0), turn, free: false, stamp, supersedes: Vec::new(), withdrawn: false };
    Wall {
        id,
        readings: readings.iter().enumerate().map(reading).collect(),
        turns: vec![stated],
        rises: Vec::new(),
        order,
    }
}

/// A doorway on the `i`th wall, 4 1/2 in deep, a seam under its door. Its id comes from its room, wall and offset.
pub fn doorway(room: u64, i: usize, offset: Length, width: Length, leads_to: Option<u64>) -> Opening {
    Opening {
        id: OpeningId(Uuid::from_u64_pair(room << 16 | i as u64, offset.0.unsigned_abs())),
        wall: wall_id(room, i),
        kind: OpeningKind::Doorway,
        offset,
        width,
        depth: long("4 1/2\""),
        floor: FloorAtOpening::SeamUnderDoor,
        leads_to: leads_to.map(room_id),
    }
}

/// Plain goods from a 12 ft roll, sold by the inch.
pub fn plain_goods(n: u64) -> Goods {
    Goods {
        id: goods_id(n),
        name: format!("Goods {n}"),
        roll_width: Length::feet(12),
        repeat_length: Length::ZERO,
        repeat_width: Length::ZERO,
        pattern: Match::None,
        pile: true,
        increment: Length::inches(1),
        minimum: Length::ZERO,
        longest: Length::ZERO,
        order: Order::default(),
    }
}

pub fn goods_id(n: u64) -> GoodsId {
    GoodsId(Uuid::from_u64_pair(n, 0))
}

/// A flight of 13 steps, 36 in wide, in the job's first goods.
pub fn flight(n: u64) -> Flight {
    Flight {
        // No room has this id.
        id: FlightId(Uuid::from_u64_pair(n, u64::MAX)),
        name: format!("Stair {n}"),
        steps: 13,
        riser: long("7 1/2\""),
        going: long("10\""),
        nosing: long("1\""),
        width: long("36\""),
        winders: 0,
        winder_reach: Length::ZERO,
        landing: Length::ZERO,
        foot: None,
        goods: None,
        order: Order::default(),
    }
}

/// A room of four square walls; its first wall runs north.
pub fn square(n: u64, name: &str, across: &str, along: &str) -> Room {
    room(n, name, &[(along, "r"), (across, "r"), (along, "r"), (across, "r")])
}

/// One more decision of the crew, after all others.
pub fn decide(job: &mut Job, decision: Decision) {
    let n = job.choices.len() as u64;
    let stamp = Stamp { by: DeviceId(Uuid::nil()), at: Timestamp(n as i64) };
    job.choices.push(Choice { id: ChoiceId(Uuid::from_u64_pair(77, n)), decision, stamp, supersedes: Vec::new() });
}

pub fn job(rooms: Vec<Room>, goods: Vec<Goods>) -> Job {
    Job {
        id: JobId(Uuid::from_u128(1)),
        schema: 1,
        name: "House".to_owned(),
        units: Units::Imperial,
        archived: false,
        people: BTreeMap::new(),
        rooms,
        flights: Vec::new(),
        goods,
        rules: Rules::default(),
        choices: Vec::new(),
        prints: Vec::new(),
        photos: Vec::new(),
        disputes: Vec::new(),
    }
}
