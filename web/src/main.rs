//! The client on the phone: measuring, seams, cuts. Everything is kept in the browser and computed here; the network only
//! shares it. [`phone`] is where every event passes; read it first.

mod app;
mod route;

mod engine;
mod parting;
mod phone;
mod state;
mod truth;
mod undo;
mod when;

mod files;
mod kept;
mod link;
mod offline;
mod opening;
mod pictures;
mod tabs;

mod camera;
mod checking;
mod copying;
mod drawing;
mod entry;
mod keeping;
mod keypad;
mod known;
#[cfg(test)]
mod measured;
mod measuring;
mod overview;
mod places;
mod proposal;

mod cutting;
mod glyph;
mod reason;
mod sheet;
mod shown;
mod theme;
mod timeline;

use leptos::prelude::*;
use wasm_bindgen::prelude::{JsError, wasm_bindgen};

fn main() {
    console_error_panic_hook::set_once();
    // The engine's worker runs the same module and has no page.
    if web_sys::window().is_some() {
        mount_to_body(app::App);
    }
}

/// In the engine's worker: a job to its takeoff, both as the page's [`engine`] packs them.
#[wasm_bindgen]
pub fn takeoff_of(job: &[u8]) -> Result<Vec<u8>, JsError> {
    Ok(postcard::to_stdvec(&shared_model::takeoff::takeoff(&postcard::from_bytes(job)?))?)
}

/// The demo's checksums as this build computes them; a test compares them with those of the server's build.
#[wasm_bindgen]
pub fn fingerprint() -> String {
    shared_model::fingerprint::of_demo().map_or_else(|error| error, |it| it.to_string())
}
