//! One wall that becomes several: split in two, or with a closet behind it. What was read of the whole stays as a check.

use shared_model::ids::{TurnId, WallId};
use shared_model::job::{Across, Edit, Fixture, NewReading, NewTurn, Opening, Order, Reading, Room, Tool, Turn, Wall};
use shared_model::length::Length;
use uuid::Uuid;

use crate::copying::from_plan;
use crate::keypad::Taken;
use crate::measuring::{new_reading, other_way};

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
    let first = new_reading(taken, whole.iter().map(|it| it.id).collect());
    edits.push(Edit::AddReading { room: room.id, wall: wall.id, reading: first });
    edits.extend(whole_as_check(room, wall));
    edits.extend(moved(room, wall.id, |offset| (offset >= taken.value).then(|| (second, offset - taken.value))));
    Some((second, edits))
}

/// A closet behind a wall: the wall ends where the closet's opening starts, and goes on where it ends. The second side and the rest of the
/// wall count as taken from a drawing until they are read. `None` when it is not within the wall, or starts in its first corner, or the
/// wall is an arc.
pub fn closet(room: &Room, wall: &Wall, offset: &Taken, width: &Taken, depth: &Taken) -> Option<Vec<Edit>> {
    let at = room.walls.iter().position(|it| it.id == wall.id)?;
    let whole = wall.in_force().last().map(|it| it.value);
    let (from, to) = (offset.value, offset.value + width.value);
    let inward = if room.is_walked_to_the_left() { Turn::LEFT } else { Turn::RIGHT };
    let outward = other_way(inward);
    // One that reaches the end of its wall has its second side in one line with the next wall.
    let flush = whole == Some(to) && wall.turn() == inward;
    let fits = whole.is_none_or(|it| it > to) || flush;
    if !fits || from == Length::ZERO || wall.rises_in_force().next().is_some() {
        return None;
    }
    let ids = [(); 4].map(|()| WallId(Uuid::new_v4()));
    let [side, back, other, rest] = ids;
    let made = if flush { &ids[..3] } else { &ids[..] };
    let next = room.walls.get(at + 1).map(|it| &it.order);
    let mut edits = Vec::new();
    let mut before = wall.order.clone();
    for &wall in made {
        let order = Order::between(Some(&before), next);
        before = order.clone();
        edits.push(Edit::AddWall { room: room.id, wall, order });
    }
    let stated = wall.turns.iter().filter(|it| !it.withdrawn).map(|it| it.id).collect();
    let turns = [
        (wall.id, outward, false, stated),
        (side, inward, false, Vec::new()),
        (back, inward, false, Vec::new()),
        (other, if flush { Turn::STRAIGHT } else { outward }, false, Vec::new()),
        (rest, wall.turn(), wall.turns_freely(), Vec::new()),
    ];
    let turns = turns.into_iter().take(made.len() + 1);
    edits.extend(turns.map(|(wall, turn, free, supersedes)| Edit::StateTurn {
        room: room.id,
        wall,
        turn: NewTurn { id: TurnId(Uuid::new_v4()), turn, free, supersedes },
    }));
    let read = |wall, reading| Edit::AddReading { room: room.id, wall, reading };
    let drawn = |value: Length| Taken { value, typed: value.exact_text(), tool: Tool::Plan };
    edits.push(read(wall.id, new_reading(offset, wall.in_force().map(|it| it.id).collect())));
    edits.push(read(side, new_reading(depth, Vec::new())));
    edits.push(read(back, new_reading(width, Vec::new())));
    edits.push(read(other, new_reading(&drawn(depth.value), Vec::new())));
    edits.extend(whole.filter(|_| !flush).map(|it| read(rest, new_reading(&drawn(it - to), Vec::new()))));
    // Of one that is flush the whole ends at no corner any more.
    edits.extend(whole_as_check(room, wall).into_iter().filter(|_| !flush));
    edits.extend(moved(room, wall.id, |it| {
        if it >= to && !flush { Some((rest, it - to)) } else { (it >= from).then(|| (back, it - from)) }
    }));
    Some(edits)
}

/// What was read of the whole, from the start of the wall to the start of the one after it, around the ring. The last wall of an open
/// ring has no such corner yet: the reading of the whole stays with it, set aside.
fn whole_as_check(room: &Room, wall: &Wall) -> Vec<Edit> {
    let at = room.walls.iter().position(|it| it.id == wall.id);
    let next = at.and_then(|it| room.walls.get(it + 1));
    let after = next.or(room.walls.first().filter(|_| room.closed)).map(|it| it.id).filter(|it| *it != wall.id);
    let Some(to) = after else { return Vec::new() };
    let of = Across::Corners { from: wall.id, to };
    let check = |it: &Reading| NewReading { tool: it.tool, ..from_plan(it) };
    wall.in_force().map(|it| Edit::AddCheck { room: room.id, of, reading: check(it) }).collect()
}

/// Openings and fixtures of a wall that lie on another part of it now.
fn moved(room: &Room, wall: WallId, to: impl Fn(Length) -> Option<(WallId, Length)>) -> Vec<Edit> {
    let openings = room.openings.iter().filter(|it| it.wall == wall).filter_map(|it| {
        let (wall, offset) = to(it.offset)?;
        Some(Edit::SetOpening { room: room.id, opening: Opening { wall, offset, ..it.clone() } })
    });
    let fixtures = room.fixtures.iter().filter(|it| it.wall == wall).filter_map(|it| {
        let (wall, offset) = to(it.offset)?;
        Some(Edit::SetFixture { room: room.id, fixture: Fixture { wall, offset, ..it.clone() } })
    });
    openings.chain(fixtures).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::copying::tests::{ROOM, doc, measured, typed};
    use shared_model::job::Timestamp;
    use shared_model::outline::close;

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

    /// The L of 84 · 120 + 60 · 48 sq in, and a closet of 30 by 24 in behind its 12 ft wall, 5 ft along.
    #[test]
    fn a_closet_adds_its_floor_and_keeps_the_whole_as_a_check() {
        let mut doc = doc();
        let room = measured(&mut doc);
        let wall = room.walls[1].clone();
        assert!(closet(&room, &wall, &typed(120), &typed(30), &typed(24)).is_none(), "not within the wall");
        let edits = closet(&room, &wall, &typed(60), &typed(30), &typed(24)).unwrap();
        doc.edit(&edits, "closet", Timestamp(1)).unwrap();
        let job = doc.job();
        let made = job.room(ROOM).cloned().unwrap();
        assert_eq!(made.walls.len(), 10);
        let (outline, problems) = close(&made, &job.rules, job.units);
        let area = |it: i64| (Length::inches(it) * Length::inches(1)).0;
        let whole = close(&room, &job.rules, job.units).0.unwrap().area;
        let more = outline.unwrap_or_else(|| panic!("{problems:?}")).area.0 - whole.0;
        assert!((more - area(30 * 24)).abs() < area(1), "{more}");
        assert_eq!(made.checks[0].of, Across::Corners { from: wall.id, to: room.walls[2].id });
    }

    /// The last 30 in of the 12 ft wall.
    #[test]
    fn a_closet_may_end_where_its_wall_ends() {
        let mut doc = doc();
        let room = measured(&mut doc);
        let edits = closet(&room, &room.walls[1], &typed(114), &typed(30), &typed(24)).unwrap();
        doc.edit(&edits, "closet", Timestamp(1)).unwrap();
        let job = doc.job();
        let made = job.room(ROOM).cloned().unwrap();
        assert_eq!(made.walls.len(), 9);
        let area = |room: &Room| close(room, &job.rules, job.units).0.unwrap().area.0;
        let more = area(&made) - area(&room) - (Length::inches(30) * Length::inches(24)).0;
        assert!(more.abs() < (Length::inches(1) * Length::inches(1)).0, "{more}");
    }
}
