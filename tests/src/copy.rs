//! A job on a phone without a screen.

use std::collections::{BTreeMap, BTreeSet};

use shared_model::ids::{DeviceId, JobId};
use shared_model::job::{JobDoc, SyncState};
use shared_model::seal::{Seal, Seals};
use uuid::Uuid;

use crate::peer::Hash;

/// A job on this phone.
pub struct Copy {
    pub doc: JobDoc,
    pub(crate) catch_up: SyncState,
    /// What servers have said of its changes.
    pub seals: Seals,
    /// Own changes that the server has not confirmed.
    pub waiting: BTreeMap<Hash, Vec<u8>>,
    pub acked: BTreeSet<Hash>,
    pub nacked: Vec<(Option<Hash>, String)>,
}

impl Copy {
    pub(crate) fn new(job: JobId, author: DeviceId) -> Self {
        Self {
            doc: JobDoc::new(job, *Uuid::new_v4().as_bytes(), author),
            catch_up: SyncState::new(),
            seals: Seals::default(),
            waiting: BTreeMap::new(),
            acked: BTreeSet::new(),
            nacked: Vec::new(),
        }
    }

    pub(crate) fn keep_seal(&mut self, seal: Option<Seal>) {
        if let Some(seal) = seal {
            self.seals.add(&self.doc, seal);
        }
    }

    pub(crate) fn knows_all_that_the_server_has(&self) -> bool {
        let heads = self.catch_up.their_heads.as_ref();
        heads.is_some_and(|heads| heads.iter().all(|it| self.doc.has(it)))
    }

    /// Whether the server has said, in this catch-up, that it has what this copy has and no more.
    pub fn server_has_all(&self) -> bool {
        self.catch_up.their_heads.as_ref() == Some(&self.doc.heads())
    }

    pub fn has(&self, hash: &Hash) -> bool {
        self.doc.changes_since(&[]).iter().any(|it| it.hash.0 == *hash)
    }

    pub fn room_names(&self) -> BTreeSet<String> {
        self.doc.job().rooms.into_iter().map(|it| it.name).collect()
    }
}
