//! The open job as signals, and the one way to change it.

use std::sync::Arc;

use leptos::prelude::*;
use shared_model::ids::{JobId, RoomId};
use shared_model::job::{Edit, Job};
use shared_model::takeoff::Takeoff;
use shared_model::wire::{Person, Whereabouts};

use crate::app::go;
use crate::engine;
use crate::known::{self, Known};
use crate::measuring::Aim;
use crate::phone::{JobSignals, Phone};
use crate::route::Route;
use crate::truth::SyncTruth;

const PAST: &str = "Not done: this is the job as it stood. Go back to the job first.";

/// The job that is open on this phone. Provided as context below the job's page; copy it freely.
#[derive(Clone, Copy)]
pub struct OpenJob {
    pub id: JobId,
    /// Read from the document after every change, own or other.
    pub job: Memo<Arc<Job>>,
    /// The same rooms with what follows from their readings, found out when asked for.
    pub rooms: Memo<Vec<Known>>,
    /// Recomputed whenever the job changes, a moment later.
    pub takeoff: Signal<Arc<Takeoff>>,
    /// The engine stopped at the job as it is now.
    pub takeoff_broke: Signal<bool>,
    /// Who else is in this job now, and where.
    pub others: Signal<Vec<(Person, Whereabouts)>>,
    /// What is being drawn or measured; `None` on the list.
    pub room: RwSignal<Option<RoomId>>,
    /// What a room is opened for, once it is: a wall or check that was picked elsewhere.
    pub picked: RwSignal<Option<(RoomId, Aim)>>,
    pub truth: Signal<SyncTruth>,
    /// What undo and redo would do, in words.
    pub undo: Signal<(Option<String>, Option<String>)>,
    /// It is looked at as it stood: nothing can be done to it.
    past: bool,
    signals: StoredValue<JobSignals>,
    phone: Phone,
}

impl OpenJob {
    /// The job whose page this component is on.
    pub fn here() -> Self {
        expect_context()
    }

    /// Opens a job that is in memory for the page below this component.
    pub fn provide(id: JobId, signals: JobSignals) -> Self {
        let phone = Phone::here();
        let (job, seen, truth, undo) =
            (signals.job.clone(), signals.seen.clone(), signals.truth.clone(), signals.undo.clone());
        let job = Memo::new(move |_| job.get());
        let (takeoff, takeoff_broke) = computed(job);
        let open = Self {
            id,
            job,
            rooms: known::rooms(job),
            takeoff,
            takeoff_broke,
            others: Signal::derive(move || seen.get().into_iter().map(|it| (it.person, it.at)).collect()),
            room: RwSignal::new(None),
            picked: RwSignal::new(None),
            truth: Signal::derive(move || truth.get()),
            undo: Signal::derive(move || undo.get()),
            past: false,
            signals: StoredValue::new(signals),
            phone,
        };
        provide_context(open);
        open
    }

    /// The same job as it stood at an earlier moment, to which nothing can be done.
    pub fn as_it_stood(self, job: Arc<Job>) -> Self {
        let job = Memo::new(move |_| Arc::clone(&job));
        let (takeoff, takeoff_broke) = computed(job);
        let (undo, others) = (Signal::stored((None, None)), Signal::stored(Vec::new()));
        Self { job, rooms: known::rooms(job), takeoff, takeoff_broke, others, undo, past: true, ..self }
    }

    /// One action of this phone's person: stored on the phone at once, sent when there is a network, undoable. Says so when it is
    /// refused.
    pub fn act(self, said: &str, edits: Vec<Edit>) {
        if let Err(why) = self.try_act(said, edits) {
            self.phone.notice.set(Some(why));
        }
    }

    /// The same for one that leads somewhere: whoever is refused stays where they are.
    pub fn act_and_go(self, said: &str, edits: Vec<Edit>, to: Route) {
        match self.try_act(said, edits) {
            Ok(()) => go(to),
            Err(why) => self.phone.notice.set(Some(why)),
        }
    }

    /// The same for one that was typed: the reason goes where the typing is, and what was typed stays.
    #[expect(clippy::needless_pass_by_value, reason = "an action's edits are made for it and given away")]
    pub fn try_act(self, said: &str, edits: Vec<Edit>) -> Result<(), String> {
        if self.past {
            return Err(PAST.to_owned());
        }
        self.phone.act(self.id, said, &edits)
    }

    /// Takes back this person's last action.
    pub fn take_back(self) {
        self.step(true);
    }

    /// Does the action taken back last once more.
    pub fn do_again(self) {
        self.step(false);
    }

    fn step(self, back: bool) {
        if self.past {
            return self.phone.notice.set(Some(PAST.to_owned()));
        }
        self.phone.step(self.id, back);
    }

    pub fn signals(self) -> JobSignals {
        self.signals.get_value()
    }
}

/// The takeoff of a job, and whether the engine stopped at it.
fn computed(job: Memo<Arc<Job>>) -> (Signal<Arc<Takeoff>>, Signal<bool>) {
    let (computed, broke) = (RwSignal::new(Arc::new(Takeoff::default())), RwSignal::new(false));
    engine::keep_computing(job, computed, broke);
    (computed.into(), broke.into())
}
