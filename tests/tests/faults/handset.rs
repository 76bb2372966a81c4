//! A phone without a screen: the client's own [`Kept`], and a disk that forgets at a crash what was not flushed.

use std::collections::BTreeMap;

use shared_model::ids::{DeviceId, JobId};
use shared_model::job::{Edit, Timestamp};
use shared_model::seal::Seals;
use shared_model::wire::Frame;

use super::kept::{Hash, Kept, Outcome, SetApart, Waiting, without_apart};

pub struct Handset {
    pub kept: Kept,
    job: JobId,
    author: DeviceId,
    disk: Disk,
    /// What events asked to be stored and is not on the disk yet; stored in this order, each event whole.
    queue: Vec<Outcome>,
}

/// As the client's storage has it.
#[derive(Default)]
struct Disk {
    /// The newest first, with the numbers of the single changes that it holds; two are kept.
    snapshots: Vec<(Vec<u8>, Vec<u64>)>,
    changes: Vec<(u64, Vec<u8>)>,
    waiting: BTreeMap<Hash, Waiting>,
    apart: Vec<SetApart>,
    seals: Seals,
    next: u64,
}

impl Handset {
    pub fn new(job: JobId, actor: [u8; 16], author: DeviceId) -> Self {
        Self { kept: Kept::new(job, actor, author), job, author, disk: Disk::default(), queue: Vec::new() }
    }

    /// One action of its person, on the disk when this returns; answers whether it changed anything, and what to send.
    pub fn edit(&mut self, edits: &[Edit], at: Timestamp) -> (Option<Hash>, Vec<Frame>) {
        let mut outcome = self.kept.edit(edits, "test", at).unwrap();
        let made = outcome.waiting.first().map(|it| it.0);
        let send = std::mem::take(&mut outcome.send);
        self.queue.push(outcome);
        self.flush();
        (made, send)
    }

    /// The connection is up; `known` is whether the server is the one of last time.
    pub fn open(&mut self, known: bool) -> Vec<Frame> {
        if !known {
            self.kept.forget_peer();
        }
        let outcome = self.kept.open();
        self.queued(outcome)
    }

    /// Takes in a frame from the server; answers what to send.
    pub fn hear(&mut self, frame: Frame, actor: [u8; 16]) -> Vec<Frame> {
        let outcome = match frame {
            Frame::Sync { message, seal, .. } => self.kept.hear_sync(&message, seal),
            Frame::Change { change, proof, .. } => self.kept.hear_change(change, proof),
            Frame::Ack { hashes, proof, .. } => self.kept.hear_ack(&hashes, proof),
            Frame::Nack { hash, reason, .. } => self.kept.hear_nack(hash, &reason, actor),
            _ => return Vec::new(),
        };
        self.queued(outcome)
    }

    fn queued(&mut self, mut outcome: Outcome) -> Vec<Frame> {
        let send = std::mem::take(&mut outcome.send);
        self.queue.push(outcome);
        send
    }

    /// What no server would take or could read.
    pub fn apart(&self) -> &[SetApart] {
        &self.disk.apart
    }

    /// Everything that was asked to be stored is on the disk.
    pub fn flush(&mut self) {
        let mut fold = false;
        for outcome in self.queue.drain(..) {
            for change in outcome.changes {
                self.disk.next += 1;
                self.disk.changes.push((self.disk.next, change));
            }
            outcome.confirmed.iter().for_each(|it| drop(self.disk.waiting.remove(it)));
            self.disk.waiting.extend(outcome.waiting);
            self.disk.apart.extend(outcome.apart);
            self.disk.seals = outcome.seals.unwrap_or_else(|| std::mem::take(&mut self.disk.seals));
            fold |= outcome.snapshot;
        }
        if fold {
            self.fold();
        }
    }

    /// Keeps a snapshot and the one before it; of the single changes only what either lacks.
    pub fn fold(&mut self) {
        self.flush();
        let Disk { snapshots, changes, waiting, apart, .. } = &mut self.disk;
        let newest = snapshots.first().map(|it| it.0.as_slice());
        self.kept.take_in_stored(newest, changes, apart, waiting.clone()).unwrap();
        let bytes = self.kept.snapshot().unwrap();
        let held: Vec<u64> = changes.iter().filter(|it| self.kept.has(&it.1)).map(|it| it.0).collect();
        if let Some((_, before)) = snapshots.first() {
            changes.retain(|it| !(before.contains(&it.0) && held.contains(&it.0)));
        }
        snapshots.insert(0, (bytes, held));
        snapshots.truncate(2);
    }

    /// The battery is empty: what was not on the disk is gone, and the page starts anew.
    pub fn crash(&mut self, actor: [u8; 16]) {
        self.queue.clear();
        let disk = &self.disk;
        let newest = disk.snapshots.first().map(|it| it.0.as_slice());
        self.kept = Kept::load(self.job, newest, actor, self.author).unwrap();
        let changes = without_apart(disk.changes.clone(), &disk.apart).into_iter().map(|it| it.1).collect();
        self.kept.restore(changes).unwrap();
        self.kept.restore_waiting(disk.waiting.clone());
        self.kept.restore_seals(disk.seals.clone());
    }
}
