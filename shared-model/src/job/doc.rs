//! The automerge document of one job.

use std::collections::BTreeSet;

use automerge::ChangeHash;

use super::{Edit, Job, Timestamp};
use crate::guard::{VettedChange, VettedSync};
use crate::ids::{DeviceId, JobId};

/// The document of one job, opened for one author on one page or process.
pub struct JobDoc {
    id: JobId,
    doc: automerge::AutoCommit,
}

/// Where a catch-up with one peer stands.
pub type SyncState = automerge::sync::State;

#[derive(thiserror::Error, Debug, PartialEq)]
pub enum DocError {
    #[error("the job's file is damaged: {0}")]
    Damaged(String),
    #[error("this job was written by a newer version (schema {found}; this version knows {known}): open it with a newer one")]
    Newer { found: u32, known: u32 },
}

#[derive(thiserror::Error, Debug, PartialEq)]
pub enum EditError {
    #[error("this job was written by a newer version and is read-only here: update this device")]
    ReadOnly,
    #[error("{0} does not exist in this job")]
    Missing(String),
    #[error("{0} exists already")]
    Exists(String),
    #[error("{0}")]
    Invalid(String),
}

impl JobDoc {
    /// A document that holds only the fixed first change, the same on every device.
    ///
    /// `actor` must be new and random for each page session or process; `author` is the device.
    pub fn new(id: JobId, actor: [u8; 16], author: DeviceId) -> Self {
        let _ = (id, actor, author);
        todo!()
    }

    /// Loads what [`JobDoc::save`] wrote (own storage, checksummed; not bytes from outside).
    pub fn load(id: JobId, bytes: &[u8], actor: [u8; 16], author: DeviceId) -> Result<Self, DocError> {
        let _ = (id, bytes, actor, author);
        todo!()
    }

    pub fn id(&self) -> JobId {
        self.id
    }

    /// The whole document, compact.
    pub fn save(&mut self) -> Vec<u8> {
        todo!()
    }

    /// One action of a person: all edits or none, in one change with a short message. Returns the change, ready to be
    /// stored and sent; `None` when it changes nothing.
    pub fn edit(&mut self, edits: &[Edit], said: &str, at: Timestamp) -> Result<Option<NewChange>, EditError> {
        let _ = (edits, said, at);
        todo!()
    }

    /// Takes in changes from elsewhere, in any order, repeated or late. Returns the hashes that were new.
    /// A change whose dependencies are missing waits inside; see [`JobDoc::missing`].
    pub fn apply(&mut self, changes: Vec<VettedChange>) -> Result<Vec<ChangeHash>, DocError> {
        let _ = changes;
        todo!()
    }

    pub fn heads(&mut self) -> Vec<ChangeHash> {
        todo!()
    }

    /// Whether the change is part of the document (applied, not waiting).
    pub fn has(&mut self, change: &ChangeHash) -> bool {
        let _ = change;
        todo!()
    }

    /// Hashes that waiting changes need.
    pub fn missing(&mut self) -> BTreeSet<ChangeHash> {
        todo!()
    }

    /// The bytes of every change not reachable from `have`, dependencies first, each one chunk.
    pub fn changes_since(&mut self, have: &[ChangeHash]) -> Vec<NewChange> {
        let _ = have;
        todo!()
    }

    /// The next catch-up message for a peer; `None` when there is nothing to say. `whole` allows one compact chunk with
    /// many changes (server to phone); without it each change is its own chunk, so that each can be vetted.
    pub fn sync_message(&mut self, state: &mut SyncState, whole: bool) -> Option<Vec<u8>> {
        let _ = (state, whole);
        todo!()
    }

    /// Takes in a catch-up message. Returns the changes that were new, dependencies first.
    pub fn receive_sync(&mut self, state: &mut SyncState, message: VettedSync) -> Result<Vec<NewChange>, DocError> {
        let _ = (state, message);
        todo!()
    }

    /// The job as the document says it now.
    pub fn job(&self) -> Job {
        todo!()
    }
}

/// One change: its hash and its bytes (one uncompressed or deflated chunk).
#[derive(Clone, PartialEq, Debug)]
pub struct NewChange {
    pub hash: ChangeHash,
    pub bytes: Vec<u8>,
}
