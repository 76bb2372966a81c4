//! What crews type in the load tests: rooms of twelve walls, and one length after the other.

use shared_model::ids::{ReadingId, RoomId, WallId};
use shared_model::job::{Edit, NewReading, Order, Tool};
use shared_model::length::Length;
use uuid::Uuid;

use crate::peer::add_room;

pub type Walls = Vec<(RoomId, WallId)>;

/// The actions that add rooms with their walls, and the walls.
pub fn rooms(count: usize) -> (Vec<Vec<Edit>>, Walls) {
    let mut walls = Vec::new();
    let mut actions = Vec::new();
    for n in 0..count {
        let room = add_room(&format!("Room {n}"));
        let Edit::AddRoom { room: id, .. } = room else { continue };
        let mut edits = vec![room];
        for _ in 0..12 {
            let wall = WallId(Uuid::new_v4());
            edits.push(Edit::AddWall { room: id, wall, order: Order::between(None, None) });
            walls.push((id, wall));
        }
        actions.push(edits);
    }
    (actions, walls)
}

pub fn reading((room, wall): (RoomId, WallId)) -> Edit {
    let reading = NewReading {
        id: ReadingId(Uuid::new_v4()),
        value: Length::feet(12),
        typed: "12'".to_owned(),
        tool: Tool::Tape,
        supersedes: Vec::new(),
    };
    Edit::AddReading { room, wall, reading }
}
