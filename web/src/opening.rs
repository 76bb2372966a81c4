//! The guarded start of a job. A change that breaks the tool would break it at every start, because a panic ends the page. So
//! a mark is stored before a job is read and taken off afterwards; a mark that is found means that the last start broke.
//! Then the job is opened step by step, each step marked, and the step that broke is set apart.

use gloo_timers::future::TimeoutFuture;
use shared_model::guard;
use shared_model::ids::{DeviceId, JobId};
use shared_model::job::Timestamp;

use crate::kept::{Kept, SetApart, without_apart};
use crate::offline::{Marker, Storage, StorageError, StoredJob, Write};
use crate::undo::Undo;

/// Another tab may be reading the same job at this moment; it is done by then. Milliseconds.
const ANOTHER_TAB: u32 = 1_500;

pub struct Opened {
    pub kept: Kept,
    pub undo: Undo,
    pub apart: Vec<SetApart>,
    /// What the person must know about it.
    pub said: Option<String>,
}

/// Reads a job from storage, so that nothing stored can keep the tool from starting.
pub async fn open(
    storage: &Storage,
    job: JobId,
    actor: impl Fn() -> [u8; 16],
    author: DeviceId,
) -> Result<Opened, StorageError> {
    let found = match storage.marker(job).await? {
        Some(_) => {
            TimeoutFuture::new(ANOTHER_TAB).await;
            storage.marker(job).await?
        }
        None => None,
    };
    let mut stored = storage.job(job).await?;
    let (undo, waiting) = (std::mem::take(&mut stored.undo), std::mem::take(&mut stored.waiting));
    let mut apart = std::mem::take(&mut stored.apart);
    stored.changes = without_apart(stored.changes, &apart);
    let (mut kept, new) = if found.is_some() {
        step_by_step(storage, job, &actor, author, stored, found).await?
    } else {
        mark(storage, job, Some(Marker::Opening)).await;
        at_once(job, &actor, author, stored)
    };
    let said = (!new.is_empty()).then(|| {
        "A stored edit could not be read and was set apart; everything else is here. The sync sheet lists it."
            .to_owned()
    });
    storage.write(new.iter().map(|it| Write::Apart(job, it.clone())));
    mark(storage, job, None).await;
    apart.extend(new);
    kept.restore_waiting(waiting);
    Ok(Opened { kept, undo, apart, said })
}

/// The usual way: the newest snapshot that reads, then every single change together.
fn at_once(job: JobId, actor: &impl Fn() -> [u8; 16], author: DeviceId, stored: StoredJob) -> (Kept, Vec<SetApart>) {
    let mut apart = Vec::new();
    let mut kept = None;
    for (_, snapshot) in stored.snapshots {
        match Kept::load(job, Some(&snapshot.bytes), actor(), author) {
            Ok(loaded) => {
                kept = Some(loaded);
                break;
            }
            Err(error) => apart.push(set_apart("snapshot", error.to_string(), snapshot.bytes)),
        }
    }
    let mut kept = kept.unwrap_or_else(|| Kept::new(job, actor(), author));
    let changes = stored.changes.into_iter().map(|(_, bytes)| bytes).collect();
    apart.extend(kept.restore(changes).err().unwrap_or_default());
    // Reading it is part of what could break.
    let _ = kept.job();
    (kept, apart)
}

/// After a start that broke: every step is marked before it is taken, and the marked one is set apart.
async fn step_by_step(
    storage: &Storage,
    job: JobId,
    actor: &impl Fn() -> [u8; 16],
    author: DeviceId,
    stored: StoredJob,
    broke: Option<Marker>,
) -> Result<(Kept, Vec<SetApart>), StorageError> {
    let why = || "the tool stopped while reading it".to_owned();
    let mut apart = Vec::new();
    let mut kept = None;
    for (at, snapshot) in stored.snapshots {
        if broke == Some(Marker::Snapshot(at)) {
            storage.write([Write::DropSnapshot(job, at)]);
            apart.push(set_apart("snapshot", why(), snapshot.bytes));
            continue;
        }
        mark(storage, job, Some(Marker::Snapshot(at))).await;
        if let Ok(loaded) = Kept::load(job, Some(&snapshot.bytes), actor(), author) {
            let _ = loaded.job();
            kept = Some(loaded);
            break;
        }
    }
    let mut kept = kept.unwrap_or_else(|| Kept::new(job, actor(), author));
    for (key, bytes) in stored.changes {
        if broke == Some(Marker::Change(key)) {
            storage.write([Write::DropChange(job, key)]);
            apart.push(set_apart(&message(&bytes), why(), bytes));
            continue;
        }
        if kept.has(&bytes) {
            continue;
        }
        mark(storage, job, Some(Marker::Change(key))).await;
        apart.extend(kept.restore(vec![bytes]).err().unwrap_or_default());
        let _ = kept.job();
    }
    Ok((kept, apart))
}

/// Stored before anything else happens.
async fn mark(storage: &Storage, job: JobId, marker: Option<Marker>) {
    storage.write([Write::Marker(job, marker)]);
    storage.settle().await;
}

fn message(bytes: &[u8]) -> String {
    let hash = guard::change(bytes, None).map(|it| it.hash().to_string());
    hash.map_or_else(|_| "unreadable change".to_owned(), |it| format!("change {}", it.get(..8).unwrap_or(&it)))
}

fn set_apart(said: &str, reason: String, bytes: Vec<u8>) -> SetApart {
    SetApart { at: Timestamp((js_sys::Date::now() / 1_000.0) as i64), said: said.to_owned(), reason, bytes }
}
