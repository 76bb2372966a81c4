//! A crew of simulated devices that work on one job.

use shared_model::guard;
use shared_model::ids::{DeviceId, JobId, ReadingId, RoomId, WallId};
use shared_model::job::{Edit, JobDoc, NewReading, Order, SyncState, Timestamp, Tool};
use shared_model::length::Length;
use uuid::Uuid;

pub const JOB: JobId = JobId(Uuid::from_u128(1));

pub fn device(n: u8) -> DeviceId {
    DeviceId(Uuid::from_u128(0xd0 + u128::from(n)))
}

pub fn phone(n: u8) -> JobDoc {
    JobDoc::new(JOB, [n; 16], device(n))
}

pub fn room(n: u128) -> RoomId {
    RoomId(Uuid::from_u128(0x100 + n))
}

pub fn wall(n: u128) -> WallId {
    WallId(Uuid::from_u128(0x200 + n))
}

pub fn reading(n: u128) -> ReadingId {
    ReadingId(Uuid::from_u128(0x300 + n))
}

pub fn add_room(n: u128, name: &str) -> Edit {
    Edit::AddRoom { room: room(n), name: name.to_owned(), level: 0, goods: None, order: Order::default() }
}

pub fn add_wall(in_room: u128, n: u128) -> Edit {
    Edit::AddWall { room: room(in_room), wall: wall(n), order: Order::default() }
}

pub fn add_reading(in_room: u128, of_wall: u128, n: u128, inches: i64, supersedes: &[u128]) -> Edit {
    let reading = NewReading {
        id: reading(n),
        value: Length::inches(inches),
        typed: format!("{inches}\""),
        tool: Tool::Tape,
        supersedes: supersedes.iter().map(|it| reading(*it)).collect(),
    };
    Edit::AddReading { room: room(in_room), wall: wall(of_wall), reading }
}

/// Does one action that must change something; gives the bytes of its change.
pub fn act(doc: &mut JobDoc, edits: &[Edit]) -> Vec<u8> {
    doc.edit(edits, "test", Timestamp(1_800_000_000)).unwrap().unwrap().bytes
}

/// Hands live changes over.
pub fn send(bytes: &[Vec<u8>], to: &mut JobDoc) {
    let vetted = bytes.iter().map(|it| guard::change(it, None).unwrap()).collect();
    to.apply(vetted).unwrap();
}

/// One catch-up between a phone and its server, by messages, until neither has more to say.
pub fn catch_up(phone: &mut JobDoc, server: &mut JobDoc) {
    let (mut of_phone, mut of_server) = (SyncState::new(), SyncState::new());
    loop {
        let up = phone.sync_message(&mut of_phone, false);
        if let Some(bytes) = &up {
            let vetted = guard::sync(bytes, server.len(), None, false).unwrap();
            server.receive_sync(&mut of_server, vetted).unwrap();
        }
        let down = server.sync_message(&mut of_server, true);
        if let Some(bytes) = &down {
            let vetted = guard::sync(bytes, phone.len(), None, true).unwrap();
            phone.receive_sync(&mut of_phone, vetted).unwrap();
        }
        if up.is_none() && down.is_none() {
            return;
        }
    }
}
