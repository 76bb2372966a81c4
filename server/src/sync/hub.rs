//! Every job that is shared, and every phone that is connected.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::ops::RangeInclusive;
use std::sync::atomic::{AtomicBool, AtomicU64, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use axum::body::Bytes;
use shared_model::ids::{DeviceId, JobId};
use shared_model::job::Timestamp;
use shared_model::wire::{Frame, JobEntry};
use tokio::sync::Notify;
use tokio::time::Instant;

use super::job::SharedJob;
use super::outbox::{Outbox, Parting};
use super::seals::Seals;
use crate::devices::Devices;
use crate::store::{Store, StoreError, Write};

/// Renames and new jobs are collected this long before everybody is told.
const NEWS_DELAY: Duration = Duration::from_millis(300);
/// Everybody is told no more often that jobs were worked on, and no less often: in between, no faster than so many bytes a second.
const TOLD_AGAIN: RangeInclusive<Duration> = Duration::from_secs(2)..=Duration::from_secs(30);
const TOLD_BYTES: f64 = 1_000_000.0;

const SWEEP_INTERVAL: Duration = Duration::from_secs(60);
/// A document that nobody used for so long leaves memory, even while phones share its job.
const IDLE: Duration = Duration::from_secs(300);
/// Most documents in memory; the longest unused leave first.
const MOST_DOCUMENTS: usize = 32;
/// A sweep comes early after so many were opened: a phone opens every job when it connects.
const OPENED_PER_SWEEP: usize = 16;

const MOST_CONNECTIONS: usize = 2_000;
const MOST_CONNECTIONS_PER_DEVICE: usize = 8;

#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct ConnectionId(u64);

pub type Shared = Arc<tokio::sync::Mutex<SharedJob>>;

pub struct Hub {
    pub store: Arc<Store>,
    pub devices: Arc<Devices>,
    pub seals: Seals,
    jobs: Mutex<HashMap<JobId, Shared>>,
    /// The oldest first.
    connections: Mutex<BTreeMap<ConnectionId, (DeviceId, Outbox)>>,
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
        let of_device = connections.values().filter(|(it, _)| *it == device);
        if of_device.clone().count() >= MOST_CONNECTIONS_PER_DEVICE
            && let Some((_, oldest)) = of_device.clone().next()
        {
            // A phone with a bad network leaves dead connections behind; the new one is the one it uses.
            oldest.part(Parting::Crowded);
        }
        let id = ConnectionId(self.next_connection.fetch_add(1, Ordering::Relaxed));
        connections.insert(id, (device, outbox));
        Ok(id)
    }

    pub fn leave(&self, id: ConnectionId) {
        lock(&self.connections).remove(&id);
        self.left.notify_waiters();
    }

    /// Ends every connection of a device.
    pub fn part(&self, device: DeviceId, why: &Parting) {
        for (_, outbox) in lock(&self.connections).values().filter(|(it, _)| *it == device) {
            outbox.part(why.clone());
        }
    }

    /// Devices that are connected now.
    pub fn connected(&self) -> BTreeSet<DeviceId> {
        lock(&self.connections).values().map(|(it, _)| *it).collect()
    }

    /// Keeps a device out for a while.
    pub fn charge(&self, device: DeviceId, time: Duration) {
        lock(&self.charged).insert(device, Instant::now() + time);
    }

    /// The frame that lists every job.
    pub fn list(&self) -> Frame {
        Frame::Jobs(lock(&self.list).values().cloned().collect())
    }

    /// Every job that is known here.
    pub fn jobs(&self) -> Vec<JobId> {
        lock(&self.list).keys().copied().collect()
    }

    /// Notes that a change of the job was stored.
    pub fn note_change(&self, job: JobId, at: Timestamp) {
        lock(&self.changed).insert(job, at);
        self.news.notify_one();
    }

    /// Notes that something of a job is damaged on the disk.
    pub fn note_damage(&self, job: JobId) {
        let marked = lock(&self.list).get(&job).filter(|it| it.mark.is_some()).map(|it| it.changed);
        if let Some(at) = marked {
            lock(&self.changed).entry(job).or_insert(at);
            self.news.notify_one();
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
        for (_, outbox) in lock(&self.connections).values() {
            outbox.part(Parting::Stopping);
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
        let mut untold = false;
        loop {
            if untold {
                // When nothing more comes, what is not told yet is.
                let _ = tokio::time::timeout_at(again, self.news.notified()).await;
            } else {
                self.news.notified().await;
            }
            tokio::time::sleep(NEWS_DELAY).await;
            let changed = std::mem::take(&mut *lock(&self.changed));
            untold |= !changed.is_empty();
            let mut renamed = false;
            for (job, at) in changed {
                renamed |= self.update_entry(job, at).await;
            }
            if renamed || (untold && Instant::now() >= again) {
                again = Instant::now() + self.tell_list().await;
                untold = false;
            }
        }
    }

    /// Tells the list to everybody; answers how long not to tell it again.
    async fn tell_list(&self) -> Duration {
        // A mark is told after the changes that it stands for: they go out when they are stored, in turn.
        let _ = self.store.commit(Vec::new()).await;
        let bytes = Bytes::from(self.list().encode());
        let connections = lock(&self.connections);
        for (_, outbox) in connections.values() {
            outbox.send_bytes(bytes.clone());
        }
        let all = (bytes.len() * connections.len()) as f64;
        Duration::from_secs_f64(all / TOLD_BYTES).clamp(*TOLD_AGAIN.start(), *TOLD_AGAIN.end())
    }

    /// Brings one entry of the list up to date; answers whether the job is new or has a new name.
    async fn update_entry(&self, job: JobId, changed: Timestamp) -> bool {
        let shared = self.shared(job);
        let mut shared = shared.lock().await;
        let (name, archived, whole) = match shared.document(&self.store).await {
            Ok(document) => (document.doc.name(), document.doc.archived(), document.is_whole()),
            Err(error) => {
                tracing::error!(%job, %error, "a job cannot be opened");
                return false;
            }
        };
        drop(shared);
        // A mark that cannot be read is none: then the phones look.
        let mark = self.store.mark(job).ok().flatten().filter(|_| whole);
        let entry = JobEntry { job, name: name.clone(), changed, archived, mark };
        let before = lock(&self.list).insert(job, entry);
        let renamed = before.is_none_or(|it| (it.name, it.archived) != (name.clone(), archived));
        if renamed && let Err(error) = self.store.commit(vec![Write::Listed { job, name, archived }]).await {
            tracing::warn!(%job, %error, "the name for the list was not stored; it is read from the job at the next start");
        }
        renamed
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
