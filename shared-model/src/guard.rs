//! Bytes from outside, vetted before automerge sees them.

use automerge::ChangeHash;

use crate::ids::DeviceId;

/// A change that passed every check of this module.
#[derive(Clone, Debug)]
pub struct VettedChange {
    change: automerge::Change,
}

/// A catch-up message that passed every check of this module.
#[derive(Debug)]
pub struct VettedSync {
    message: automerge::sync::Message,
}

/// Why bytes were refused. Nothing was changed.
#[derive(thiserror::Error, Debug, Clone, PartialEq)]
pub enum Refusal {
    #[error("not a change: {0}")]
    Malformed(String),
    #[error("too large: {what} is {found}, the most is {most}")]
    TooLarge { what: &'static str, found: u64, most: u64 },
    #[error("not a job's change: {0}")]
    Foreign(String),
    #[error("the change says it is from another device")]
    NotTheAuthor,
}

/// Vets one change chunk. `from` is the device that sent it when its author must be that device.
pub fn change(bytes: &[u8], from: Option<DeviceId>) -> Result<VettedChange, Refusal> {
    let _ = (bytes, from);
    todo!()
}

/// Vets one catch-up message for a document that knows `known` changes. Every change inside is vetted like [`change`].
/// `whole` also allows a compact chunk of many changes (only from the phone's own server).
pub fn sync(bytes: &[u8], known: usize, from: Option<DeviceId>, whole: bool) -> Result<VettedSync, Refusal> {
    let _ = (bytes, known, from, whole);
    todo!()
}

impl VettedChange {
    pub fn hash(&self) -> ChangeHash {
        self.change.hash()
    }
}

impl VettedSync {
    pub(crate) fn into_message(self) -> automerge::sync::Message {
        self.message
    }
}
