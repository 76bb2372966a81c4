//! What an entered length does to a room: which wall it is for, the edits it makes, and the sketch while it is typed.

use shared_model::ids::{FixtureId, OpeningId, ReadingId, RoomId, TurnId, WallId};
use shared_model::job::{
    Across, Angle, Edit, MarkKind, NewReading, NewTurn, Order, Reading, Room, Stamp, Tool, Turn, TurnStatement, Wall,
};
use shared_model::length::{Length, Units};
use shared_model::outline::Sketch;
use uuid::Uuid;

use crate::checking::End;
use crate::keypad::Taken;

/// What the keypad enters.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum Aim {
    /// The wall after the last one.
    #[default]
    Next,
    /// One more reading of this wall, or its first.
    Wall(WallId),
    /// A reading that sets aside what the wall has.
    Correct(WallId),
    Opening(WallId, Option<OpeningId>, OpeningField),
    /// What stands at this wall.
    Fixture(WallId, Option<FixtureId>, FixtureField),
    /// How far this wall's middle stands off the line between its ends; into the room when true.
    Rise(WallId, bool),
    /// Not a number: where a squeak or a note is.
    Mark(MarkKind),
    /// How long the first part is when this wall becomes two.
    Split(WallId),
    /// Not a number yet: where a check starts, and then where it ends.
    Probe(Option<End>),
    /// A length across the room.
    Check(Across),
}

impl Aim {
    /// Where nothing, or right at the wall's start, is an answer.
    pub const fn may_be_zero(self) -> bool {
        matches!(
            self,
            Self::Opening(_, _, OpeningField::Offset) | Self::Fixture(_, _, FixtureField::Offset | FixtureField::Clear)
        )
    }
}

/// What of an opening is entered.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum OpeningField {
    Offset,
    Width,
    Depth,
}

/// What of a fixture is entered.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum FixtureField {
    Offset,
    Width,
    Depth,
    Clear,
}

impl Aim {
    /// The wall that is picked in the sketch.
    pub const fn wall(self) -> Option<WallId> {
        match self {
            Self::Next | Self::Probe(_) | Self::Check(_) | Self::Mark(_) => None,
            Self::Wall(wall)
            | Self::Correct(wall)
            | Self::Split(wall)
            | Self::Rise(wall, _)
            | Self::Opening(wall, ..)
            | Self::Fixture(wall, ..) => Some(wall),
        }
    }
}

/// A ring of walls to fill in.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Shape {
    Rectangle,
    L,
    Closet,
    Bay,
}

impl Shape {
    pub const ALL: [Self; 4] = [Self::Rectangle, Self::L, Self::Closet, Self::Bay];

    pub const fn name(self) -> &'static str {
        match self {
            Self::Rectangle => "Rectangle",
            Self::L => "L",
            Self::Closet => "With closet",
            Self::Bay => "With bay",
        }
    }

    /// The turns at the walls' ends, clockwise, from the wall at the left.
    pub fn turns(self) -> Vec<Turn> {
        let (right, left) = (Turn::RIGHT, Turn::LEFT);
        let (slant, back) = (Turn(Angle::degrees(45)), Turn(Angle::degrees(-45)));
        match self {
            Self::Rectangle => vec![right; 4],
            Self::L => vec![right, right, left, right, right, right],
            Self::Closet => vec![right, left, right, right, left, right, right, right],
            Self::Bay => vec![right, back, slant, slant, back, right, right, right],
        }
    }
}

/// The walls of a shape, still to be read, in a ring that is said to be closed.
pub fn start_from(shape: Shape, room: RoomId) -> Vec<Edit> {
    let mut edits = Vec::new();
    let mut before: Option<Order> = None;
    for turn in shape.turns() {
        let (wall, order) = (WallId(Uuid::new_v4()), Order::between(before.as_ref(), None));
        edits.push(Edit::AddWall { room, wall, order: order.clone() });
        if turn != Turn::RIGHT {
            edits.push(Edit::StateTurn { room, wall, turn: new_turn(turn, None) });
        }
        before = Some(order);
    }
    edits.push(Edit::CloseRoom { room, closed: true });
    edits
}

/// The next wall with its reading, or unread; `turn` is the turn into it, at the end of the last wall.
pub fn add_wall(room: &Room, turn: Turn, taken: Option<&Taken>) -> Vec<Edit> {
    let last = room.walls.last();
    let mut edits: Vec<Edit> =
        last.filter(|it| it.turn() != turn).map(|it| state_turn(room.id, it, turn)).into_iter().collect();
    let wall = WallId(Uuid::new_v4());
    edits.push(Edit::AddWall { room: room.id, wall, order: Order::between(last.map(|it| &it.order), None) });
    edits.extend(taken.map(|it| Edit::AddReading { room: room.id, wall, reading: new_reading(it, Vec::new()) }));
    edits
}

/// A wall that was left out, after `after`, turning as that one did.
pub fn insert_wall(room: &Room, after: WallId) -> Option<(WallId, Vec<Edit>)> {
    let at = room.walls.iter().position(|it| it.id == after)?;
    let (before, next) = (room.walls.get(at)?, room.walls.get(at + 1));
    let wall = WallId(Uuid::new_v4());
    let order = Order::between(Some(&before.order), next.map(|it| &it.order));
    Some((wall, vec![Edit::AddWall { room: room.id, wall, order }]))
}

/// One more reading of a wall; with `correct` it sets the others aside. It always does so with lengths that nobody read here.
pub fn read_wall(room: RoomId, wall: &Wall, taken: &Taken, correct: bool) -> Edit {
    let aside = wall.in_force().filter(|it| correct || it.tool == Tool::Plan).map(|it| it.id);
    Edit::AddReading { room, wall: wall.id, reading: new_reading(taken, aside.collect()) }
}

/// It has a length, but only from a drawing or a proposal.
pub fn is_unread_here(wall: &Wall) -> bool {
    wall.in_force().next().is_some() && wall.in_force().all(|it| it.tool == Tool::Plan)
}

pub fn state_turn(room: RoomId, wall: &Wall, turn: Turn) -> Edit {
    Edit::StateTurn { room, wall: wall.id, turn: new_turn(turn, Some(wall)) }
}

/// Nobody measured the corner at the wall's end: it turns as it looks now, and the other readings decide.
pub fn free_turn(room: RoomId, wall: &Wall) -> Edit {
    let turn = NewTurn { free: true, ..new_turn(wall.turn(), Some(wall)) };
    Edit::StateTurn { room, wall: wall.id, turn }
}

fn new_turn(turn: Turn, wall: Option<&Wall>) -> NewTurn {
    let supersedes = wall.map(|it| it.turns.iter().filter(|it| !it.withdrawn).map(|it| it.id).collect());
    NewTurn { id: TurnId(Uuid::new_v4()), turn, free: false, supersedes: supersedes.unwrap_or_default() }
}

pub fn new_reading(taken: &Taken, supersedes: Vec<ReadingId>) -> NewReading {
    let Taken { value, typed, tool } = taken.clone();
    NewReading { id: ReadingId(Uuid::new_v4()), value, typed, tool, supersedes }
}

/// The turn at the next corner, for a crew that walks on as it walked: left when it keeps the room to its left.
pub fn usual_turn(room: &Room) -> Turn {
    let walked = room.walls.iter().rev().skip(1).map(|it| it.turn().0.0);
    if walked.fold(0_i64, i64::saturating_add) < 0 { Turn::LEFT } else { Turn::RIGHT }
}

/// On which side a wall starts, for who stands in the room and faces it.
pub fn start_side(room: &Room) -> &'static str {
    if room.is_walked_to_the_left() { "right" } else { "left" }
}

/// The room as if the turn into its first wall were stated.
pub fn turned_last(room: &Room, turn: Turn) -> Room {
    let mut room = room.clone();
    if let Some(last) = room.walls.last_mut().filter(|it| !it.turns_freely()) {
        say_turn(last, turn);
    }
    room
}

/// Right becomes left and left right.
pub const fn other_way(turn: Turn) -> Turn {
    Turn(Angle(-turn.0.0))
}

/// `turns right`, `turns left 45°`.
pub fn turn_words(turn: Turn) -> String {
    let side = if turn.0.0 < 0 { "left" } else { "right" };
    match turn {
        Turn(Angle(0)) => "straight on".to_owned(),
        _ if turn.is_square() => format!("turns {side}"),
        _ => format!("turns {side} {}", Angle(turn.0.0.abs()).show()),
    }
}

/// Where the keypad goes after a wall was read: the next unread wall of the ring, or on to a new one.
pub fn aim_after(room: &Room, wall: Option<WallId>) -> Aim {
    let start = wall.and_then(|id| room.walls.iter().position(|it| it.id == id)).map_or(0, |it| it + 1);
    let around = room.walls.iter().cycle().skip(start).take(room.walls.len());
    let unread = around.filter(|it| Some(it.id) != wall).find(|it| it.in_force().next().is_none());
    match unread {
        Some(wall) if room.closed => Aim::Wall(wall.id),
        _ => Aim::Next,
    }
}

/// The room as if what is being typed were taken already.
pub fn previewed(room: &Room, aim: Aim, turn: Turn, typed: Option<Length>) -> Room {
    let mut room = room.clone();
    match (aim, typed) {
        (Aim::Next, Some(value)) if !room.closed => {
            if let Some(last) = room.walls.last_mut() {
                say_turn(last, turn);
            }
            let order = Order::between(room.walls.last().map(|it| &it.order), None);
            let mut wall =
                Wall { id: WallId(Uuid::nil()), readings: Vec::new(), turns: Vec::new(), rises: Vec::new(), order };
            say_length(&mut wall, value);
            room.walls.push(wall);
        }
        (Aim::Wall(id) | Aim::Correct(id), Some(value)) => {
            if let Some(wall) = room.walls.iter_mut().find(|it| it.id == id) {
                say_length(wall, value);
            }
        }
        _ => {}
    }
    room
}

fn nobody() -> Stamp {
    Stamp { by: shared_model::ids::DeviceId(Uuid::nil()), at: shared_model::job::Timestamp(i64::MAX) }
}

fn say_length(wall: &mut Wall, value: Length) {
    let reading = Reading {
        id: ReadingId(Uuid::nil()),
        value,
        typed: String::new(),
        tool: Tool::Tape,
        stamp: nobody(),
        supersedes: Vec::new(),
        withdrawn: false,
        set_aside: None,
    };
    wall.readings = vec![reading];
}

/// The wall's end turns so, whatever was stated: in a room that is only looked at.
pub fn say_turn(wall: &mut Wall, turn: Turn) {
    wall.turns = vec![TurnStatement {
        id: TurnId(Uuid::nil()),
        turn,
        free: false,
        stamp: nobody(),
        supersedes: Vec::new(),
        withdrawn: false,
    }];
}

/// How the ring stands, in the job's units; `None` while that says nothing yet.
pub fn gap_words(sketch: &Sketch, units: Units) -> Option<String> {
    let gap = sketch.gap.filter(|_| sketch.walls.len() >= 3)?;
    if gap.gap == Length::ZERO {
        return Some("The ring meets its start.".to_owned());
    }
    let style = units.style();
    let ratio = gap.ratio.filter(|it| *it >= 10).map(|it| format!(" (1:{it})")).unwrap_or_default();
    Some(format!("Ring is open by {}{ratio}.", gap.gap.show(style)))
}

/// What a wall is called: its number in walking order.
pub fn wall_name(room: &Room, wall: WallId) -> String {
    let number = room.walls.iter().position(|it| it.id == wall).map_or(room.walls.len(), |it| it) + 1;
    format!("Wall {number}")
}

#[cfg(test)]
mod tests;
