//! Rooms with their walls, openings and checks.

use std::collections::{BTreeMap, BTreeSet};

use super::{Entry, Reader, Walls, length, order, short, uuid};
use crate::ids::{FixtureId, GoodsId, MarkId, OpeningId, ReadingId, RoomId, TurnId, WallId};
use crate::job::node::{Fields, Node};
use crate::job::schema::key;
use crate::job::{Angle, Check, Fixture, Mark, Opening, Reading, Rise, Room, Turn, TurnStatement, Wall, limits, words};
use crate::problem::Place;

impl<'d> Reader<'d> {
    /// The rooms that are not removed, or those of them that are wanted.
    pub(super) fn rooms(&mut self, wanted: Option<&BTreeMap<RoomId, Walls>>) -> Vec<Room> {
        let mut rooms: Vec<Room> = self
            .children_if(&Node::root(self.doc, key::ROOMS), |id| wanted.is_none_or(|it| it.contains_key(&RoomId(id))))
            .into_iter()
            .map(|(id, fields)| {
                let name = fields.text(key::NAME).map(short).unwrap_or_default();
                let what = format!("the room {name}");
                let wanted = wanted.and_then(|it| it.get(&RoomId(id))?.as_ref());
                self.dispute(
                    Place::Room(RoomId(id)),
                    &what,
                    &fields,
                    &[(key::NAME, "name"), (key::LEVEL, "level"), (key::GOODS, "goods")],
                );
                Room {
                    id: RoomId(id),
                    level: fields.int(key::LEVEL).filter(|it| limits::level(*it).is_ok()).unwrap_or_default(),
                    goods: uuid(&fields, key::GOODS).map(GoodsId),
                    closed: fields.flag(key::CLOSED),
                    walls: self.walls(RoomId(id), &what, &fields.map(key::WALLS), wanted),
                    openings: self.openings(RoomId(id), &what, &fields.map(key::OPENINGS)),
                    fixtures: self.fixtures(RoomId(id), &what, &fields.map(key::FIXTURES)),
                    marks: self.marks(&fields.map(key::MARKS)),
                    checks: self.checks(RoomId(id), &what, &fields.map(key::CHECKS)),
                    order: order(&fields),
                    name,
                }
            })
            .collect();
        rooms.sort_by(|a, b| (&a.order, a.id).cmp(&(&b.order, b.id)));
        rooms
    }

    fn walls(&mut self, room: RoomId, of: &str, walls: &Node, wanted: Option<&BTreeSet<WallId>>) -> Vec<Wall> {
        let mut walls: Vec<Wall> = self
            .children(walls)
            .into_iter()
            .map(|(id, fields)| match wanted {
                Some(wanted) if !wanted.contains(&WallId(id)) => Wall::bare(WallId(id), order(&fields)),
                _ => Wall {
                    id: WallId(id),
                    readings: self.readings(Place::Wall(room, WallId(id)), of, &fields.map(key::READINGS)),
                    turns: self.turns(Place::Corner(room, WallId(id)), of, &fields.map(key::TURNS)),
                    rises: self.rises(Place::Wall(room, WallId(id)), of, &fields.map(key::RISES)),
                    order: order(&fields),
                },
            })
            .collect();
        walls.sort_by(|a, b| (&a.order, a.id).cmp(&(&b.order, b.id)));
        walls
    }

    fn readings(&mut self, place: Place, of: &str, readings: &Node) -> Vec<Reading> {
        let entries = self.entries(readings).into_iter();
        entries.filter_map(|it| self.reading(place, of, it).map(|(reading, _)| reading)).collect()
    }

    fn rises(&mut self, place: Place, of: &str, rises: &Node) -> Vec<Rise> {
        let entries = self.entries(rises).into_iter();
        let rises = entries.filter_map(|it| {
            let (reading, fields) = self.reading(place, of, it)?;
            Some(Rise { reading, inward: fields.flag(key::INWARD) })
        });
        rises.collect()
    }

    fn checks(&mut self, room: RoomId, of: &str, checks: &Node) -> Vec<Check> {
        let entries = self.entries(checks).into_iter();
        let checks = entries.filter_map(|it| {
            let (reading, fields) = self.reading(Place::Room(room), of, it)?;
            let walls = (uuid(&fields, key::WALL).map(WallId)?, uuid(&fields, key::TO).map(WallId)?);
            let of = words::read_across(fields.text(key::KIND)?, walls.0, walls.1)?;
            Some(Check { of, reading })
        });
        checks.collect()
    }

    /// A reading, and the other fields of its entry.
    fn reading(&mut self, place: Place, of: &str, entry: Entry<'d>) -> Option<(Reading, Fields<'d>)> {
        let Entry { id, fields, stamp, supersedes, withdrawn, set_aside } = entry;
        let what = format!("a reading in {of}");
        self.dispute(place, &what, &fields, &[(key::VALUE, "length"), (key::TYPED, "text")]);
        let reading = Reading {
            id: ReadingId(id),
            value: length(&fields, key::VALUE)?,
            typed: fields.text(key::TYPED).map(short).unwrap_or_default(),
            tool: fields.text(key::TOOL).and_then(|it| words::value(&words::TOOLS, it)).unwrap_or_default(),
            stamp,
            supersedes: supersedes.into_iter().map(ReadingId).collect(),
            withdrawn,
            set_aside,
        };
        Some((reading, fields))
    }

    fn turns(&mut self, place: Place, of: &str, turns: &Node) -> Vec<TurnStatement> {
        let entries = self.entries(turns).into_iter();
        let turns = entries.filter_map(|Entry { id, fields, stamp, supersedes, withdrawn, .. }| {
            self.dispute(place, &format!("a corner in {of}"), &fields, &[(key::TURN, "turn")]);
            let turn = Turn(Angle(fields.int(key::TURN)?));
            limits::turn(turn).is_ok().then(|| TurnStatement {
                id: TurnId(id),
                turn,
                free: fields.flag(key::FREE),
                stamp,
                supersedes: supersedes.into_iter().map(TurnId).collect(),
                withdrawn,
            })
        });
        turns.collect()
    }

    fn openings(&mut self, room: RoomId, of: &str, openings: &Node) -> Vec<Opening> {
        let mut openings: Vec<Opening> = self
            .children(openings)
            .into_iter()
            .filter_map(|(id, fields)| {
                let kind = fields.text(key::KIND).and_then(|it| words::value(&words::OPENINGS, it)).unwrap_or_default();
                let what = format!("the {} in {of}", words::word(&words::OPENINGS, kind));
                let disputed = [
                    (key::WALL, "wall"),
                    (key::KIND, "kind"),
                    (key::OFFSET, "offset"),
                    (key::WIDTH, "width"),
                    (key::DEPTH, "depth"),
                    (key::FLOOR, "floor"),
                    (key::LEADS_TO, "room beyond"),
                ];
                self.dispute(Place::Opening(room, OpeningId(id)), &what, &fields, &disputed);
                Some(Opening {
                    id: OpeningId(id),
                    wall: WallId(uuid(&fields, key::WALL)?),
                    kind,
                    offset: length(&fields, key::OFFSET)?,
                    width: length(&fields, key::WIDTH)?,
                    depth: length(&fields, key::DEPTH).unwrap_or_default(),
                    floor: fields.text(key::FLOOR).and_then(|it| words::value(&words::FLOORS, it)).unwrap_or_default(),
                    leads_to: uuid(&fields, key::LEADS_TO).map(RoomId),
                })
            })
            .collect();
        openings.sort_by_key(|it| (it.wall, it.offset, it.id));
        openings
    }

    fn fixtures(&mut self, room: RoomId, of: &str, fixtures: &Node) -> Vec<Fixture> {
        let mut fixtures: Vec<Fixture> = self
            .children(fixtures)
            .into_iter()
            .filter_map(|(id, fields)| {
                let kind = fields.text(key::KIND).and_then(|it| words::value(&words::FIXTURES, it)).unwrap_or_default();
                let what = format!("the {} in {of}", words::word(&words::FIXTURES, kind));
                let disputed = [
                    (key::WALL, "wall"),
                    (key::KIND, "kind"),
                    (key::OFFSET, "offset"),
                    (key::CLEAR, "distance from the wall"),
                    (key::WIDTH, "width"),
                    (key::DEPTH, "depth"),
                ];
                self.dispute(Place::Fixture(room, FixtureId(id)), &what, &fields, &disputed);
                Some(Fixture {
                    id: FixtureId(id),
                    kind,
                    wall: WallId(uuid(&fields, key::WALL)?),
                    offset: length(&fields, key::OFFSET)?,
                    clear: length(&fields, key::CLEAR).unwrap_or_default(),
                    width: length(&fields, key::WIDTH)?,
                    depth: length(&fields, key::DEPTH)?,
                })
            })
            .collect();
        fixtures.sort_by_key(|it| (it.wall, it.offset, it.id));
        fixtures
    }

    fn marks(&self, marks: &Node) -> Vec<Mark> {
        let entries = self.entries(marks).into_iter();
        let marks = entries.map(|Entry { id, fields, stamp, withdrawn, .. }| Mark {
            id: MarkId(id),
            kind: fields.text(key::KIND).and_then(|it| words::value(&words::MARKS, it)).unwrap_or_default(),
            wall: uuid(&fields, key::WALL).map(WallId),
            offset: length(&fields, key::OFFSET).unwrap_or_default(),
            clear: length(&fields, key::CLEAR).unwrap_or_default(),
            text: fields.text(key::TEXT).map(short).unwrap_or_default(),
            stamp,
            withdrawn,
        });
        marks.collect()
    }
}
