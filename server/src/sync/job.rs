//! A job that phones are sharing now, and its document in memory.

use std::collections::BTreeMap;
use std::panic::AssertUnwindSafe;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use shared_model::guard;
use shared_model::ids::{DeviceId, JobId};
use shared_model::job::{ChangeHash, JobDoc, NewChange, Timestamp};
use shared_model::wire::{Frame, Lost, Mark, Person, Whereabouts};
use tokio::time::Instant;
use uuid::Uuid;

use super::hub::ConnectionId;
use super::outbox::Outbox;
use crate::devices::Devices;
use crate::store::{Store, StoreError, StoredChange, Write};

/// Changes after which a new snapshot is made, so that loading stays quick.
const CHANGES_PER_SNAPSHOT: u64 = 500;

/// A phone's screen holds no more of what is lost; the log has all.
const MOST_NAMED: usize = 50;

/// The server writes nothing into jobs; its documents still need an author.
const SERVER: DeviceId = DeviceId(Uuid::nil());

pub struct SharedJob {
    id: JobId,
    /// `None` until it is needed, after it lay idle, and when it can no longer be trusted.
    document: Option<OpenDocument>,
    pub listeners: BTreeMap<ConnectionId, Listener>,
    pub used: Instant,
}

/// A phone that shares the job.
pub struct Listener {
    pub outbox: Outbox,
    pub person: Person,
    pub at: Option<Whereabouts>,
    /// It may write, and so bring back what it has.
    pub brings: bool,
    /// It was sent what the store had when it opened the job: what is new comes after that.
    pub begun: Arc<AtomicBool>,
}

pub struct OpenDocument {
    pub doc: JobDoc,
    /// The store's epoch when it was read.
    pub epoch: u64,
    next_seq: u64,
    since_snapshot: u64,
    /// What was stored and could not be taken in.
    lost: Vec<StoredChange>,
    /// What was stored builds on changes that are not there.
    lacking: bool,
}

#[derive(thiserror::Error, Debug)]
pub enum OpenError {
    #[error(transparent)]
    Store(#[from] StoreError),
    #[error("its changes cannot be put together")]
    Panicked,
}

/// The document code panicked; what it was working on must be dropped.
#[derive(Debug)]
pub struct Panicked;

/// Runs document code on bytes from outside.
pub fn guarded<T>(body: impl FnOnce() -> T) -> Result<T, Panicked> {
    std::panic::catch_unwind(AssertUnwindSafe(body)).map_err(|_| Panicked)
}

impl SharedJob {
    pub fn new(id: JobId) -> Self {
        Self { id, document: None, listeners: BTreeMap::new(), used: Instant::now() }
    }

    /// The document, loaded when it is not in memory or rests on writes that failed.
    pub async fn document(&mut self, store: &Store) -> Result<&mut OpenDocument, OpenError> {
        self.used = Instant::now();
        let current = self.document.take().filter(|it| it.epoch == store.epoch());
        let document = match current {
            Some(document) => document,
            None => {
                // Whatever an earlier copy of the document has queued must be on disk before it is read again; if
                // that failed, it is not there, and reading it again is right all the more.
                let _ = store.commit(Vec::new()).await;
                tokio::task::block_in_place(|| OpenDocument::load(self.id, store))?
            }
        };
        Ok(self.document.insert(document))
    }

    /// The document as it is in memory, even if it rests on writes that failed: what was just taken in is in no other copy.
    pub fn held(&mut self) -> Option<&mut OpenDocument> {
        self.document.as_mut()
    }

    /// Drops the document from memory; it is read from the store when it is needed again.
    pub fn forget_document(&mut self) {
        self.document = None;
    }

    pub fn holds_document(&self) -> bool {
        self.document.is_some()
    }

    /// Whether changes wait in memory for others that never came.
    pub fn holds_orphans(&self) -> bool {
        self.document.as_ref().is_some_and(|it| !it.doc.missing().is_empty())
    }

    /// Tells the others where a phone is now.
    pub fn announce(&mut self, of: ConnectionId, at: Whereabouts) {
        let Some(listener) = self.listeners.get_mut(&of) else { return };
        listener.at = Some(at).filter(|it| *it != Whereabouts::Gone);
        let frame = Frame::Presence { job: self.id, who: Some(listener.person.clone()), at };
        let bytes = axum::body::Bytes::from(frame.encode());
        for (_, other) in self.listeners.iter().filter(|(id, _)| **id != of) {
            other.outbox.send_bytes(bytes.clone());
        }
    }

    /// A phone stops sharing the job.
    pub fn leave(&mut self, who: ConnectionId) {
        if self.listeners.get(&who).is_some_and(|it| it.at.is_some()) {
            self.announce(who, Whereabouts::Gone);
        }
        self.listeners.remove(&who);
    }

    /// Those who are sent what is new at once, and those who are sent it when it is stored: who could not bring it back, and who
    /// waits for what came before.
    pub fn outboxes_except(&self, who: ConnectionId) -> (Vec<Outbox>, Vec<Outbox>) {
        let others = self.listeners.iter().filter(|(id, _)| **id != who).map(|(_, it)| it);
        let (at_once, later): (Vec<_>, Vec<_>) = others.partition(|it| it.brings && it.begun.load(Ordering::Acquire));
        let outboxes = |all: Vec<&Listener>| all.into_iter().map(|it| it.outbox.clone()).collect();
        (outboxes(at_once), outboxes(later))
    }
}

impl OpenDocument {
    fn load(id: JobId, store: &Store) -> Result<Self, OpenError> {
        let epoch = store.epoch();
        let actor = *Uuid::new_v4().as_bytes();
        let mut start = None;
        for (seq, bytes) in store.snapshots(id)? {
            match guarded(|| JobDoc::load(id, &bytes, actor, SERVER)) {
                Ok(Ok(doc)) => {
                    start = Some((doc, seq + 1));
                    break;
                }
                Ok(Err(error)) => {
                    tracing::error!(job = %id, seq, %error, "a snapshot is damaged; an older one is used");
                }
                Err(Panicked) => tracing::error!(job = %id, seq, "a snapshot is damaged; an older one is used"),
            }
        }
        let (mut doc, first) = start.unwrap_or_else(|| (JobDoc::new(id, actor, SERVER), 0));

        let stored = store.changes(id, first)?;
        let next_seq = stored.last().map_or(first, |(seq, _)| seq + 1);
        let since_snapshot = stored.len() as u64;
        let lost = take_in(&mut doc, stored)?;
        let lacking = !doc.missing().is_empty();
        if lacking {
            tracing::error!(job = %id, missing = ?doc.missing(), "changes wait for lost ones; a phone that has them brings them back");
        }
        Ok(Self { doc, epoch, next_seq, since_snapshot, lost, lacking })
    }

    /// Whether nothing was left out of it, and nothing waits.
    pub fn is_whole(&self) -> bool {
        self.lost.is_empty() && self.doc.missing().is_empty()
    }

    /// What the store has of the job, once all that was queued is stored; `None` when something of it is damaged.
    pub fn mark(&self) -> Option<Mark> {
        let damaged = !self.lost.is_empty() || (self.lacking && !self.doc.missing().is_empty());
        (!damaged).then(|| Mark::of(self.doc.heads()))
    }

    /// For phones: what is lost, by those who brought it.
    pub fn damage(&self, devices: &Devices) -> Option<Frame> {
        let lost = |it: &StoredChange| Lost { who: devices.person(it.from), received: it.received };
        let lost: Vec<Lost> = self.lost.iter().map(lost).take(MOST_NAMED).collect();
        let waiting = u32::try_from(self.doc.held_back()).unwrap_or(u32::MAX);
        (!lost.is_empty()).then_some(Frame::Damaged { job: self.doc.id(), lost, waiting })
    }

    /// For phones, when the last of what was lost has come back.
    pub fn mended(&mut self) -> Option<Frame> {
        let was = !self.lost.is_empty();
        self.lost.retain(|it| !self.doc.has(&ChangeHash(it.hash)));
        let mended = was && self.lost.is_empty();
        mended.then(|| Frame::Damaged { job: self.doc.id(), lost: Vec::new(), waiting: 0 })
    }

    /// Numbers new changes, which the document has taken in, for the store.
    pub fn number(&mut self, changes: &[NewChange], from: DeviceId, received: Timestamp) -> Vec<Write> {
        let job = self.doc.id();
        let mut writes = Vec::with_capacity(changes.len() + 1);
        for change in changes {
            let stored = StoredChange { hash: change.hash.0, from, received, bytes: change.bytes.clone() };
            writes.push(Write::Change { job, seq: self.next_seq, change: stored });
            self.next_seq += 1;
        }
        if !changes.is_empty() {
            writes.push(Write::Mark { job, mark: self.mark() });
        }
        self.since_snapshot += changes.len() as u64;
        writes
    }

    /// A snapshot, when one is due: the document, and the seq of the last change inside.
    pub fn snapshot_due(&mut self) -> Option<(u64, Vec<u8>)> {
        // What waits or was left out is not part of the saved document, and must be read again.
        if self.since_snapshot < CHANGES_PER_SNAPSHOT || !self.is_whole() {
            return None;
        }
        self.since_snapshot = 0;
        Some((self.next_seq.checked_sub(1)?, self.doc.save()))
    }
}

/// Stores a snapshot, if it opens and says the same.
pub fn store_verified(store: &Store, epoch: u64, job: JobId, seq: u64, bytes: Vec<u8>, heads: &[[u8; 32]]) {
    let loaded = guarded(|| JobDoc::load(job, &bytes, *Uuid::new_v4().as_bytes(), SERVER).map(|it| heads_of(&it)));
    if !matches!(&loaded, Ok(Ok(found)) if found == heads) {
        tracing::error!(%job, ?loaded, "a snapshot does not open as it was saved; it is not kept");
        return;
    }
    store.submit(epoch, vec![Write::Snapshot { job, seq, bytes }], move |result| {
        if let Err(error) = result {
            tracing::warn!(%job, %error, "a snapshot was not stored");
        }
    });
}

pub fn heads_of(doc: &JobDoc) -> Vec<[u8; 32]> {
    doc.heads().iter().map(|it| it.0).collect()
}

/// Takes stored changes into a document. What is damaged or does not fit stays out and is named in the log; the rest opens.
/// Answers what was left out.
fn take_in(doc: &mut JobDoc, stored: Vec<(u64, StoredChange)>) -> Result<Vec<StoredChange>, OpenError> {
    let job = doc.id();
    let mut left_out = Vec::new();
    let mut leave_out = |seq: u64, change: StoredChange, reason: &str| {
        let hash = crate::devices::hex(&change.hash);
        tracing::error!(%job, seq, hash, from = %change.from, reason, "a stored change is left out");
        left_out.push(change);
    };
    let mut sound = Vec::with_capacity(stored.len());
    for (seq, change) in stored {
        match guarded(|| guard::change(&change.bytes, None)) {
            Ok(Ok(vetted)) if vetted.hash().0 == change.hash => sound.push((seq, change, vetted)),
            Ok(Ok(_)) => leave_out(seq, change, "it is another change than was stored"),
            Ok(Err(refusal)) => leave_out(seq, change, &refusal.to_string()),
            Err(Panicked) => leave_out(seq, change, "it cannot be read"),
        }
    }
    let together = sound.iter().map(|(_, _, vetted)| vetted.clone()).collect();
    if guarded(|| doc.apply(together)).map_err(|Panicked| OpenError::Panicked)?.is_err() {
        for (seq, change, vetted) in sound {
            let taken = guarded(|| doc.apply(vec![vetted])).map_err(|Panicked| OpenError::Panicked)?;
            if let Err(error) = taken {
                leave_out(seq, change, &error.to_string());
            }
        }
    }
    Ok(left_out)
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use shared_model::ids::RoomId;
    use shared_model::job::{Edit, Order};

    use super::*;

    const JOB: JobId = JobId(Uuid::from_u128(1));

    fn named_rooms(doc: &JobDoc) -> BTreeSet<String> {
        doc.job().rooms.into_iter().map(|it| it.name).collect()
    }

    /// Edits that do not depend on each other: each of a phone of its own.
    fn rooms(names: &[&str]) -> Vec<NewChange> {
        let room = |name: &str| {
            let mut doc = JobDoc::new(JOB, *Uuid::new_v4().as_bytes(), DeviceId(Uuid::new_v4()));
            let (room, order) = (RoomId(Uuid::new_v4()), Order::between(None, None));
            let edit = Edit::AddRoom { room, name: name.to_owned(), level: 0, goods: None, order };
            doc.edit(&[edit], "test", Timestamp(0)).unwrap().unwrap()
        };
        names.iter().map(|it| room(it)).collect()
    }

    async fn store_with(folder: &std::path::Path, changes: &[NewChange]) -> Store {
        let store = Store::open(folder).unwrap();
        let mut document = OpenDocument::load(JOB, &store).unwrap();
        store.commit(document.number(changes, SERVER, Timestamp(1))).await.unwrap();
        store
    }

    #[tokio::test]
    async fn the_rest_opens_when_a_change_is_damaged_and_a_sound_copy_mends_it() {
        let folder = tempfile::tempdir().unwrap();
        let mut changes = rooms(&["Hall", "Den", "Bath"]);
        let sound = changes[1].clone();
        let middle = changes[1].bytes.len() / 2;
        changes[1].bytes[middle] ^= 1;
        let store = store_with(folder.path(), &changes).await;

        let mut document = OpenDocument::load(JOB, &store).unwrap();
        assert_eq!(named_rooms(&document.doc), BTreeSet::from(["Bath".to_owned(), "Hall".to_owned()]));
        assert!(!document.is_whole(), "no snapshot may be made of it");
        store.commit(document.number(&[sound], SERVER, Timestamp(2))).await.unwrap();
        let document = OpenDocument::load(JOB, &store).unwrap();
        assert_eq!(named_rooms(&document.doc).len(), 3);
        assert!(document.is_whole());
    }

    #[tokio::test]
    async fn a_damaged_snapshot_is_passed_over() {
        let folder = tempfile::tempdir().unwrap();
        let changes = rooms(&["Hall", "Den", "Bath"]);
        let store = store_with(folder.path(), &changes).await;
        let document = OpenDocument::load(JOB, &store).unwrap();
        let sound = document.doc.save();
        let mut damaged = sound.clone();
        let middle = damaged.len() / 2;
        damaged[middle] ^= 1;
        let snapshot = |seq, bytes| Write::Snapshot { job: JOB, seq, bytes };
        store.commit(vec![snapshot(1, sound), snapshot(2, damaged)]).await.unwrap();
        let document = OpenDocument::load(JOB, &store).unwrap();
        assert_eq!(named_rooms(&document.doc).len(), 3);
        assert_eq!(document.next_seq, 3);
    }

    #[tokio::test]
    async fn a_snapshot_is_kept_only_if_it_says_the_same() {
        let folder = tempfile::tempdir().unwrap();
        let store = store_with(folder.path(), &rooms(&["Hall", "Den"])).await;
        let document = OpenDocument::load(JOB, &store).unwrap();
        let (bytes, heads) = (document.doc.save(), heads_of(&document.doc));
        store_verified(&store, store.epoch(), JOB, 1, bytes.clone(), &[[0; 32]]);
        store.commit(Vec::new()).await.unwrap();
        assert_eq!(store.snapshots(JOB).unwrap(), []);
        store_verified(&store, store.epoch(), JOB, 1, bytes.clone(), &heads);
        store.commit(Vec::new()).await.unwrap();
        assert_eq!(store.snapshots(JOB).unwrap(), [(1, bytes)]);
    }
}
