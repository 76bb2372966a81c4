//! The engine's side of the page: takeoffs run in a worker, so that no finger waits for one, and one that breaks does not break
//! the page. A job goes over as bytes, its takeoff comes back as bytes; one is under way at a time, and the newest job is next.

use std::sync::Arc;

use gloo_timers::callback::Interval;
use js_sys::Uint8Array;
use leptos::prelude::*;
use shared_model::job::Job;
use shared_model::takeoff::Takeoff;
use wasm_bindgen::prelude::{Closure, wasm_bindgen};
use wasm_bindgen::{JsCast, JsValue};
use web_sys::{MessageEvent, Worker};

/// The name of takeoffs in the browser's timeline, where they can be measured: from the job's change to its takeoff.
const TIMELINE: &str = "takeoff";

/// A busy engine is looked at so often, in milliseconds. One that was busy at this many looks was ended by the browser or will
/// not end by itself: a takeoff of a large house takes a slow phone seconds. A page that slept has not looked meanwhile.
const LOOK: u32 = 10_000;
const MOST_LOOKS: u32 = 6;

#[wasm_bindgen]
extern "C" {
    /// A worker that has this page's module; boot.js defines it.
    #[wasm_bindgen(catch, js_name = startEngine)]
    fn start_engine() -> Result<Worker, JsValue>;
}

/// A worker with what it calls back.
struct Engine {
    worker: Worker,
    _answered: Closure<dyn FnMut(MessageEvent)>,
    _broke: Closure<dyn FnMut()>,
}

impl Drop for Engine {
    fn drop(&mut self) {
        self.worker.terminate();
    }
}

/// Keeps the takeoff of one job up to date.
#[derive(Clone, Copy)]
struct Desk {
    engine: StoredValue<Option<Engine>, LocalStorage>,
    /// Runs while the engine is busy.
    looks: StoredValue<Option<Interval>, LocalStorage>,
    /// The job changed while the engine was busy.
    again: StoredValue<bool>,
    job: Memo<Arc<Job>>,
    takeoff: RwSignal<Arc<Takeoff>>,
    broke: RwSignal<bool>,
}

/// Computes `takeoff` whenever `job` changes, as long as the calling component lives. `broke` says that the engine stopped at
/// the job as it is now; it is tried again when the job changes.
pub fn keep_computing(job: Memo<Arc<Job>>, takeoff: RwSignal<Arc<Takeoff>>, broke: RwSignal<bool>) {
    let desk = Desk {
        engine: StoredValue::new_local(None),
        looks: StoredValue::new_local(None),
        again: StoredValue::new(false),
        job,
        takeoff,
        broke,
    };
    Effect::new(move |_| {
        job.track();
        if desk.looks.with_value(Option::is_some) { desk.again.set_value(true) } else { desk.send() }
    });
    on_cleanup(move || {
        drop(desk.engine.try_update_value(Option::take));
        drop(desk.looks.try_update_value(Option::take));
    });
}

impl Desk {
    fn send(self) {
        let Some(job) = self.job.try_get_untracked() else { return };
        // A browser that cannot measure computes all the same.
        let _ = window().performance().map(|it| it.mark(TIMELINE));
        let sent = postcard::to_stdvec(&*job).ok().and_then(|job| {
            self.engine.try_update_value(|engine| {
                if engine.is_none() {
                    *engine = self.start().ok();
                }
                let engine = engine.as_ref()?;
                engine.worker.post_message(&Uint8Array::from(job.as_slice())).ok()
            })?
        });
        let mut busy = 0;
        let look = move || {
            busy += 1;
            if busy == MOST_LOOKS {
                self.stopped();
            }
        };
        self.looks.set_value(sent.is_some().then(|| Interval::new(LOOK, look)));
        self.broke.set(sent.is_none());
    }

    fn start(self) -> Result<Engine, JsValue> {
        let worker = start_engine()?;
        let answered = Closure::new(move |event: MessageEvent| {
            let takeoff = postcard::from_bytes(&Uint8Array::new(&event.data()).to_vec());
            self.done(takeoff.ok());
        });
        let broke = Closure::new(move || self.stopped());
        worker.set_onmessage(Some(answered.as_ref().unchecked_ref()));
        worker.set_onerror(Some(broke.as_ref().unchecked_ref()));
        Ok(Engine { worker, _answered: answered, _broke: broke })
    }

    fn stopped(self) {
        // Not here and now: the closure that says so is part of what is dropped.
        queue_microtask(move || {
            self.engine.try_update_value(Option::take);
            self.done(None);
        });
    }

    fn done(self, takeoff: Option<Takeoff>) {
        self.broke.try_set(takeoff.is_none());
        if let Some(takeoff) = takeoff {
            self.takeoff.try_set(Arc::new(takeoff));
            let _ = window().performance().map(|it| it.measure_with_start_mark(TIMELINE, TIMELINE));
        }
        self.looks.try_update_value(Option::take);
        if self.again.try_update_value(std::mem::take) == Some(true) {
            self.send();
        }
    }
}
