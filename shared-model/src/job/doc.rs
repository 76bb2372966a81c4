//! The automerge document of one job.

use std::collections::{BTreeMap, BTreeSet};

use automerge::sync::SyncDoc;
use automerge::transaction::CommitOptions;
use automerge::{ActorId, Author, Automerge, AutomergeError, Change, ChangeHash, ReadDoc};

use super::look::{Parts, View};
use super::saved::unwinding;
use super::{Edit, Job, Photo, Timestamp, fit, read, saved, schema, write};
use crate::guard::{self, VettedChange, VettedSync};
use crate::ids::{DeviceId, JobId};

/// The document of one job, opened for one author on one page or process.
pub struct JobDoc {
    pub(super) id: JobId,
    pub(super) doc: Automerge,
    author: DeviceId,
    /// Changes that wait inside the document for those they depend on, as they were vetted.
    waiting: BTreeMap<ChangeHash, VettedChange>,
}

/// Where a catch-up with one peer stands.
pub type SyncState = automerge::sync::State;

/// Why a document cannot be opened or changes cannot be taken in. Nothing was changed.
#[derive(thiserror::Error, Debug, PartialEq)]
pub enum DocError {
    #[error("the job's file is damaged: {0}")]
    Damaged(String),
    #[error("stored change {index} is damaged: {reason}")]
    DamagedChange { index: usize, reason: String },
    #[error("the changes do not fit this job: {0}")]
    Refused(String),
}

/// Why an edit was refused. Nothing was changed.
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
    #[error("the document refuses the edit: {0}")]
    Document(String),
}

impl From<AutomergeError> for EditError {
    fn from(error: AutomergeError) -> Self {
        Self::Document(error.to_string())
    }
}

/// One change: its hash and its bytes (one uncompressed or deflated chunk).
#[derive(Clone, PartialEq, Debug)]
pub struct NewChange {
    pub hash: ChangeHash,
    pub bytes: Vec<u8>,
}

impl From<Change> for NewChange {
    fn from(mut change: Change) -> Self {
        Self { hash: change.hash(), bytes: change.bytes().into_owned() }
    }
}

/// Most changes that may wait for the changes they depend on.
const MOST_WAITING: usize = 5_000;

/// A catch-up message from a phone stays below this, so that its frame fits into [`crate::wire::MOST_FRAME_BYTES`]; a message
/// with a single change may be longer, up to the most that a change may have.
const MOST_SYNC_BYTES: usize = crate::wire::MOST_FRAME_BYTES - 64 * 1024;

impl JobDoc {
    /// A document that holds only the fixed changes, the same on every device.
    ///
    /// `actor` must be new and random for each page session or process; `author` is the device.
    pub fn new(id: JobId, actor: [u8; 16], author: DeviceId) -> Self {
        Self::open(id, Automerge::new_with_encoding(schema::ENCODING), actor, author)
    }

    /// Loads what [`JobDoc::save`] wrote (own storage, checksummed; not bytes from outside).
    pub fn load(id: JobId, bytes: &[u8], actor: [u8; 16], author: DeviceId) -> Result<Self, DocError> {
        guard::whole(bytes).map_err(|refusal| DocError::Damaged(refusal.to_string()))?;
        let loaded = saved::load(bytes).map_err(DocError::Damaged)?;
        if schema::genesis_hash().is_none_or(|it| loaded.get_change_meta_by_hash(&it).is_none()) {
            return Err(DocError::Damaged("it does not start as a job does".to_owned()));
        }
        Ok(Self::open(id, loaded, actor, author))
    }

    /// Puts a job together from storage: the last snapshot, if any, and the single changes stored since, in any order.
    ///
    /// Strict: every change must be one sound chunk and be numbered on from those before. (Automerge's own loading of a concatenated
    /// log skips what is damaged and says nothing.)
    pub fn from_changes<'a>(
        id: JobId,
        snapshot: Option<&[u8]>,
        changes: impl Iterator<Item = &'a [u8]>,
        actor: [u8; 16],
        author: DeviceId,
    ) -> Result<Self, DocError> {
        let mut job = match snapshot {
            Some(bytes) => Self::load(id, bytes, actor, author)?,
            None => Self::new(id, actor, author),
        };
        let vetted = changes.enumerate().map(|(index, bytes)| {
            guard::change(bytes, None).map_err(|refusal| DocError::DamagedChange { index, reason: refusal.to_string() })
        });
        let vetted = vetted.collect::<Result<Vec<VettedChange>, _>>()?;
        let changes: Vec<Change> = vetted.iter().map(|it| it.change().clone()).collect();
        unwinding(|| job.doc.apply_changes(changes)).map_err(DocError::Refused)?;
        fit::all_number_on(&job.doc).map_err(DocError::Refused)?;
        job.wait_for(vetted);
        Ok(job)
    }

    fn open(id: JobId, doc: Automerge, actor: [u8; 16], author: DeviceId) -> Self {
        Self::open_as(id, doc, ActorId::from(actor), author)
    }

    fn open_as(id: JobId, mut doc: Automerge, actor: ActorId, author: DeviceId) -> Self {
        // The fixed changes are made in code and always fit; a document that is newer stays as it is.
        let migrated = schema::migrate(&mut doc);
        debug_assert!(migrated.is_ok(), "{migrated:?}");
        // The author first: setting it takes a new actor.
        doc.set_author(Some(Author::from(author.0.as_bytes().to_vec())));
        doc.set_actor(actor);
        Self { id, doc, author, waiting: BTreeMap::new() }
    }

    pub fn id(&self) -> JobId {
        self.id
    }

    /// The whole document, compact; changes that still wait for others are left out.
    pub fn save(&self) -> Vec<u8> {
        saved::save(&self.doc)
    }

    /// One action of a person: all edits or none, in one change with a short message. Returns the change, ready to be
    /// stored and sent; `None` when it changes nothing.
    pub fn edit(&mut self, edits: &[Edit], said: &str, at: Timestamp) -> Result<Option<NewChange>, EditError> {
        if schema::schema_of(&self.doc) > schema::SCHEMA {
            return Err(EditError::ReadOnly);
        }
        let at = Timestamp(at.0.clamp(0, Timestamp::LAST.0));
        // The bytes of a change are a little more than those of its edits: it stays well below what the guard lets through.
        let size: usize = edits.iter().map(|it| postcard::to_stdvec(it).map_or(usize::MAX, |bytes| bytes.len())).sum();
        if size > guard::MOST_BYTES / 2 {
            return Err(EditError::Invalid("this is too much for one action: do it in several".to_owned()));
        }
        // A transaction that is dropped on an error is rolled back.
        let mut tx = self.doc.transaction();
        for edit in edits {
            write::edit(&mut tx, edit, self.author, at)?;
        }
        if automerge::transaction::Transactable::pending_ops(&tx) > guard::MOST_OPS {
            return Err(EditError::Invalid("these are too many steps for one action: do it in several".to_owned()));
        }
        let message: String = said.chars().take(guard::MOST_MESSAGE / 4).collect();
        let (hash, _) = tx.commit_with(CommitOptions::default().with_message(message).with_time(at.0));
        Ok(hash.and_then(|hash| self.change(&hash)))
    }

    /// Takes in changes from elsewhere, in any order, repeated or late. Returns the hashes of the changes that have become part
    /// of the document, dependencies first: also of earlier ones that had waited for these.
    /// A change whose dependencies are missing waits inside; see [`JobDoc::missing`].
    pub fn apply(&mut self, changes: Vec<VettedChange>) -> Result<Vec<ChangeHash>, DocError> {
        let all: Vec<Change> = changes.iter().map(|it| it.change().clone()).collect();
        self.take_in(changes, |doc| doc.apply_changes(all.clone()))
    }

    pub fn heads(&self) -> Vec<ChangeHash> {
        self.doc.get_heads()
    }

    /// Whether the change is part of the document (applied, not waiting).
    pub fn has(&self, change: &ChangeHash) -> bool {
        self.doc.get_change_meta_by_hash(change).is_some()
    }

    /// One change of the document, ready to be stored and sent.
    pub fn change(&self, hash: &ChangeHash) -> Option<NewChange> {
        self.doc.get_change_by_hash(hash).map(NewChange::from)
    }

    /// Whether the change is here and waits for others.
    pub fn holds_back(&self, change: &ChangeHash) -> bool {
        self.waiting.contains_key(change)
    }

    /// How many changes wait for others.
    pub fn held_back(&self) -> usize {
        self.waiting.len()
    }

    /// Hashes that waiting changes need.
    pub fn missing(&self) -> BTreeSet<ChangeHash> {
        self.doc.get_missing_deps(&[]).into_iter().collect()
    }

    /// The bytes of every change not reachable from `have`, dependencies first, each one chunk.
    pub fn changes_since(&self, have: &[ChangeHash]) -> Vec<NewChange> {
        self.doc.get_changes(have).into_iter().map(NewChange::from).collect()
    }

    /// Hashes of the changes that none of these is or builds on; those that the document does not have count for nothing.
    pub fn hashes_outside(&self, have: &[[u8; 32]]) -> BTreeSet<[u8; 32]> {
        let have: Vec<ChangeHash> = have.iter().map(|it| ChangeHash(*it)).filter(|it| self.has(it)).collect();
        self.doc.get_changes_meta(&have).into_iter().map(|it| it.hash.0).collect()
    }

    /// Hashes of a change and of all that builds on it.
    pub fn hashes_on(&self, change: &[u8; 32]) -> BTreeSet<[u8; 32]> {
        let mut above = BTreeSet::from([*change]);
        // Each stands after those that it depends on.
        let all = self.doc.get_changes(&[]);
        all.iter().for_each(|it| above.extend(it.deps().iter().any(|dep| above.contains(&dep.0)).then(|| it.hash().0)));
        above
    }

    /// Whose an actor is, as its first change says; nobody's if that is not here.
    pub fn author_of_actor(&self, actor: &[u8]) -> Option<DeviceId> {
        let author = self.doc.get_author_for_actor(&ActorId::from(actor))?;
        Some(DeviceId(uuid::Uuid::from_slice(author.as_bytes()).unwrap_or_default()))
    }

    /// Whose a change is; nobody's are those of the schema.
    pub fn author_of(&self, change: &ChangeHash) -> Option<DeviceId> {
        let meta = self.doc.get_change_meta_by_hash(change)?;
        self.author_of_actor(meta.actor.to_bytes())
    }

    /// Another document that has the same.
    pub fn copy(&self) -> Self {
        Self { id: self.id, doc: self.doc.clone(), author: self.author, waiting: self.waiting.clone() }
    }

    /// How many changes the document has: what [`guard::sync`] wants to know.
    pub fn len(&self) -> usize {
        self.doc.stats().num_changes as usize
    }

    /// Whether nobody has edited the job yet.
    pub fn is_empty(&self) -> bool {
        self.len() <= schema::schema_of(&self.doc) as usize
    }

    /// The next catch-up message for a peer; `None` when there is nothing to say. `whole` allows one compact chunk with
    /// many changes (server to phone); without it each change is its own chunk, so that each can be vetted, and a message is
    /// cut to what fits into a frame: the rest follows when the peer answers.
    pub fn sync_message(&self, state: &mut SyncState, whole: bool) -> Option<Vec<u8>> {
        if whole {
            return self.doc.generate_sync_message(state).map(automerge::sync::Message::encode);
        }
        // Automerge sends compact chunks to a peer that says it can read them; single changes are its older form.
        let capabilities = state.their_capabilities.take();
        let message = self.doc.generate_sync_message(state);
        state.their_capabilities = capabilities;
        let mut message = message?;
        let mut size = 0;
        let all: Vec<Vec<u8>> = message.changes.iter().map(<[u8]>::to_vec).collect();
        let fits = all
            .iter()
            .take_while(|it| {
                size += it.len() + 4;
                size <= MOST_SYNC_BYTES
            })
            .count()
            .max(1);
        for left_out in all.iter().skip(fits) {
            if let Ok(change) = Change::try_from(left_out.as_slice()) {
                state.sent_hashes.remove(&change.hash());
            }
        }
        message.changes = all.into_iter().take(fits).collect::<Vec<_>>().into();
        Some(message.encode())
    }

    /// Like [`JobDoc::sync_message`], but it asks only and brings nothing.
    pub fn listening_message(&self, state: &mut SyncState) -> Option<Vec<u8>> {
        let mut message = self.doc.generate_sync_message(state)?;
        message.changes = Vec::<Vec<u8>>::new().into();
        Some(message.encode())
    }

    /// Takes in a catch-up message. Returns the changes that were new, dependencies first.
    pub fn receive_sync(&mut self, state: &mut SyncState, message: VettedSync) -> Result<Vec<NewChange>, DocError> {
        let mut next = state.clone();
        let new = if message.has_document() {
            let before = self.heads();
            let (message, changes) = message.into_parts();
            let mut copy = self.doc.clone();
            unwinding(|| copy.receive_sync_message(&mut next, message)).map_err(DocError::Refused)?;
            // The phone's own server has vetted all this: it is enough that it comes back from storage.
            if !saved::comes_back(&copy) {
                return Err(DocError::Refused("it would not come back from storage".to_owned()));
            }
            self.doc = copy;
            self.wait_for(changes);
            self.doc.get_changes_meta(&before).into_iter().map(|it| it.hash).collect()
        } else {
            let (message, changes) = message.into_parts();
            self.take_in(changes, |doc| {
                next = state.clone();
                doc.receive_sync_message(&mut next, message.clone())
            })?
        };
        *state = next;
        Ok(new.iter().filter_map(|it| self.change(it)).collect())
    }

    /// The job's name, without reading the rest.
    pub fn name(&self) -> String {
        read::name(&self.doc)
    }

    /// The photos, without reading the rest.
    pub fn photos(&self) -> Vec<Photo> {
        read::photos::all(&self.doc)
    }

    /// Whether the job is put away, without reading the rest.
    pub fn archived(&self) -> bool {
        read::archived(&self.doc)
    }

    /// The job as the document says it now.
    pub fn job(&self) -> Job {
        read::job(self.id, &View::now(&self.doc), &Parts::ALL)
    }

    /// Notes those of the changes that are inside the document and wait for others.
    fn wait_for(&mut self, changes: Vec<VettedChange>) {
        self.waiting.extend(changes.into_iter().map(|it| (it.hash(), it)));
        self.waiting.retain(|hash, _| self.doc.get_change_meta_by_hash(hash).is_none());
    }

    /// Changes a copy and keeps it only if that went well and the changes fit, so that neither an error nor a panic inside
    /// automerge leaves half a change behind. Returns the hashes of what is new in the document, dependencies first.
    fn take_in(
        &mut self,
        changes: Vec<VettedChange>,
        mut change: impl FnMut(&mut Automerge) -> Result<(), AutomergeError>,
    ) -> Result<Vec<ChangeHash>, DocError> {
        let changes: Vec<VettedChange> = changes.into_iter().filter(|it| !self.has(&it.hash())).collect();
        let taken = self.take_in_with_waiting(&changes, &mut change);
        if taken.is_ok() || self.waiting.is_empty() {
            return taken;
        }
        // It may be one of those that wait that does not fit. They must not keep out sound ones: they are dropped, and come
        // again with the next catch-up.
        let without = saved::load(&self.save()).map_err(DocError::Damaged)?;
        let actor = self.doc.get_actor().clone();
        let dropped = std::mem::replace(self, Self::open_as(self.id, without, actor, self.author));
        let taken = self.take_in_with_waiting(&changes, &mut change);
        if taken.is_err() {
            *self = dropped;
        }
        taken
    }

    fn take_in_with_waiting(
        &mut self,
        changes: &[VettedChange],
        change: &mut impl FnMut(&mut Automerge) -> Result<(), AutomergeError>,
    ) -> Result<Vec<ChangeHash>, DocError> {
        let mut vetted = self.waiting.clone();
        vetted.extend(changes.iter().map(|it| (it.hash(), it.clone())));
        let before = self.heads();
        let mut copy = self.doc.clone();
        let taken = unwinding(|| {
            change(&mut copy)?;
            let new = copy.get_changes_meta(&before);
            Ok(fit::check(&copy, &new, &vetted).map(|()| new.iter().map(|it| it.hash).collect::<Vec<_>>()))
        });
        let new = taken.and_then(|it| it).map_err(DocError::Refused)?;
        vetted.retain(|hash, _| copy.get_change_meta_by_hash(hash).is_none());
        if vetted.len() > MOST_WAITING {
            return Err(DocError::Refused("too many changes wait for others: catch up first".to_owned()));
        }
        self.doc = copy;
        self.waiting = vetted;
        Ok(new)
    }
}
