//! Rooms with their walls, openings, checks, fixtures and marks.

use automerge::transaction::Transaction;
use uuid::Uuid;

use super::{add, existing, goods_exist, id_or_null, mark, place, put, room_of, set, stamp, wall_of};
use crate::ids::{GoodsId, RoomId, WallId};
use crate::job::node::Node;
use crate::job::schema::key;
use crate::job::{
    Across, Edit, EditError, Fixture, NewMark, NewReading, NewTurn, Opening, Order, Timestamp, limits, words,
};

/// The edits of a room and what is in it, but for its walls.
pub(super) fn edit(tx: &mut Transaction<'_>, edit: &Edit, at: Timestamp) -> Result<(), EditError> {
    match edit {
        Edit::AddRoom { room, name, level, goods, order } => add_room(tx, *room, name, *level, *goods, order),
        Edit::NameRoom { room, name } => {
            limits::name("room", name)?;
            put(tx, &room_of(tx, *room)?, key::NAME, name.as_str())
        }
        Edit::SetRoomGoods { room, goods } => {
            goods_exist(tx, *goods)?;
            put(tx, &room_of(tx, *room)?, key::GOODS, id_or_null(goods.map(|it| it.0)))
        }
        Edit::CloseRoom { room, closed } => put(tx, &room_of(tx, *room)?, key::CLOSED, *closed),
        Edit::RemoveRoom { room, removed } => put(tx, &room_of(tx, *room)?, key::REMOVED, *removed),
        Edit::AddCheck { room, of, reading } => add_check(tx, *room, *of, reading, at),
        Edit::WithdrawCheck { room, check, withdrawn } => {
            let checks = room_of(tx, *room)?.child(tx, key::CHECKS);
            mark(tx, &checks, check.0, "check", key::WITHDRAWN, *withdrawn)
        }
        Edit::AddFixture { room, fixture } => add_fixture(tx, *room, fixture),
        Edit::SetFixture { room, fixture } => {
            let node = existing(tx, &room_of(tx, *room)?.child(tx, key::FIXTURES), fixture.id.0, "fixture")?;
            write_fixture(tx, &node, *room, fixture)
        }
        Edit::RemoveFixture { room, fixture, removed } => {
            let fixtures = room_of(tx, *room)?.child(tx, key::FIXTURES);
            mark(tx, &fixtures, fixture.0, "fixture", key::REMOVED, *removed)
        }
        Edit::AddMark { room, mark } => add_mark(tx, *room, mark, at),
        Edit::WithdrawMark { room, mark: id, withdrawn } => {
            let marks = room_of(tx, *room)?.child(tx, key::MARKS);
            mark(tx, &marks, id.0, "mark", key::WITHDRAWN, *withdrawn)
        }
        Edit::AddOpening { room, opening } => add_opening(tx, *room, opening),
        Edit::SetOpening { room, opening } => {
            let node = existing(tx, &room_of(tx, *room)?.child(tx, key::OPENINGS), opening.id.0, "opening")?;
            write_opening(tx, &node, *room, opening)
        }
        Edit::RemoveOpening { room, opening, removed } => {
            let openings = room_of(tx, *room)?.child(tx, key::OPENINGS);
            mark(tx, &openings, opening.0, "opening", key::REMOVED, *removed)
        }
        _ => Ok(()),
    }
}

/// The edits of one wall.
pub(super) fn edit_wall(
    tx: &mut Transaction<'_>,
    (room, wall): (RoomId, WallId),
    edit: &Edit,
    at: Timestamp,
) -> Result<(), EditError> {
    match edit {
        Edit::AddWall { order, .. } => add_wall(tx, room, wall, order),
        Edit::RemoveWall { removed, .. } => put(tx, &wall_of(tx, room, wall)?, key::REMOVED, *removed),
        Edit::AddReading { reading, .. } => add_reading(tx, room, wall, reading, at),
        Edit::WithdrawReading { reading, withdrawn, .. } => {
            let readings = wall_of(tx, room, wall)?.child(tx, key::READINGS);
            mark(tx, &readings, reading.0, "reading", key::WITHDRAWN, *withdrawn)
        }
        Edit::AddRise { inward, reading, .. } => add_rise(tx, room, wall, *inward, reading, at),
        Edit::WithdrawRise { rise, withdrawn, .. } => {
            let rises = wall_of(tx, room, wall)?.child(tx, key::RISES);
            mark(tx, &rises, rise.0, "rise", key::WITHDRAWN, *withdrawn)
        }
        Edit::StateTurn { turn, .. } => state_turn(tx, room, wall, turn, at),
        Edit::WithdrawTurn { turn, withdrawn, .. } => {
            let turns = wall_of(tx, room, wall)?.child(tx, key::TURNS);
            mark(tx, &turns, turn.0, "turn", key::WITHDRAWN, *withdrawn)
        }
        _ => Ok(()),
    }
}

fn add_room(
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

fn add_wall(tx: &mut Transaction<'_>, room: RoomId, wall: WallId, order: &Order) -> Result<(), EditError> {
    limits::order(order)?;
    let walls = room_of(tx, room)?.child(tx, key::WALLS);
    let node = add(tx, &walls, wall.0, "wall")?;
    node.make(tx, key::READINGS)?;
    node.make(tx, key::TURNS)?;
    put(tx, &node, key::ORDER, order.0.as_str())
}

fn add_reading(
    tx: &mut Transaction<'_>,
    room: RoomId,
    wall: WallId,
    reading: &NewReading,
    at: Timestamp,
) -> Result<(), EditError> {
    let readings = wall_of(tx, room, wall)?.child(tx, key::READINGS);
    write_reading(tx, &readings, reading, at).map(|_| ())
}

fn add_check(
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

fn state_turn(
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

fn add_opening(tx: &mut Transaction<'_>, room: RoomId, opening: &Opening) -> Result<(), EditError> {
    let openings = room_of(tx, room)?.child(tx, key::OPENINGS);
    let node = add(tx, &openings, opening.id.0, "opening")?;
    write_opening(tx, &node, room, opening)
}

fn write_opening(tx: &mut Transaction<'_>, node: &Node, room: RoomId, opening: &Opening) -> Result<(), EditError> {
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

fn add_rise(
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

fn add_fixture(tx: &mut Transaction<'_>, room: RoomId, fixture: &Fixture) -> Result<(), EditError> {
    let fixtures = place(tx, &room_of(tx, room)?, key::FIXTURES)?;
    let node = add(tx, &fixtures, fixture.id.0, "fixture")?;
    write_fixture(tx, &node, room, fixture)
}

fn write_fixture(tx: &mut Transaction<'_>, node: &Node, room: RoomId, fixture: &Fixture) -> Result<(), EditError> {
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

fn add_mark(tx: &mut Transaction<'_>, room: RoomId, mark: &NewMark, at: Timestamp) -> Result<(), EditError> {
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
