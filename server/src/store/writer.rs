//! The one thread that writes.

use std::sync::atomic::Ordering;
use std::sync::{Arc, PoisonError, mpsc};
use std::time::{Duration, Instant};

use redb::{Database, ReadableTable, WriteTransaction};

use super::tables::{ACTORS, ARCHIVED, CHANGES, DEVICES, HASHES, MARKS, NAMES, NOTES, SNAPSHOTS};
use super::{StoreError, StoreFile, StoredChange, Write, open_file};

/// Most batches in one commit: bounds how long the first of them waits.
const MOST_BATCHES: usize = 1_000;

/// So much time lies between two flushes at least: each costs more than all that is in it, and the others on a job have what is new
/// in it meanwhile.
const GATHER: Duration = Duration::from_millis(10);

/// Snapshots kept of a job: the newest, and the one before it in case the newest is damaged.
const SNAPSHOTS_KEPT: usize = 2;

/// After a failed write, the next one is tried no sooner.
const PAUSE_AFTER_FAILURE: Duration = Duration::from_secs(1);

pub struct Batch {
    pub epoch: u64,
    pub writes: Vec<Write>,
    pub then: Box<dyn FnOnce(Result<(), Arc<StoreError>>) + Send>,
}

/// Commits batches until the queue is closed and empty.
pub fn run(file: &StoreFile, batches: &mpsc::Receiver<Batch>) {
    let mut flushed: Option<Instant> = None;
    while let Ok(first) = batches.recv() {
        let mut group = vec![first];
        group.extend(batches.try_iter().take(MOST_BATCHES - 1));
        let news = group.iter().any(|it| !it.writes.is_empty());
        if let Some(before) = flushed.filter(|_| news) {
            std::thread::sleep(GATHER.saturating_sub(before.elapsed()));
            group.extend(batches.try_iter().take(MOST_BATCHES - group.len()));
        }
        let epoch = file.epoch.load(Ordering::Acquire);
        let (current, stale): (Vec<_>, Vec<_>) = group.into_iter().partition(|it| it.epoch == epoch);
        answer(stale, &Err(Arc::new(StoreError::Write("an earlier change of the job could not be stored".into()))));

        let outcome = commit_or_reopen(file, &current).map_err(|error| Arc::new(StoreError::Write(error)));
        flushed = if news { Some(Instant::now()) } else { flushed };
        let failed = outcome.is_err();
        answer(current, &outcome);
        if failed {
            std::thread::sleep(PAUSE_AFTER_FAILURE);
        }
    }
}

/// After a commit that failed, what is stored can be read again.
fn commit_or_reopen(file: &StoreFile, batches: &[Batch]) -> Result<(), String> {
    let _writing = file.writing.lock().unwrap_or_else(PoisonError::into_inner);
    commit(file, batches).inspect_err(|error| {
        tracing::error!(%error, "nothing new is stored until this is mended; what is stored can still be read");
        file.epoch.fetch_add(1, Ordering::AcqRel);
        reopen(file);
    })
}

fn answer(batches: Vec<Batch>, outcome: &Result<(), Arc<StoreError>>) {
    for batch in batches {
        (batch.then)(outcome.clone());
    }
}

fn commit(file: &StoreFile, batches: &[Batch]) -> Result<(), String> {
    if batches.iter().all(|it| it.writes.is_empty()) {
        return Ok(());
    }
    let database = file.database.read().unwrap_or_else(PoisonError::into_inner);
    let Some(database) = &*database else { return Err("the file could not be opened again".into()) };
    let group = || -> Result<(), redb::Error> {
        let transaction = database.begin_write()?;
        for write in batches.iter().flat_map(|it| &it.writes) {
            apply(&transaction, write)?;
        }
        transaction.commit()?;
        Ok(())
    };
    group().map_err(|error| error.to_string())
}

fn apply(transaction: &WriteTransaction, write: &Write) -> Result<(), redb::Error> {
    match write {
        Write::Change { job, seq, change } => store_change(transaction, job.0.as_u128(), *seq, change)?,
        Write::Snapshot { job, seq, bytes } => {
            let job = job.0.as_u128();
            let mut snapshots = transaction.open_table(SNAPSHOTS)?;
            snapshots.insert((job, *seq), bytes.as_slice())?;
            let kept: Result<Vec<u64>, redb::Error> =
                snapshots.range((job, 0)..=(job, u64::MAX))?.rev().map(|row| Ok(row?.0.value().1)).collect();
            for old in kept?.into_iter().skip(SNAPSHOTS_KEPT) {
                snapshots.remove((job, old))?;
            }
        }
        Write::Listed { job, name, archived } => {
            transaction.open_table(NAMES)?.insert(job.0.as_u128(), name.as_str())?;
            let mut put_away = transaction.open_table(ARCHIVED)?;
            if *archived {
                put_away.insert(job.0.as_u128(), ())?;
            } else {
                put_away.remove(job.0.as_u128())?;
            }
        }
        Write::Mark { job, mark } => {
            let mut marks = transaction.open_table(MARKS)?;
            match mark {
                Some(mark) => marks.insert(job.0.as_u128(), mark.0)?,
                None => marks.remove(job.0.as_u128())?,
            };
        }
        Write::Actor { actor, device } => {
            let mut actors = transaction.open_table(ACTORS)?;
            if actors.get(actor)?.is_none() {
                actors.insert(actor, device.0.as_u128())?;
            }
        }
        Write::Device(device) => {
            let record = serde_json::to_vec(device).map_err(|error| redb::Error::Corrupted(error.to_string()))?;
            transaction.open_table(DEVICES)?.insert(device.id.0.as_u128(), record.as_slice())?;
        }
        Write::Note(note) => {
            let record = serde_json::to_vec(note).map_err(|error| redb::Error::Corrupted(error.to_string()))?;
            let mut notes = transaction.open_table(NOTES)?;
            let next = notes.last()?.map_or(0, |(number, _)| number.value() + 1);
            notes.insert(next, record.as_slice())?;
        }
    }
    Ok(())
}

fn store_change(transaction: &WriteTransaction, job: u128, seq: u64, change: &StoredChange) -> Result<(), redb::Error> {
    let mut changes = transaction.open_table(CHANGES)?;
    let mut hashes = transaction.open_table(HASHES)?;
    let known = hashes.get((job, &change.hash))?.map(|it| it.value());
    if let Some(known) = known {
        if changes.get((job, known))?.is_some_and(|it| it.value().3 == change.bytes) {
            return Ok(());
        }
        // The stored copy is damaged. The sound one comes in as new, after all snapshots that were made without it.
        changes.remove((job, known))?;
    }
    hashes.insert((job, &change.hash), seq)?;
    let from = change.from.0.as_u128();
    changes.insert((job, seq), (&change.hash, from, change.received.0, change.bytes.as_slice()))?;
    Ok(())
}

/// Waits for a commit under way, and opens the file if it could not be opened after one that failed.
pub fn open_if_closed(file: &StoreFile) {
    let _writing = file.writing.lock().unwrap_or_else(PoisonError::into_inner);
    let closed = file.database.read().unwrap_or_else(PoisonError::into_inner).is_none();
    if closed {
        reopen(file);
    }
}

/// After a failed write the file refuses everything, reads too, until it is opened anew.
fn reopen(file: &StoreFile) {
    let mut database = file.database.write().unwrap_or_else(PoisonError::into_inner);
    if let Some(Err(error)) = database.take().map(Database::close) {
        tracing::debug!(%error, "closing the store after a failed write");
    }
    match open_file(&file.path) {
        Ok(opened) => *database = Some(opened),
        Err(error) => tracing::error!(%error, "the store cannot be read either"),
    }
}
