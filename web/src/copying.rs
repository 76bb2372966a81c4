//! Rooms made from others: a copy, a mirror image.

use shared_model::ids::{FixtureId, OpeningId, ReadingId, RoomId, TurnId, WallId};
use shared_model::job::{Edit, Fixture, NewReading, NewTurn, Opening, Order, Reading, Room, Tool, Turn, Wall};
use shared_model::length::Length;
use uuid::Uuid;

/// A room of the same walls, openings and fixtures, as if taken from a drawing: nobody has read them here yet.
pub fn copy(room: &Room, after: Option<&Order>, before: Option<&Order>, mirrored: bool) -> (RoomId, Vec<Edit>) {
    let id = RoomId(Uuid::new_v4());
    let word = if mirrored { "mirrored" } else { "copy" };
    let mut edits = vec![Edit::AddRoom {
        room: id,
        name: format!("{} ({word})", room.name),
        level: room.level,
        goods: room.goods,
        order: Order::between(after, before),
    }];
    let mut order: Option<Order> = None;
    for (from, ends) in walls(room, mirrored) {
        let wall = WallId(Uuid::new_v4());
        let place = Order::between(order.as_ref(), None);
        edits.push(Edit::AddWall { room: id, wall, order: place.clone() });
        order = Some(place);
        let (turn, free) = (ends.turn(), ends.turns_freely());
        if turn != Turn::RIGHT || free {
            let turn = NewTurn { id: TurnId(Uuid::new_v4()), turn, free, supersedes: Vec::new() };
            edits.push(Edit::StateTurn { room: id, wall, turn });
        }
        edits.extend(from.in_force().map(|it| Edit::AddReading { room: id, wall, reading: from_plan(it) }));
        edits.extend(from.rises_in_force().map(|it| Edit::AddRise {
            room: id,
            wall,
            inward: it.inward,
            reading: from_plan(&it.reading),
        }));
        let here = room.openings.iter().filter(|it| it.wall == from.id);
        edits.extend(
            here.filter_map(|it| opening(it, from, wall, mirrored))
                .map(|opening| Edit::AddOpening { room: id, opening }),
        );
        let here = room.fixtures.iter().filter(|it| it.wall == from.id);
        edits.extend(
            here.filter_map(|it| fixture(it, from, wall, mirrored))
                .map(|fixture| Edit::AddFixture { room: id, fixture }),
        );
    }
    if room.closed {
        edits.push(Edit::CloseRoom { room: id, closed: true });
    }
    (id, edits)
}

/// The walls in walking order, each with the one that says how it turns at its end. The mirror image is walked the other way
/// round, so that right turns stay right.
fn walls(room: &Room, mirrored: bool) -> Vec<(&Wall, &Wall)> {
    let count = room.walls.len();
    if !mirrored {
        return room.walls.iter().map(|it| (it, it)).collect();
    }
    (0..count).rev().map(|i| (&room.walls[i], &room.walls[(i + count - 1) % count])).collect()
}

pub fn from_plan(reading: &Reading) -> NewReading {
    NewReading {
        id: ReadingId(Uuid::new_v4()),
        value: reading.value,
        typed: reading.typed.clone(),
        tool: Tool::Plan,
        supersedes: Vec::new(),
    }
}

/// An opening on the copied wall; none in the mirror image of a wall that nobody read, where its place is not known.
fn opening(of: &Opening, on: &Wall, wall: WallId, mirrored: bool) -> Option<Opening> {
    let offset = copied_offset(on, of.offset, of.width, mirrored)?;
    Some(Opening { id: OpeningId(Uuid::new_v4()), wall, offset, leads_to: None, ..of.clone() })
}

fn fixture(of: &Fixture, on: &Wall, wall: WallId, mirrored: bool) -> Option<Fixture> {
    let offset = copied_offset(on, of.offset, of.width, mirrored)?;
    Some(Fixture { id: FixtureId(Uuid::new_v4()), wall, offset, ..of.clone() })
}

fn copied_offset(on: &Wall, offset: Length, width: Length, mirrored: bool) -> Option<Length> {
    let offset = if mirrored { on.in_force().last()?.value - offset - width } else { offset };
    (offset >= Length::ZERO).then_some(offset)
}

#[cfg(test)]
pub mod tests {
    use super::*;
    use crate::keypad::Taken;
    use shared_model::ids::{DeviceId, JobId};
    use shared_model::job::{JobDoc, Timestamp};
    use shared_model::outline::close;

    pub const ROOM: RoomId = RoomId(Uuid::from_u128(1));

    pub fn typed(inches: i64) -> Taken {
        let value = Length::inches(inches);
        Taken { value, typed: value.exact_text(), tool: Tool::Tape }
    }

    pub fn doc() -> JobDoc {
        JobDoc::new(JobId(Uuid::from_u128(1)), [1; 16], DeviceId(Uuid::from_u128(2)))
    }

    /// An L: 10' up, 12' right, 4' down, 5' left, 6' down, 7' back; the door starts 1' from the left of the 12' wall.
    pub fn measured(doc: &mut JobDoc) -> Room {
        let mut edits =
            vec![Edit::AddRoom { room: ROOM, name: "Den".to_owned(), level: 0, goods: None, order: Order::default() }];
        let mut order: Option<Order> = None;
        let walls = [(120, 90), (144, 90), (48, 90), (60, -90), (72, 90), (84, 90)];
        for (n, (inches, degrees)) in (10..).zip(walls) {
            let (wall, place) = (WallId(Uuid::from_u128(n)), Order::between(order.as_ref(), None));
            edits.push(Edit::AddWall { room: ROOM, wall, order: place.clone() });
            order = Some(place);
            let turn = Turn(shared_model::job::Angle::degrees(degrees));
            edits.push(Edit::StateTurn {
                room: ROOM,
                wall,
                turn: NewTurn { id: TurnId(Uuid::from_u128(n)), turn, free: false, supersedes: Vec::new() },
            });
            let reading = crate::measuring::new_reading(&typed(inches), Vec::new());
            edits.push(Edit::AddReading { room: ROOM, wall, reading });
        }
        edits.push(Edit::CloseRoom { room: ROOM, closed: true });
        let door = Opening {
            id: OpeningId(Uuid::from_u128(5)),
            wall: WallId(Uuid::from_u128(11)),
            kind: shared_model::job::OpeningKind::Doorway,
            offset: Length::inches(12),
            width: Length::inches(30),
            depth: Length::inches(4),
            floor: shared_model::job::FloorAtOpening::SeamUnderDoor,
            leads_to: None,
        };
        edits.push(Edit::AddOpening { room: ROOM, opening: door });
        doc.edit(&edits, "measured", Timestamp(0)).unwrap();
        doc.job().room(ROOM).cloned().unwrap()
    }

    #[test]
    fn a_copy_and_a_mirror_image_close_with_the_same_area() {
        let mut doc = doc();
        let room = measured(&mut doc);
        let job = doc.job();
        let area = |room: &Room| close(room, &job.rules, job.units).0.map(|it| it.area);
        for mirrored in [false, true] {
            let (id, edits) = copy(&room, Some(&room.order), None, mirrored);
            doc.edit(&edits, "copy", Timestamp(1)).unwrap();
            let made = doc.job().room(id).cloned().unwrap();
            assert!(area(&made).is_some() && area(&made) == area(&room));
            let door = &made.openings[0];
            assert_eq!(door.offset, Length::inches(if mirrored { 144 - 12 - 30 } else { 12 }));
            assert!(made.walls.iter().flat_map(|it| &it.readings).all(|it| it.tool == Tool::Plan));
        }
    }
}
