//! The demo job: an invented house, measured by invented people.
//!
//! Sorrel Lane 14 in Wexhollow, its rooms, its carpets, and Odile and Teun who measure it do not exist; every number of it is
//! invented. Each wall is written as the tape would read it, so not every ring closes to the last sixteenth.

use uuid::Uuid;

use crate::ids::{DeviceId, FixtureId, FlightId, GoodsId, MarkId, OpeningId, ReadingId, RoomId, TurnId, WallId};
use crate::job::{
    Edit, Fixture, FixtureKind, Flight, Goods, MarkKind, NewMark, NewReading, NewTurn, Opening, Order, Tool, Turn,
};
use crate::length::{Length, Units};

mod house;

use house::{CARPETS, Carpet, HEARTH, HOUSE, NOTE, Person, Plan, SECOND_READING, SQUEAK, STAIR};

/// One action of one of the demo's people.
#[derive(Clone, PartialEq, Debug)]
pub struct Action {
    pub by: DeviceId,
    pub said: &'static str,
    pub edits: Vec<Edit>,
}

/// The actions that measure the demo house, in order. Ids are fixed, so that the demo is the same everywhere.
///
/// Odile starts the job; then both measure, each their own rooms at the same time; at the end Teun reads again a wall that
/// Odile has read.
pub fn actions() -> Vec<Action> {
    let mut actions = vec![
        by(Person::Odile, "Starts the job", start()),
        by(Person::Teun, "Comes along", vec![named("Teun")]),
        by(Person::Odile, "Enters the carpets", CARPETS.iter().zip(orders(CARPETS.len())).map(add_carpet).collect()),
        by(Person::Odile, "Lists the rooms", HOUSE.iter().enumerate().zip(orders(HOUSE.len())).map(add_room).collect()),
    ];
    let measured_by = |person: Person| HOUSE.iter().enumerate().filter(move |(_, it)| it.by == person);
    let (mut one, mut two) = (Vec::new(), Vec::new());
    measured_by(Person::Odile).for_each(|(n, plan)| one.extend(measure(n, plan)));
    measured_by(Person::Teun).for_each(|(n, plan)| two.extend(measure(n, plan)));
    one.push(by(Person::Odile, "Measures the hearth", vec![hearth()]));
    two.push(by(Person::Teun, "Measures the stair", vec![stair()]));
    actions.extend(in_turns(one, two));
    let (room, wall, again) = SECOND_READING;
    actions.push(by(Person::Teun, "Reads a wall again", vec![reading(room, wall, 1, again)]));
    actions.push(by(Person::Odile, "Marks what to find again", marks().into()));
    actions
}

fn by(person: Person, said: &'static str, edits: Vec<Edit>) -> Action {
    Action { by: DeviceId(id(0, person as usize, 0)), said, edits }
}

fn in_turns(one: Vec<Action>, two: Vec<Action>) -> impl Iterator<Item = Action> {
    let (mut one, mut two) = (one.into_iter(), two.into_iter());
    std::iter::from_fn(move || Some([one.next(), two.next()]))
        .take_while(|it| it.iter().any(Option::is_some))
        .flatten()
        .flatten()
}

/// The `n`th thing of the `within`th of a `kind`.
const fn id(kind: u8, within: usize, n: usize) -> Uuid {
    // Version and variant of a free-form uuid (RFC 9562, version 8); "nap" in front marks the demo's.
    Uuid::from_u128(0x6e61_7000_0000_8000_8000 << 48 | (kind as u128) << 40 | (within as u128) << 16 | n as u128)
}

const fn room_id(n: usize) -> RoomId {
    RoomId(id(1, n, 0))
}

const fn wall_id(room: usize, wall: usize) -> WallId {
    WallId(id(2, room, wall))
}

const fn goods_id(n: usize) -> GoodsId {
    GoodsId(id(5, n, 0))
}

/// So many places in a list, one after the other.
fn orders(count: usize) -> impl Iterator<Item = Order> {
    std::iter::successors(Some(Order::default()), |it| Some(Order::between(Some(it), None))).take(count)
}

fn named(name: &str) -> Edit {
    Edit::NamePerson { name: name.to_owned() }
}

fn start() -> Vec<Edit> {
    let name = "Sorrel Lane 14, Wexhollow".to_owned();
    vec![Edit::NameJob { name }, Edit::SetUnits { units: Units::Imperial }, named("Odile")]
}

fn add_carpet((carpet, order): (&Carpet, Order)) -> Edit {
    let goods = Goods {
        id: goods_id(carpet.goods),
        name: carpet.name.to_owned(),
        roll_width: carpet.roll_width,
        repeat_length: carpet.repeat,
        repeat_width: carpet.repeat,
        pattern: carpet.pattern,
        pile: true,
        increment: carpet.increment,
        minimum: Length::ZERO,
        longest: Length::ZERO,
        order,
    };
    Edit::AddGoods { goods }
}

fn add_room(((n, plan), order): ((usize, &Plan), Order)) -> Edit {
    Edit::AddRoom { room: room_id(n), name: plan.name.to_owned(), level: 0, goods: Some(goods_id(plan.goods)), order }
}

/// Each wall with its turn, then the openings, then the last corner.
fn measure(n: usize, plan: &Plan) -> Vec<Action> {
    let walls = plan.walls.iter().enumerate().zip(orders(plan.walls.len()));
    let walls = walls.map(|((i, &(length, turn)), order)| {
        let mut edits = vec![Edit::AddWall { room: room_id(n), wall: wall_id(n, i), order }, reading(n, i, 0, length)];
        if turn != Turn::RIGHT {
            let turn = NewTurn { id: TurnId(id(4, n, i)), turn, free: false, supersedes: Vec::new() };
            edits.push(Edit::StateTurn { room: room_id(n), wall: wall_id(n, i), turn });
        }
        by(plan.by, "Measures a wall", edits)
    });
    let openings = plan.openings.iter().enumerate().map(|(i, hole)| {
        let opening = Opening {
            id: OpeningId(id(6, n, i)),
            wall: wall_id(n, hole.wall),
            kind: hole.kind,
            offset: hole.offset,
            width: hole.width,
            depth: hole.depth,
            floor: hole.floor,
            leads_to: hole.beyond.map(room_id),
        };
        by(plan.by, "Adds an opening", vec![Edit::AddOpening { room: room_id(n), opening }])
    });
    let closes = by(plan.by, "Closes the room", vec![Edit::CloseRoom { room: room_id(n), closed: true }]);
    walls.chain(openings).chain([closes]).collect()
}

/// The `nth` reading of a wall.
fn reading(room: usize, wall: usize, nth: usize, value: Length) -> Edit {
    let id = ReadingId(id(3, room, wall << 4 | nth));
    let reading = NewReading { id, value, typed: value.exact_text(), tool: Tool::Tape, supersedes: Vec::new() };
    Edit::AddReading { room: room_id(room), wall: wall_id(room, wall), reading }
}

fn hearth() -> Edit {
    let (room, wall, offset, width, depth) = HEARTH;
    let fixture = Fixture {
        id: FixtureId(id(8, room, 0)),
        kind: FixtureKind::Hearth,
        wall: wall_id(room, wall),
        offset,
        clear: Length::ZERO,
        width,
        depth,
    };
    Edit::AddFixture { room: room_id(room), fixture }
}

fn marks() -> [Edit; 2] {
    let (room, wall, offset, clear) = SQUEAK;
    let squeak = NewMark {
        id: MarkId(id(9, room, 0)),
        kind: MarkKind::Squeak,
        wall: Some(wall_id(room, wall)),
        offset,
        clear,
        text: String::new(),
    };
    let (of, text) = NOTE;
    let note = NewMark {
        id: MarkId(id(9, of, 1)),
        kind: MarkKind::Note,
        wall: None,
        offset: Length::ZERO,
        clear: Length::ZERO,
        text: text.to_owned(),
    };
    [(room, squeak), (of, note)].map(|(room, mark)| Edit::AddMark { room: room_id(room), mark })
}

fn stair() -> Edit {
    let flight = Flight {
        id: FlightId(id(7, 0, 0)),
        name: "Stair".to_owned(),
        steps: STAIR.steps,
        riser: STAIR.riser,
        going: STAIR.going,
        nosing: STAIR.nosing,
        width: STAIR.width,
        winders: 0,
        winder_reach: Length::ZERO,
        landing: Length::ZERO,
        foot: None,
        goods: Some(goods_id(house::PLAIN)),
        order: Order::default(),
    };
    Edit::AddFlight { flight }
}
