//! Bytes from outside, vetted before automerge sees them.
//!
//! Automerge trusts its input: a small chunk can inflate to gigabytes, ten bytes can divide by zero, a run of a few bytes can
//! stand for a billion operations, maps within maps can overflow a stack, and chunks with sound checksums can break its own
//! assumptions. So the guard reads frames, deflated parts and operations itself, with limits, and lets through only what a job
//! needs: maps under keys and values under keys, in automerge's own canonical form.
//!
//! What it cannot know without the document (that a change fits what is there) is checked when the change is taken in.

mod body;
mod bytes;
mod chunk;
mod sync;

use std::collections::BTreeSet;
use std::panic::catch_unwind;

use automerge::{ActorId, Change, ChangeHash};

pub(crate) use body::{MOST_DEPTH, Operation, Refers};

use crate::ids::DeviceId;
use crate::job;

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
    author: Option<DeviceId>,
    refers: Refers,
}

/// A catch-up message that passed every check of this module.
#[derive(Debug)]
pub struct VettedSync {
    message: automerge::sync::Message,
    changes: Vec<VettedChange>,
    document: bool,
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
    #[error("made by a newer version (schema {found}; this one knows {known}): update this one")]
    Newer { found: u32, known: u32 },
}

/// Vets one change chunk. `from` is the device that sent it when its author must be that device.
///
/// An actor's first change says who its author is; that later changes of the actor come from the same device is for the caller
/// to check by [`VettedChange::actor`]. The fixed changes of the schema have no author, and may come from anyone; those of a
/// schema that this version does not know only when `from` is `None`. Nobody else writes to the root. Under other keys that
/// this version does not know anything may stand: it is kept and not read.
pub fn change(bytes: &[u8], from: Option<DeviceId>) -> Result<VettedChange, Refusal> {
    if bytes.len() > MOST_BYTES {
        return Err(Refusal::TooLarge { what: "change", found: bytes.len() as u64, most: MOST_BYTES as u64 });
    }
    let chunk = chunk::only(bytes)?;
    let inflated;
    let contents = match chunk.kind {
        chunk::Kind::Change => chunk.contents,
        chunk::Kind::DeflatedChange => {
            inflated = chunk::inflate(chunk.contents)?;
            &inflated
        }
        chunk::Kind::Document => return bytes::malformed("it is a whole document"),
    };
    let body = body::read(contents)?;

    let read = catch_unwind(|| {
        let change = Change::try_from(bytes).ok()?;
        // What is not in automerge's own form would come back with another hash when the document is saved and loaded.
        let canonical = Change::from(change.decode()).raw_bytes() == change.raw_bytes();
        canonical.then_some(change)
    });
    let Ok(Some(change)) = read else { return bytes::malformed("automerge cannot read it") };
    if change.hash().0[..4] != chunk.checksum {
        return bytes::malformed("its checksum is wrong");
    }
    who(&body, &change, from)?;
    let author = body.author.map(|it| DeviceId(uuid::Uuid::from_bytes(it)));
    Ok(VettedChange { author, refers: body.refers, change })
}

/// Vets single changes that stand one behind the other, from anyone: each like [`change`].
pub fn changes(bytes: &[u8]) -> Result<Vec<VettedChange>, Refusal> {
    let mut rest = bytes::Bytes(bytes);
    let mut changes = Vec::new();
    while !rest.is_empty() {
        let start = rest.0;
        chunk::next(&mut rest)?;
        changes.push(change(&start[..start.len() - rest.0.len()], None)?);
    }
    Ok(changes)
}

/// Checks who may have made a change, and where that one may write.
fn who(body: &body::Body<'_>, change: &Change, from: Option<DeviceId>) -> Result<(), Refusal> {
    if let Some(schema) = job::schema_of_fixed_actor(body.actor) {
        return match job::is_fixed_change(&change.hash()) {
            true => Ok(()),
            false if schema <= job::SCHEMA => Err(Refusal::Foreign("it is not the schema's own change".to_owned())),
            false if from.is_some() => Err(Refusal::Newer { found: schema, known: job::SCHEMA }),
            false => Ok(()),
        };
    }
    if body.refers.root {
        return Err(Refusal::Foreign("it writes to the root of the document".to_owned()));
    }
    match (body.author, from) {
        (Some(author), Some(from)) if author != *from.0.as_bytes() => Err(Refusal::NotTheAuthor),
        (Some(_), _) if body.seq == 1 => Ok(()),
        (None, _) if body.seq > 1 => Ok(()),
        _ => Err(Refusal::Foreign("an actor's first change says its author, and no other does".to_owned())),
    }
}

/// Vets one catch-up message for a document that knows `known` changes. Every change inside is vetted like [`change`]: with
/// `from`, only the sender's own changes may be inside; without, also those that it has from others.
/// `whole` also allows a compact chunk of many changes (only from the phone's own server).
pub fn sync(bytes: &[u8], known: usize, from: Option<DeviceId>, whole: bool) -> Result<VettedSync, Refusal> {
    sync::sync(bytes, known, from, whole)
}

/// Vets the frame of one whole document from own storage: a single chunk, complete.
pub fn whole(bytes: &[u8]) -> Result<(), Refusal> {
    match chunk::only(bytes)?.kind {
        chunk::Kind::Document => Ok(()),
        _ => bytes::malformed("it is not a whole document"),
    }
}

impl VettedChange {
    pub fn hash(&self) -> ChangeHash {
        self.change.hash()
    }

    /// Who made it, for one session: the server remembers which device an actor belongs to.
    pub fn actor(&self) -> &ActorId {
        self.change.actor_id()
    }

    /// The device that the actor belongs to; only an actor's first change says it.
    pub const fn author(&self) -> Option<DeviceId> {
        self.author
    }

    /// The how-manieth change of its actor, from 1.
    pub fn seq(&self) -> u64 {
        self.change.seq()
    }

    /// Bytes of its chunk, not deflated.
    pub fn size(&self) -> usize {
        self.change.raw_bytes().len()
    }

    /// The changes that it was made after.
    pub fn deps(&self) -> &[ChangeHash] {
        self.change.deps()
    }

    pub(crate) const fn change(&self) -> &Change {
        &self.change
    }

    pub(crate) const fn refers(&self) -> &Refers {
        &self.refers
    }
}

impl VettedSync {
    /// The changes inside that were vetted one by one: all of them, unless there is a document.
    pub fn changes(&self) -> &[VettedChange] {
        &self.changes
    }

    /// Whether a phone brings changes that are not its own. An actor whose first change is not inside is its own if `is_own`.
    pub fn brings_others(&self, from: DeviceId, is_own: impl Fn(&[u8]) -> bool) -> bool {
        let mut begun = BTreeSet::new();
        self.changes.iter().any(|it| match it.author {
            Some(author) if author == from => {
                begun.insert(it.actor());
                false
            }
            Some(_) => true,
            None if job::is_fixed_change(&it.hash()) => false,
            None => !begun.contains(it.actor()) && !is_own(it.actor().to_bytes()),
        })
    }

    /// What the message says about what its sender has, without the changes that it brings.
    pub fn without_changes(mut self) -> Self {
        self.message.changes = Vec::<Vec<u8>>::new().into();
        self.changes.clear();
        self.document = false;
        self
    }

    /// Whether a whole document is inside, as only the phone's own server may send it.
    pub const fn has_document(&self) -> bool {
        self.document
    }

    pub(crate) fn into_parts(self) -> (automerge::sync::Message, Vec<VettedChange>) {
        (self.message, self.changes)
    }
}
