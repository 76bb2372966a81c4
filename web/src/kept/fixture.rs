//! A phone with its disk, and the server's side of the talk.

use shared_model::ids::RoomId;
use shared_model::job::Order;
use uuid::Uuid;

use super::super::*;

pub const JOB: JobId = JobId(Uuid::from_u128(1));

/// The server's side: takes in what it is sent, and answers as the wire says.
pub struct Server {
    pub doc: JobDoc,
    pub sync: SyncState,
    /// Changes with this message are refused.
    pub refuses: Option<&'static str>,
}

impl Server {
    pub fn new() -> Self {
        Self { doc: JobDoc::new(JOB, [99; 16], DeviceId(Uuid::nil())), sync: SyncState::new(), refuses: None }
    }

    pub fn hear(&mut self, frame: &Frame, phone: &mut Kept) -> Vec<Frame> {
        match frame {
            Frame::Open { .. } => self.sync = SyncState::new(),
            Frame::Sync { message, .. } => {
                let message = guard::sync(message, MOST_CHANGES, None, false).unwrap();
                let new = self.doc.receive_sync(&mut self.sync, message).unwrap();
                let ack = Frame::Ack { job: JOB, hashes: new.iter().map(|it| it.hash.0).collect(), proof: None };
                return [ack].into_iter().chain(self.say()).collect();
            }
            Frame::Change { change, .. } => {
                let vetted = guard::change(change, Some(phone.author)).unwrap();
                let hash = vetted.hash();
                let said = phone.waiting.get(&hash.0).map(|it| it.said.clone());
                if self.refuses.is_some_and(|it| said.as_deref() == Some(it)) {
                    return vec![Frame::Nack { job: JOB, hash: Some(hash.0), reason: "not today".to_owned() }];
                }
                self.doc.apply(vec![vetted]).unwrap();
                if self.doc.has(&hash) {
                    return vec![Frame::Ack { job: JOB, hashes: vec![hash.0], proof: None }];
                }
                self.sync = SyncState::new();
            }
            other => panic!("a phone does not send {other:?}"),
        }
        self.say().into_iter().collect()
    }

    pub fn say(&mut self) -> Option<Frame> {
        self.doc.sync_message(&mut self.sync, true).map(|message| Frame::Sync { job: JOB, message, seal: None })
    }
}

/// What a phone has stored: enough to start again from.
#[derive(Default)]
pub struct Disk {
    pub snapshot: Option<Vec<u8>>,
    pub changes: Vec<Vec<u8>>,
    pub waiting: BTreeMap<Hash, Waiting>,
    pub apart: Vec<SetApart>,
}

impl Disk {
    pub fn store(&mut self, outcome: &Outcome, phone: &mut Kept) {
        self.changes.extend(outcome.changes.iter().cloned());
        outcome.confirmed.iter().for_each(|it| drop(self.waiting.remove(it)));
        self.waiting.extend(outcome.waiting.iter().cloned());
        self.apart.extend(outcome.apart.iter().cloned());
        if outcome.snapshot {
            self.snapshot = Some(phone.snapshot().unwrap());
            // Like the storage, which deletes only what a snapshot holds.
            self.changes.retain(|it| !phone.has(it));
        }
    }

    pub fn load(&self, n: u8) -> Kept {
        let mut phone = Kept::load(JOB, self.snapshot.as_deref(), actor(n), author(n)).unwrap();
        let stored = self.changes.iter().map(|it| ((), it.clone())).collect();
        phone.restore(without_apart(stored, &self.apart).into_iter().map(|it| it.1).collect()).unwrap();
        phone.restore_waiting(self.waiting.clone());
        phone
    }
}

/// A phone with its disk.
pub struct Phone {
    pub kept: Kept,
    pub disk: Disk,
    /// Frames that leave when there is a connection.
    pub out: Vec<Frame>,
}

impl Phone {
    pub fn new(n: u8) -> Self {
        Self { kept: Kept::new(JOB, actor(n), author(n)), disk: Disk::default(), out: Vec::new() }
    }

    pub fn act(&mut self, said: &'static str) {
        let edit = Edit::AddRoom {
            room: RoomId(Uuid::new_v4()),
            name: said.to_owned(),
            level: 0,
            goods: None,
            order: Order::between(None, None),
        };
        let outcome = self.kept.edit(&[edit], said, Timestamp(1_000)).unwrap();
        self.done(outcome);
    }

    pub fn done(&mut self, outcome: Outcome) {
        self.disk.store(&outcome, &mut self.kept);
        self.out.extend(outcome.send);
    }

    /// Connects and talks until nobody has anything to say.
    pub fn share(&mut self, server: &mut Server) {
        self.out.clear();
        let outcome = self.kept.open();
        self.done(outcome);
        self.talk(server);
    }

    pub fn talk(&mut self, server: &mut Server) {
        while !self.out.is_empty() {
            for frame in std::mem::take(&mut self.out) {
                for answer in server.hear(&frame, &mut self.kept) {
                    let outcome = match answer {
                        Frame::Sync { message, seal, .. } => self.kept.hear_sync(&message, seal),
                        Frame::Ack { hashes, proof, .. } => self.kept.hear_ack(&hashes, proof),
                        Frame::Nack { hash, reason, .. } => {
                            self.kept.hear_nack(hash, &reason, *Uuid::new_v4().as_bytes())
                        }
                        other => panic!("a server does not send {other:?}"),
                    };
                    self.done(outcome);
                }
            }
        }
    }

    pub fn rooms(&self) -> Vec<String> {
        let mut names: Vec<String> = self.kept.job().rooms.into_iter().map(|it| it.name).collect();
        names.sort();
        names
    }
}

pub fn actor(n: u8) -> [u8; 16] {
    [n; 16]
}

pub fn author(n: u8) -> DeviceId {
    DeviceId(Uuid::from_u128(u128::from(n)))
}

pub fn names(doc: &JobDoc) -> Vec<String> {
    let mut names: Vec<String> = doc.job().rooms.into_iter().map(|it| it.name).collect();
    names.sort();
    names
}
