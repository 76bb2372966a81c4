//! One job over one connection: where its catch-up stands, and what the phone brings of others.
//!
//! A phone may carry what others wrote: from another server of the shop, from a file, or back to a server that has lost it. It
//! is let in when a seal of one of the shop's servers stands behind it. A long catch-up comes in several messages, and the seal
//! stands over the last of its changes: so they are first taken in beside the job's document.

use std::collections::BTreeSet;

use shared_model::guard::{self, VettedChange, VettedSync};
use shared_model::ids::{DeviceId, JobId};
use shared_model::job::{ChangeHash, DocError, JobDoc, NewChange, SyncState};
use shared_model::seal::{self, Hash, Seal};

use super::hub::{Hub, Shared};

/// A phone shows a handful of seals; nobody needs more of them.
const MOST_SEALED: usize = 8_192;
/// Most bytes of changes that a phone brings before all of them are proved.
const MOST_BROUGHT: usize = 64 << 20;

pub struct Share {
    pub job: Shared,
    pub catch_up: SyncState,
    /// What is sealed, as the phone has shown.
    sealed: BTreeSet<Hash>,
    brought: Option<Brought>,
}

/// A copy of the document, with changes that nobody has vouched for yet.
struct Brought {
    doc: JobDoc,
    catch_up: SyncState,
    /// The document's newest changes when it was copied.
    before: Vec<ChangeHash>,
    /// What came so far.
    bytes: usize,
}

/// What comes of a catch-up message.
pub enum Taken {
    /// These changes are part of the document now.
    New(Vec<NewChange>),
    /// Nothing yet: the phone has more, and is answered this.
    Later(Option<Vec<u8>>),
    /// Nobody vouches for this change.
    Unsealed(Hash),
    /// More than a phone may bring unproved.
    TooMuch,
}

impl Share {
    pub fn new(job: Shared, catch_up: SyncState) -> Self {
        Self { job, catch_up, sealed: BTreeSet::new(), brought: None }
    }

    /// Takes a seal of a server of this shop; any other says nothing.
    pub fn show(&mut self, hub: &Hub, job: JobId, seal: &Seal) {
        if hub.seals.made(job, seal) && self.sealed.len() < MOST_SEALED {
            self.sealed.extend(&seal.heads);
        }
    }

    /// Takes in what another server says.
    pub fn trust(&mut self, doc: &mut JobDoc, message: VettedSync) -> Result<Taken, DocError> {
        doc.receive_sync(&mut self.catch_up, message).map(Taken::New)
    }

    /// Takes in what a phone says: its own changes, those of devices that this shop does not know, and sealed ones.
    pub fn take(
        &mut self,
        doc: &mut JobDoc,
        message: VettedSync,
        phone: DeviceId,
        hub: &Hub,
    ) -> Result<Taken, DocError> {
        let is_own = |actor: &[u8]| {
            <[u8; 16]>::try_from(actor).is_ok_and(|it| hub.store.owner(it).is_ok_and(|it| it == Some(phone)))
        };
        if self.brought.is_none() && !message.brings_others(phone, is_own) {
            return self.trust(doc, message);
        }
        let beside = || Brought { doc: doc.copy(), catch_up: self.catch_up.clone(), before: doc.heads(), bytes: 0 };
        let mut brought = self.brought.take().unwrap_or_else(beside);
        brought.bytes += message.changes().iter().map(VettedChange::size).sum::<usize>();
        if brought.bytes > MOST_BROUGHT {
            self.catch_up = SyncState::new();
            return Ok(Taken::TooMuch);
        }
        // What others sent meanwhile.
        let newer = vet(&doc.changes_since(&brought.before))?;
        if !newer.is_empty() {
            brought.doc.apply(newer)?;
            brought.before = doc.heads();
        }
        brought.doc.receive_sync(&mut brought.catch_up, message)?;
        let all_here = brought.catch_up.their_heads.iter().flatten().all(|it| brought.doc.has(it));
        if !all_here || !brought.doc.missing().is_subset(&doc.missing()) {
            let reply = brought.doc.sync_message(&mut brought.catch_up, true);
            self.brought = Some(brought);
            return Ok(Taken::Later(reply));
        }
        let new = brought.doc.changes_since(&brought.before);
        // What waits in the document came from those who made it.
        let brings = |it: &&NewChange| !doc.holds_back(&it.hash) && !doc.has(&it.hash);
        let brings: Vec<NewChange> = new.iter().filter(brings).cloned().collect();
        let may = |author| author == phone || !hub.devices.knows(author);
        if let Some(unsealed) = seal::first_unsealed(&brought.doc, &brings, &self.sealed, may) {
            self.catch_up = SyncState::new();
            return Ok(Taken::Unsealed(unsealed));
        }
        let new = doc.apply(vet(&new)?)?;
        self.catch_up = brought.catch_up;
        Ok(Taken::New(new.iter().filter_map(|it| doc.change(it)).collect()))
    }

    /// Drops what was brought so far; the phone begins again.
    pub fn give_up(&mut self) {
        (self.brought, self.catch_up) = (None, SyncState::new());
    }
}

fn vet(changes: &[NewChange]) -> Result<Vec<VettedChange>, DocError> {
    let vetted = changes.iter().map(|it| guard::change(&it.bytes, None)).collect::<Result<Vec<_>, _>>();
    vetted.map_err(|refusal| DocError::Refused(refusal.to_string()))
}
