//! What a phone asks for, frame by frame.

use std::collections::HashMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use axum::body::Bytes;
use shared_model::guard::{self, Refusal};
use shared_model::ids::{DeviceId, JobId};
use shared_model::job::{NewChange, SyncState};
use shared_model::wire::{Frame, Person, Role, Whereabouts};
use tokio::time::Instant;

use super::actors::{actor_of, own_actor, own_actors};
use super::hub::{ConnectionId, Hub, Shared};
use super::job::{Listener, OpenDocument, OpenError, Panicked, SharedJob, guarded, heads_of, store_verified};
use super::outbox::{self, Outbox, Parting};
use super::share::{Share, Taken};
use crate::clock;
use crate::limits::Bucket;
use crate::store::{Device, Write};

/// Most jobs that one phone shares at a time; the client shares all that the shop has.
const MOST_OPEN: usize = 4_096;

/// Refused frames a connection may send at once, and how long a device that sends more stays out.
const MOST_REFUSED: f64 = 20.0;
const CHARGED_FOR: Duration = Duration::from_secs(120);

/// A connected phone.
pub struct Phone {
    pub id: ConnectionId,
    pub device: Device,
    pub outbox: Outbox,
    open: HashMap<JobId, Share>,
    /// The job of which it is bringing what others wrote.
    bringing: Option<JobId>,
    refused: Bucket,
    presence: Bucket,
}

impl Phone {
    pub fn new(id: ConnectionId, device: Device, outbox: Outbox) -> Self {
        let now = Instant::now();
        Self {
            id,
            device,
            outbox,
            open: HashMap::new(),
            bringing: None,
            refused: Bucket::new(MOST_REFUSED, 0.1, now),
            presence: Bucket::new(20.0, 5.0, now),
        }
    }

    /// Answers one frame. An error ends the connection.
    pub async fn take(&mut self, hub: &Hub, frame: Frame) -> Result<(), Parting> {
        match frame {
            Frame::Open { job } => self.open(hub, job).await,
            Frame::Close { job } => {
                self.close(job).await;
                Ok(())
            }
            Frame::Sync { job, message, .. } => self.sync(hub, job, &message).await,
            Frame::Change { job, change, .. } => self.change(hub, job, &change).await,
            Frame::Sealed { job, seal } => {
                if let Some(it) = self.open.get_mut(&job) {
                    it.show(hub, job, &seal);
                }
                Ok(())
            }
            Frame::Presence { job, at, .. } => self.presence(job, at).await,
            // Between servers each side answers the other's changes; what is on disk there is no news here.
            Frame::Ack { .. } | Frame::Jobs(_) | Frame::Role(_) | Frame::Damaged { .. } if self.is_server() => Ok(()),
            Frame::Nack { job, reason, .. } if self.is_server() => {
                tracing::warn!(device = %self.device.id, %job, reason, "another server refused what it was sent");
                Ok(())
            }
            Frame::Hello(_)
            | Frame::Welcome(_)
            | Frame::Jobs(_)
            | Frame::Ack { .. }
            | Frame::Nack { .. }
            | Frame::Goodbye { .. }
            | Frame::Role(_)
            | Frame::Roster(_)
            | Frame::Vouch { .. }
            | Frame::Vouched { .. }
            | Frame::Damaged { .. }
            | Frame::SealKeys(_) => Err(Parting::NotUnderstood("a frame that a phone does not send now".into())),
        }
    }

    /// Whether it is another server of the shop.
    pub fn is_server(&self) -> bool {
        self.device.role == Role::Server
    }

    /// Whether a job is shared with it.
    pub fn shares(&self, job: JobId) -> bool {
        self.open.contains_key(&job)
    }

    /// Whose changes it may send: a phone its own, another server everybody's.
    fn author(&self) -> Option<DeviceId> {
        (!self.is_server()).then_some(self.device.id)
    }

    /// Leaves every job.
    pub async fn leave(&mut self) {
        for job in self.open.keys().copied().collect::<Vec<_>>() {
            self.close(job).await;
        }
    }

    pub async fn open(&mut self, hub: &Hub, id: JobId) -> Result<(), Parting> {
        if self.open.len() >= MOST_OPEN && !self.is_server() && !self.open.contains_key(&id) {
            return Err(Parting::Crowded);
        }
        let job = hub.shared(id);
        let mut shared = job.lock().await;
        let document = match shared.document(&hub.store).await {
            Ok(document) => document,
            Err(error) => return self.cannot_open(id, error),
        };
        let (mut catch_up, is_server) = (SyncState::new(), self.is_server());
        let epoch = document.epoch;
        let first = say(document, &mut catch_up, !is_server).map(|it| hub.seals.catch_up(&document.doc, it));
        if document.mark().is_none() {
            hub.note_damage(id);
        }
        let damage = document.damage(&hub.devices).filter(|_| !is_server);

        let others = shared.listeners.iter().filter(|(other, _)| **other != self.id);
        let mut frames: Vec<Frame> = first.into_iter().chain(damage).collect();
        frames.extend(others.filter_map(|(_, other)| {
            other.at.map(|at| Frame::Presence { job: id, who: Some(other.person.clone()), at })
        }));
        let person = Person { device: self.device.id, name: self.device.person.clone() };
        let begun = Arc::new(AtomicBool::new(false));
        let brings = self.device.role != Role::Viewer;
        let listener = Listener { outbox: self.outbox.clone(), person, at: None, brings, begun: Arc::clone(&begun) };
        shared.listeners.insert(self.id, listener);
        let outbox = self.outbox.clone();
        hub.store.submit(epoch, Vec::new(), move |stored| match stored {
            Ok(()) => {
                frames.iter().for_each(|it| outbox.send(it));
                begun.store(true, Ordering::Release);
            }
            Err(error) => outbox.part(Parting::NotStored(error.to_string())),
        });
        drop(shared);
        hub.note_open();
        self.open.insert(id, Share::new(job, catch_up));
        Ok(())
    }

    pub async fn close(&mut self, id: JobId) {
        let Some(share) = self.open.remove(&id) else { return };
        let mut shared = share.job.lock().await;
        shared.leave(self.id);
        if shared.holds_orphans() {
            shared.forget_document();
        }
    }

    async fn sync(&mut self, hub: &Hub, id: JobId, message: &[u8]) -> Result<(), Parting> {
        let is_server = self.is_server();
        let Some(share) = self.open.get_mut(&id) else { return self.ignore(id) };
        let job = Shared::clone(&share.job);
        let mut shared = job.lock().await;
        let document = match shared.document(&hub.store).await {
            Ok(document) => document,
            Err(error) => return self.cannot_open(id, error),
        };
        let vetted = match guarded(|| guard::sync(message, document.doc.len(), None, false)) {
            Ok(Ok(vetted)) => vetted,
            Ok(Err(refusal)) => return self.refuse(hub, id, None, &refusal.to_string()),
            Err(Panicked) => return self.refuse(hub, id, None, "it cannot be read"),
        };
        let vetted = if self.device.role == Role::Viewer { vetted.without_changes() } else { vetted };
        let (doc, phone) = (&mut document.doc, self.device.id);
        let taken = tokio::task::block_in_place(|| {
            guarded(|| if is_server { share.trust(doc, vetted) } else { share.take(doc, vetted, phone, hub) })
        });
        let changes = match taken {
            Ok(Ok(Taken::New(changes))) => changes,
            Ok(Ok(Taken::Later(reply))) => {
                // One at a time: a copy of a document for each of many jobs would fill the memory.
                if let Some(before) = self.bringing.replace(id).filter(|it| *it != id)
                    && let Some(share) = self.open.get_mut(&before)
                {
                    share.give_up();
                }
                if let Some(message) = reply {
                    self.outbox.send(&Frame::Sync { job: id, message, seal: None });
                }
                return Ok(());
            }
            Ok(Ok(Taken::TooMuch)) => return self.refuse(hub, id, None, "it brings too much of others at once"),
            Ok(Ok(Taken::Unsealed(hash))) => {
                let reason = "no server of the shop vouches that it is from whom it says";
                return self.refuse(hub, id, Some(hash), reason);
            }
            Ok(Err(error)) => return self.refuse(hub, id, None, &error.to_string()),
            Err(Panicked) => {
                shared.forget_document();
                return self.refuse(hub, id, None, "it cannot be read");
            }
        };
        let reply = say(document, &mut share.catch_up, !is_server);
        let reply = reply.map(|message| hub.seals.catch_up(&document.doc, message));
        let claims = match own_actors(hub, self.device.id, &changes) {
            Ok(claims) => claims,
            Err(parting) => {
                // The changes are in memory and will not be stored: nobody must be told that the server has them.
                shared.forget_document();
                return Err(parting);
            }
        };
        self.keep(hub, &mut shared, changes, claims, reply)
    }

    async fn change(&mut self, hub: &Hub, id: JobId, bytes: &[u8]) -> Result<(), Parting> {
        let Some(job) = self.open.get(&id).map(|it| Shared::clone(&it.job)) else { return self.ignore(id) };
        let vetted = match guarded(|| guard::change(bytes, self.author())) {
            Ok(Ok(vetted)) => vetted,
            Ok(Err(refusal)) => {
                let hash = guarded(|| guard::change(bytes, None)).ok().and_then(Result::ok).map(|it| it.hash().0);
                return self.refuse(hub, id, hash, &refusal.to_string());
            }
            Err(Panicked) => return self.refuse(hub, id, None, "it cannot be read"),
        };
        let hash = vetted.hash();
        if self.device.role == Role::Viewer {
            return self.refuse(hub, id, Some(hash.0), "this phone may look, not change");
        }
        let mut claims = Vec::new();
        if let (true, Some(author)) = (self.is_server(), vetted.author()) {
            claims.extend(actor_of(hub, &vetted, author)?);
        }
        let mut shared = job.lock().await;
        let document = match shared.document(&hub.store).await {
            Ok(document) => document,
            Err(error) => return self.cannot_open(id, error),
        };
        if !self.is_server() {
            let actor = vetted.actor().to_bytes();
            // Whose an actor is its first change says, and nobody else: until that is here, the phone must catch the server up.
            let whose = vetted.author().or_else(|| document.doc.author_of_actor(actor));
            match whose {
                None => {
                    let reply = self.ask_anew(hub, document);
                    return self.keep(hub, &mut shared, Vec::new(), claims, reply);
                }
                Some(author) if author == self.device.id => {}
                Some(_) => return self.refuse(hub, id, Some(hash.0), &Refusal::NotTheAuthor.to_string()),
            }
            let Some(actor) = own_actor(hub, self.device.id, actor)? else {
                return self.refuse(hub, id, Some(hash.0), &Refusal::NotTheAuthor.to_string());
            };
            if vetted.seq() == 1 {
                claims.push(Write::Actor { actor, device: self.device.id });
            }
        }
        let known = document.doc.has(&hash);
        let applied = match guarded(|| document.doc.apply(vec![vetted])) {
            Ok(Ok(applied)) => applied,
            Ok(Err(error)) => return self.refuse(hub, id, Some(hash.0), &error.to_string()),
            Err(Panicked) => {
                shared.forget_document();
                return self.refuse(hub, id, Some(hash.0), "it cannot be applied");
            }
        };
        let changes: Vec<NewChange> = match applied.as_slice() {
            [only] if *only == hash => vec![NewChange { hash, bytes: bytes.to_vec() }],
            all => all.iter().filter_map(|it| document.doc.change(it)).collect(),
        };
        let reply = if known {
            let proof = hub.seals.seal(id, vec![hash.0]).map(|it| it.proof);
            Some(Frame::Ack { job: id, hashes: vec![hash.0], proof })
        } else if changes.is_empty() {
            // It depends on changes that the server does not have: the phone must catch the server up.
            self.ask_anew(hub, document)
        } else {
            None
        };
        self.keep(hub, &mut shared, changes, claims, reply)
    }

    /// Begins the catch-up of a job afresh.
    fn ask_anew(&mut self, hub: &Hub, document: &OpenDocument) -> Option<Frame> {
        let is_server = self.is_server();
        let share = self.open.get_mut(&document.doc.id())?;
        share.catch_up = SyncState::new();
        let message = say(document, &mut share.catch_up, !is_server)?;
        Some(hub.seals.catch_up(&document.doc, message))
    }

    /// Passes new changes on and stores them; then acknowledges them, and sends `reply`. Who gets them before they are on the disk
    /// comes back with them if they never get there, as does who made them; who could not gets them when they are.
    fn keep(
        &self,
        hub: &Hub,
        shared: &mut SharedJob,
        changes: Vec<NewChange>,
        mut writes: Vec<Write>,
        reply: Option<Frame>,
    ) -> Result<(), Parting> {
        let (others, later) = shared.outboxes_except(self.id);
        // Never another copy than the one that took the changes in. If a write failed since, the store refuses these too.
        let Some(document) = shared.held() else { return Err(Parting::Unreadable("the job left memory".into())) };
        let (id, epoch, now) = (document.doc.id(), document.epoch, clock::now());
        let mended = document.mended();
        writes.extend(document.number(&changes, self.device.id, now));
        let news = !changes.is_empty();
        let hashes = changes.iter().map(|it| it.hash.0).collect();
        let proof = hub.seals.proof(id, &changes);
        let mut to_phone: Vec<Frame> = news.then_some(Frame::Ack { job: id, hashes, proof }).into_iter().collect();
        to_phone.extend(reply);
        to_phone.extend(mended.clone().filter(|_| !self.is_server()));
        let live: Vec<Bytes> =
            changes.into_iter().map(|it| hub.seals.live(id, it)).chain(mended.map(|it| it.encode().into())).collect();
        let outbox = self.outbox.clone();
        outbox::send_all(&others, &live);
        hub.store.submit(epoch, writes, move |stored| match stored {
            Ok(()) => {
                to_phone.iter().for_each(|it| outbox.send(it));
                outbox::send_all(&later, &live);
            }
            Err(error) => {
                let parting = Parting::NotStored(error.to_string());
                others.iter().chain([&outbox]).for_each(|it| it.part(parting.clone()));
            }
        });
        if news {
            hub.note_change(id, now);
        }
        if let Some((seq, bytes)) = document.snapshot_due() {
            let heads = heads_of(&document.doc);
            let store = Arc::clone(&hub.store);
            tokio::task::spawn_blocking(move || store_verified(&store, epoch, id, seq, bytes, &heads));
        }
        Ok(())
    }

    async fn presence(&mut self, id: JobId, at: Whereabouts) -> Result<(), Parting> {
        let Some(share) = self.open.get(&id) else { return self.ignore(id) };
        if self.presence.try_take(1.0, Instant::now()) || at == Whereabouts::Gone {
            share.job.lock().await.announce(self.id, at);
        }
        Ok(())
    }

    /// A job that cannot be opened must not keep the phone from the others. Another server, whose call would end, tries it again.
    fn cannot_open(&self, job: JobId, error: OpenError) -> Result<(), Parting> {
        match error {
            OpenError::Store(error) if !self.is_server() || self.shares(job) => Err(error.into()),
            error => {
                tracing::error!(%job, %error, "a job cannot be opened");
                let reason = error.to_string();
                let told =
                    if self.is_server() { Frame::Close { job } } else { Frame::Nack { job, hash: None, reason } };
                self.outbox.send(&told);
                Ok(())
            }
        }
    }

    /// The phone has closed the job in the meantime, or it could not be opened. What it sent stays unconfirmed.
    fn ignore(&self, job: JobId) -> Result<(), Parting> {
        tracing::debug!(device = %self.device.id, %job, "a frame for a job that is not open");
        Ok(())
    }

    /// Tells the phone that it must set something apart, and charges the device.
    fn refuse(&mut self, hub: &Hub, job: JobId, hash: Option<[u8; 32]>, reason: &str) -> Result<(), Parting> {
        tracing::warn!(device = %self.device.id, %job, reason, "refused");
        self.outbox.send(&Frame::Nack { job, hash, reason: reason.to_owned() });
        if self.refused.try_take(1.0, Instant::now()) {
            return Ok(());
        }
        hub.charge(self.device.id, CHARGED_FOR);
        Err(Parting::Charged)
    }
}

/// The server's next catch-up message for a phone, or in single changes, which each are vetted, for another server.
fn say(document: &OpenDocument, catch_up: &mut SyncState, whole: bool) -> Option<Vec<u8>> {
    let message = tokio::task::block_in_place(|| guarded(|| document.doc.sync_message(catch_up, whole)));
    message.unwrap_or_else(|Panicked| {
        *catch_up = SyncState::new();
        None
    })
}
