//! Napline's own language, and the job documents, which automerge-repo's phones type into as well.

use std::time::Duration;

use napline_tests::peer::{Pass, Socket, new_job};
use napline_tests::server::Server;
use napline_tests::typing;
use shared_model::guard;
use shared_model::ids::{DeviceId, JobId};
use shared_model::job::{JobDoc, NewChange, SyncState, Timestamp};
use shared_model::wire::Frame;
use uuid::Uuid;

use crate::talk::{Mark, Talk};

/// A job as it is before the measurement: four rooms, 48 walls, and a length for each.
pub struct Job {
    pub id: JobId,
    saved: Vec<u8>,
    walls: typing::Walls,
}

impl Job {
    pub fn new() -> Self {
        let id = new_job();
        let mut doc = JobDoc::new(id, *Uuid::new_v4().as_bytes(), DeviceId(Uuid::new_v4()));
        let (rooms, walls) = typing::rooms(4);
        let lengths = walls.iter().map(|it| vec![typing::reading(*it)]);
        for edits in rooms.into_iter().chain(lengths) {
            doc.edit(&edits, "test", Timestamp(1_800_000_000)).expect("an edit");
        }
        Self { id, saved: doc.save(), walls }
    }

    fn copy(&self, author: DeviceId) -> JobDoc {
        JobDoc::load(self.id, &self.saved, *Uuid::new_v4().as_bytes(), author).expect("a job")
    }

    /// What a phone will type: each change builds on the phone's own one before.
    pub fn edits(&self, author: DeviceId, count: usize) -> Vec<NewChange> {
        let mut doc = self.copy(author);
        let walls = self.walls.iter().cycle().take(count);
        walls
            .filter_map(|it| doc.edit(&[typing::reading(*it)], "test", Timestamp(1_800_000_000)).expect("an edit"))
            .collect()
    }

    /// A copy that catches up with a server.
    pub fn meeting(&self, author: DeviceId) -> Meeting {
        Meeting { doc: self.copy(author), state: SyncState::new() }
    }
}

/// Automerge's sync protocol before the edits.
pub struct Meeting {
    pub doc: JobDoc,
    state: SyncState,
}

impl Meeting {
    pub fn say(&mut self) -> Option<Vec<u8>> {
        self.doc.sync_message(&mut self.state, false)
    }

    pub fn take(&mut self, message: &[u8]) -> Option<Vec<u8>> {
        let vetted = guard::sync(message, self.doc.len(), None, true).expect("a sound message");
        self.doc.receive_sync(&mut self.state, vetted).expect("a message that fits");
        self.say()
    }

    pub fn is_level(&self) -> bool {
        self.state.their_heads.as_ref() == Some(&self.doc.heads())
    }
}

/// The first bytes of the change's hash; the change carries them as its checksum.
pub fn mark(hash: &[u8]) -> Mark {
    let mut mark = Mark::default();
    mark[..4].copy_from_slice(&hash[..4]);
    mark
}

pub fn mark_of_change(bytes: &[u8]) -> Mark {
    mark(&bytes[4..])
}

/// Pairs the phones, no faster than the server takes requests from one address: three for each phone, with its socket.
pub async fn pair(server: &Server, phones: usize) -> Vec<Pass> {
    let mut passes = vec![Pass::by_link(&server.pairing_link(), "P0").await];
    for n in 1..phones {
        if n > 120 {
            tokio::time::sleep(Duration::from_millis(60)).await;
        }
        passes.push(passes[0].pair_another(&format!("P{n}")).await);
    }
    passes
}

pub struct Line {
    job: JobId,
    meeting: Option<Meeting>,
    edits: Vec<NewChange>,
}

impl Line {
    pub async fn connect(pass: &Pass, job: &Job, edits: usize) -> (Socket, Self) {
        let peer = pass.connect().await;
        let device = peer.device();
        let line = Self { job: job.id, meeting: Some(job.meeting(device)), edits: job.edits(device, edits) };
        (peer.into_socket(), line)
    }
}

impl Talk for Line {
    fn marks(&self) -> Vec<Mark> {
        self.edits.iter().map(|it| mark(&it.hash.0)).collect()
    }

    fn open(&mut self, _: bool) -> Vec<Vec<u8>> {
        vec![Frame::Open { job: self.job }.encode()]
    }

    fn is_level(&self) -> bool {
        self.meeting.is_none()
    }

    fn take(&mut self, frame: &[u8]) -> (Vec<Mark>, Vec<Vec<u8>>) {
        match Frame::decode(frame).expect("a frame") {
            Frame::Change { change, .. } => (vec![mark_of_change(&change)], Vec::new()),
            Frame::Sync { job, message, .. } => {
                let answer = self.meeting.as_mut().and_then(|it| it.take(&message));
                self.meeting.take_if(|it| it.is_level());
                (
                    Vec::new(),
                    answer.map(|message| Frame::Sync { job, message, seal: None }.encode()).into_iter().collect(),
                )
            }
            Frame::Ack { .. } | Frame::Jobs(_) | Frame::Role(_) => (Vec::new(), Vec::new()),
            other => panic!("the server sent {other:?}"),
        }
    }

    fn edit(&mut self, n: usize) -> Vec<u8> {
        Frame::Change { job: self.job, change: self.edits[n].bytes.clone(), proof: None }.encode()
    }
}
