//! Rooms with their walls, openings, checks, fixtures and marks.

use automerge::transaction::Transaction;
use uuid::Uuid;

use super::{add, goods_exist, id_or_null, put, room_of, set, stamp, wall_of};
use crate::ids::{GoodsId, RoomId, WallId};
use crate::job::node::Node;
use crate::job::schema::key;
use crate::job::{Across, EditError, Fixture, NewMark, NewReading, NewTurn, Opening, Order, Timestamp, limits, words};

pub(super) fn add_room(
    tx: &mut Transaction<'_>,
    room: RoomId,
    name: &str,
    level: i64,
    goods: Option<GoodsId>,
    order: &Order,
) -> Result<(), EditError> {
    limits::name("room", name)?;
    limits::level(level)?;
    limits::order(order)?;
    goods_exist(tx, goods)?;
    let node = add(tx, &Node::root(tx, key::ROOMS), room.0, "room")?;
    node.make(tx, key::WALLS)?;
    node.make(tx, key::OPENINGS)?;
    put(tx, &node, key::NAME, name)?;
    put(tx, &node, key::LEVEL, level)?;
    put(tx, &node, key::GOODS, id_or_null(goods.map(|it| it.0)))?;
    put(tx, &node, key::ORDER, order.0.as_str())
}

pub(super) fn add_wall(tx: &mut Transaction<'_>, room: RoomId, wall: WallId, order: &Order) -> Result<(), EditError> {
    limits::order(order)?;
    let walls = room_of(tx, room)?.child(tx, key::WALLS);
    let node = add(tx, &walls, wall.0, "wall")?;
    node.make(tx, key::READINGS)?;
    node.make(tx, key::TURNS)?;
    put(tx, &node, key::ORDER, order.0.as_str())
}

pub(super) fn add_reading(
    tx: &mut Transaction<'_>,
    room: RoomId,
    wall: WallId,
    reading: &NewReading,
    at: Timestamp,
) -> Result<(), EditError> {
    let readings = wall_of(tx, room, wall)?.child(tx, key::READINGS);
    write_reading(tx, &readings, reading, at).map(|_| ())
}

pub(super) fn add_check(
    tx: &mut Transaction<'_>,
    room: RoomId,
    of: Across,
    reading: &NewReading,
    at: Timestamp,
) -> Result<(), EditError> {
    let (kind, from, to) = words::of_across(of);
    wall_of(tx, room, from)?;
    wall_of(tx, room, to)?;
    if from == to {
        return Err(EditError::Invalid("a check runs between two places".to_owned()));
    }
    let checks = place(tx, &room_of(tx, room)?, key::CHECKS)?;
    let node = write_reading(tx, &checks, reading, at)?;
    put(tx, &node, key::KIND, kind)?;
    put(tx, &node, key::WALL, from.to_string())?;
    put(tx, &node, key::TO, to.to_string())
}

/// A new reading among its `siblings`.
fn write_reading(
    tx: &mut Transaction<'_>,
    siblings: &Node,
    reading: &NewReading,
    at: Timestamp,
) -> Result<Node, EditError> {
    limits::some_length("reading", reading.value)?;
    limits::text("reading as typed", &reading.typed, limits::MOST_TEXT)?;
    let node = add(tx, siblings, reading.id.0, "reading")?;
    put(tx, &node, key::VALUE, reading.value.0)?;
    put(tx, &node, key::TYPED, reading.typed.as_str())?;
    put(tx, &node, key::TOOL, words::word(&words::TOOLS, reading.tool))?;
    let superseded: Vec<Uuid> = reading.supersedes.iter().map(|it| it.0).collect();
    stamp(tx, &node, siblings, &superseded, "reading", at)?;
    Ok(node)
}

pub(super) fn state_turn(
    tx: &mut Transaction<'_>,
    room: RoomId,
    wall: WallId,
    turn: &NewTurn,
    at: Timestamp,
) -> Result<(), EditError> {
    limits::turn(turn.turn)?;
    let turns = wall_of(tx, room, wall)?.child(tx, key::TURNS);
    let node = add(tx, &turns, turn.id.0, "turn")?;
    put(tx, &node, key::TURN, turn.turn.0.0)?;
    if turn.free {
        put(tx, &node, key::FREE, true)?;
    }
    let superseded: Vec<Uuid> = turn.supersedes.iter().map(|it| it.0).collect();
    stamp(tx, &node, &turns, &superseded, "turn", at)
}

pub(super) fn add_opening(tx: &mut Transaction<'_>, room: RoomId, opening: &Opening) -> Result<(), EditError> {
    let openings = room_of(tx, room)?.child(tx, key::OPENINGS);
    let node = add(tx, &openings, opening.id.0, "opening")?;
    write_opening(tx, &node, room, opening)
}

pub(super) fn write_opening(
    tx: &mut Transaction<'_>,
    node: &Node,
    room: RoomId,
    opening: &Opening,
) -> Result<(), EditError> {
    limits::opening(opening)?;
    wall_of(tx, room, opening.wall)?;
    if let Some(beyond) = opening.leads_to {
        room_of(tx, beyond)?;
        if beyond == room {
            return Err(EditError::Invalid("an opening cannot lead to its own room".to_owned()));
        }
    }
    set(
        tx,
        node,
        [
            (key::WALL, opening.wall.to_string().into()),
            (key::KIND, words::word(&words::OPENINGS, opening.kind).into()),
            (key::OFFSET, opening.offset.0.into()),
            (key::WIDTH, opening.width.0.into()),
            (key::DEPTH, opening.depth.0.into()),
            (key::FLOOR, words::word(&words::FLOORS, opening.floor).into()),
            (key::LEADS_TO, id_or_null(opening.leads_to.map(|it| it.0))),
        ],
    )
}

pub(super) fn add_rise(
    tx: &mut Transaction<'_>,
    room: RoomId,
    wall: WallId,
    inward: bool,
    reading: &NewReading,
    at: Timestamp,
) -> Result<(), EditError> {
    let rises = place(tx, &wall_of(tx, room, wall)?, key::RISES)?;
    let node = write_reading(tx, &rises, reading, at)?;
    put(tx, &node, key::INWARD, inward)
}

pub(super) fn add_fixture(tx: &mut Transaction<'_>, room: RoomId, fixture: &Fixture) -> Result<(), EditError> {
    let fixtures = place(tx, &room_of(tx, room)?, key::FIXTURES)?;
    let node = add(tx, &fixtures, fixture.id.0, "fixture")?;
    write_fixture(tx, &node, room, fixture)
}

pub(super) fn write_fixture(
    tx: &mut Transaction<'_>,
    node: &Node,
    room: RoomId,
    fixture: &Fixture,
) -> Result<(), EditError> {
    limits::fixture(fixture)?;
    wall_of(tx, room, fixture.wall)?;
    set(
        tx,
        node,
        [
            (key::WALL, fixture.wall.to_string().into()),
            (key::KIND, words::word(&words::FIXTURES, fixture.kind).into()),
            (key::OFFSET, fixture.offset.0.into()),
            (key::CLEAR, fixture.clear.0.into()),
            (key::WIDTH, fixture.width.0.into()),
            (key::DEPTH, fixture.depth.0.into()),
        ],
    )
}

pub(super) fn add_mark(tx: &mut Transaction<'_>, room: RoomId, mark: &NewMark, at: Timestamp) -> Result<(), EditError> {
    limits::mark(mark)?;
    mark.wall.map_or(Ok(()), |wall| wall_of(tx, room, wall).map(|_| ()))?;
    let marks = place(tx, &room_of(tx, room)?, key::MARKS)?;
    let node = add(tx, &marks, mark.id.0, "mark")?;
    put(tx, &node, key::KIND, words::word(&words::MARKS, mark.kind))?;
    put(tx, &node, key::WALL, id_or_null(mark.wall.map(|it| it.0)))?;
    put(tx, &node, key::OFFSET, mark.offset.0)?;
    put(tx, &node, key::CLEAR, mark.clear.0)?;
    put(tx, &node, key::TEXT, mark.text.as_str())?;
    stamp(tx, &node, &marks, &[], "mark", at)
}

/// The map under `key` of a thing that may be older than what is kept there: it is made when it is needed first; two that are
/// made at the same time are read as one.
fn place(tx: &mut Transaction<'_>, of: &Node, key: &str) -> Result<Node, EditError> {
    let kept = of.child(tx, key);
    if kept.exists() { Ok(kept) } else { Ok(of.make(tx, key)?) }
}
