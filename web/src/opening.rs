//! The guarded start of a job. A change that breaks the tool would break it at every start, because a panic ends the page. So
//! a mark is stored before a job is read and taken off afterwards; a mark that is found means that the last start broke.
//! Then the job is opened step by step, each step marked, and a step that stopped two starts is set apart: once may be a page
//! that somebody closed, or a browser that ended it, while it was reading something sound.

use gloo_timers::future::TimeoutFuture;
use shared_model::guard;
use shared_model::ids::{DeviceId, JobId};
use shared_model::job::Timestamp;

use crate::kept::{Kept, SetApart, without_apart};
use crate::offline::{Marker, Step, Storage, StorageError, StoredJob, Write};
use crate::undo::Undo;

/// Another tab that reads the same job at this moment is done by then, or a step further. Milliseconds.
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
    let found = left_behind(storage, job).await?;
    let mut stored = storage.job(job).await?;
    let (undo, waiting) = (std::mem::take(&mut stored.undo), std::mem::take(&mut stored.waiting));
    let seals = std::mem::take(&mut stored.seals);
    let mut apart = std::mem::take(&mut stored.apart);
    stored.changes = without_apart(stored.changes, &apart);
    stored.snapshots.retain(|(_, it)| apart.iter().all(|set| set.bytes != it.bytes));
    let (mut kept, new) = if let Some(found) = found {
        step_by_step(storage, job, &actor, author, stored, found).await
    } else {
        mark(storage, job, Some(Marker::Opening)).await;
        let (kept, new) = at_once(job, &actor, author, stored);
        storage.write(new.iter().map(|it| Write::Apart(job, it.clone())));
        (kept, new)
    };
    let said = (!new.is_empty()).then(|| {
        "A stored edit could not be read and was set apart; everything else is here. The sync sheet lists it."
            .to_owned()
    });
    mark(storage, job, None).await;
    apart.extend(new);
    kept.restore_waiting(waiting);
    kept.restore_seals(seals);
    Ok(Opened { kept, undo, apart, said })
}

/// The mark of a start that stopped. A mark that moves is another tab's, which is reading the job at this moment.
async fn left_behind(storage: &Storage, job: JobId) -> Result<Option<Marker>, StorageError> {
    let mut found = storage.marker(job).await?;
    while found.is_some() {
        TimeoutFuture::new(ANOTHER_TAB).await;
        let later = storage.marker(job).await?;
        if later == found {
            break;
        }
        found = later;
    }
    Ok(found)
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

/// After a start that stopped: every step is marked before it is taken, and one that stopped two starts is set apart.
async fn step_by_step(
    storage: &Storage,
    job: JobId,
    actor: &impl Fn() -> [u8; 16],
    author: DeviceId,
    stored: StoredJob,
    found: Marker,
) -> (Kept, Vec<SetApart>) {
    let why = || "the tool stopped while reading it".to_owned();
    let mut apart = Vec::new();
    // In one write with what takes it away: the page may stop at any later step.
    let mut set = |it: SetApart, away: Option<Write>| {
        storage.write(away.into_iter().chain([Write::Apart(job, it.clone())]));
        apart.push(it);
    };
    let mut kept = None;
    for (at, snapshot) in stored.snapshots {
        let Some(marker) = mark_for(Step::Snapshot(at), found) else {
            set(set_apart("snapshot", why(), snapshot.bytes), Some(Write::DropSnapshot(job, at)));
            continue;
        };
        mark(storage, job, Some(marker)).await;
        if let Ok(loaded) = Kept::load(job, Some(&snapshot.bytes), actor(), author) {
            let _ = loaded.job();
            kept = Some(loaded);
            break;
        }
    }
    let mut kept = kept.unwrap_or_else(|| Kept::new(job, actor(), author));
    for (key, bytes) in stored.changes {
        let Some(marker) = mark_for(Step::Change(key), found) else {
            set(set_apart(&message(&bytes), why(), bytes), Some(Write::DropChange(job, key)));
            continue;
        };
        if kept.has(&bytes) {
            continue;
        }
        mark(storage, job, Some(marker)).await;
        kept.restore(vec![bytes]).err().into_iter().flatten().for_each(|it| set(it, None));
        let _ = kept.job();
    }
    (kept, apart)
}

/// The mark for a step after a start that left the mark `found`; `None` when this step has stopped two starts.
fn mark_for(step: Step, found: Marker) -> Option<Marker> {
    match found {
        Marker::Again(stopped) if stopped == step => None,
        Marker::Step(stopped) if stopped == step => Some(Marker::Again(step)),
        _ => Some(Marker::Step(step)),
    }
}

/// Stored before anything else happens.
async fn mark(storage: &Storage, job: JobId, marker: Option<Marker>) {
    storage.write([Write::Marker(job, marker)]);
    // On a phone that is full the job is read without a mark: better than not at all.
    storage.settle().await;
}

fn message(bytes: &[u8]) -> String {
    let hash = guard::change(bytes, None).map(|it| it.hash().to_string());
    hash.map_or_else(|_| "unreadable change".to_owned(), |it| format!("change {}", it.get(..8).unwrap_or(&it)))
}

fn set_apart(said: &str, reason: String, bytes: Vec<u8>) -> SetApart {
    SetApart { at: Timestamp((js_sys::Date::now() / 1_000.0) as i64), said: said.to_owned(), reason, bytes }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_step_is_set_apart_when_it_stopped_two_starts() {
        let (one, other) = (Step::Change((1.0, 2.0)), Step::Change((3.0, 2.0)));
        assert_eq!(mark_for(one, Marker::Opening), Some(Marker::Step(one)));
        assert_eq!(mark_for(one, Marker::Step(one)), Some(Marker::Again(one)), "the page may just have been closed");
        assert_eq!(mark_for(one, Marker::Again(one)), None);
        assert_eq!(mark_for(other, Marker::Again(one)), Some(Marker::Step(other)));
        assert_eq!(mark_for(Step::Snapshot(1.0), Marker::Again(one)), Some(Marker::Step(Step::Snapshot(1.0))));
    }
}
