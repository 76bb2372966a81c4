//! Every job that is shared, and every phone that is connected.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::sync::atomic::{AtomicBool, AtomicU64, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use axum::body::Bytes;
use shared_model::ids::{DeviceId, JobId};
use shared_model::job::Timestamp;
use shared_model::wire::{Frame, JobEntry};
use tokio::sync::Notify;
use tokio::time::Instant;
use uuid::Uuid;

use super::job::{OpenDocument, OpenError, SharedJob};
use super::outbox::{Outbox, Parting};
use super::seals::Seals;
use crate::devices::Devices;
use crate::store::{Store, StoreError, Write};

/// Renames and new jobs are collected this long before everybody is told.
const NEWS_DELAY: Duration = Duration::from_millis(300);
/// Everybody is told no more often that jobs were worked on.
const WORKED_ON_DELAY: Duration = Duration::from_secs(3);
/// Every job is looked at so often, for damage on the disk that nobody would see before somebody needs the job.
const LOOK_EVERY: Duration = Duration::from_secs(24 * 3_600);
/// Between two jobs that are looked at: phones come first.
const LOOK_PAUSE: Duration = Duration::from_millis(200);

const SWEEP_INTERVAL: Duration = Duration::from_secs(60);
/// A document that nobody used for so long leaves memory, even while phones share its job.
const IDLE: Duration = Duration::from_secs(300);
/// Most documents in memory; the longest unused leave first.
const MOST_DOCUMENTS: usize = 32;
/// A sweep comes early after so many were opened: a phone opens every job when it first connects.
const OPENED_PER_SWEEP: usize = 16;

const MOST_CONNECTIONS: usize = 2_000;
const MOST_CONNECTIONS_PER_DEVICE: usize = 8;

#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct ConnectionId(u64);

pub type Shared = Arc<tokio::sync::Mutex<SharedJob>>;

struct Connected {
    device: DeviceId,
    outbox: Outbox,
    /// It was told the list, and is told what is new in it.
    greeted: bool,
}

pub struct Hub {
    pub store: Arc<Store>,
    pub devices: Arc<Devices>,
    pub seals: Seals,
    jobs: Mutex<HashMap<JobId, Shared>>,
    /// The oldest first.
    connections: Mutex<BTreeMap<ConnectionId, Connected>>,
    next_connection: AtomicU64,
    /// Devices that sent too much that had to be refused, and until when they stay out.
    charged: Mutex<HashMap<DeviceId, Instant>>,
    list: Mutex<BTreeMap<JobId, JobEntry>>,
    /// Jobs changed since the list was last brought up to date.
    changed: Mutex<BTreeMap<JobId, Timestamp>>,
    news: Notify,
    opened: AtomicUsize,
    crowded: Notify,
    stopping: AtomicBool,
    left: Notify,
}

impl Hub {
    pub fn new(store: Arc<Store>, devices: Arc<Devices>, seals: Seals) -> Result<Self, StoreError> {
        let entries = store.jobs()?;
        let unnamed: BTreeMap<JobId, Timestamp> =
            entries.iter().filter(|it| it.name.is_empty()).map(|it| (it.job, it.changed)).collect();
        let news = Notify::new();
        if !unnamed.is_empty() {
            news.notify_one();
        }
        Ok(Self {
            store,
            devices,
            seals,
            jobs: Mutex::default(),
            connections: Mutex::default(),
            next_connection: AtomicU64::new(0),
            charged: Mutex::default(),
            list: Mutex::new(entries.into_iter().map(|it| (it.job, it)).collect()),
            changed: Mutex::new(unnamed),
            news,
            opened: AtomicUsize::new(0),
            crowded: Notify::new(),
            stopping: AtomicBool::new(false),
            left: Notify::new(),
        })
    }

    /// The job as it is shared; unknown jobs begin empty and are stored with their first change.
    pub fn shared(&self, job: JobId) -> Shared {
        let new = || Arc::new(tokio::sync::Mutex::new(SharedJob::new(job)));
        Arc::clone(lock(&self.jobs).entry(job).or_insert_with(new))
    }

    /// Lets a phone in.
    pub fn enter(&self, device: DeviceId, outbox: Outbox) -> Result<ConnectionId, Parting> {
        let now = Instant::now();
        let mut charged = lock(&self.charged);
        charged.retain(|_, until| *until > now);
        if charged.contains_key(&device) {
            return Err(Parting::Charged);
        }
        drop(charged);
        if self.stopping.load(Ordering::Acquire) {
            return Err(Parting::Stopping);
        }
        let mut connections = lock(&self.connections);
        if connections.len() >= MOST_CONNECTIONS {
            return Err(Parting::Crowded);
        }
        let of_device = connections.values().filter(|it| it.device == device);
        if of_device.clone().count() >= MOST_CONNECTIONS_PER_DEVICE
            && let Some(oldest) = of_device.clone().next()
        {
            // A phone with a bad network leaves dead connections behind; the new one is the one it uses.
            oldest.outbox.part(Parting::Crowded);
        }
        let id = ConnectionId(self.next_connection.fetch_add(1, Ordering::Relaxed));
        connections.insert(id, Connected { device, outbox, greeted: false });
        Ok(id)
    }

    pub fn leave(&self, id: ConnectionId) {
        lock(&self.connections).remove(&id);
        self.left.notify_waiters();
    }

    /// Ends every connection of a device.
    pub fn part(&self, device: DeviceId, why: &Parting) {
        for it in lock(&self.connections).values().filter(|it| it.device == device) {
            it.outbox.part(why.clone());
        }
    }

    /// Devices that are connected now.
    pub fn connected(&self) -> BTreeSet<DeviceId> {
        lock(&self.connections).values().map(|it| it.device).collect()
    }

    /// Keeps a device out for a while.
    pub fn charge(&self, device: DeviceId, time: Duration) {
        lock(&self.charged).insert(device, Instant::now() + time);
    }

    /// Tells a phone or another server every job, and from now on what is new in the list.
    pub fn greet(&self, id: ConnectionId) {
        if let Some(it) = lock(&self.connections).get_mut(&id) {
            it.greeted = true;
            it.outbox.send(&Frame::Jobs(self.list()));
        }
    }

    pub fn list(&self) -> Vec<JobEntry> {
        lock(&self.list).values().cloned().collect()
    }

    /// Every job that is known here.
    pub fn jobs(&self) -> Vec<JobId> {
        lock(&self.list).keys().copied().collect()
    }

    /// Notes that something is new in a job.
    pub fn note_change(&self, job: JobId, at: Timestamp) {
        let mut changed = lock(&self.changed);
        let known = changed.entry(job).or_insert(at);
        *known = at.max(*known);
        drop(changed);
        self.news.notify_one();
    }

    /// Notes that something of a job is damaged on the disk.
    pub fn note_damage(&self, job: JobId) {
        let marked = lock(&self.list).get(&job).filter(|it| it.mark.is_some()).map(|it| it.changed);
        if let Some(at) = marked {
            self.note_change(job, at);
        }
    }

    /// Notes that a job was opened, which may have read its document into memory.
    pub fn note_open(&self) {
        if self.opened.fetch_add(1, Ordering::Relaxed) % OPENED_PER_SWEEP == OPENED_PER_SWEEP - 1 {
            self.crowded.notify_one();
        }
    }

    /// Says goodbye to every phone and waits until all have left, but not for ever.
    pub async fn stop(&self) {
        self.stopping.store(true, Ordering::Release);
        for it in lock(&self.connections).values() {
            it.outbox.part(Parting::Stopping);
        }
        let empty = async {
            loop {
                let left = self.left.notified();
                if lock(&self.connections).is_empty() {
                    break;
                }
                left.await;
            }
        };
        let _ = tokio::time::timeout(Duration::from_secs(3), empty).await;
    }

    /// Keeps the list of jobs up to date on all phones; runs as long as the server.
    pub async fn keep_list(self: Arc<Self>) {
        let mut again = Instant::now();
        let mut untold = BTreeSet::new();
        loop {
            if untold.is_empty() {
                self.news.notified().await;
            } else {
                // When nothing more comes, what is not told yet is.
                let _ = tokio::time::timeout_at(again, self.news.notified()).await;
            }
            tokio::time::sleep(NEWS_DELAY).await;
            let changed = std::mem::take(&mut *lock(&self.changed));
            let (mut renamed, epoch) = (false, self.store.epoch());
            for (job, at) in &changed {
                renamed |= self.update_entry(*job, *at).await;
                untold.insert(*job);
            }
            let _ = self.store.commit(Vec::new()).await;
            if self.store.epoch() != epoch {
                // Something that was in memory is not on the disk: it is read again.
                changed.into_iter().for_each(|(job, at)| self.note_change(job, at));
            } else if renamed || (!untold.is_empty() && Instant::now() >= again) {
                self.tell(&std::mem::take(&mut untold));
                again = Instant::now() + WORKED_ON_DELAY;
            }
        }
    }

    /// Tells everybody what is new in the list.
    fn tell(&self, jobs: &BTreeSet<JobId>) {
        let connections = lock(&self.connections);
        let entries = jobs.iter().filter_map(|it| lock(&self.list).get(it).cloned()).collect();
        let bytes = Bytes::from(Frame::Jobs(entries).encode());
        for it in connections.values().filter(|it| it.greeted) {
            it.outbox.send_bytes(bytes.clone());
        }
    }

    /// Brings one entry of the list up to date; answers whether the job is new or has a new name.
    async fn update_entry(&self, job: JobId, changed: Timestamp) -> bool {
        let shared = self.shared(job);
        let mut shared = shared.lock().await;
        let (name, archived, mark, epoch) = match shared.document(&self.store).await {
            Ok(it) => (it.doc.name(), it.doc.archived(), it.mark(), it.epoch),
            Err(error) => {
                tracing::error!(%job, %error, "a job cannot be opened");
                self.unmark(job, self.store.epoch());
                return false;
            }
        };
        if mark.is_none() {
            self.unmark(job, epoch);
        }
        drop(shared);
        let entry = JobEntry { job, name: name.clone(), changed, archived, mark };
        let before = lock(&self.list).insert(job, entry);
        let renamed = before.is_none_or(|it| (it.name, it.archived) != (name.clone(), archived));
        if renamed && let Err(error) = self.store.commit(vec![Write::Listed { job, name, archived }]).await {
            tracing::warn!(%job, %error, "the name for the list was not stored; it is read from the job at the next start");
        }
        renamed
    }

    /// What is damaged is so after a restart too, before anybody has looked.
    fn unmark(&self, job: JobId, epoch: u64) {
        let marked = lock(&self.list).get_mut(&job).is_some_and(|it| it.mark.take().is_some());
        if marked {
            self.store.submit(epoch, vec![Write::Mark { job, mark: None }], |_| {});
        }
    }

    /// Looks at every job in turn, for damage on the disk, and for marks that are not stored; runs as long as the server.
    pub async fn look_over(self: Arc<Self>) {
        loop {
            let mut jobs = self.jobs();
            // A server that runs for minutes at a time gets to all of them too.
            let first = Uuid::new_v4().as_u128() % jobs.len().max(1) as u128;
            jobs.rotate_left(first as usize);
            for job in jobs {
                tokio::time::sleep(LOOK_PAUSE).await;
                self.look_at(job).await;
            }
            tokio::time::sleep(LOOK_EVERY).await;
        }
    }

    async fn look_at(&self, job: JobId) {
        self.glance(job, |found| {
            let Some(JobEntry { changed, mark, .. }) = lock(&self.list).get(&job).cloned() else { return };
            match found.map(|it| (it.mark(), it.epoch)) {
                Ok((found, _)) if found == mark => {}
                Ok((found, epoch)) => {
                    self.store.submit(epoch, vec![Write::Mark { job, mark: found }], |_| {});
                    self.note_change(job, changed);
                }
                Err(_) => self.note_change(job, changed),
            }
        })
        .await;
    }

    /// Reads something of a job. The crew's documents stay in memory, not those that are only looked at.
    pub async fn glance<T>(&self, job: JobId, read: impl FnOnce(Result<&mut OpenDocument, OpenError>) -> T) -> T {
        let shared = self.shared(job);
        let mut shared = shared.lock().await;
        let was_held = shared.holds_document();
        let found = read(shared.document(&self.store).await);
        if !was_held {
            shared.forget_document();
        }
        found
    }

    /// Takes documents out of memory that nobody uses; runs as long as the server.
    pub async fn sweep(self: Arc<Self>) {
        loop {
            // Early or not, the same is to be done.
            let _ = tokio::time::timeout(SWEEP_INTERVAL, self.crowded.notified()).await;
            let jobs: Vec<(JobId, Shared)> = lock(&self.jobs).iter().map(|(id, it)| (*id, Arc::clone(it))).collect();
            let mut loaded = Vec::new();
            for (id, shared) in &jobs {
                let Ok(it) = shared.try_lock() else { continue };
                if it.holds_document() {
                    loaded.push((it.used, *id));
                }
            }
            loaded.sort_unstable();
            let surplus = loaded.len().saturating_sub(MOST_DOCUMENTS);
            for (index, (used, id)) in loaded.into_iter().enumerate() {
                if index >= surplus && used.elapsed() < IDLE {
                    break;
                }
                if let Ok(mut it) = self.shared(id).try_lock() {
                    it.forget_document();
                }
            }
            drop(jobs);
            lock(&self.jobs).retain(|_, shared| {
                let in_use = Arc::strong_count(shared) > 1;
                in_use || shared.try_lock().map_or(true, |it| it.holds_document() || !it.listeners.is_empty())
            });
        }
    }
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    // Nothing panics while it holds one of these locks halfway through a change.
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
