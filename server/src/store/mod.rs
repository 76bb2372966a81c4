//! Everything the server keeps, in one crash-safe file. The only folder that names the embedded store.
//!
//! Reads happen where they are asked for. Writes go through one thread, which commits whatever has arrived while it was
//! busy with the commit before, and shortly after it: a lone change is on disk after one flush, a burst shares flushes.

mod read;
mod tables;
mod writer;

use std::collections::HashMap;
use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError, RwLock, mpsc};
use std::thread::JoinHandle;

pub use read::Moment;
use redb::{Database, DatabaseError};
use shared_model::ids::{DeviceId, JobId};
use shared_model::job::Timestamp;
use shared_model::wire::{Mark, Role};

use crate::put;

/// The store's file in the data folder.
pub const FILE: &str = "napline.redb";

/// Bytes of the magic number with which the file starts, of its first page, and of a file without other pages at most.
const MAGIC: usize = 9;
const FIRST_PAGE: usize = 4_096;
const MOST_UNFINISHED: u64 = 1 << 20;

/// Pages kept in memory. The jobs in use are in memory anyway.
const CACHE_BYTES: usize = 4 << 20;

/// A phone, tablet or laptop that was paired.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Device {
    pub id: DeviceId,
    /// Who uses it.
    pub person: String,
    /// What it is.
    pub name: String,
    /// SHA-256 of its token; the token itself is only on the device.
    pub token: [u8; 32],
    pub paired: Timestamp,
    /// Whoever was paired before there were roles could do everything.
    #[serde(default = "owner")]
    pub role: Role,
    /// Since when it is not let in any more.
    #[serde(default)]
    pub revoked: Option<Timestamp>,
    /// Counts decisions about it: of two servers' records, the one with more is right.
    #[serde(default)]
    pub edition: u64,
}

impl Device {
    /// Whether another server's record of the same device is to be taken instead of this one. Both servers answer alike. Who
    /// was shut out at one stays out, whatever the other decided meanwhile; otherwise more decisions are newer than fewer,
    /// and of as many the stricter hold.
    pub fn gives_way_to(&self, other: &Self) -> bool {
        let rank =
            |it: &Self| (it.revoked.is_some(), it.edition, std::cmp::Reverse(it.role), it.revoked, it.token, it.paired);
        rank(self) < rank(other)
    }
}

fn owner() -> Role {
    Role::Owner
}

/// A line of the list of who came and went.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Note {
    pub at: Timestamp,
    /// The device that did it; `None` is the person at the server's computer.
    pub by: Option<DeviceId>,
    pub device: DeviceId,
    pub what: Happened,
}

#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Happened {
    Joined(Role),
    GivenRole(Role),
    Revoked,
}

/// One step of a batch; a batch is stored as a whole or not at all.
#[derive(Debug)]
pub enum Write {
    /// A change of a job's document, unless it is stored already. `seq` counts up per job.
    Change {
        job: JobId,
        seq: u64,
        change: StoredChange,
    },
    /// The document as it was after all changes up to and including `seq`.
    Snapshot {
        job: JobId,
        seq: u64,
        bytes: Vec<u8>,
    },
    Listed {
        job: JobId,
        name: String,
        archived: bool,
    },
    /// With each of its changes: what the store has of the job then.
    Mark {
        job: JobId,
        mark: Option<Mark>,
    },
    /// Registers an actor, unless it is registered already.
    Actor {
        actor: [u8; 16],
        device: DeviceId,
    },
    Device(Device),
    /// Adds a line to the list of who came and went.
    Note(Note),
}

#[derive(Clone, Debug, PartialEq)]
pub struct StoredChange {
    pub hash: [u8; 32],
    /// The device that brought it; the author stands in the document.
    pub from: DeviceId,
    pub received: Timestamp,
    pub bytes: Vec<u8>,
}

#[derive(thiserror::Error, Debug)]
pub enum StoreError {
    #[error("another napline is using {0}: stop it first, or choose another folder with --data")]
    InUse(PathBuf),
    #[error(
        "{path} was written by a newer napline (its layout is {found}, this version knows {known}): update this one"
    )]
    Newer { path: PathBuf, found: u64, known: u64 },
    #[error("cannot open {path}: {reason}")]
    Unusable { path: PathBuf, reason: String },
    /// Nothing of the batch was stored.
    #[error("cannot write to the disk: {0}")]
    Write(String),
    #[error("cannot read from the disk: {0}")]
    Read(String),
}

impl StoreError {
    fn unusable(path: &Path, reason: &impl ToString) -> Self {
        Self::Unusable { path: path.to_owned(), reason: reason.to_string() }
    }
}

/// The open store. Cheap to share by reference; [`Store::close`] flushes and releases the file.
pub struct Store {
    file: Arc<StoreFile>,
    queue: Mutex<Option<mpsc::Sender<writer::Batch>>>,
    thread: Mutex<Option<JoinHandle<()>>>,
    replica: [u8; 16],
    /// Actors seen since the start, over those in the table.
    actors: Mutex<HashMap<[u8; 16], DeviceId>>,
}

/// The file, and how often it had to be opened anew.
struct StoreFile {
    path: PathBuf,
    /// `None` while it could not be opened again after a failed write.
    database: RwLock<Option<Database>>,
    /// Held from before a commit until the file can be read again, should the commit fail.
    writing: Mutex<()>,
    epoch: AtomicU64,
}

impl Store {
    /// Whether there is a store in `folder`.
    pub fn exists(folder: &Path) -> bool {
        folder.join(FILE).exists()
    }

    /// Opens the store in `folder`, making both when they do not exist.
    pub fn open(folder: &Path) -> Result<Self, StoreError> {
        let path = folder.join(FILE);
        put::make_folder(folder).map_err(|error| StoreError::unusable(&path, &error))?;
        let database = match open_file(&path) {
            Err(StoreError::Unusable { .. }) if put_aside_if_unfinished(&path).is_ok_and(|it| it) => open_file(&path),
            opened => opened,
        }?;
        put::sync_folder_of(&path).map_err(|error| StoreError::unusable(&path, &error))?;
        Self::of(database, path)
    }

    fn of(database: Database, path: PathBuf) -> Result<Self, StoreError> {
        let meta = tables::prepare(&database).map_err(|error| StoreError::unusable(&path, &error))?;
        if meta.layout > tables::LAYOUT {
            return Err(StoreError::Newer { path, found: meta.layout, known: tables::LAYOUT });
        }
        let database = RwLock::new(Some(database));
        let file = Arc::new(StoreFile { path, database, writing: Mutex::default(), epoch: AtomicU64::new(0) });
        let (queue, batches) = mpsc::channel();
        let writing = Arc::clone(&file);
        let thread = std::thread::Builder::new()
            .name("store".into())
            .spawn(move || writer::run(&writing, &batches))
            .map_err(|error| StoreError::Write(error.to_string()))?;
        Ok(Self {
            file,
            queue: Mutex::new(Some(queue)),
            thread: Mutex::new(Some(thread)),
            replica: meta.replica,
            actors: Mutex::default(),
        })
    }

    pub fn replica(&self) -> [u8; 16] {
        self.replica
    }

    /// Counts failed writes. What was read or queued in an earlier epoch may rest on changes that never reached the disk.
    pub fn epoch(&self) -> u64 {
        self.file.epoch.load(Ordering::Acquire)
    }

    /// Queues a batch; `then` runs on the store's thread after the commit, in the order of submission. An empty batch is
    /// a barrier: it succeeds when everything queued before it is on disk. A batch of an earlier epoch fails.
    pub fn submit(
        &self,
        epoch: u64,
        writes: Vec<Write>,
        then: impl FnOnce(Result<(), Arc<StoreError>>) + Send + 'static,
    ) {
        let batch = writer::Batch { epoch, writes, then: Box::new(then) };
        let queue = self.queue.lock().unwrap_or_else(PoisonError::into_inner);
        let refused = match &*queue {
            Some(open) => open.send(batch).err().map(|mpsc::SendError(batch)| batch),
            None => Some(batch),
        };
        drop(queue);
        if let Some(batch) = refused {
            (batch.then)(Err(Arc::new(StoreError::Write("the server is stopping".into()))));
        }
    }

    /// Stores a batch and waits for it.
    pub async fn commit(&self, writes: Vec<Write>) -> Result<(), Arc<StoreError>> {
        let (done, answer) = tokio::sync::oneshot::channel();
        self.submit(self.epoch(), writes, move |result| {
            // The asker may have gone away; its batch is stored all the same.
            let _ = done.send(result);
        });
        answer.await.unwrap_or_else(|_| Err(Arc::new(StoreError::Write("the store's thread has ended".into()))))
    }

    /// Whose an actor is: the device's that first used it, which is this one if nobody did before.
    pub fn claim(&self, actor: [u8; 16], device: DeviceId) -> Result<DeviceId, StoreError> {
        let mut actors = self.actors.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(&owner) = actors.get(&actor) {
            return Ok(owner);
        }
        let owner = self.read_actor(&actor)?.unwrap_or(device);
        actors.insert(actor, owner);
        Ok(owner)
    }

    /// The device that first used an actor.
    pub fn owner(&self, actor: [u8; 16]) -> Result<Option<DeviceId>, StoreError> {
        let known = self.actors.lock().unwrap_or_else(PoisonError::into_inner).get(&actor).copied();
        known.map_or_else(|| self.read_actor(&actor), |it| Ok(Some(it)))
    }

    /// Commits what is queued and closes the file.
    pub fn close(&self) {
        drop(self.queue.lock().unwrap_or_else(PoisonError::into_inner).take());
        let thread = self.thread.lock().unwrap_or_else(PoisonError::into_inner).take();
        if thread.is_some_and(|it| it.join().is_err()) {
            tracing::error!("the store's thread had failed");
        }
        let database = self.file.database.write().unwrap_or_else(PoisonError::into_inner).take();
        if let Some(Err(error)) = database.map(Database::close) {
            tracing::error!(%error, "closing the store");
        }
    }
}

fn open_file(path: &Path) -> Result<Database, StoreError> {
    builder().create(path).map_err(|error| match error {
        DatabaseError::DatabaseAlreadyOpen => StoreError::InUse(path.to_owned()),
        other => StoreError::unusable(path, &other),
    })
}

fn builder() -> redb::Builder {
    let mut builder = Database::builder();
    builder.set_cache_size(CACHE_BYTES);
    builder
}

/// Puts a file aside whose making was cut off; answers whether it did. One who makes it just now holds the lock.
fn put_aside_if_unfinished(path: &Path) -> io::Result<bool> {
    let mut file = File::options().read(true).write(true).open(path)?;
    if file.try_lock().is_err() || file.metadata()?.len() > MOST_UNFINISHED {
        return Ok(false);
    }
    let mut bytes = Vec::new();
    file.read_to_end(&mut bytes)?;
    let aside = path.with_extension("unfinished");
    if !is_unfinished(&bytes) || aside.exists() {
        return Ok(false);
    }
    tracing::warn!(path = %path.display(), aside = %aside.display(), "a store whose making was cut off is made anew");
    std::fs::rename(path, &aside).map(|()| true)
}

/// Whether the making of a store was cut off: its magic number is written when the rest of its first page is on the disk, and
/// other pages after that. (redb 4.6, `page_manager.rs`)
fn is_unfinished(bytes: &[u8]) -> bool {
    let (first, rest) = bytes.split_at(bytes.len().min(FIRST_PAGE));
    first.iter().take(MAGIC).chain(rest).all(|it| *it == 0)
}

#[cfg(test)]
mod power;
#[cfg(test)]
mod tests;
