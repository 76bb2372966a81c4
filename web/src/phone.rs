//! What the whole page shares: the jobs on this phone, who its person is, the connection, and every event's way from a finger
//! or a frame through the document to storage, network and screen.

use std::collections::BTreeMap;
use std::sync::Arc;

use leptos::prelude::*;
use serde::{Deserialize, Serialize};
use shared_model::ids::JobId;
use shared_model::job::{DocError, Edit, Job, Timestamp};
use shared_model::wire::{Frame, Lost, Person, Role, Whereabouts};
use uuid::Uuid;
use wasm_bindgen_futures::spawn_local;

use crate::keeping::Keeping;
use crate::kept::{Kept, Outcome, SetApart};
use crate::offline::{JobRecord, Storage, Write};
use crate::opening;
use crate::tabs::{TabNote, Tabs};
use crate::theme::Theme;
use crate::truth::{Link, SyncTruth};
use crate::undo::{Move, Undo};

/// The setting that keeps [`Me`].
const ME: &str = "me";
/// The setting that keeps the [`Role`].
const ROLE: &str = "role";
/// The setting that keeps [`Keeping`].
const KEEPING: &str = "keeping";
/// Who has not been heard of for so many seconds is gone.
const GONE_AFTER: i64 = 60;

/// Who the server says this phone is; kept, so that the tool works without it.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Me {
    pub person: Person,
    pub shop: String,
    pub replica: [u8; 16],
}

/// One person somewhere in a job.
#[derive(Clone, PartialEq, Debug)]
pub struct Seen {
    pub person: Person,
    pub at: Whereabouts,
    when: Timestamp,
}

/// What the screen shows of one job.
#[derive(Clone)]
pub struct JobSignals {
    pub job: ArcRwSignal<Arc<Job>>,
    pub truth: ArcRwSignal<SyncTruth>,
    pub seen: ArcRwSignal<Vec<Seen>>,
    /// What undo and redo would do, in words.
    pub undo: ArcRwSignal<(Option<String>, Option<String>)>,
    pub apart: ArcRwSignal<Vec<SetApart>>,
    /// What is damaged on the server's disk, and how many changes wait for it.
    pub lost: ArcRwSignal<(Vec<Lost>, u32)>,
}

/// One job in memory.
pub struct Loaded {
    pub kept: Kept,
    pub undo: Undo,
    pub record: JobRecord,
    pub signals: JobSignals,
}

#[derive(Default)]
struct Inner {
    storage: Option<Storage>,
    tabs: Option<Tabs>,
    loaded: BTreeMap<JobId, Loaded>,
    loading: Vec<JobId>,
    /// Jobs shared over the connection that is up.
    shared: Vec<JobId>,
    whereabouts: Option<(JobId, Whereabouts)>,
    resting: Resting,
}

/// The phone. A handle: copy it freely.
#[derive(Clone, Copy)]
pub struct Phone {
    pub jobs: RwSignal<Vec<JobRecord>>,
    pub me: RwSignal<Option<Me>>,
    /// What the server lets this phone do; kept, as the phone holds to it without a server too.
    pub role: RwSignal<Role>,
    /// Which jobs it keeps.
    pub keeping: RwSignal<Keeping>,
    pub link: RwSignal<Link>,
    /// Something the person must read once.
    pub notice: RwSignal<Option<String>>,
    /// Why nothing can be stored at the moment.
    pub trouble: RwSignal<Option<String>>,
    /// The server serves another build of this page.
    pub newer_build: RwSignal<Option<String>>,
    pub theme: RwSignal<Theme>,
    /// Everything kept on the phone has been listed.
    pub started: RwSignal<bool>,
    send: StoredValue<Option<Callback<Frame>>>,
    inner: StoredValue<Inner, LocalStorage>,
}

impl Phone {
    pub fn new() -> Self {
        Self {
            jobs: RwSignal::default(),
            me: RwSignal::default(),
            role: RwSignal::new(Role::Crew),
            keeping: RwSignal::default(),
            link: RwSignal::default(),
            notice: RwSignal::default(),
            trouble: RwSignal::default(),
            newer_build: RwSignal::default(),
            theme: RwSignal::default(),
            started: RwSignal::default(),
            send: StoredValue::new(None),
            inner: StoredValue::new_local(Inner::default()),
        }
    }

    /// The phone that this component is on.
    pub fn here() -> Self {
        expect_context()
    }

    /// Reads what is kept; the network comes after it.
    pub async fn start(self) {
        let storage = match Storage::open(move |trouble| self.trouble.set(trouble)).await {
            Ok(storage) => storage,
            Err(error) => return self.trouble.set(Some(error.told())),
        };
        let leaving = storage.clone();
        window_event_listener(leptos::ev::beforeunload, move |event| {
            if leaving.is_failing() {
                event.prevent_default();
            }
        });
        match storage.setting(ME).await {
            // What another version wrote the server's next answer replaces.
            Ok(me) => self.me.set(me.and_then(|it| postcard::from_bytes(&it).ok())),
            Err(error) => self.trouble.set(Some(error.told())),
        }
        if let Ok(Some(role)) = storage.setting(ROLE).await {
            self.role.set(postcard::from_bytes(&role).unwrap_or(Role::Crew));
        }
        if let Ok(Some(keeping)) = storage.setting(KEEPING).await {
            self.keeping.set(postcard::from_bytes(&keeping).unwrap_or_default());
        }
        match storage.jobs().await {
            Ok(jobs) => self.set_jobs(jobs),
            Err(error) => self.trouble.set(Some(error.told())),
        }
        let tabs = Tabs::open(move |note| self.hear_tab(note));
        self.inner.update_value(|it| (it.storage, it.tabs) = (Some(storage.clone()), tabs));
        self.read_rests(&storage).await;
        self.started.set(true);
    }

    /// How frames leave; set by the connection.
    pub fn set_sender(self, send: Callback<Frame>) {
        self.send.set_value(Some(send));
    }

    pub fn storage(self) -> Option<Storage> {
        self.inner.with_value(|it| it.storage.clone())
    }

    fn set_jobs(self, mut jobs: Vec<JobRecord>) {
        jobs.sort_by(|a, b| b.changed.cmp(&a.changed).then(a.job.cmp(&b.job)));
        self.jobs.set(jobs);
    }

    /// Changes or adds a line of the list.
    fn set_record(self, record: JobRecord) {
        let mut jobs = self.jobs.get_untracked();
        jobs.retain(|it| it.job != record.job);
        jobs.push(record);
        self.set_jobs(jobs);
    }

    fn keep(self, job: JobId, kept: Kept, undo: Undo, record: Option<JobRecord>, apart: Vec<SetApart>) {
        let read = Arc::new(kept.job());
        let record = record.unwrap_or_else(|| JobRecord { job, name: read.name.clone(), changed: now(), shared: None });
        let truth = SyncTruth { waiting: kept.waiting(), refused: apart.len(), shared: record.shared };
        let signals = JobSignals {
            job: ArcRwSignal::new(read),
            truth: ArcRwSignal::new(truth),
            seen: ArcRwSignal::default(),
            undo: ArcRwSignal::new(undo_words(&undo)),
            apart: ArcRwSignal::new(apart),
            lost: ArcRwSignal::default(),
        };
        let loaded = Loaded { kept, undo, record, signals };
        self.inner.update_value(|it| drop(it.loaded.insert(job, loaded)));
    }

    /// The job's signals, its document read from storage if it is not in memory yet. `None` when the phone has no such job, or
    /// does not know yet who its person is.
    pub async fn open(self, job: JobId) -> Option<JobSignals> {
        let storage = self.storage()?;
        let me = self.me.get_untracked()?;
        while self.inner.with_value(|it| it.loading.contains(&job)) {
            gloo_timers::future::TimeoutFuture::new(5).await;
        }
        if self.signals(job).is_none() {
            let record = self.jobs.get_untracked().into_iter().find(|it| it.job == job)?;
            self.inner.update_value(|it| it.loading.push(job));
            let opened = opening::open(&storage, job, new_actor, me.person.device).await;
            self.inner.update_value(|it| it.loading.retain(|it| *it != job));
            match opened {
                Ok(it) => {
                    if let Some(said) = it.said {
                        self.notice.set(Some(said));
                    }
                    self.keep(job, it.kept, it.undo, Some(record), it.apart);
                }
                Err(error) => self.notice.set(Some(error.to_string())),
            }
        }
        self.signals(job)
    }

    fn signals(self, job: JobId) -> Option<JobSignals> {
        self.inner.with_value(|it| it.loaded.get(&job).map(|it| it.signals.clone()))
    }

    /// Asks one loaded job something, or tells it something.
    pub fn with<T>(self, job: JobId, ask: impl FnOnce(&mut Loaded) -> T) -> Option<T> {
        let mut ask = Some(ask);
        self.inner.try_update_value(|it| Some((ask.take()?)(it.loaded.get_mut(&job)?)))?
    }

    /// One action of this phone's person: stored at once, sent when there is a network, undoable. The reason when it is refused;
    /// then nothing is changed.
    pub fn act(self, job: JobId, said: &str, edits: &[Edit]) -> Result<(), String> {
        let before = self.with(job, |it| it.signals.job.get_untracked());
        if self.edit(job, said, edits)? {
            if let Some(before) = before {
                self.with(job, |it| it.undo.remember(said, edits, &before));
            }
            self.store_undo(job);
        }
        Ok(())
    }

    /// Takes back this person's last action, or does it again.
    pub fn step(self, job: JobId, back: bool) {
        let Some(me) = self.me.get_untracked() else { return };
        let step = self.with(job, |it| {
            let now = it.signals.job.get_untracked();
            if back { it.undo.undo(&now, me.person.device) } else { it.undo.redo(&now) }
        });
        let Some(Move { said, edits, kept }) = step.flatten() else { return };
        let word = if back { "undo" } else { "redo" };
        let done = self.edit(job, &format!("{word}: {said}"), &edits);
        if let Some(why) = done.err().or(kept) {
            self.notice.set(Some(why));
        }
        self.store_undo(job);
    }

    /// Whether the edits changed anything; the reason when they are refused.
    fn edit(self, job: JobId, said: &str, edits: &[Edit]) -> Result<bool, String> {
        const NOT_OPEN: &str = "Not done: the job is not open on this phone. Open it again.";
        let me = self.me.get_untracked().ok_or("Not done: this phone has not met its server yet.")?;
        if self.role.get_untracked() == Role::Viewer {
            return Err(
                "Not done: this phone may look, not change. An owner of the shop can let it measure.".to_owned()
            );
        }
        let result = self.with(job, |it| {
            let known = it.signals.job.with_untracked(|job| job.people.get(&me.person.device).cloned());
            let mut edits = edits.to_vec();
            if known.as_ref() != Some(&me.person.name) {
                edits.push(Edit::NamePerson { name: me.person.name.clone() });
            }
            it.kept.edit(&edits, said, now())
        });
        let outcome = result.ok_or(NOT_OPEN)?.map_err(|error| format!("Not done: {error}."))?;
        let changed = outcome.changed;
        self.settle(job, outcome);
        Ok(changed)
    }

    fn store_undo(self, job: JobId) {
        let undo = self.with(job, |it| {
            it.signals.undo.set(undo_words(&it.undo));
            it.undo.clone()
        });
        if let (Some(undo), Some(storage)) = (undo, self.storage()) {
            storage.write([Write::Undo(job, undo)]);
        }
    }

    /// Does what an event asks for: first storage, then network, then screen.
    pub fn settle(self, job: JobId, mut outcome: Outcome) {
        outcome.apart.iter_mut().for_each(|it| it.at = now());
        let said = self.with(job, |it| it.signals.apart.get_untracked()).unwrap_or_default();
        outcome.apart.retain(|it| !it.repeats(&said));
        let mut writes = Vec::new();
        writes.extend(outcome.changes.into_iter().map(|it| Write::Change(job, it)));
        writes.extend(outcome.confirmed.iter().map(|it| Write::Confirmed(job, *it)));
        writes.extend(outcome.waiting.iter().map(|(hash, it)| Write::Waiting(job, *hash, it.clone())));
        writes.extend(outcome.apart.iter().map(|it| Write::Apart(job, it.clone())));
        writes.extend(outcome.seals.map(|it| Write::Seals(job, it)));
        let storage = self.storage();
        if let Some(storage) = &storage {
            storage.write(writes);
        }
        self.inner.with_value(|it| {
            let Some(tabs) = &it.tabs else { return };
            outcome.waiting.into_iter().for_each(|(hash, made)| tabs.tell(&TabNote::Made { job, hash, made }));
            if !outcome.confirmed.is_empty() {
                tabs.tell(&TabNote::Confirmed { job, hashes: outcome.confirmed });
            }
        });
        if self.inner.with_value(|it| it.shared.contains(&job)) {
            outcome.send.into_iter().for_each(|frame| self.send(frame));
        }
        if outcome.changed {
            self.inner.update_value(|it| it.resting.disturb(job));
        }
        let record = self.show(job, outcome.changed, outcome.level, outcome.apart);
        if let Some(storage) = storage {
            storage.write(record.map(Write::Job));
            if outcome.snapshot {
                self.fold(job, storage);
            }
        }
    }

    /// Puts what changed on the screen; returns the job's line in the list when that changed too.
    fn show(self, job: JobId, changed: bool, level: bool, apart: Vec<SetApart>) -> Option<JobRecord> {
        let record = self.with(job, |it| {
            let before = it.record.clone();
            if changed {
                let read = it.kept.job();
                (it.record.name, it.record.changed) = (read.name.clone(), now());
                it.signals.job.set(Arc::new(read));
            }
            if level {
                it.record.shared = Some(now().max(it.record.changed));
            } else if let Some(at) = it.record.shared.filter(|_| it.kept.waiting() > 0) {
                // The list tells by these two times alone that edits wait, and one second may hold both.
                it.record.changed = it.record.changed.max(Timestamp(at.0 + 1));
            }
            it.signals.apart.update(|all| all.extend(apart));
            let refused = it.signals.apart.with_untracked(Vec::len);
            let truth = SyncTruth { waiting: it.kept.waiting(), refused, shared: it.record.shared };
            if it.signals.truth.with_untracked(|old| *old != truth) {
                it.signals.truth.set(truth);
            }
            (it.record != before).then(|| it.record.clone())
        })??;
        self.set_record(record.clone());
        Some(record)
    }

    fn send(self, frame: Frame) {
        if let Some(send) = self.send.get_value() {
            send.run(frame);
        }
    }
}

/// What undo and redo would do.
fn undo_words(undo: &Undo) -> (Option<String>, Option<String>) {
    (undo.last().map(str::to_owned), undo.next().map(str::to_owned))
}

/// Fresh for every document that is opened: an actor that was used twice would lock the document for ever.
fn new_actor() -> [u8; 16] {
    *Uuid::new_v4().as_bytes()
}

pub fn now() -> Timestamp {
    Timestamp((js_sys::Date::now() / 1_000.0) as i64)
}

mod fold;
mod hear;
mod jobs;
mod rest;

pub use jobs::Form;
pub use rest::Rest;
use rest::Resting;
