//! Everything that was typed, on the phone: IndexedDB. The only file that touches the browser's storage.

use std::cell::Cell;
use std::collections::BTreeMap;
use std::fmt::Display;
use std::rc::Rc;

use idb::{Database, DatabaseEvent, Factory, KeyRange, ObjectStore, ObjectStoreParams, Transaction};
use js_sys::{Array, Function, Object, Reflect, Uint8Array};
use serde::{Deserialize, Serialize};
use shared_model::ids::JobId;
use shared_model::job::{PictureHash, Timestamp};
use shared_model::seal::Seals;
use wasm_bindgen::prelude::Closure;
use wasm_bindgen::{JsCast, JsValue};
use wasm_bindgen_futures::spawn_local;
use web_sys::{IdbDatabase, IdbTransaction};

use crate::kept::{Hash, SetApart, Waiting};
use crate::phone::Rest;
use crate::undo::Undo;

mod keys;
mod lanes;
mod pictures;
mod rests;

use keys::{hash_key, hash_of, key, name_of, number, pack, picture_key, unpack};
use lanes::Lane;

const NAME: &str = "napline";
/// 2: pictures and seals; 3: rests.
const VERSION: u32 = 3;
const STORES: [&str; 12] = [JOB, SNAPSHOT, CHANGE, WAITING, APART, UNDO, SETTING, MARKER, PICTURE, THERE, SEALS, REST];
/// By job: [`JobRecord`].
const JOB: &str = "job";
/// By job and time: [`Snapshot`]; the newest two.
const SNAPSHOT: &str = "snapshot";
/// By job, number and page: the bytes of one change. Numbers rise; two tabs never write the same key.
const CHANGE: &str = "change";
/// By job and hash: [`Waiting`].
const WAITING: &str = "waiting";
/// By job, number and page: [`SetApart`].
const APART: &str = "apart";
/// By job: [`Undo`].
const UNDO: &str = "undo";
/// By name.
const SETTING: &str = "setting";
/// By job: [`Marker`], while something runs that could break the tool.
const MARKER: &str = "marker";
/// By hash: a picture's file.
const PICTURE: &str = "picture";
/// By hash: which server said last that it has the picture.
const THERE: &str = "there";
/// By job: [`Seals`].
const SEALS: &str = "seals";
/// By job: [`Rest`].
const REST: &str = "rest";

const READ: &str = "readonly";
const READ_WRITE: &str = "readwrite";

/// A job in the phone's list, known before its document is read.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct JobRecord {
    pub job: JobId,
    pub name: String,
    pub changed: Timestamp,
    /// When the server and this phone last had the same.
    pub shared: Option<Timestamp>,
}

/// A verified document, with the keys of the single changes that it holds.
#[derive(Serialize, Deserialize)]
pub struct Snapshot {
    pub bytes: Vec<u8>,
    covers: Vec<ChangeKey>,
}

/// A single change's key below its job.
pub type ChangeKey = (f64, f64);

/// What was being done when the page last stopped, if it stopped in the middle of it.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub enum Marker {
    Opening,
    /// Opening step by step after a start that stopped.
    Step(Step),
    /// The step at which the last start stopped, taken once more.
    Again(Step),
}

/// One thing to read.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub enum Step {
    Snapshot(f64),
    Change(ChangeKey),
}

/// One job as it was stored.
#[derive(Default)]
pub struct StoredJob {
    /// Newest first.
    pub snapshots: Vec<(f64, Snapshot)>,
    pub changes: Vec<(ChangeKey, Vec<u8>)>,
    pub waiting: BTreeMap<Hash, Waiting>,
    pub apart: Vec<SetApart>,
    pub undo: Undo,
    pub seals: Seals,
}

/// One thing to store.
pub enum Write {
    Job(JobRecord),
    Change(JobId, Vec<u8>),
    Waiting(JobId, Hash, Waiting),
    Confirmed(JobId, Hash),
    Apart(JobId, SetApart),
    Undo(JobId, Undo),
    Seals(JobId, Seals),
    Rest(JobId, Rest),
    Setting(&'static str, Vec<u8>),
    Marker(JobId, Option<Marker>),
    /// Set apart: no longer part of the document.
    DropChange(JobId, ChangeKey),
    DropSnapshot(JobId, f64),
    /// Taken off this phone: everything but its line in the list.
    DropJob(JobId),
    /// Taken, or from a file: it may be nowhere else.
    Picture(PictureHash, Vec<u8>),
    /// From this server, which has it still: where there is no room for it, it is not kept.
    Fetched(PictureHash, Vec<u8>, [u8; 16]),
    /// The server that has it, as far as is known.
    There(PictureHash, Option<[u8; 16]>),
    DropPicture(PictureHash),
}

#[derive(thiserror::Error, Debug)]
pub enum StorageError {
    #[error("this browser keeps nothing for this page ({0}): leave private browsing, or free some space")]
    Refused(String),
    #[error("something stored on this phone does not read back: {0}")]
    Unreadable(String),
    #[error("a newer version of this page is open in another tab: reload this one")]
    Newer,
    #[error("an older version of this page is open in another tab: close that one")]
    Older,
}

impl StorageError {
    /// What the person is told as long as it lasts.
    pub fn told(&self) -> String {
        match self {
            Self::Newer | Self::Older => format!("Nothing new is stored: {self}."),
            Self::Refused(_) | Self::Unreadable(_) => format!("Nothing new is stored: {self}. Keep this page open."),
        }
    }
}

impl From<idb::Error> for StorageError {
    fn from(error: idb::Error) -> Self {
        Self::Refused(error.to_string())
    }
}

impl From<JsValue> for StorageError {
    fn from(error: JsValue) -> Self {
        Self::Refused(format!("{error:?}"))
    }
}

/// The phone's storage. Writes are queued in order and committed, flushed to the disk.
#[derive(Clone)]
pub struct Storage {
    db: Rc<IdbDatabase>,
    readings: Rc<Lane>,
    /// A picture for which there is no room must keep no reading from being stored.
    pictures: Rc<Lane>,
    /// A newer version of the page has taken over.
    closed: Rc<Cell<bool>>,
    /// Told when storing fails, and again (`None`) when it works.
    trouble: Rc<dyn Fn(Option<String>)>,
    page: f64,
    number: Rc<Cell<f64>>,
}

impl Storage {
    pub async fn open(trouble: impl Fn(Option<String>) + 'static) -> Result<Self, StorageError> {
        let mut request = Factory::new()?.open(NAME, Some(VERSION))?;
        request.on_upgrade_needed(|event| {
            // A store that is missing shows as an error of the first transaction.
            let Ok(db) = event.database() else { return };
            let kept = db.store_names();
            for name in STORES.into_iter().filter(|it| !kept.iter().any(|kept| kept == it)) {
                let _ = db.create_object_store(name, ObjectStoreParams::new());
            }
        });
        let trouble: Rc<dyn Fn(Option<String>)> = Rc::new(trouble);
        let waits = Rc::clone(&trouble);
        request.on_blocked(move |_| waits(Some(StorageError::Older.told())));
        let db: Database = request.await?;
        trouble(None);
        let storage = Self {
            db: Rc::new(db.into()),
            readings: Rc::new(Lane::together()),
            pictures: Rc::new(Lane::one_by_one()),
            closed: Rc::default(),
            trouble,
            page: (js_sys::Math::random() * 1e9).floor(),
            number: Rc::new(Cell::new(js_sys::Date::now())),
        };
        // A later version of this page in another tab waits for this one to let go.
        let closing = storage.clone();
        let close = Closure::once_into_js(move || spawn_local(closing.close()));
        storage.db.set_onversionchange(close.dyn_ref());
        Ok(storage)
    }

    fn put(&self, transaction: &Transaction, write: &Write) -> Result<(), StorageError> {
        let put = |store: &str, key: &JsValue, value: &Uint8Array| -> Result<(), StorageError> {
            transaction.object_store(store)?.put(value, Some(key))?;
            Ok(())
        };
        let delete = |store: &str, key: JsValue| -> Result<(), StorageError> {
            transaction.object_store(store)?.delete(key)?;
            Ok(())
        };
        if let Write::Change(job, _) | Write::Apart(job, _) | Write::DropChange(job, _) | Write::DropSnapshot(job, _) =
            write
        {
            // Whatever happens to its document, a job is at rest no more.
            delete(REST, name_of(*job))?;
        }
        match write {
            Write::Job(record) => put(JOB, &name_of(record.job), &pack(record)?),
            Write::Change(job, bytes) => put(CHANGE, &self.next_key(*job), &Uint8Array::from(bytes.as_slice())),
            Write::Waiting(job, hash, waiting) => put(WAITING, &hash_key(*job, hash), &pack(waiting)?),
            Write::Confirmed(job, hash) => delete(WAITING, hash_key(*job, hash)),
            Write::Apart(job, apart) => put(APART, &self.next_key(*job), &pack(apart)?),
            Write::Undo(job, undo) => {
                let json = serde_json::to_vec(undo).map_err(|it| StorageError::Unreadable(it.to_string()))?;
                put(UNDO, &name_of(*job), &Uint8Array::from(json.as_slice()))
            }
            Write::Seals(job, seals) => put(SEALS, &name_of(*job), &pack(seals)?),
            Write::Rest(job, rest) => put(REST, &name_of(*job), &pack(rest)?),
            Write::Setting(name, bytes) => put(SETTING, &JsValue::from_str(name), &Uint8Array::from(bytes.as_slice())),
            Write::Marker(job, Some(marker)) => put(MARKER, &name_of(*job), &pack(marker)?),
            Write::Marker(job, None) => delete(MARKER, name_of(*job)),
            Write::DropChange(job, (number, page)) => delete(CHANGE, key(*job, &[*number, *page])),
            Write::Picture(hash, bytes) => put(PICTURE, &picture_key(*hash), &Uint8Array::from(bytes.as_slice())),
            Write::Fetched(hash, bytes, server) => {
                put(PICTURE, &picture_key(*hash), &Uint8Array::from(bytes.as_slice()))?;
                put(THERE, &picture_key(*hash), &Uint8Array::from(server.as_slice()))
            }
            Write::There(hash, Some(server)) => put(THERE, &picture_key(*hash), &Uint8Array::from(server.as_slice())),
            Write::There(hash, None) => delete(THERE, picture_key(*hash)),
            Write::DropPicture(hash) => {
                delete(PICTURE, picture_key(*hash))?;
                delete(THERE, picture_key(*hash))
            }
            Write::DropSnapshot(job, at) => delete(SNAPSHOT, key(*job, &[*at])),
            Write::DropJob(job) => {
                for store in [SNAPSHOT, CHANGE, WAITING, APART] {
                    transaction.object_store(store)?.delete(range(*job)?)?;
                }
                for store in [SEALS, REST, UNDO] {
                    delete(store, name_of(*job))?;
                }
                delete(MARKER, name_of(*job))
            }
        }
    }

    pub async fn jobs(&self) -> Result<Vec<JobRecord>, StorageError> {
        let transaction = self.transaction(READ)?;
        let store = transaction.object_store(JOB)?;
        let (keys, lines) = (store.get_all_keys(None, None)?, store.get_all(None, None)?);
        let all = keys.await?.into_iter().zip(lines.await?).filter_map(|(key, line)| {
            // A line that does not read must not hide its job, nor the others.
            let unnamed = |job| JobRecord { job, name: String::new(), changed: Timestamp(0), shared: None };
            unpack(&line).ok().or_else(|| key.as_string()?.parse().ok().map(unnamed))
        });
        Ok(all.collect())
    }

    pub async fn setting(&self, name: &str) -> Result<Option<Vec<u8>>, StorageError> {
        let transaction = self.transaction(READ)?;
        let found = transaction.object_store(SETTING)?.get(JsValue::from_str(name))?.await?;
        Ok(found.map(|it| Uint8Array::new(&it).to_vec()))
    }

    pub async fn marker(&self, job: JobId) -> Result<Option<Marker>, StorageError> {
        let transaction = self.transaction(READ)?;
        let found = transaction.object_store(MARKER)?.get(name_of(job))?.await?;
        // A mark of another version still says that a start stopped.
        Ok(found.map(|it| unpack(&it).unwrap_or(Marker::Opening)))
    }

    pub async fn job(&self, job: JobId) -> Result<StoredJob, StorageError> {
        let transaction = self.transaction(READ)?;
        let mut stored = StoredJob::default();
        for (parts, value) in entries(&transaction.object_store(SNAPSHOT)?, job).await? {
            // A snapshot that does not read back is passed over: an older one and the single changes remain.
            stored.snapshots.extend(unpack(&value).ok().map(|it| (number(&parts, 1), it)));
        }
        stored.snapshots.reverse();
        for (parts, value) in entries(&transaction.object_store(CHANGE)?, job).await? {
            stored.changes.push(((number(&parts, 1), number(&parts, 2)), Uint8Array::new(&value).to_vec()));
        }
        for (parts, value) in entries(&transaction.object_store(WAITING)?, job).await? {
            if let (Some(hash), Ok(waiting)) = (hash_of(&parts), unpack(&value)) {
                stored.waiting.insert(hash, waiting);
            }
        }
        for (_, value) in entries(&transaction.object_store(APART)?, job).await? {
            stored.apart.extend(unpack::<SetApart>(&value).ok());
        }
        let undo = transaction.object_store(UNDO)?.get(name_of(job))?.await?;
        // An undo list of another version is dropped: it is a convenience, the readings are not in it.
        stored.undo =
            undo.and_then(|it| serde_json::from_slice(&Uint8Array::new(&it).to_vec()).ok()).unwrap_or_default();
        let seals = transaction.object_store(SEALS)?.get(name_of(job))?.await?;
        stored.seals = seals.and_then(|it| unpack(&it).ok()).unwrap_or_default();
        Ok(stored)
    }

    /// Keeps a verified snapshot and the one before it, and deletes the single changes that both hold. `fold` gets what is
    /// stored, and gives the snapshot with the keys of the single changes that it holds.
    pub async fn fold<E: Display>(
        &self,
        job: JobId,
        fold: impl FnOnce(&StoredJob) -> Result<(Vec<u8>, Vec<ChangeKey>), E>,
    ) -> Result<(), StorageError> {
        if !self.settle().await {
            return Err(StorageError::Refused("earlier entries are not stored yet".to_owned()));
        }
        let stored = self.job(job).await?;
        let (bytes, covers) = fold(&stored).map_err(|it| StorageError::Unreadable(it.to_string()))?;
        let transaction = self.transaction(READ_WRITE)?;
        let (changes, snapshots) = (transaction.object_store(CHANGE)?, transaction.object_store(SNAPSHOT)?);
        if let Some((_, before)) = stored.snapshots.first() {
            // Another tab may have written the one before, from changes that this page has not heard of.
            for (number, page) in before.covers.iter().filter(|it| covers.contains(it)) {
                changes.delete(key(job, &[*number, *page]))?;
            }
        }
        for (at, _) in stored.snapshots.iter().skip(1) {
            snapshots.delete(key(job, &[*at]))?;
        }
        transaction.object_store(REST)?.delete(name_of(job))?;
        let snapshot = pack(&Snapshot { bytes, covers })?;
        snapshots.put(&snapshot, Some(&key(job, &[self.next_number()])))?;
        finish(transaction).await
    }

    /// Strict: a commit is on the disk, not in a cache that a dead battery empties. The option is called by name because
    /// the bindings have it behind a compiler flag only.
    fn transaction(&self, mode: &str) -> Result<Transaction, StorageError> {
        if self.closed.get() {
            return Err(StorageError::Newer);
        }
        let names: Array = STORES.iter().map(|it| JsValue::from_str(it)).collect();
        let options = Object::new();
        Reflect::set(&options, &"durability".into(), &"strict".into())?;
        let begin: Function = Reflect::get(&self.db, &"transaction".into())?.dyn_into()?;
        let transaction: IdbTransaction = begin.call3(&self.db, &names, &mode.into(), &options)?.dyn_into()?;
        Ok(transaction.into())
    }

    fn next_number(&self) -> f64 {
        self.number.set(js_sys::Date::now().max(self.number.get() + 0.001));
        self.number.get()
    }

    fn next_key(&self, job: JobId) -> JsValue {
        key(job, &[self.next_number(), self.page])
    }
}

async fn finish(transaction: Transaction) -> Result<(), StorageError> {
    if transaction.await?.is_committed() { Ok(()) } else { Err(StorageError::Refused("aborted".to_owned())) }
}

/// Every entry of one job, in the order of its keys.
async fn entries(store: &ObjectStore, job: JobId) -> Result<Vec<(Array, JsValue)>, StorageError> {
    let keys = store.get_all_keys(Some(range(job)?.into()), None)?;
    let values = store.get_all(Some(range(job)?.into()), None)?;
    let (keys, values) = (keys.await?, values.await?);
    Ok(keys.into_iter().map(JsCast::unchecked_into).zip(values).collect())
}

/// The keys of one job's entries.
fn range(job: JobId) -> Result<KeyRange, StorageError> {
    // Arrays compare part by part, and a list comes after every number and text.
    let last = Array::of2(&name_of(job), &Array::new());
    Ok(KeyRange::bound(&Array::of1(&name_of(job)), &last, None, None)?)
}
