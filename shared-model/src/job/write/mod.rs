//! Edits, written into the document.

mod photos;
mod rooms;

use automerge::ScalarValue;
use automerge::transaction::Transaction;
use uuid::Uuid;

use super::node::Node;
use super::schema::key;
use super::{ChosenPlan, CutPiece, Decision, Edit, EditError, Flight, Goods, NewChoice, Pin, Timestamp, limits, words};
use crate::ids::{DeviceId, GoodsId, RoomId, WallId};

/// Writes one edit into an open transaction. On an error the transaction must be rolled back.
pub(super) fn edit(tx: &mut Transaction<'_>, edit: &Edit, author: DeviceId, at: Timestamp) -> Result<(), EditError> {
    match edit {
        Edit::NameJob { name } => {
            limits::text("name of the job", name, limits::MOST_NAME)?;
            put(tx, &Node::root(tx, key::JOB), key::NAME, name.as_str())
        }
        Edit::SetUnits { units } => put(tx, &Node::root(tx, key::JOB), key::UNITS, words::word(&words::UNITS, *units)),
        Edit::SetArchived { archived } => put(tx, &Node::root(tx, key::JOB), key::ARCHIVED, *archived),
        Edit::SetRule { rule, value } => {
            limits::rule(*rule, *value)?;
            put(tx, &Node::root(tx, key::RULES), words::word(&words::RULES, *rule), *value)
        }
        Edit::NamePerson { name } => {
            limits::name("person", name)?;
            put(tx, &Node::root(tx, key::PEOPLE), &author.to_string(), name.as_str())
        }
        Edit::AddRoom { .. }
        | Edit::NameRoom { .. }
        | Edit::SetRoomGoods { .. }
        | Edit::CloseRoom { .. }
        | Edit::RemoveRoom { .. }
        | Edit::AddCheck { .. }
        | Edit::WithdrawCheck { .. }
        | Edit::AddFixture { .. }
        | Edit::SetFixture { .. }
        | Edit::RemoveFixture { .. }
        | Edit::AddMark { .. }
        | Edit::WithdrawMark { .. }
        | Edit::AddOpening { .. }
        | Edit::SetOpening { .. }
        | Edit::RemoveOpening { .. } => rooms::edit(tx, edit, at),
        Edit::AddWall { room, wall, .. }
        | Edit::RemoveWall { room, wall, .. }
        | Edit::AddReading { room, wall, .. }
        | Edit::WithdrawReading { room, wall, .. }
        | Edit::AddRise { room, wall, .. }
        | Edit::WithdrawRise { room, wall, .. }
        | Edit::StateTurn { room, wall, .. }
        | Edit::WithdrawTurn { room, wall, .. } => rooms::edit_wall(tx, (*room, *wall), edit, at),
        Edit::AddFlight { flight } => {
            let node = add(tx, &Node::root(tx, key::FLIGHTS), flight.id.0, "flight")?;
            write_flight(tx, &node, flight)
        }
        Edit::SetFlight { flight } => {
            let node = existing(tx, &Node::root(tx, key::FLIGHTS), flight.id.0, "flight")?;
            write_flight(tx, &node, flight)
        }
        Edit::RemoveFlight { flight, removed } => {
            mark(tx, &Node::root(tx, key::FLIGHTS), flight.0, "flight", key::REMOVED, *removed)
        }
        Edit::AddGoods { goods } => {
            let node = add(tx, &Node::root(tx, key::GOODS), goods.id.0, "goods")?;
            write_goods(tx, &node, goods)
        }
        Edit::SetGoods { goods } => {
            let node = existing(tx, &Node::root(tx, key::GOODS), goods.id.0, "goods")?;
            write_goods(tx, &node, goods)
        }
        Edit::RemoveGoods { goods, removed } => {
            mark(tx, &Node::root(tx, key::GOODS), goods.0, "goods", key::REMOVED, *removed)
        }
        Edit::Choose { choice } => choose(tx, choice, at),
        Edit::WithdrawChoice { choice, withdrawn } => {
            mark(tx, &Node::root(tx, key::CHOICES), choice.0, "choice", key::WITHDRAWN, *withdrawn)
        }
        Edit::NotePrint { print, sheet } => {
            let prints = place(tx, &Node::root(tx, key::JOB), key::PRINTS)?;
            let node = add(tx, &prints, print.0, "print")?;
            put(tx, &node, key::KIND, words::word(&words::SHEETS, *sheet))?;
            stamp(tx, &node, &prints, &[], "print", at)
        }
        Edit::AddPhoto { photo } => photos::add_photo(tx, photo, at),
        Edit::WithdrawPhoto { photo, withdrawn } => {
            let photos = Node::root(tx, key::JOB).child(tx, key::PHOTOS);
            mark(tx, &photos, photo.0, "photo", key::WITHDRAWN, *withdrawn)
        }
    }
}

fn choose(tx: &mut Transaction<'_>, choice: &NewChoice, at: Timestamp) -> Result<(), EditError> {
    limits::decision(&choice.decision)?;
    let choices = Node::root(tx, key::CHOICES);
    let node = add(tx, &choices, choice.id.0, "choice")?;
    match &choice.decision {
        Decision::Plan(plan) => {
            put(tx, &node, key::KIND, key::PLAN)?;
            write_plan(tx, &node, plan)?;
        }
        Decision::Cut(CutPiece { goods, piece, place }) => {
            goods_exist(tx, Some(*goods))?;
            put(tx, &node, key::KIND, key::PIECE)?;
            put(tx, &node, key::GOODS, goods.to_string())?;
            put(tx, &node, key::PIECE, piece.as_str())?;
            put(tx, &node, key::CUTS, place.to_bytes())?;
        }
        Decision::LeaveOut { piece } => {
            put(tx, &node, key::KIND, key::LEFT_OUT)?;
            put(tx, &node, key::PIECE, piece.as_str())?;
        }
        Decision::OnHand(remnant) => {
            goods_exist(tx, Some(remnant.goods))?;
            put(tx, &node, key::KIND, key::ON_HAND)?;
            put(tx, &node, key::GOODS, remnant.goods.to_string())?;
            put(tx, &node, key::NAME, remnant.lot.as_str())?;
            put(tx, &node, key::WIDTH, remnant.width.0)?;
            put(tx, &node, key::LENGTH, remnant.length.0)?;
            put(tx, &node, key::WORTH, remnant.worth.0)?;
        }
        Decision::Pin { room, pin } => {
            let rooms = Node::root(tx, key::ROOMS);
            existing(tx, &rooms, room.0, "room")?;
            put(tx, &node, key::KIND, key::PIN)?;
            put(tx, &node, key::ROOM, room.to_string())?;
            write_pin(tx, &node, pin)?;
        }
    }
    let superseded: Vec<Uuid> = choice.supersedes.iter().map(|it| it.0).collect();
    stamp(tx, &node, &choices, &superseded, "choice", at)
}

fn write_plan(tx: &mut Transaction<'_>, node: &Node, plan: &ChosenPlan) -> Result<(), EditError> {
    goods_exist(tx, Some(plan.goods))?;
    put(tx, node, key::GOODS, plan.goods.to_string())?;
    put(tx, node, key::ORDER, plan.order.0)?;
    let ways = node.make(tx, key::WAYS)?;
    for (of, way) in &plan.ways {
        put(tx, &ways, &of.to_string(), way.as_str())?;
    }
    let cuts = node.make(tx, key::CUTS)?;
    for (piece, cut) in &plan.cuts {
        put(tx, &cuts, piece, cut.to_bytes())?;
    }
    Ok(())
}

fn write_pin(tx: &mut Transaction<'_>, node: &Node, pin: &Pin) -> Result<(), EditError> {
    match pin {
        Pin::Pile(pile) => {
            put(tx, node, key::PIN, key::PILE)?;
            put(tx, node, key::PILE, words::word(&words::PILES, *pile))
        }
        Pin::Seam { wall, distance } => {
            put(tx, node, key::PIN, key::OFFSET)?;
            put(tx, node, key::WALL, wall.to_string())?;
            put(tx, node, key::OFFSET, distance.0)
        }
        Pin::Along { wall } => {
            put(tx, node, key::PIN, key::WALL)?;
            put(tx, node, key::WALL, wall.to_string())
        }
        Pin::NoSeam => put(tx, node, key::PIN, key::CLEAR),
    }
}

/// What every immutable entry says: when, and what it supersedes among its `siblings`.
fn stamp(
    tx: &mut Transaction<'_>,
    node: &Node,
    siblings: &Node,
    superseded: &[Uuid],
    what: &str,
    at: Timestamp,
) -> Result<(), EditError> {
    limits::superseded(superseded.len())?;
    put(tx, node, key::AT, at.0)?;
    if superseded.is_empty() {
        return Ok(());
    }
    for id in superseded {
        existing(tx, siblings, *id, what)?;
    }
    put(tx, node, key::SUPERSEDES, superseded.iter().flat_map(|it| *it.as_bytes()).collect::<Vec<u8>>())
}

fn write_flight(tx: &mut Transaction<'_>, node: &Node, flight: &Flight) -> Result<(), EditError> {
    limits::flight(flight)?;
    goods_exist(tx, flight.goods)?;
    flight.foot.map_or(Ok(()), |it| wall_of(tx, it.room, it.wall).map(|_| ()))?;
    set(
        tx,
        node,
        [
            (key::NAME, flight.name.as_str().into()),
            (key::STEPS, i64::from(flight.steps).into()),
            (key::RISER, flight.riser.0.into()),
            (key::GOING, flight.going.0.into()),
            (key::NOSING, flight.nosing.0.into()),
            (key::WIDTH, flight.width.0.into()),
            (key::WINDERS, i64::from(flight.winders).into()),
            (key::WINDER_REACH, flight.winder_reach.0.into()),
            (key::LANDING, flight.landing.0.into()),
            (key::FOOT, flight.foot.map_or(ScalarValue::Null, |it| words::of_foot(it).into())),
            (key::GOODS, id_or_null(flight.goods.map(|it| it.0))),
            (key::ORDER, flight.order.0.as_str().into()),
        ],
    )
}

fn write_goods(tx: &mut Transaction<'_>, node: &Node, goods: &Goods) -> Result<(), EditError> {
    limits::goods(goods)?;
    set(
        tx,
        node,
        [
            (key::NAME, goods.name.as_str().into()),
            (key::ROLL_WIDTH, goods.roll_width.0.into()),
            (key::REPEAT_LENGTH, goods.repeat_length.0.into()),
            (key::REPEAT_WIDTH, goods.repeat_width.0.into()),
            (key::PATTERN, words::of_match(goods.pattern).into()),
            (key::PILE, goods.pile.into()),
            (key::INCREMENT, goods.increment.0.into()),
            (key::MINIMUM, goods.minimum.0.into()),
            (key::LONGEST, goods.longest.0.into()),
            (key::ORDER, goods.order.0.as_str().into()),
        ],
    )
}

/// Writes the fields that differ from what is in use. The others stay as they are, disputed ones too; only when nothing
/// differs does it say that a person confirms all that is in use, and settles what is disputed.
fn set<const N: usize>(
    tx: &mut Transaction<'_>,
    node: &Node,
    fields: [(&str, ScalarValue); N],
) -> Result<(), EditError> {
    let differs: Vec<bool> = fields.iter().map(|(key, value)| !node.says(tx, key, value)).collect();
    let confirms = !differs.contains(&true);
    let written = fields.into_iter().zip(differs).filter(|(_, differs)| confirms || *differs);
    written.map(|(field, _)| field).try_for_each(|(key, value)| put(tx, node, key, value))
}

fn put(tx: &mut Transaction<'_>, node: &Node, key: &str, value: impl Into<ScalarValue>) -> Result<(), EditError> {
    Ok(node.put(tx, key, value)?)
}

fn id_or_null(id: Option<Uuid>) -> ScalarValue {
    id.map_or(ScalarValue::Null, |it| it.to_string().into())
}

/// Takes a thing out of force, or back into it.
fn mark(tx: &mut Transaction<'_>, parent: &Node, id: Uuid, what: &str, key: &str, on: bool) -> Result<(), EditError> {
    let node = existing(tx, parent, id, what)?;
    put(tx, &node, key, on)
}

/// Makes the map of a new thing; its id must be new.
fn add(tx: &mut Transaction<'_>, parent: &Node, id: Uuid, what: &str) -> Result<Node, EditError> {
    let key = id.to_string();
    if parent.child(tx, &key).exists() {
        return Err(EditError::Exists(format!("{what} {id}")));
    }
    Ok(parent.make(tx, &key)?)
}

/// The map under `key` of a thing that may be older than what is kept there: it is made when it is needed first; two that are
/// made at the same time are read as one.
fn place(tx: &mut Transaction<'_>, of: &Node, key: &str) -> Result<Node, EditError> {
    let kept = of.child(tx, key);
    if kept.exists() { Ok(kept) } else { Ok(of.make(tx, key)?) }
}

/// The map of a thing, removed ones included.
fn existing(tx: &Transaction<'_>, parent: &Node, id: Uuid, what: &str) -> Result<Node, EditError> {
    let node = parent.child(tx, &id.to_string());
    if node.exists() { Ok(node) } else { Err(EditError::Missing(format!("{what} {id}"))) }
}

fn room_of(tx: &Transaction<'_>, room: RoomId) -> Result<Node, EditError> {
    existing(tx, &Node::root(tx, key::ROOMS), room.0, "room")
}

fn wall_of(tx: &Transaction<'_>, room: RoomId, wall: WallId) -> Result<Node, EditError> {
    existing(tx, &room_of(tx, room)?.child(tx, key::WALLS), wall.0, "wall")
}

fn goods_exist(tx: &Transaction<'_>, goods: Option<GoodsId>) -> Result<(), EditError> {
    goods.map_or(Ok(()), |it| existing(tx, &Node::root(tx, key::GOODS), it.0, "goods").map(|_| ()))
}
