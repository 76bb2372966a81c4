//! A house for the tests: measured by invented people, as the keypad would, in a document of its own.

use shared_model::ids::{DeviceId, JobId, RoomId, WallId};
use shared_model::job::{Across, Edit, Job, JobDoc, Order, Room, Timestamp, Tool, Turn};
use shared_model::length::{Length, Units};
use uuid::Uuid;

use crate::checking;
use crate::keypad::Taken;
use crate::measuring::{Shape, add_wall, read_wall, start_from, state_turn};

pub const ANA: DeviceId = DeviceId(Uuid::from_u128(1));
pub const BEN: DeviceId = DeviceId(Uuid::from_u128(2));
const JOB: JobId = JobId(Uuid::from_u128(9));

pub struct House {
    doc: JobDoc,
    /// The time of the next entry.
    clock: i64,
}

impl Default for House {
    /// Nothing measured yet, and Ana has the phone.
    fn default() -> Self {
        let mut house = Self { doc: JobDoc::new(JOB, *ANA.0.as_bytes(), ANA), clock: 0 };
        house.act(&[Edit::NamePerson { name: "Ana".to_owned() }]);
        house
    }
}

/// What the keypad takes for this text, read with a tape.
pub fn taken(text: &str) -> Taken {
    Taken { value: Length::parse(text, Units::Imperial).unwrap(), typed: text.to_owned(), tool: Tool::Tape }
}

impl House {
    pub fn act(&mut self, edits: &[Edit]) {
        self.clock += 60;
        self.doc.edit(edits, "test", Timestamp(self.clock)).unwrap();
    }

    /// Ben takes over.
    pub fn ben(&mut self) {
        self.doc = JobDoc::load(JOB, &self.doc.save(), *BEN.0.as_bytes(), BEN).unwrap();
        self.act(&[Edit::NamePerson { name: "Ben".to_owned() }]);
    }

    pub fn job(&self) -> Job {
        self.doc.job()
    }

    pub fn room(&self, id: RoomId) -> Room {
        self.job().room(id).unwrap().clone()
    }

    pub fn add(&mut self, name: &str) -> RoomId {
        let room = RoomId(Uuid::new_v4());
        let order = Order::between(self.job().rooms.last().map(|it| &it.order), None);
        self.act(&[Edit::AddRoom { room, name: name.to_owned(), level: 0, goods: None, order }]);
        room
    }

    /// A room of a shape, closed and not read.
    pub fn shape(&mut self, name: &str, shape: Shape) -> RoomId {
        let room = self.add(name);
        self.act(&start_from(shape, room));
        room
    }

    /// Walls that turn right, read once each; the ring stays open.
    pub fn walls(&mut self, name: &str, readings: &[&str]) -> RoomId {
        let room = self.add(name);
        for text in readings {
            let edits = add_wall(&self.room(room), Turn::RIGHT, Some(&taken(text)));
            self.act(&edits);
        }
        room
    }

    /// A closed rectangle of whole feet.
    pub fn rectangle(&mut self, name: &str, [along, across]: [u32; 2]) -> RoomId {
        let (along, across) = (format!("{along}'"), format!("{across}'"));
        let room = self.walls(name, &[&along, &across, &along, &across]);
        self.act(&[Edit::CloseRoom { room, closed: true }]);
        room
    }

    /// Walls and corners count from 1, as on the screen.
    pub fn wall(&self, room: RoomId, number: usize) -> WallId {
        self.room(room).walls[number - 1].id
    }

    /// One more reading of a wall.
    pub fn read(&mut self, room: RoomId, number: usize, text: &str) {
        let edit = read_wall(room, &self.room(room).walls[number - 1], &taken(text), false);
        self.act(&[edit]);
    }

    /// A reading of a wall that sets aside what it has.
    pub fn correct(&mut self, room: RoomId, number: usize, text: &str) {
        let edit = read_wall(room, &self.room(room).walls[number - 1], &taken(text), true);
        self.act(&[edit]);
    }

    /// A check from corner to corner.
    pub fn check(&mut self, room: RoomId, from: usize, to: usize, text: &str) {
        let of = Across::Corners { from: self.wall(room, from), to: self.wall(room, to) };
        let edit = checking::check(&self.room(room), of, &taken(text));
        self.act(&[edit]);
    }

    /// How the walk turns at a wall's end.
    pub fn turn(&mut self, room: RoomId, number: usize, turn: Turn) {
        let edit = state_turn(room, &self.room(room).walls[number - 1], turn);
        self.act(&[edit]);
    }
}
