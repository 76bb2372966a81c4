//! The open job as signals, and the one way to change it.

use std::sync::Arc;
use std::time::Duration;

use leptos::prelude::*;
use shared_model::floor::Floor;
use shared_model::ids::{JobId, RoomId};
use shared_model::job::{Edit, Job};
use shared_model::materials::Materials;
use shared_model::takeoff::{Takeoff, takeoff};
use shared_model::wire::{Person, Whereabouts};
use wasm_bindgen_futures::spawn_local;

use crate::offline::{Marker, Write};
use crate::phone::{JobSignals, Phone};
use crate::truth::SyncTruth;

/// The takeoff waits until nothing was entered for so long: a keystroke never waits for it.
const TAKEOFF_AFTER: Duration = Duration::from_millis(250);
/// The name of takeoffs in the browser's timeline, where they can be measured.
const TIMELINE: &str = "takeoff";

/// The job that is open on this phone. Provided as context below the job's page; copy it freely.
#[derive(Clone, Copy)]
pub struct OpenJob {
    pub id: JobId,
    /// Read from the document after every change, own or other.
    pub job: Memo<Arc<Job>>,
    /// Recomputed when the job changes, a moment later, never in the way of a keystroke.
    pub takeoff: Signal<Arc<Takeoff>>,
    /// The takeoff broke the page the last time: it is computed when the person asks for it.
    pub takeoff_broke: Signal<bool>,
    /// Who else is in this job now, and where.
    pub others: Signal<Vec<(Person, Whereabouts)>>,
    /// What is being drawn or measured; `None` on the list.
    pub room: RwSignal<Option<RoomId>>,
    pub truth: Signal<SyncTruth>,
    /// What undo and redo would do, in words.
    pub undo: Signal<(Option<String>, Option<String>)>,
    act: Callback<(&'static str, Vec<Edit>)>,
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
        let broke = signals.takeoff_broke.clone();
        let job = Memo::new(move |_| job.get());
        let computed = RwSignal::new(Arc::new(empty()));
        let open = Self {
            id,
            job,
            takeoff: computed.into(),
            takeoff_broke: Signal::derive(move || broke.get()),
            others: Signal::derive(move || seen.get().into_iter().map(|it| (it.person, it.at)).collect()),
            room: RwSignal::new(None),
            truth: Signal::derive(move || truth.get()),
            undo: Signal::derive(move || undo.get()),
            act: Callback::new(move |(said, edits): (&'static str, Vec<Edit>)| phone.act(id, said, &edits)),
            signals: StoredValue::new(signals),
            phone,
        };
        provide_context(open);
        open.keep_computing(computed);
        open
    }

    /// One action of this phone's person: stored on the phone at once, sent when there is a network, undoable.
    pub fn act(self, said: &'static str, edits: Vec<Edit>) {
        self.act.run((said, edits));
    }

    /// Takes back this person's last action.
    pub fn take_back(self) {
        self.phone.step(self.id, true);
    }

    /// Does the action taken back last once more.
    pub fn do_again(self) {
        self.phone.step(self.id, false);
    }

    /// Computes although it broke the page before.
    pub fn compute_anyway(self) {
        self.signals.with_value(|it| it.takeoff_broke.set(false));
    }

    pub fn signals(self) -> JobSignals {
        self.signals.get_value()
    }

    fn keep_computing(self, computed: RwSignal<Arc<Takeoff>>) {
        let waiting: StoredValue<Option<TimeoutHandle>> = StoredValue::new(None);
        let stop = move || {
            let timer = waiting.try_update_value(Option::take).flatten();
            timer.is_some_and(|it| {
                it.clear();
                true
            })
        };
        let start = move || {
            let due = move || {
                waiting.try_update_value(Option::take);
                spawn_local(self.compute(computed));
            };
            waiting.set_value(set_timeout_with_handle(due, TAKEOFF_AFTER).ok());
        };
        Effect::new(move |_| {
            self.job.track();
            stop();
            if !self.takeoff_broke.get() {
                start();
            }
        });
        let postpone = ["keydown", "pointerdown"].map(|event| {
            window_event_listener_untyped(event, move |_| {
                if stop() {
                    start();
                }
            })
        });
        on_cleanup(move || {
            postpone.into_iter().for_each(|it| it.remove());
            stop();
        });
    }

    /// Marked while it runs, so that a takeoff that breaks the page does not break every start.
    async fn compute(self, computed: RwSignal<Arc<Takeoff>>) {
        let Some(storage) = self.phone.storage() else { return };
        storage.write([Write::Marker(self.id, Some(Marker::Computing))]);
        storage.settle().await;
        if let Some(job) = self.job.try_get_untracked() {
            let timeline = window().performance();
            // A browser that cannot measure computes all the same.
            let _ = timeline.as_ref().map(|it| it.mark(TIMELINE));
            computed.try_set(Arc::new(takeoff(&job)));
            let _ = timeline.map(|it| it.measure_with_start_mark(TIMELINE, TIMELINE));
        }
        storage.write([Write::Marker(self.id, None)]);
    }
}

/// Before the first takeoff.
fn empty() -> Takeoff {
    Takeoff { floor: Floor::default(), goods: Vec::new(), materials: Materials::default(), problems: Vec::new() }
}
