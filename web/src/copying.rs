//! Rooms made from others: a copy, a mirror image, a wall in two parts.

use shared_model::ids::{FixtureId, OpeningId, ReadingId, RoomId, TurnId, WallId};
use shared_model::job::{Across, Edit, Fixture, NewReading, NewTurn, Opening, Order, Reading, Room, Tool, Turn, Wall};
use shared_model::length::Length;
use uuid::Uuid;

use crate::keypad::Taken;

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

fn from_plan(reading: &Reading) -> NewReading {
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

/// Two walls in one line instead of one: the first ends where `taken` says, the second is still to be read. What was read of
/// the whole stays as a check from corner to corner. `None` when it is not within the wall, or the wall is an arc.
pub fn split(room: &Room, wall: &Wall, taken: &Taken) -> Option<(WallId, Vec<Edit>)> {
    let at = room.walls.iter().position(|it| it.id == wall.id)?;
    let whole: Vec<&Reading> = wall.in_force().collect();
    if whole.iter().any(|it| it.value <= taken.value) || wall.rises_in_force().next().is_some() {
        return None;
    }
    let next = room.walls.get(at + 1);
    let second = WallId(Uuid::new_v4());
    let mut edits = vec![Edit::AddWall {
        room: room.id,
        wall: second,
        order: Order::between(Some(&wall.order), next.map(|it| &it.order)),
    }];
    let stated = wall.turns.iter().filter(|it| !it.withdrawn).map(|it| it.id).collect();
    let turns = [(second, wall.turn(), wall.turns_freely(), Vec::new()), (wall.id, Turn::STRAIGHT, false, stated)];
    edits.extend(turns.map(|(wall, turn, free, supersedes)| Edit::StateTurn {
        room: room.id,
        wall,
        turn: NewTurn { id: TurnId(Uuid::new_v4()), turn, free, supersedes },
    }));
    let supersedes = whole.iter().map(|it| it.id).collect();
    let first = NewReading {
        id: ReadingId(Uuid::new_v4()),
        value: taken.value,
        typed: taken.typed.clone(),
        tool: taken.tool,
        supersedes,
    };
    edits.push(Edit::AddReading { room: room.id, wall: wall.id, reading: first });
    // From the start of the wall to the start of the one after it, around the ring. The last wall of an open ring has no such
    // corner yet: the reading of the whole stays with it, set aside.
    let after = next.or(room.walls.first().filter(|_| room.closed));
    if let Some(to) = after.map(|it| it.id).filter(|it| *it != wall.id) {
        let of = Across::Corners { from: wall.id, to };
        edits.extend(whole.iter().map(|it| Edit::AddCheck {
            room: room.id,
            of,
            reading: NewReading { tool: it.tool, ..from_plan(it) },
        }));
    }
    let moved = room.openings.iter().filter(|it| it.wall == wall.id && it.offset >= taken.value);
    edits.extend(moved.map(|it| Edit::SetOpening {
        room: room.id,
        opening: Opening { wall: second, offset: it.offset - taken.value, ..it.clone() },
    }));
    let moved = room.fixtures.iter().filter(|it| it.wall == wall.id && it.offset >= taken.value);
    edits.extend(moved.map(|it| Edit::SetFixture {
        room: room.id,
        fixture: Fixture { wall: second, offset: it.offset - taken.value, ..it.clone() },
    }));
    Some((second, edits))
}

#[cfg(test)]
mod tests {
    use super::*;
    use shared_model::ids::{DeviceId, JobId};
    use shared_model::job::{JobDoc, Timestamp};
    use shared_model::outline::close;

    const ROOM: RoomId = RoomId(Uuid::from_u128(1));

    fn typed(inches: i64) -> Taken {
        let value = Length::inches(inches);
        Taken { value, typed: value.exact_text(), tool: Tool::Tape }
    }

    fn doc() -> JobDoc {
        JobDoc::new(JobId(Uuid::from_u128(1)), [1; 16], DeviceId(Uuid::from_u128(2)))
    }

    /// An L: 10' up, 12' right, 4' down, 5' left, 6' down, 7' back; the door starts 1' from the left of the 12' wall.
    fn measured(doc: &mut JobDoc) -> Room {
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

    #[test]
    fn a_wall_in_two_parts_keeps_what_was_read_of_the_whole() {
        let mut doc = doc();
        let room = measured(&mut doc);
        let wall = room.walls[1].clone();
        assert!(split(&room, &wall, &typed(144)).is_none(), "not within the wall");
        let (second, edits) = split(&room, &wall, &typed(10)).unwrap();
        doc.edit(&edits, "split", Timestamp(1)).unwrap();
        let room = doc.job().room(ROOM).cloned().unwrap();
        assert_eq!(room.walls.len(), 7);
        assert_eq!((room.walls[1].turn(), room.walls[2].turn()), (Turn::STRAIGHT, Turn::RIGHT));
        assert_eq!(room.walls[1].in_force().map(|it| it.value).collect::<Vec<_>>(), [Length::inches(10)]);
        let check = &room.checks[0];
        assert_eq!(
            (check.of, check.reading.value),
            (Across::Corners { from: wall.id, to: room.walls[3].id }, Length::inches(144))
        );
        assert_eq!((room.openings[0].wall, room.openings[0].offset), (second, Length::inches(2)));
    }

    #[test]
    fn the_last_wall_of_an_open_ring_has_no_corner_to_check_to() {
        let mut doc = doc();
        let mut room = measured(&mut doc);
        room.closed = false;
        let last = room.walls[5].clone();
        let (_, edits) = split(&room, &last, &typed(10)).unwrap();
        assert!(!edits.iter().any(|it| matches!(it, Edit::AddCheck { .. })));
    }
}
