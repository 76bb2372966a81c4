//! A server of the simulation: the document, guard and frames of the real one, and a disk whose commits are steps of the script.
//! What the real one does with sockets, threads and its store, `killed.rs` tests on the real one.

use std::collections::{BTreeMap, BTreeSet};

use shared_model::guard;
use shared_model::ids::{DeviceId, JobId};
use shared_model::job::{JobDoc, NewChange, SyncState};
use shared_model::seal::{Proof, SealKey, first_unsealed};
use shared_model::wire::Frame;
use uuid::Uuid;

/// A connection.
pub type Line = u64;

pub struct Station {
    doc: JobDoc,
    lines: BTreeMap<Line, Share>,
    /// Changes in the order of their commits.
    disk: Vec<Vec<u8>>,
    on_disk: BTreeSet<[u8; 32]>,
    snapshot: Option<(usize, Vec<u8>)>,
    queue: Vec<Batch>,
    /// What is passed on before it is on the disk, to those who can bring it back.
    early: Vec<(Line, Frame)>,
    starts: u8,
    number: u8,
}

struct Share {
    catch_up: SyncState,
    /// What is sealed, as the phone has shown.
    sealed: BTreeSet<[u8; 32]>,
    /// The phone at the other end; `None` is another server.
    phone: Option<DeviceId>,
    open: bool,
}

/// Committed together; the frames wait for it.
struct Batch {
    changes: Vec<NewChange>,
    frames: Vec<(Line, Frame)>,
}

impl Station {
    pub fn new(job: JobId, number: u8) -> Self {
        let doc = JobDoc::new(job, [number; 16], DeviceId(Uuid::nil()));
        let (lines, disk, on_disk) = (BTreeMap::new(), Vec::new(), BTreeSet::new());
        Self { doc, lines, disk, on_disk, snapshot: None, queue: Vec::new(), early: Vec::new(), starts: 0, number }
    }

    pub fn doc(&self) -> &JobDoc {
        &self.doc
    }

    pub fn has_on_disk(&self, hash: &[u8; 32]) -> bool {
        self.on_disk.contains(hash)
    }

    pub fn is_idle(&self) -> bool {
        self.queue.is_empty()
    }

    pub fn connect(&mut self, line: Line, phone: Option<DeviceId>) {
        self.lines.insert(line, Share { catch_up: SyncState::new(), sealed: BTreeSet::new(), phone, open: false });
    }

    pub fn hang_up(&mut self, line: Line) {
        self.lines.remove(&line);
    }

    /// Begins to share the job over a line.
    pub fn open(&mut self, line: Line) {
        let Some(share) = self.lines.get_mut(&line) else { return };
        (share.catch_up, share.open) = (SyncState::new(), true);
        let first = say(&self.doc, share);
        let frames = first.map(|frame| (line, frame));
        self.queue.push(Batch { changes: Vec::new(), frames: frames.into_iter().collect() });
    }

    pub fn hear(&mut self, line: Line, frame: Frame) {
        if let Frame::Open { .. } = frame {
            return self.open(line);
        }
        let Some(share) = self.lines.get_mut(&line) else { return };
        let job = self.doc.id();
        match frame {
            Frame::Sealed { seal, .. } => {
                assert!(key().made(job, &seal), "a phone shows the seals that it was given");
                share.sealed.extend(seal.heads);
            }
            _ if !share.open => {}
            Frame::Sync { message, .. } => {
                let vetted = guard::sync(&message, self.doc.len(), None, false).unwrap();
                let inside: BTreeSet<_> = vetted.changes().iter().map(guard::VettedChange::hash).collect();
                let changes = self.doc.receive_sync(&mut share.catch_up, vetted).unwrap();
                if let Some(phone) = share.phone {
                    // Others may have waited for these.
                    let brought: Vec<_> = changes.iter().filter(|it| inside.contains(&it.hash)).cloned().collect();
                    let unsealed = first_unsealed(&self.doc, &brought, &share.sealed, |author| author == phone);
                    assert_eq!(unsealed, None, "a phone brings only what a server has sealed, and its own");
                }
                let reply = say(&self.doc, share);
                self.keep(line, changes, reply);
            }
            Frame::Change { change, .. } => {
                let vetted = guard::change(&change, share.phone).unwrap();
                let hash = vetted.hash();
                let known = self.doc.has(&hash);
                let new = self.doc.apply(vec![vetted]).unwrap();
                let reply = if known {
                    Some(Frame::Ack { job, hashes: vec![hash.0], proof: proof(job, vec![hash.0]) })
                } else if new.is_empty() {
                    share.catch_up = SyncState::new();
                    say(&self.doc, share)
                } else {
                    None
                };
                let changes = new.iter().filter_map(|it| self.doc.change(it)).collect();
                self.keep(line, changes, reply);
            }
            Frame::Ack { .. } if share.phone.is_none() => {}
            other => panic!("nobody sends a server {other:?}"),
        }
    }

    /// Passes what is new on to all others, and queues it; then the receipt and the reply.
    fn keep(&mut self, line: Line, changes: Vec<NewChange>, reply: Option<Frame>) {
        let job = self.doc.id();
        let mut frames = Vec::new();
        if !changes.is_empty() {
            let hashes: Vec<_> = changes.iter().map(|it| it.hash.0).collect();
            frames.push((line, Frame::Ack { job, hashes: hashes.clone(), proof: proof(job, hashes) }));
        }
        frames.extend(reply.map(|it| (line, it)));
        for (other, _) in self.lines.iter().filter(|(other, share)| **other != line && share.open) {
            let live =
                |it: &NewChange| Frame::Change { job, change: it.bytes.clone(), proof: proof(job, vec![it.hash.0]) };
            self.early.extend(changes.iter().map(|it| (*other, live(it))));
        }
        self.queue.push(Batch { changes, frames });
    }

    /// What is passed on now.
    pub fn take_early(&mut self) -> Vec<(Line, Frame)> {
        std::mem::take(&mut self.early)
    }

    /// Commits so many of the queued batches; answers the frames that waited for them.
    pub fn commit(&mut self, batches: usize) -> Vec<(Line, Frame)> {
        let mut out = Vec::new();
        for batch in self.queue.drain(..batches.min(self.queue.len())) {
            for change in batch.changes {
                if self.on_disk.insert(change.hash.0) {
                    self.disk.push(change.bytes);
                }
            }
            out.extend(batch.frames.into_iter().filter(|it| self.lines.contains_key(&it.0)));
        }
        out
    }

    /// Stores a snapshot of what is on the disk.
    pub fn fold(&mut self) {
        let read = self.read();
        if read.missing().is_empty() {
            self.snapshot = Some((self.disk.len(), read.save()));
        }
    }

    /// The power fails: what was not committed is gone, every line is dead, and it starts anew.
    pub fn crash(&mut self) {
        self.queue.clear();
        self.lines.clear();
        self.starts += 1;
        self.doc = self.read();
    }

    /// The job as a start would read it.
    pub fn read(&self) -> JobDoc {
        let mut actor = [self.number; 16];
        actor[0] = self.starts;
        let (first, snapshot) = self.snapshot.as_ref().map_or((0, None), |(n, it)| (*n, Some(it.as_slice())));
        let changes = self.disk[first..].iter().map(Vec::as_slice);
        JobDoc::from_changes(self.doc.id(), snapshot, changes, actor, DeviceId(Uuid::nil())).unwrap()
    }
}

fn say(doc: &JobDoc, share: &mut Share) -> Option<Frame> {
    let message = doc.sync_message(&mut share.catch_up, share.phone.is_some())?;
    let heads = doc.heads().iter().map(|it| it.0).collect();
    Some(Frame::Sync { job: doc.id(), message, seal: Some(key().seal(doc.id(), heads)) })
}

/// The shop's servers know each other's keys; here they have one.
fn key() -> SealKey {
    SealKey::new(&[7; 32])
}

fn proof(job: JobId, hashes: Vec<[u8; 32]>) -> Option<Proof> {
    Some(key().seal(job, hashes).proof)
}
