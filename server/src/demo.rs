//! The demo house, put into the store as its people would have measured it.

use std::collections::BTreeMap;

use shared_model::guard;
use shared_model::ids::{DeviceId, JobId};
use shared_model::job::{JobDoc, Timestamp};
use uuid::Uuid;

use crate::clock;
use crate::error::ServeError;
use crate::store::{Store, StoredChange, Write};

/// The demo is one job on every server.
const DEMO: JobId = JobId(Uuid::from_u128(0x6e61_706c_696e_6540_8000_0000_0000_0001));

/// Seconds from one action to the next.
const PACE: i64 = 20;

/// Makes the demo house, unless the store has it.
pub async fn ensure(store: &Store) -> Result<(), ServeError> {
    if store.jobs()?.iter().any(|it| it.job == DEMO) {
        return Ok(());
    }
    let changes = measure()?;
    let writes = (0..).zip(changes).map(|(seq, change)| Write::Change { job: DEMO, seq, change });
    store.commit(writes.collect()).await.map_err(|error| ServeError::Demo(error.to_string()))
}

/// Every person's actions, on a phone each, all seeing each other's.
fn measure() -> Result<Vec<StoredChange>, ServeError> {
    let actions = shared_model::demo::actions();
    let begin = clock::now().0 - PACE * i64::try_from(actions.len()).unwrap_or(0);
    let new_phone = |by: DeviceId| JobDoc::new(DEMO, *Uuid::new_v4().as_bytes(), by);
    let mut phones: BTreeMap<DeviceId, JobDoc> = actions.iter().map(|it| (it.by, new_phone(it.by))).collect();
    let mut changes = Vec::new();
    for (index, action) in (0..).zip(&actions) {
        let at = Timestamp(begin + PACE * index);
        let wrong = |reason: String| ServeError::Demo(format!("action {index} ({}): {reason}", action.said));
        let phone = phones.get_mut(&action.by).ok_or_else(|| wrong("nobody does it".into()))?;
        let edited = phone.edit(&action.edits, action.said, at).map_err(|error| wrong(error.to_string()))?;
        let Some(change) = edited else { continue };
        for other in phones.iter_mut().filter(|(by, _)| **by != action.by).map(|(_, it)| it) {
            let vetted = guard::change(&change.bytes, None).map_err(|error| wrong(error.to_string()))?;
            other.apply(vec![vetted]).map_err(|error| wrong(error.to_string()))?;
        }
        changes.push(StoredChange { hash: change.hash.0, from: action.by, received: at, bytes: change.bytes });
    }
    Ok(changes)
}
