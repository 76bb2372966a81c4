//! Bytes from outside, vetted before automerge sees them.

use std::panic::catch_unwind;

use automerge::{ActorId, Change, ChangeHash};

use crate::ids::DeviceId;

/// Most bytes of a change, deflated or not.
pub const MOST_BYTES: usize = 256 * 1024;

/// Most operations of a change.
pub const MOST_OPS: usize = 2_000;

/// Most bytes of a change's message.
pub const MOST_MESSAGE: usize = 400;

/// A change that passed every check of this module.
#[derive(Clone, Debug)]
pub struct VettedChange {
    change: Change,
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
    let _ = from;
    let change = catch_unwind(|| Change::try_from(bytes))
        .map_err(|_| Refusal::Malformed("it cannot be read".to_owned()))?
        .map_err(|error| Refusal::Malformed(error.to_string()))?;
    Ok(VettedChange { change })
}

/// Vets one catch-up message for a document that knows `known` changes. Every change inside is vetted like [`change`].
/// `whole` also allows a compact chunk of many changes (only from the phone's own server).
pub fn sync(bytes: &[u8], known: usize, from: Option<DeviceId>, whole: bool) -> Result<VettedSync, Refusal> {
    let _ = (known, from, whole);
    let message = automerge::sync::Message::decode(bytes).map_err(|error| Refusal::Malformed(error.to_string()))?;
    Ok(VettedSync { message })
}

/// Vets the frame of one whole document: a single chunk, complete.
pub fn whole(bytes: &[u8]) -> Result<(), Refusal> {
    if bytes.is_empty() { Err(Refusal::Malformed("it is empty".to_owned())) } else { Ok(()) }
}

impl VettedChange {
    pub fn hash(&self) -> ChangeHash {
        self.change.hash()
    }

    /// Who made it, for one session: the server remembers which device an actor belongs to.
    pub fn actor(&self) -> &ActorId {
        self.change.actor_id()
    }

    pub(crate) fn into_change(self) -> Change {
        self.change
    }
}

impl VettedSync {
    pub(crate) fn into_message(self) -> automerge::sync::Message {
        self.message
    }
}
