//! Several tabs of one phone: each has its own copy of the documents, and tells the others what it did.

use serde::{Deserialize, Serialize};
use shared_model::ids::JobId;
use wasm_bindgen::closure::Closure;
use wasm_bindgen::{JsCast, JsValue};
use web_sys::{BroadcastChannel, MessageEvent};

use crate::kept::{Hash, Waiting};
use crate::offline::JobRecord;

/// Changes with the form of [`TabNote`]: tabs of different builds must not hear each other.
const CHANNEL: &str = "napline-1";

#[derive(Debug, Serialize, Deserialize)]
pub enum TabNote {
    /// Made and stored by the tab that tells it.
    Made {
        job: JobId,
        hash: Hash,
        made: Waiting,
    },
    Confirmed {
        job: JobId,
        hashes: Vec<Hash>,
    },
    /// A job that is new on this phone.
    Listed(JobRecord),
}

pub struct Tabs {
    channel: BroadcastChannel,
    _listener: Closure<dyn FnMut(MessageEvent)>,
}

impl Tabs {
    /// `None` where the browser has no such channel: then a tab sees the others' work over the server or after a reload.
    pub fn open(hear: impl Fn(TabNote) + 'static) -> Option<Self> {
        let channel = BroadcastChannel::new(CHANNEL).ok()?;
        let listener = Closure::new(move |event: MessageEvent| {
            let bytes = js_sys::Uint8Array::new(&event.data()).to_vec();
            if let Ok(note) = postcard::from_bytes(&bytes) {
                hear(note);
            }
        });
        channel.set_onmessage(Some(listener.as_ref().unchecked_ref()));
        Some(Self { channel, _listener: listener })
    }

    pub fn tell(&self, note: &TabNote) {
        if let Ok(bytes) = postcard::to_stdvec(note) {
            // A closed channel is a page that is being left.
            let _ = self.channel.post_message(&JsValue::from(js_sys::Uint8Array::from(bytes.as_slice())));
        }
    }
}
