//! What is known of jobs at the start without reading them.

use std::collections::{BTreeMap, BTreeSet};

use js_sys::Array;
use shared_model::ids::JobId;
use wasm_bindgen::{JsCast, JsValue};

use super::keys::unpack;
use super::{READ, REST, Storage, StorageError, WAITING};
use crate::phone::Rest;

impl Storage {
    /// Of which jobs this phone had all that a server has.
    pub async fn rests(&self) -> Result<BTreeMap<JobId, Rest>, StorageError> {
        let transaction = self.transaction(READ)?;
        let store = transaction.object_store(REST)?;
        let (keys, values) = (store.get_all_keys(None, None)?, store.get_all(None, None)?);
        let all = keys.await?.into_iter().zip(values.await?);
        // One that does not read is none: the job is opened.
        Ok(all.filter_map(|(key, value)| Some((job_of(&key)?, unpack(&value).ok()?))).collect())
    }

    /// The jobs with edits that no server has confirmed.
    pub async fn jobs_waiting(&self) -> Result<BTreeSet<JobId>, StorageError> {
        let transaction = self.transaction(READ)?;
        let keys = transaction.object_store(WAITING)?.get_all_keys(None, None)?;
        Ok(keys.await?.into_iter().filter_map(|it| job_of(&it.unchecked_into::<Array>().get(0))).collect())
    }
}

fn job_of(name: &JsValue) -> Option<JobId> {
    name.as_string()?.parse().ok()
}
