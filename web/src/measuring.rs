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
mod tests {
    use super::*;
    use shared_model::outline::Misclosure;

    fn wall(n: u128, feet: Option<i64>) -> Wall {
        let mut wall = Wall {
            id: WallId(Uuid::from_u128(n)),
            readings: Vec::new(),
            turns: Vec::new(),
            rises: Vec::new(),
            order: Order::between(None, None),
        };
        if let Some(feet) = feet {
            say_length(&mut wall, Length::feet(feet));
        }
        wall
    }

    fn room(closed: bool, walls: Vec<Wall>) -> Room {
        Room {
            id: RoomId(Uuid::from_u128(1)),
            name: "Den".to_owned(),
            level: 0,
            goods: None,
            closed,
            walls,
            openings: Vec::new(),
            fixtures: Vec::new(),
            marks: Vec::new(),
            checks: Vec::new(),
            order: Order::between(None, None),
        }
    }

    fn twelve() -> Taken {
        Taken { value: Length::feet(12), typed: "12'".to_owned(), tool: Tool::Tape }
    }

    #[test]
    fn every_shape_turns_once_around() {
        for shape in Shape::ALL {
            let around: i64 = shape.turns().iter().map(|it| it.0.0).sum();
            assert_eq!(around, Angle::FULL.0, "{}", shape.name());
        }
    }

    #[test]
    fn a_wall_after_a_left_turn_states_the_turn_first() {
        let den = room(false, vec![wall(7, Some(10))]);
        let edits = add_wall(&den, Turn::LEFT, Some(&twelve()));
        assert!(
            matches!(&edits[0], Edit::StateTurn { wall, turn, .. } if *wall == den.walls[0].id && turn.turn == Turn::LEFT)
        );
        assert!(matches!(&edits[1], Edit::AddWall { .. }));
        assert!(matches!(&edits[2], Edit::AddReading { reading, .. } if reading.typed == "12'"));
        assert_eq!(
            add_wall(&den, Turn::RIGHT, None).len(),
            1,
            "right is the default, and unread walls have no reading"
        );
    }

    #[test]
    fn a_correction_sets_aside_what_stood_and_a_second_reading_does_not() {
        let wall = wall(7, Some(10));
        let supersedes = |correct| match read_wall(RoomId(Uuid::nil()), &wall, &twelve(), correct) {
            Edit::AddReading { reading, .. } => reading.supersedes,
            _ => unreachable!(),
        };
        assert_eq!(supersedes(true), vec![wall.readings[0].id]);
        assert_eq!(supersedes(false), vec![]);
    }

    #[test]
    fn the_keypad_walks_through_the_unread_walls_of_a_shape() {
        let den = room(true, vec![wall(1, Some(10)), wall(2, None), wall(3, Some(10)), wall(4, None)]);
        assert_eq!(aim_after(&den, Some(den.walls[0].id)), Aim::Wall(den.walls[1].id));
        assert_eq!(aim_after(&den, Some(den.walls[1].id)), Aim::Wall(den.walls[3].id));
        assert_eq!(aim_after(&den, Some(den.walls[3].id)), Aim::Wall(den.walls[1].id));
        assert_eq!(aim_after(&room(false, den.walls), None), Aim::Next);
    }

    #[test]
    fn typing_shows_as_a_wall_before_it_is_taken() {
        let den = room(false, vec![wall(7, Some(10))]);
        let shown = previewed(&den, Aim::Next, Turn::LEFT, Some(Length::feet(3)));
        assert_eq!(shown.walls.len(), 2);
        assert_eq!(shown.walls[0].turn(), Turn::LEFT);
        assert_eq!(previewed(&den, Aim::Next, Turn::LEFT, None), den);
    }

    #[test]
    fn the_gap_is_said_in_the_jobs_units() {
        let gap = |east: Length, north: Length, gap: Length, ratio| Sketch {
            walls: vec![
                shared_model::outline::SketchWall {
                    wall: WallId(Uuid::nil()),
                    from: Default::default(),
                    to: Default::default(),
                    certainty: shared_model::outline::Certainty::Once,
                    length: Length::FOOT,
                };
                4
            ],
            gap: Some(Misclosure { east, north, gap, ratio }),
            closes: true,
        };
        let eleven_eighths = Length::sixty_fourths(88);
        let words = gap_words(&gap(eleven_eighths, Length::ZERO, eleven_eighths, Some(410)), Units::Imperial);
        assert_eq!(words.as_deref(), Some("Ring is open by 1 3/8\" (1:410)."));
        let words = gap_words(&gap(Length::mm(30), Length::mm(-40), Length::mm(50), Some(300)), Units::Metric);
        assert_eq!(words.as_deref(), Some("Ring is open by 0.050 m (1:300)."));
        assert_eq!(
            gap_words(&gap(Length::ZERO, Length::ZERO, Length::ZERO, None), Units::Metric).as_deref(),
            Some("The ring meets its start.")
        );
    }

    #[test]
    fn turns_are_said_in_words() {
        assert_eq!(turn_words(Turn::LEFT), "turns left");
        assert_eq!(turn_words(Turn(Angle::degrees(45))), "turns right 45°");
        assert_eq!(other_way(Turn::RIGHT), Turn::LEFT);
    }
}
