//! Taking back one's own last action, and doing it again.

use leptos::prelude::*;

use shared_model::job::Edit;

use super::history::ToHistory;
use crate::state::OpenJob;

#[component]
pub fn UndoKeys() -> impl IntoView {
    let here = OpenJob::here();
    let undo = move || here.undo.get();
    let name = |word: &str, what: Option<String>| what.map_or_else(|| word.to_owned(), |it| format!("{word}: {it}"));
    view! {
        <button type="button" class="button button-icon" id="undo" aria-label=move || name("Undo", undo().0) disabled=move || undo().0.is_none() on:click=move |_| here.take_back()>"↶"</button>
        <button type="button" class="button button-icon" id="redo" aria-label=move || name("Redo", undo().1) hidden=move || undo().1.is_none() on:click=move |_| here.do_again()>"↷"</button>
    }
}

/// In place of something that was removed, here or on another phone. `back` brings it back.
#[component]
pub fn Removed(what: &'static str, #[prop(optional, into)] back: Option<Edit>) -> impl IntoView {
    let here = OpenJob::here();
    let key = back.map(|edit| {
        let bring = move |_| here.act("brought back", vec![edit.clone()]);
        view! { <button type="button" class="button button-main" id="bring-back" on:click=bring>"Bring it back"</button> }
    });
    view! {
        <main class="place">
            <div class="empty"><p>{what}" was removed, here or on another phone. Nothing of it is lost."</p><div class="row">{key}</div><ToHistory /></div>
        </main>
    }
}
