//! One job as this phone keeps it: the document, what no server has confirmed yet, and what each event asks of storage and
//! network. Touches neither itself: events go in, an [`Outcome`] comes out.

use std::collections::{BTreeMap, BTreeSet};

use shared_model::guard;
use shared_model::ids::{DeviceId, JobId};
use shared_model::job::{ChangeHash, DocError, Edit, EditError, Job, JobDoc, NewChange, SyncState, Timestamp};
use shared_model::seal::{Proof, Seal, Seals};
use shared_model::wire::{Frame, Mark};

#[path = "kept/outcome.rs"] // The simulation takes this file in from another folder.
mod outcome;

use outcome::set_apart;
pub use outcome::{Outcome, SetApart, Waiting, without_apart};

/// So many changes stored singly are folded into a snapshot.
const CHANGES_PER_SNAPSHOT: usize = 200;
/// So many changes that arrive at once are kept as a snapshot right away.
const MANY_AT_ONCE: usize = 64;
/// For the guard's check of a catch-up message from the own server: more changes than any job has.
const MOST_CHANGES: usize = 1 << 20;
/// An unconfirmed edit is sent again after so many seconds.
const SEND_AGAIN_AFTER: i64 = 5;

pub type Hash = [u8; 32];

pub struct Kept {
    doc: JobDoc,
    author: DeviceId,
    waiting: BTreeMap<Hash, Waiting>,
    sent: BTreeMap<Hash, Timestamp>,
    sync: SyncState,
    /// What servers have said of changes: so that another server takes in from this phone what others wrote.
    seals: Seals,
    /// The server and this phone had the same at some time since the connection came up.
    caught_up: bool,
    /// The server does not take from this phone what another one made: nothing is brought to it until the next connection.
    barred: bool,
    /// Changes stored singly since the last snapshot.
    loose: usize,
}

impl Kept {
    /// A job that this phone has nothing of yet.
    pub fn new(id: JobId, actor: [u8; 16], author: DeviceId) -> Self {
        Self::around(JobDoc::new(id, actor, author), author)
    }

    /// From storage: a snapshot, if there is one.
    pub fn load(id: JobId, snapshot: Option<&[u8]>, actor: [u8; 16], author: DeviceId) -> Result<Self, DocError> {
        match snapshot {
            Some(bytes) => Ok(Self::around(JobDoc::load(id, bytes, actor, author)?, author)),
            None => Ok(Self::new(id, actor, author)),
        }
    }

    fn around(doc: JobDoc, author: DeviceId) -> Self {
        let (waiting, sent) = (BTreeMap::new(), BTreeMap::new());
        let (sync, seals) = (SyncState::new(), Seals::default());
        Self { doc, author, waiting, sent, sync, seals, caught_up: false, barred: false, loose: 0 }
    }

    /// From storage: a change stored singly, or one that another tab of this phone stored. An unreadable one is returned.
    pub fn restore(&mut self, changes: Vec<Vec<u8>>) -> Result<(), Vec<SetApart>> {
        self.loose += changes.len();
        let (mut vetted, mut apart) = (Vec::new(), Vec::new());
        for bytes in changes {
            match guard::change(&bytes, None) {
                Ok(change) => vetted.push((change, bytes)),
                Err(refusal) => apart.push(set_apart("stored change", refusal.to_string(), bytes)),
            }
        }
        if self.doc.apply(vetted.iter().map(|it| it.0.clone()).collect()).is_err() {
            // One of them does not fit: the others must not go with it.
            for (change, bytes) in vetted {
                if let Err(error) = self.doc.apply(vec![change]) {
                    apart.push(set_apart("stored change", error.to_string(), bytes));
                }
            }
        }
        if apart.is_empty() { Ok(()) } else { Err(apart) }
    }

    pub fn restore_waiting(&mut self, waiting: BTreeMap<Hash, Waiting>) {
        self.waiting.extend(waiting);
    }

    pub fn restore_seals(&mut self, seals: Seals) {
        self.seals = seals;
    }

    /// From storage: what other tabs of this phone stored and this one has not heard of, so that its snapshot never holds less
    /// than the one before it. Answers whether the document reads differently now.
    pub fn take_in_stored<K>(
        &mut self,
        snapshot: Option<&[u8]>,
        changes: &[(K, Vec<u8>)],
        apart: &[SetApart],
        mut waiting: BTreeMap<Hash, Waiting>,
    ) -> Result<bool, DocError> {
        // A snapshot that does not load has nothing to add.
        let snapshot = snapshot.and_then(|it| JobDoc::load(self.doc.id(), it, [0; 16], self.author).ok());
        let folded = snapshot.iter().flat_map(|it| it.changes_since(&[])).map(|it| it.bytes);
        let stored = folded.chain(changes.iter().map(|it| it.1.clone())).map(|it| ((), it)).collect();
        let vetted = without_apart(stored, apart).into_iter().filter_map(|it| guard::change(&it.1, None).ok());
        let new: Vec<_> = vetted.filter(|it| !self.doc.has(&it.hash())).collect();
        waiting.retain(|hash, _| new.iter().any(|it| it.hash().0 == *hash));
        self.waiting.extend(waiting);
        Ok(!new.is_empty() && !self.doc.apply(new)?.is_empty())
    }

    pub fn job(&self) -> Job {
        self.doc.job()
    }

    /// The document, to look at.
    pub const fn doc(&self) -> &JobDoc {
        &self.doc
    }

    pub fn waiting(&self) -> usize {
        self.waiting.len()
    }

    /// Oldest first, for the list of what is where.
    pub fn waiting_list(&self) -> Vec<(Timestamp, String)> {
        let mut list: Vec<_> = self.waiting.values().map(|it| (it.made, it.said.clone())).collect();
        list.sort();
        list
    }

    /// One action of this phone's person.
    pub fn edit(&mut self, edits: &[Edit], said: &str, at: Timestamp) -> Result<Outcome, EditError> {
        let Some(NewChange { hash, bytes }) = self.doc.edit(edits, said, at)? else {
            return Ok(Outcome::default());
        };
        let as_json = serde_json::to_string(edits).unwrap_or_default();
        let waiting = Waiting { bytes: bytes.clone(), said: said.to_owned(), edits: as_json, made: at };
        self.waiting.insert(hash.0, waiting.clone());
        self.sent.insert(hash.0, at);
        let send = vec![Frame::Change { job: self.doc.id(), change: bytes.clone(), proof: None }];
        let outcome = Outcome {
            changes: vec![bytes],
            waiting: vec![(hash.0, waiting)],
            send,
            changed: true,
            ..Outcome::default()
        };
        Ok(self.counted(outcome))
    }

    /// This phone may have been paired anew, as another device: it writes as that one from now on. What it made before stays.
    pub fn write_as(&mut self, author: DeviceId, actor: [u8; 16]) -> Result<(), DocError> {
        if author != self.author {
            self.doc = JobDoc::load(self.doc.id(), &self.doc.save(), actor, author)?;
            self.author = author;
        }
        Ok(())
    }

    /// The connection is up: share this job and catch up.
    pub fn open(&mut self) -> Outcome {
        self.sync = SyncState::decode(&self.sync.encode()).unwrap_or_else(|_| SyncState::new());
        self.sent.clear();
        (self.caught_up, self.barred) = (false, false);
        let mut outcome = Outcome { send: vec![Frame::Open { job: self.doc.id() }], ..Outcome::default() };
        self.show_seals(&mut outcome);
        self.say_next(&mut outcome);
        outcome
    }

    /// What was known of the server does not count any more.
    pub fn forget_peer(&mut self) {
        (self.sync, self.caught_up) = (SyncState::new(), false);
    }

    pub fn hear_sync(&mut self, message: &[u8], seal: Option<Seal>) -> Outcome {
        let mut outcome = Outcome::default();
        let heard = guard::sync(message, MOST_CHANGES, None, true).map_err(|it| it.to_string());
        let new = heard.and_then(|it| self.doc.receive_sync(&mut self.sync, it).map_err(|it| it.to_string()));
        match new {
            Ok(new) if new.len() > MANY_AT_ONCE => (outcome.changed, outcome.snapshot) = (true, true),
            Ok(new) => {
                outcome.changed = !new.is_empty();
                outcome.changes.extend(new.into_iter().map(|it| it.bytes));
            }
            Err(reason) => outcome.apart.push(set_apart("message from the server", reason, Vec::new())),
        }
        self.hear_seal(&mut outcome, seal);
        self.say_next(&mut outcome);
        outcome.level = self.sync.their_heads.as_ref().is_some_and(|theirs| *theirs == self.doc.heads());
        if outcome.level {
            self.caught_up = true;
            // The server says what it has on its disk: an acknowledgement may have been lost with a connection.
            let there = self.waiting.iter().filter(|(_, it)| self.has(&it.bytes)).map(|(hash, _)| *hash);
            outcome.confirmed = there.collect();
            self.confirmed_elsewhere(&outcome.confirmed);
        }
        self.counted(outcome)
    }

    pub fn hear_change(&mut self, bytes: Vec<u8>, proof: Option<Proof>) -> Outcome {
        let mut outcome = Outcome::default();
        let vetted = match guard::change(&bytes, None) {
            Ok(vetted) => vetted,
            Err(refusal) => {
                outcome.apart.push(set_apart("change from the server", refusal.to_string(), bytes));
                return outcome;
            }
        };
        let (before, hash) = (self.doc.heads(), vetted.hash().0);
        match self.doc.apply(vec![vetted]) {
            Ok(new) => {
                outcome.changed = !new.is_empty();
                outcome.changes = self.doc.changes_since(&before).into_iter().map(|it| it.bytes).collect();
            }
            Err(error) => outcome.apart.push(set_apart("change from the server", error.to_string(), bytes)),
        }
        self.hear_seal(&mut outcome, proof.map(|proof| Seal { heads: vec![hash], proof }));
        if !self.doc.missing().is_empty() {
            self.forget_peer();
            self.say_next(&mut outcome);
        }
        outcome.level = self.caught_up && self.waiting.is_empty();
        self.counted(outcome)
    }

    /// From a file: vetted changes of anybody, which a catch-up then brings to the server.
    pub fn take_in_file(&mut self, changes: Vec<guard::VettedChange>, seals: Vec<Seal>) -> Result<Outcome, DocError> {
        let new = self.doc.apply(changes)?;
        let changes = new.iter().filter_map(|it| self.doc.change(it)).map(|it| it.bytes).collect();
        let mut outcome = Outcome { changed: !new.is_empty(), changes, ..Outcome::default() };
        self.caught_up &= new.is_empty();
        seals.into_iter().for_each(|it| self.hear_seal(&mut outcome, Some(it)));
        self.show_seals(&mut outcome);
        self.say_next(&mut outcome);
        Ok(self.counted(outcome))
    }

    /// The server has these on disk.
    pub fn hear_ack(&mut self, hashes: &[Hash], proof: Option<Proof>) -> Outcome {
        let confirmed: Vec<Hash> = hashes.iter().filter(|it| self.waiting.remove(*it).is_some()).copied().collect();
        self.sent.retain(|it, _| !confirmed.contains(it));
        let mut outcome = Outcome { confirmed, level: self.caught_up && self.waiting.is_empty(), ..Outcome::default() };
        self.hear_seal(&mut outcome, proof.map(|proof| Seal { heads: hashes.to_vec(), proof }));
        outcome
    }

    /// These are on the server's disk, as another tab of this phone says.
    pub fn confirmed_elsewhere(&mut self, hashes: &[Hash]) {
        self.waiting.retain(|it, _| !hashes.contains(it));
        self.sent.retain(|it, _| !hashes.contains(it));
    }

    /// Another tab of this phone made and stored this change.
    pub fn made_elsewhere(&mut self, hash: Hash, waiting: Waiting) -> Outcome {
        let changed = self.restore(vec![waiting.bytes.clone()]).is_ok();
        self.waiting.insert(hash, waiting);
        Outcome { changed, ..Outcome::default() }
    }

    /// The server refused a change. It is set apart; own edits built on it are made again without it, because the server can
    /// take in nothing that builds on it. Other own edits stay as they are: the server may have them already. What this phone
    /// made as another device, before it was paired anew, is made again whole. What others made stays as it is, with all that is
    /// built on it: it waits for the servers to meet.
    pub fn hear_nack(&mut self, hash: Option<Hash>, reason: &str, actor: [u8; 16]) -> Outcome {
        let Some(hash) = hash else {
            return Outcome { apart: vec![set_apart("message", reason.to_owned(), Vec::new())], ..Outcome::default() };
        };
        let Some(refused) = self.refused(hash, reason) else {
            self.barred |= self.doc.has(&ChangeHash(hash));
            return Outcome::default();
        };
        if !self.is_of_another(&hash) {
            self.waiting.remove(&hash);
        }
        let mut outcome = Outcome { changed: true, snapshot: true, apart: vec![refused], ..Outcome::default() };
        let all: Vec<(Hash, Vec<u8>)> =
            self.doc.changes_since(&[]).into_iter().map(|it| (it.hash.0, it.bytes)).collect();
        let order: Vec<Hash> = all.iter().map(|it| it.0).collect();
        let (stays, bytes): (BTreeSet<Hash>, Vec<Vec<u8>>) = without_apart(all, &outcome.apart).into_iter().unzip();
        outcome.confirmed = order.into_iter().filter(|it| !stays.contains(it)).collect();
        let again: Vec<Waiting> = outcome.confirmed.iter().filter_map(|it| self.waiting.remove(it)).collect();
        self.doc = JobDoc::new(self.doc.id(), actor, self.author);
        self.forget_peer();
        outcome.apart.extend(self.restore(bytes).err().unwrap_or_default());
        for Waiting { said, edits, made, bytes } in again {
            let edits: Vec<Edit> = serde_json::from_slice(edits.as_bytes()).unwrap_or_default();
            match self.edit(&edits, &said, made) {
                Ok(none) if none.changes.is_empty() => {
                    outcome.apart.push(SetApart { said, ..set_apart("", "built on a refused edit".to_owned(), bytes) });
                }
                Ok(made) => {
                    outcome.changes.extend(made.changes);
                    outcome.waiting.extend(made.waiting);
                    outcome.send.extend(made.send);
                }
                Err(error) => outcome.apart.push(SetApart { said, ..set_apart("", error.to_string(), bytes) }),
            }
        }
        self.show_seals(&mut outcome);
        self.say_next(&mut outcome);
        outcome
    }

    /// What is to be set apart of a refused change; `None` when something would go with it that is not only here.
    fn refused(&self, hash: Hash, reason: &str) -> Option<SetApart> {
        let own = self.waiting.get(&hash)?;
        let not_only_here = |it: &Hash| *it != hash && !self.waiting.contains_key(it);
        if self.doc.hashes_on(&hash).iter().any(not_only_here) {
            return None;
        }
        let reason = if self.is_of_another(&hash) { "made again: this phone was paired anew" } else { reason };
        Some(SetApart { said: own.said.clone(), ..set_apart("", reason.to_owned(), own.bytes.clone()) })
    }

    /// Whether this phone made it as another device.
    fn is_of_another(&self, hash: &Hash) -> bool {
        self.doc.author_of(&ChangeHash(*hash)) != Some(self.author)
    }

    /// What this phone has, when it is all and no edit waits for a server's word.
    pub fn mark(&self) -> Option<Mark> {
        (self.waiting.is_empty() && self.doc.missing().is_empty()).then(|| Mark::of(self.doc.heads()))
    }

    /// Whether the server does not take from this phone what others made.
    pub const fn is_barred(&self) -> bool {
        self.barred
    }

    /// Unconfirmed edits that should have been confirmed by now. Those that this phone made as another device only a catch-up may
    /// bring.
    pub fn send_again(&mut self, now: Timestamp) -> Vec<Frame> {
        let (job, mut frames) = (self.doc.id(), Vec::new());
        for (hash, waiting) in self.waiting.iter().filter(|_| !self.barred) {
            let last = self.sent.entry(*hash).or_insert(now);
            let own = self.doc.author_of(&ChangeHash(*hash)) == Some(self.author);
            if now.0 - last.0 >= SEND_AGAIN_AFTER && own {
                *last = now;
                frames.push(Frame::Change { job, change: waiting.bytes.clone(), proof: None });
            }
        }
        frames
    }

    /// The whole document, verified: what is written loads again and has the same heads.
    pub fn snapshot(&mut self) -> Result<Vec<u8>, DocError> {
        let bytes = self.doc.save();
        let read = JobDoc::load(self.doc.id(), &bytes, [0; 16], self.author)?;
        if read.heads() != self.doc.heads() {
            return Err(DocError::Damaged("a snapshot did not read back as written".to_owned()));
        }
        self.loose = 0;
        Ok(bytes)
    }

    /// Whether the change is part of the document.
    pub fn has(&self, bytes: &[u8]) -> bool {
        guard::change(bytes, None).is_ok_and(|it| self.doc.has(&it.hash()))
    }

    fn hear_seal(&mut self, outcome: &mut Outcome, seal: Option<Seal>) {
        if let Some(seal) = seal {
            self.seals.add(&self.doc, seal);
            outcome.seals = Some(self.seals.clone());
        }
    }

    fn show_seals(&self, outcome: &mut Outcome) {
        let job = self.doc.id();
        outcome.send.extend(self.seals.all().into_iter().map(|seal| Frame::Sealed { job, seal }));
    }

    /// Those that go with the job to wherever it goes.
    pub fn seals(&self) -> Vec<Seal> {
        self.seals.all()
    }

    fn say_next(&mut self, outcome: &mut Outcome) {
        let message = if self.barred {
            self.doc.listening_message(&mut self.sync)
        } else {
            self.doc.sync_message(&mut self.sync, false)
        };
        outcome.send.extend(message.map(|message| Frame::Sync { job: self.doc.id(), message, seal: None }));
    }

    fn counted(&mut self, mut outcome: Outcome) -> Outcome {
        self.loose += outcome.changes.len();
        outcome.snapshot |= self.loose >= CHANGES_PER_SNAPSHOT;
        outcome
    }
}

#[cfg(test)]
#[path = "kept/tests.rs"] // The simulation takes this file in from another folder.
mod tests;
