//! The pictures of photos: kept on this phone, brought to the server, fetched from it, shown.

mod line;
mod plan;

use std::collections::{BTreeMap, BTreeSet};

use gloo_timers::future::TimeoutFuture;
use leptos::prelude::*;
use shared_model::ids::JobId;
use shared_model::job::{Job, Photo, Picture, PictureHash};
use shared_model::photo;
use shared_model::wire::Role;
use wasm_bindgen::JsCast;
use wasm_bindgen_futures::{JsFuture, spawn_local};
use web_sys::{StorageEstimate, Url};

use crate::files;
use crate::offline::{Storage, Write};
use crate::phone::{Phone, now};
use crate::truth::Link;
use line::Brought;
use plan::{Here, Step};
pub use plan::{Named, named};

const LOOK_EVERY: u32 = 1_500;
/// Milliseconds that a picture waits that could not be brought or fetched; doubled each time.
const FIRST_WAIT: f64 = 2_000.0;
const LONGEST_WAIT: f64 = 60_000.0;

/// How one step went.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Went {
    Well,
    /// It is tried again after a while.
    NotNow,
    /// It is not tried again as long as the page lives.
    Never,
}

impl Went {
    const fn well(well: bool) -> Self {
        if well { Self::Well } else { Self::NotNow }
    }
}

/// The pictures on this phone. A handle: copy it freely.
#[derive(Clone, Copy)]
pub struct Pictures {
    phone: Phone,
    /// Those on the phone, each with the server that said last that it has it.
    held: RwSignal<BTreeMap<PictureHash, Option<[u8; 16]>>>,
    /// Addresses under which this page shows them.
    shown: RwSignal<BTreeMap<PictureHash, String>>,
    /// Why pictures are not brought that should be.
    why: RwSignal<BTreeMap<PictureHash, &'static str>>,
    asked: StoredValue<BTreeSet<PictureHash>>,
    /// Those that the server was asked about since it is connected.
    checked: StoredValue<BTreeSet<PictureHash>>,
    /// What came of pictures before the network was gone.
    parts: StoredValue<BTreeMap<PictureHash, Vec<u8>>>,
    /// Attempts that failed, and when to try again.
    later: StoredValue<BTreeMap<PictureHash, (i32, f64)>>,
}

impl Pictures {
    pub fn new(phone: Phone) -> Self {
        Self {
            phone,
            held: RwSignal::default(),
            shown: RwSignal::default(),
            why: RwSignal::default(),
            asked: StoredValue::default(),
            checked: StoredValue::default(),
            parts: StoredValue::default(),
            later: StoredValue::default(),
        }
    }

    pub fn here() -> Self {
        expect_context()
    }

    /// Reads what is kept, and keeps phone and server level as long as the page lives.
    pub async fn start(self) {
        let Some(storage) = self.phone.storage() else { return };
        match storage.pictures().await {
            Ok(held) => self.held.set(held),
            Err(error) => self.phone.trouble.set(Some(error.told())),
        }
        loop {
            if self.phone.link.get_untracked() == Link::Up {
                self.round(&storage).await;
            } else {
                self.checked.set_value(BTreeSet::new());
            }
            TimeoutFuture::new(LOOK_EVERY).await;
        }
    }

    /// Keeps a picture that the document names, and that may be nowhere else.
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

    /// Where a job's photos are.
    pub fn whereabouts(self, job: &Job) -> String {
        plan::whereabouts(job, &self.held.with(|it| self.confirmed(it)))
    }

    pub fn has(self, hash: PictureHash) -> bool {
        self.held.with_untracked(|it| it.contains_key(&hash))
    }

    /// The photos that the server does not take, and why.
    pub fn not_brought(self, job: &Job) -> Vec<(Photo, &'static str)> {
        let why = |it: &Photo| {
            let found = self.why.with(|why| it.pictures().iter().find_map(|it| why.get(&it.hash).copied()));
            Some((it.clone(), found?))
        };
        job.photos_in_force().filter_map(why).collect()
    }

    /// The pictures on the phone, each with whether the server of now has it.
    fn confirmed(self, held: &BTreeMap<PictureHash, Option<[u8; 16]>>) -> BTreeMap<PictureHash, bool> {
        let server = self.server();
        held.iter().map(|(hash, there)| (*hash, there.is_some() && *there == server)).collect()
    }

    fn hold(self, hash: PictureHash, there: Option<[u8; 16]>) {
        self.held.update(|it| {
            it.insert(hash, there);
        });
    }

    fn forget(self, hash: PictureHash) {
        self.held.update(|it| {
            it.remove(&hash);
        });
        self.hide(hash);
    }

    fn server(self) -> Option<[u8; 16]> {
        self.phone.me.with_untracked(|it| it.as_ref().map(|it| it.replica))
    }

    async fn read(self, hash: PictureHash) {
        let Some(storage) = self.phone.storage() else { return };
        // It may have been taken just now.
        storage.settle_pictures().await;
        let file = match storage.picture(hash).await {
            Ok(Some(file)) => file,
            // Another tab dropped it, or there was no room for it: it comes from the server again.
            Ok(None) => return self.forget(hash),
            Err(_) => return,
        };
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
        let known: Vec<(JobId, Vec<Named>)> =
            jobs.iter().filter_map(|it| Some((*it, self.phone.named(*it)?))).collect();
        let named = known.iter().flat_map(|it| it.1.iter().copied()).collect::<Vec<_>>();
        let held = self.held.with_untracked(|it| self.confirmed(it));
        if !named.is_empty() || !held.is_empty() {
            let (asked, room) = (self.asked.get_value(), room().await);
            let writes = self.phone.role.get_untracked() != Role::Viewer;
            let (checked, whole) = (self.checked.get_value(), known.len() == jobs.len());
            let here = Here { held: &held, asked: &asked, checked: &checked, room, whole, writes, now: now() };
            for step in plan::steps(&named, &here) {
                if self.phone.link.get_untracked() != Link::Up {
                    return;
                }
                self.take(step, storage).await;
            }
        }
        for (job, named) in known {
            self.phone.lay_down(job, &named);
        }
    }

    async fn take(self, step: Step, storage: &Storage) {
        let hash = match step {
            Step::Bring(_, it) | Step::Fetch(it) | Step::Free(_, it) | Step::Check(_, it) => it.hash,
            Step::Drop(hash) => hash,
        };
        let (tries, not_before) = self.later.with_value(|it| it.get(&hash).copied().unwrap_or_default());
        if js_sys::Date::now() < not_before {
            return;
        }
        let went = match step {
            Step::Bring(job, picture) => self.bring(job, &picture, storage).await,
            Step::Fetch(picture) => Went::well(self.fetch(&picture, storage).await),
            Step::Drop(hash) => self.drop(hash, storage),
            Step::Free(job, picture) => match self.still_there(job, &picture, storage).await {
                Some(true) => self.drop(hash, storage),
                other => Went::well(other.is_some()),
            },
            Step::Check(job, picture) => {
                let said = self.still_there(job, &picture, storage).await;
                self.checked.update_value(|it| {
                    it.insert(hash);
                });
                Went::well(said.is_some())
            }
        };
        self.later.update_value(|it| {
            let wait = match went {
                Went::Well => {
                    it.remove(&hash);
                    return;
                }
                Went::NotNow => (FIRST_WAIT * 2_f64.powi(tries)).min(LONGEST_WAIT),
                Went::Never => f64::INFINITY,
            };
            it.insert(hash, (tries.saturating_add(1).min(16), js_sys::Date::now() + wait));
        });
    }

    fn drop(self, hash: PictureHash, storage: &Storage) -> Went {
        storage.write([Write::DropPicture(hash)]);
        self.forget(hash);
        Went::Well
    }

    /// Whether the server still has what it had; if not, it is brought again.
    async fn still_there(self, job: JobId, picture: &Picture, storage: &Storage) -> Option<bool> {
        let there = line::has(job, picture).await.ok().flatten();
        if there == Some(false) {
            storage.write([Write::There(picture.hash, None)]);
            self.hold(picture.hash, None);
        }
        there
    }

    async fn bring(self, job: JobId, picture: &Picture, storage: &Storage) -> Went {
        let Ok(Some(file)) = storage.picture(picture.hash).await else { return Went::NotNow };
        let sound = PictureHash::of(&file) == picture.hash;
        let brought = if sound { line::bring(job, picture, &file).await } else { Ok(Brought::Refused) };
        if !sound && matches!(line::has(job, picture).await, Ok(Some(true))) {
            return self.drop(picture.hash, storage);
        }
        let why = match brought {
            _ if !sound => Some("it is damaged on this phone, and the server does not have it"),
            Ok(Brought::Refused) => Some("the server does not take it: it is damaged, or says more than it shows"),
            Ok(Brought::NoRoom) => Some("the server has no room for it: its disk or what photos may take is full"),
            _ => None,
        };
        self.why.update(|it| {
            it.remove(&picture.hash);
            it.extend(why.map(|why| (picture.hash, why)));
        });
        match (brought, self.server()) {
            (Ok(Brought::There), Some(server)) => {
                storage.write([Write::There(picture.hash, Some(server))]);
                self.hold(picture.hash, Some(server));
                Went::Well
            }
            (Ok(Brought::Refused), _) => Went::Never,
            _ => Went::NotNow,
        }
    }

    async fn fetch(self, picture: &Picture, storage: &Storage) -> bool {
        let hash = picture.hash;
        // Another tab of this phone may have taken it.
        if matches!(storage.picture(hash).await, Ok(Some(_))) {
            self.hold(hash, None);
            return true;
        }
        let mut file = self.parts.try_update_value(|it| it.remove(&hash)).flatten().unwrap_or_default();
        if !matches!(line::fetch(picture, &mut file).await, Ok(true)) {
            self.parts.update_value(|it| {
                it.insert(hash, file);
            });
            return false;
        }
        let Some(server) = self.server().filter(|_| photo::vet(&file).is_ok()) else { return false };
        storage.write([Write::Fetched(hash, file, server)]);
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
