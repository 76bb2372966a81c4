//! A job as typed values, and the document that keeps it.
//!
//! [`Job`] is read from a [`JobDoc`] (an automerge document) and is never written back as a whole: a person's action is
//! a list of [`Edit`]s, applied in one change. Only this folder names the document's keys.

mod angle;
mod decision;
mod doc;
mod edit;
mod fit;
mod fixture;
mod goods;
mod limits;
mod look;
mod node;
mod order;
mod past;
mod photo;
mod print;
mod read;
mod saved;
mod schema;
mod words;
mod write;

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

pub use angle::{Angle, AngleError, Turn};
pub use decision::{Choice, ChosenPlan, CutPiece, CutPlace, Decision, MOST_ROLLS, PileDirection, Pin, Remnant, Source};
pub use doc::{DocError, EditError, JobDoc, NewChange, SyncState};
pub use edit::{Edit, NewChoice, NewReading, NewTurn};
pub use fixture::{Fixture, FixtureKind, Mark, MarkKind, NewMark};
pub use goods::{Goods, Match, Rule, Rules};
pub use order::Order;
pub use past::{ChangeHash, Decided, Entry, Step};
pub use photo::{NewPhoto, NoPictureHash, Photo, Picture, PictureHash, Subject};
pub use print::{Print, Sheet};
pub use schema::SCHEMA;
pub(crate) use schema::{is_fixed_change, schema_of_fixed_actor};

use crate::ids::{ChoiceId, DeviceId, FlightId, GoodsId, JobId, OpeningId, ReadingId, RoomId, TurnId, WallId};
use crate::length::{Length, Units};
use crate::problem::Place;

/// One house to carpet: everything the crew measured and chose. Nothing in it is computed.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, JsonSchema)]
pub struct Job {
    pub id: JobId,
    /// Version of the document's schema that this job was read from.
    pub schema: u32,
    pub name: String,
    pub units: Units,
    /// Put away: done, or never to be done. It is kept like any other, and may be brought back.
    #[serde(default)]
    pub archived: bool,
    /// Who works on it: each device that edited, with the name its person gave.
    #[schemars(extend("propertyNames" = { "format": "uuid" }))]
    pub people: BTreeMap<DeviceId, String>,
    /// In the order of the list on the phone; removed rooms are left out.
    pub rooms: Vec<Room>,
    pub flights: Vec<Flight>,
    pub goods: Vec<Goods>,
    pub rules: Rules,
    /// Every decision in force: neither superseded nor withdrawn; oldest first, like readings.
    pub choices: Vec<Choice>,
    /// Oldest first.
    #[serde(default)]
    pub prints: Vec<Print>,
    /// Also withdrawn ones, oldest first.
    #[serde(default)]
    pub photos: Vec<Photo>,
    /// Fields for which two people gave different values at the same time; one is used, all are kept.
    pub disputes: Vec<Dispute>,
}

/// Who said something, and when by that device's clock. The clock is advisory: it decides nothing.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, JsonSchema)]
pub struct Stamp {
    pub by: DeviceId,
    pub at: Timestamp,
}

/// Seconds since 1970-01-01 UTC by a device's clock.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Default, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct Timestamp(pub i64);

impl Timestamp {
    /// The end of the year 9999. What a clock says beyond is not kept.
    pub const LAST: Self = Self(253_402_300_799);
}

/// A room, closet, hall or landing: a ring of walls.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, JsonSchema)]
pub struct Room {
    pub id: RoomId,
    pub name: String,
    /// Floor of the house; 0 is the ground floor.
    pub level: i64,
    /// What is laid here; `None` means the job's first goods.
    pub goods: Option<GoodsId>,
    /// A person said that the last wall meets the first.
    pub closed: bool,
    /// In walking order, clockwise when the turns are right; removed walls are left out.
    pub walls: Vec<Wall>,
    /// Removed openings are left out.
    pub openings: Vec<Opening>,
    /// Removed fixtures are left out.
    #[serde(default)]
    pub fixtures: Vec<Fixture>,
    /// Also withdrawn ones, oldest first.
    #[serde(default)]
    pub marks: Vec<Mark>,
    /// Lengths read across the room, also superseded and withdrawn ones, oldest first, like the readings of a wall.
    pub checks: Vec<Check>,
    pub order: Order,
}

/// A length read across a room to check its walls.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, JsonSchema)]
pub struct Check {
    pub of: Across,
    pub reading: Reading,
}

/// Between what a check was read. A corner is named by the wall that starts there.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize, JsonSchema)]
pub enum Across {
    /// From corner to corner.
    Corners { from: WallId, to: WallId },
    /// From a corner square to the line of a wall.
    Offset { corner: WallId, wall: WallId },
    /// Overall, from a wall to the one parallel to it.
    Walls { wall: WallId, opposite: WallId },
}

/// A wall from the corner before it to the corner at its end: straight, or an arc over the line between them.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, JsonSchema)]
pub struct Wall {
    pub id: WallId,
    /// All readings ever taken, also superseded and withdrawn ones, oldest first: one that was made in knowledge of another
    /// comes after it, whatever the clocks say.
    pub readings: Vec<Reading>,
    /// All statements of the turn at its end, oldest first; the newest in force counts. None in force means right and square.
    pub turns: Vec<TurnStatement>,
    /// How far the wall stands off the line between its ends, in the middle, as read; also superseded and withdrawn ones, oldest
    /// first. None in force means straight.
    #[serde(default)]
    pub rises: Vec<Rise>,
    pub order: Order,
}

/// A rise of an arc over its chord.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, JsonSchema)]
pub struct Rise {
    pub reading: Reading,
    /// The wall bends into the room.
    pub inward: bool,
}

/// A length read from a wall. Never changed: a correction is a newer reading that supersedes it.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, JsonSchema)]
pub struct Reading {
    pub id: ReadingId,
    pub value: Length,
    /// As it was typed, to be shown again as typed.
    pub typed: String,
    pub tool: Tool,
    pub stamp: Stamp,
    pub supersedes: Vec<ReadingId>,
    /// Taken back (an undo) or set aside; still kept.
    pub withdrawn: bool,
    /// Who withdrew it, and when, while it is withdrawn.
    #[serde(default)]
    pub set_aside: Option<Stamp>,
}

/// What a length was read with.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Serialize, Deserialize, JsonSchema)]
pub enum Tool {
    #[default]
    Tape,
    Laser,
    /// Taken from a drawing.
    Plan,
}

/// A statement of how the next wall turns. Never changed, like a reading.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, JsonSchema)]
pub struct TurnStatement {
    pub id: TurnId,
    pub turn: Turn,
    /// The turn is only what it looks like: nobody measured it, and the other readings decide.
    #[serde(default)]
    pub free: bool,
    pub stamp: Stamp,
    pub supersedes: Vec<TurnId>,
    pub withdrawn: bool,
}

/// A hole in a wall.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, JsonSchema)]
pub struct Opening {
    pub id: OpeningId,
    pub wall: WallId,
    pub kind: OpeningKind,
    /// From the wall's start to the near side of the opening.
    pub offset: Length,
    pub width: Length,
    /// Thickness of the wall here; the carpet ends half way through it.
    pub depth: Length,
    pub floor: FloorAtOpening,
    /// The room beyond, when it is one of the job's.
    pub leads_to: Option<RoomId>,
}

impl Opening {
    /// Whether the room's carpet goes on into it.
    pub fn is_carpeted(&self) -> bool {
        self.kind.reaches_floor() && self.floor != FloorAtOpening::OtherFloor
    }
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Serialize, Deserialize, JsonSchema)]
pub enum OpeningKind {
    #[default]
    Doorway,
    /// A doorway without a door leaf.
    CasedOpening,
    Window,
    PassThrough,
}

impl OpeningKind {
    /// Whether one walks, and carpet can run, through it.
    pub const fn reaches_floor(self) -> bool {
        matches!(self, Self::Doorway | Self::CasedOpening)
    }
}

/// What the floor does at an opening one can walk through.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Serialize, Deserialize, JsonSchema)]
pub enum FloorAtOpening {
    /// The same carpet goes on; the two sides share one pile direction.
    RunsThrough,
    /// A seam lies under the closed door leaf; the two sides share one pile direction.
    #[default]
    SeamUnderDoor,
    /// Another floor begins: a transition.
    OtherFloor,
}

/// A flight of stairs, straight or with winders, with or without a landing in it.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, JsonSchema)]
pub struct Flight {
    pub id: FlightId,
    pub name: String,
    /// Number of steps to cover: a tread and the riser below it each.
    pub steps: u32,
    pub riser: Length,
    /// From riser to riser, horizontally.
    pub going: Length,
    /// How far a tread stands out over the riser below it.
    pub nosing: Length,
    pub width: Length,
    /// How many of the steps are winders.
    #[serde(default)]
    pub winders: u32,
    /// The longest straight line over a winder's tread.
    #[serde(default)]
    pub winder_reach: Length,
    /// Depth of a landing within the flight, in the direction of travel; zero when there is none.
    #[serde(default)]
    pub landing: Length,
    /// Where it starts on the plan, when that is known.
    #[serde(default)]
    pub foot: Option<Foot>,
    pub goods: Option<GoodsId>,
    pub order: Order,
}

/// The edge of a room's floor at which a flight starts, and runs away from the room.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize, JsonSchema)]
pub struct Foot {
    pub room: RoomId,
    pub wall: WallId,
    /// From the wall's start to the near side of the flight.
    pub offset: Length,
    /// It leads up from this room; otherwise down.
    pub up: bool,
}

/// A field with several values given at the same time.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, JsonSchema)]
pub struct Dispute {
    pub place: Place,
    /// In words: "name of the room", "width of the doorway".
    pub field: String,
    /// The value in use first, then the others.
    pub values: Vec<String>,
}

/// Neither superseded nor withdrawn.
fn in_force<'a>(all: impl Iterator<Item = &'a Reading> + Clone) -> impl Iterator<Item = &'a Reading> {
    let live = all.filter(|it| !it.withdrawn);
    live.clone().filter(move |it| !live.clone().any(|newer| newer.supersedes.contains(&it.id)))
}

impl Wall {
    /// A wall of which nothing is read yet.
    pub const fn bare(id: WallId, order: Order) -> Self {
        Self { id, readings: Vec::new(), turns: Vec::new(), rises: Vec::new(), order }
    }

    /// The readings in force: neither superseded nor withdrawn, oldest first.
    pub fn in_force(&self) -> impl Iterator<Item = &Reading> {
        in_force(self.readings.iter())
    }

    /// The turn at the wall's end: the newest statement in force, or a right turn.
    pub fn turn(&self) -> Turn {
        self.turn_stated().map_or(Turn::RIGHT, |it| it.turn)
    }

    /// Nobody measured the corner at the wall's end: the other readings decide how it turns.
    pub fn turns_freely(&self) -> bool {
        self.turn_stated().is_some_and(|it| it.free)
    }

    /// The same wall with the statement in force saying another turn, for what is computed from it.
    pub(crate) fn turn_as(&mut self, turn: Turn) {
        let stated = self.turn_stated().map(|it| it.id);
        self.turns.iter_mut().filter(|it| Some(it.id) == stated).for_each(|it| it.turn = turn);
    }

    /// The statement that counts: the newest in force.
    pub fn turn_stated(&self) -> Option<&TurnStatement> {
        let live = || self.turns.iter().filter(|it| !it.withdrawn);
        let mut in_force = live().filter(|it| !live().any(|newer| newer.supersedes.contains(&it.id)));
        in_force.next_back()
    }

    /// The rises in force, oldest first; none for a straight wall.
    pub fn rises_in_force(&self) -> impl Iterator<Item = &Rise> {
        let standing: Vec<ReadingId> = in_force(self.rises.iter().map(|it| &it.reading)).map(|it| it.id).collect();
        self.rises.iter().filter(move |it| standing.contains(&it.reading.id))
    }
}

impl Job {
    pub fn room(&self, id: RoomId) -> Option<&Room> {
        self.rooms.iter().find(|it| it.id == id)
    }

    /// The goods laid in a room or on a flight that says `own`; the job's first when it says nothing.
    pub fn goods_of(&self, own: Option<GoodsId>) -> Option<&Goods> {
        match own {
            Some(id) => self.goods.iter().find(|it| it.id == id),
            None => self.goods.first(),
        }
    }

    /// What of the goods is cut, by the decisions that say so.
    pub fn cut(&self, goods: GoodsId) -> impl Iterator<Item = (ChoiceId, &CutPiece)> {
        self.choices.iter().filter_map(move |it| match &it.decision {
            Decision::Cut(cut) if cut.goods == goods => Some((it.id, cut)),
            _ => None,
        })
    }

    /// What of the goods is on hand, by the decisions that say so.
    pub fn remnants(&self, goods: GoodsId) -> impl Iterator<Item = (ChoiceId, &Remnant)> {
        self.choices.iter().filter_map(move |it| match &it.decision {
            Decision::OnHand(remnant) if remnant.goods == goods => Some((it.id, remnant)),
            _ => None,
        })
    }
}

impl Room {
    /// The checks in force, oldest first.
    pub fn checks_in_force(&self) -> impl Iterator<Item = &Check> {
        let standing: Vec<ReadingId> = in_force(self.checks.iter().map(|it| &it.reading)).map(|it| it.id).collect();
        self.checks.iter().filter(move |it| standing.contains(&it.reading.id))
    }

    /// The crew keeps the room to its left: the turns add up to the left. Then a wall starts at the right of who stands in the room and
    /// faces it.
    pub fn is_walked_to_the_left(&self) -> bool {
        self.walls.iter().fold(0_i64, |sum, it| sum.saturating_add(it.turn().0.0)) < 0
    }

    pub fn wall(&self, id: WallId) -> Option<&Wall> {
        self.walls.iter().find(|it| it.id == id)
    }
}
