//! The language of y-websocket. Its phones type readings with the same fields as Napline's.

use napline_tests::peer::Socket;
use shared_model::length::Length;
use uuid::Uuid;
use yrs::encoding::read::{Cursor, Read};
use yrs::sync::{Message, SyncMessage};
use yrs::updates::decoder::Decode;
use yrs::updates::encoder::Encode;
use yrs::{Any, Doc, Map, MapPrelim, MapRef, ReadTxn, StateVector, Transact, Update};

use crate::node;
use crate::talk::{Mark, Talk};

/// A job as it is before the measurement: four rooms, 48 walls, and a length for each.
pub struct Job {
    name: Uuid,
    saved: Vec<u8>,
    walls: Vec<String>,
}

impl Job {
    pub fn new() -> Self {
        let doc = document();
        let (rooms, walls) = (doc.get_or_insert_map("rooms"), doc.get_or_insert_map("walls"));
        let mut names = Vec::new();
        for n in 0..48 {
            let (room, wall) = (format!("{}", n / 12), Uuid::new_v4().to_string());
            let mut transaction = doc.transact_mut();
            if n % 12 == 0 {
                let fields = [("name", Any::from(format!("Room {room}"))), ("level", Any::from(0))];
                rooms.insert(&mut transaction, room.clone(), MapPrelim::from(fields));
            }
            walls.insert(&mut transaction, wall.clone(), MapPrelim::from([("room", room), ("order", "V".to_owned())]));
            names.push(wall);
        }
        for wall in &names {
            read(&doc, wall);
        }
        let saved = doc.transact().encode_diff_v1(&StateVector::default());
        Self { name: Uuid::new_v4(), saved, walls: names }
    }

    /// What a phone will type.
    fn edits(&self, count: usize) -> Vec<Vec<u8>> {
        let doc = document();
        doc.transact_mut().apply_update(self.update()).expect("a job");
        let walls = self.walls.iter().cycle().take(count);
        walls.map(|it| read(&doc, it)).collect()
    }

    fn update(&self) -> Update {
        Update::decode_v1(&self.saved).expect("a job")
    }
}

fn document() -> Doc {
    Doc::with_client_id(Uuid::new_v4().as_u128() as u32 as u64)
}

/// Adds a length to a wall; answers the update.
fn read(doc: &Doc, wall: &str) -> Vec<u8> {
    let walls = doc.get_or_insert_map("walls");
    let before = doc.transact().state_vector();
    let mut transaction = doc.transact_mut();
    let wall = walls.get(&transaction, wall).and_then(|it| it.cast::<MapRef>().ok()).expect("a wall");
    let fields = [
        ("um", Any::from(Length::feet(12).0 as f64)),
        ("typed", Any::from("12'")),
        ("src", Any::from("tape")),
        ("by", Any::from(Uuid::new_v4().as_bytes().to_vec())),
        ("at", Any::from(1_800_000_000)),
    ];
    wall.insert(&mut transaction, Uuid::new_v4().to_string(), MapPrelim::from(fields));
    drop(transaction);
    doc.transact().encode_diff_v1(&before)
}

/// Where the update begins in its author's history, which no other update does.
fn mark(update: &[u8]) -> Mark {
    let mut cursor = Cursor::new(update);
    let mut next = || cursor.read_var::<u64>().unwrap_or_default();
    let (_clients, _blocks, client, clock) = (next(), next(), next(), next());
    let mut mark = Mark::default();
    mark[..8].copy_from_slice(&client.to_le_bytes());
    mark[8..].copy_from_slice(&(clock as u32).to_le_bytes());
    mark
}

pub struct Line {
    job: Vec<u8>,
    has: StateVector,
    edits: Vec<Vec<u8>>,
    is_level: bool,
}

impl Line {
    pub async fn connect(port: u16, job: &Job, edits: usize) -> (Socket, Self) {
        let has = job.update().state_vector();
        let line = Self { job: job.saved.clone(), has, edits: job.edits(edits), is_level: false };
        (node::socket(&format!("ws://127.0.0.1:{port}/{}", job.name)).await, line)
    }
}

fn say(message: SyncMessage) -> Vec<u8> {
    Message::Sync(message).encode_v1()
}

impl Talk for Line {
    fn marks(&self) -> Vec<Mark> {
        self.edits.iter().map(|it| mark(it)).collect()
    }

    fn open(&mut self, first: bool) -> Vec<Vec<u8>> {
        let job = first.then(|| say(SyncMessage::Update(self.job.clone())));
        job.into_iter().chain([say(SyncMessage::SyncStep1(StateVector::default()))]).collect()
    }

    fn is_level(&self) -> bool {
        self.is_level
    }

    fn take(&mut self, frame: &[u8]) -> (Vec<Mark>, Vec<Vec<u8>>) {
        match Message::decode_v1(frame).expect("a message of y-websocket") {
            Message::Sync(SyncMessage::Update(update)) => (vec![mark(&update)], Vec::new()),
            Message::Sync(SyncMessage::SyncStep2(update)) => {
                self.is_level |= Update::decode_v1(&update).expect("an update").state_vector() == self.has;
                (Vec::new(), Vec::new())
            }
            // The server asks what a phone has when it connects; the first phone of the job says so when it opens it.
            _ => (Vec::new(), Vec::new()),
        }
    }

    fn edit(&mut self, n: usize) -> Vec<u8> {
        say(SyncMessage::Update(self.edits[n].clone()))
    }
}
