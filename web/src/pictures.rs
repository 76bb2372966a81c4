//! The pictures of photos: kept on this phone, brought to the server, fetched from it, shown.

mod line;
mod plan;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use gloo_timers::future::TimeoutFuture;
use leptos::prelude::*;
use shared_model::ids::JobId;
use shared_model::job::{Job, Picture, PictureHash};
use shared_model::photo;
use shared_model::wire::Role;
use wasm_bindgen::JsCast;
use wasm_bindgen_futures::{JsFuture, spawn_local};
use web_sys::{StorageEstimate, Url};

use crate::files;
use crate::offline::{Storage, Write};
use crate::phone::Phone;
use crate::truth::Link;
use plan::{Here, Step};

const LOOK_EVERY: u32 = 1_500;
/// Milliseconds that a picture waits that could not be brought or fetched; doubled each time.
const FIRST_WAIT: f64 = 2_000.0;
const LONGEST_WAIT: f64 = 60_000.0;

/// The pictures on this phone. A handle: copy it freely.
#[derive(Clone, Copy)]
pub struct Pictures {
    phone: Phone,
    /// Those on the phone, each with the server that said last that it has it.
    held: RwSignal<BTreeMap<PictureHash, Option<[u8; 16]>>>,
    /// Addresses under which this page shows them.
    shown: RwSignal<BTreeMap<PictureHash, String>>,
    asked: StoredValue<BTreeSet<PictureHash>>,
    /// Attempts that failed, and when to try again.
    later: StoredValue<BTreeMap<PictureHash, (i32, f64)>>,
}

impl Pictures {
    pub fn new(phone: Phone) -> Self {
        let (held, shown) = (RwSignal::default(), RwSignal::default());
        Self { phone, held, shown, asked: StoredValue::default(), later: StoredValue::default() }
    }

    pub fn here() -> Self {
        expect_context()
    }

    /// Reads what is kept, and keeps phone and server level as long as the page lives.
    pub async fn start(self) {
        let Some(storage) = self.phone.storage() else { return };
        match storage.pictures().await {
            Ok(held) => self.held.set(held),
            Err(error) => self.phone.trouble.set(Some(error.to_string())),
        }
        loop {
            if self.phone.link.get_untracked() == Link::Up {
                self.round(&storage).await;
            }
            TimeoutFuture::new(LOOK_EVERY).await;
        }
    }

    /// Keeps a picture that was taken; the document may name it now.
    pub fn keep(self, hash: PictureHash, file: Vec<u8>) {
        let Some(storage) = self.phone.storage() else { return };
        storage.write([Write::Picture(hash, file)]);
        self.hold(hash, None);
    }

    /// The address under which the page shows a picture, when it is on the phone.
    pub fn address(self, hash: PictureHash) -> Signal<Option<String>> {
        let held = Memo::new(move |_| self.held.with(|it| it.contains_key(&hash)));
        Effect::new(move |_| {
            if held.get() && !self.shown.with_untracked(|it| it.contains_key(&hash)) {
                spawn_local(self.read(hash));
            }
        });
        Signal::derive(move || self.shown.with(|it| it.get(&hash).cloned()))
    }

    /// Nobody looks at a picture any more.
    pub fn hide(self, hash: PictureHash) {
        let address = self.shown.try_update(|it| it.remove(&hash)).flatten();
        // An address that is revoked already is as good as one that is revoked now.
        let _ = address.map(|it| Url::revoke_object_url(&it));
    }

    /// Somebody looks at a picture: it comes even when there is little room.
    pub fn ask_for(self, hash: PictureHash) {
        self.asked.update_value(|it| {
            it.insert(hash);
        });
        self.later.update_value(|it| {
            it.remove(&hash);
        });
    }

    /// How many photos of a job wait for the server.
    pub fn waiting(self, job: &Job) -> usize {
        plan::waiting(job, &self.held.with(|it| self.confirmed(it)))
    }

    /// The pictures on the phone, each with whether the server of now has it.
    fn confirmed(self, held: &BTreeMap<PictureHash, Option<[u8; 16]>>) -> BTreeMap<PictureHash, bool> {
        let server = self.phone.me.with_untracked(|it| it.as_ref().map(|it| it.replica));
        held.iter().map(|(hash, there)| (*hash, there.is_some() && *there == server)).collect()
    }

    fn hold(self, hash: PictureHash, there: Option<[u8; 16]>) {
        self.held.update(|it| {
            it.insert(hash, there);
        });
    }

    async fn read(self, hash: PictureHash) {
        let Some(storage) = self.phone.storage() else { return };
        // It may have been taken just now.
        storage.settle().await;
        let Ok(Some(file)) = storage.picture(hash).await else { return };
        if let Ok(address) = files::address("image/jpeg", &file) {
            self.shown.update(|it| {
                it.insert(hash, address);
            });
        }
    }

    async fn round(self, storage: &Storage) {
        let listed = self.phone.jobs.get_untracked().into_iter().map(|it| it.job);
        let jobs: Vec<JobId> =
            self.phone.keeping.with_untracked(|keeping| listed.filter(|it| keeping.keeps(*it)).collect());
        let ask = |job: &JobId| {
            self.phone
                .with(*job, |it| (it.signals.job.get_untracked(), it.kept.waiting() == 0 && it.record.shared.is_some()))
        };
        let read: Vec<(Arc<Job>, bool)> = jobs.iter().filter_map(ask).collect();
        let named: Vec<_> = read.iter().flat_map(|(job, level)| plan::named(job, *level)).collect();
        let held = self.held.with_untracked(|it| self.confirmed(it));
        if named.is_empty() && held.is_empty() {
            return;
        }
        let (asked, room) = (self.asked.get_value(), room().await);
        let writes = self.phone.role.get_untracked() != Role::Viewer;
        let here = Here { held: &held, asked: &asked, room, whole: read.len() == jobs.len(), writes };
        for step in plan::steps(&named, &here) {
            if self.phone.link.get_untracked() != Link::Up {
                return;
            }
            self.take(step, storage).await;
        }
    }

    async fn take(self, step: Step, storage: &Storage) {
        let hash = match step {
            Step::Bring(_, picture) => picture.hash,
            Step::Fetch(hash) | Step::Drop(hash) => hash,
        };
        let (tries, not_before) = self.later.with_value(|it| it.get(&hash).copied().unwrap_or_default());
        if js_sys::Date::now() < not_before {
            return;
        }
        let done = match step {
            Step::Bring(job, picture) => self.bring(job, &picture, storage).await,
            Step::Fetch(hash) => self.fetch(hash, storage).await,
            Step::Drop(hash) => {
                storage.write([Write::DropPicture(hash)]);
                self.held.update(|it| {
                    it.remove(&hash);
                });
                self.hide(hash);
                true
            }
        };
        self.later.update_value(|it| {
            if done {
                it.remove(&hash);
            } else {
                let wait = (FIRST_WAIT * 2_f64.powi(tries)).min(LONGEST_WAIT);
                it.insert(hash, (tries.saturating_add(1).min(16), js_sys::Date::now() + wait));
            }
        });
    }

    async fn bring(self, job: JobId, picture: &Picture, storage: &Storage) -> bool {
        let Ok(Some(file)) = storage.picture(picture.hash).await else { return false };
        let there = line::bring(job, picture, &file).await.unwrap_or(false);
        let server = self.phone.me.with_untracked(|it| it.as_ref().map(|it| it.replica));
        if let Some(server) = server.filter(|_| there) {
            storage.write([Write::There(picture.hash, server)]);
            self.hold(picture.hash, Some(server));
        }
        there
    }

    async fn fetch(self, hash: PictureHash, storage: &Storage) -> bool {
        // Another tab of this phone may have taken it.
        if matches!(storage.picture(hash).await, Ok(Some(_))) {
            self.hold(hash, None);
            return true;
        }
        let Ok(Some(file)) = line::fetch(hash).await else { return false };
        let server = self.phone.me.with_untracked(|it| it.as_ref().map(|it| it.replica));
        let Some(server) = server.filter(|_| photo::vet(&file).is_ok()) else { return false };
        storage.write([Write::Picture(hash, file), Write::There(hash, server)]);
        self.hold(hash, Some(server));
        true
    }
}

/// How many bytes more the browser would keep for this page; only pages over https may ask.
async fn room() -> Option<u64> {
    let estimate = window().navigator().storage().estimate().ok()?;
    let estimate: StorageEstimate = JsFuture::from(estimate).await.ok()?.unchecked_into();
    Some((estimate.get_quota()? - estimate.get_usage()?).max(0.0) as u64)
}
