//! Which jobs are in work and which are put away, and what this phone keeps of them.

use leptos::prelude::*;
use shared_model::job::Edit;
use shared_model::wire::Role;

use crate::app::go;
use crate::phone::Phone;
use crate::pictures::Pictures;
use crate::route::Route;
use crate::state::OpenJob;
use crate::truth;

/// Puts the open job away or brings it back, for everybody; takes it off this phone.
#[component]
pub fn Shelf() -> impl IntoView {
    let here = OpenJob::here();
    let phone = Phone::here();
    let refused = RwSignal::new(None::<String>);
    let archived = move || here.job.with(|it| it.archived);
    let words = move || if archived() { "Bring this job back" } else { "Put this job away" };
    let put_away = move |_| {
        let archived = !archived();
        here.act(if archived { "put away" } else { "brought back" }, vec![Edit::SetArchived { archived }]);
    };
    let pictures = Pictures::here();
    let take_off = move |_| {
        let photos = untrack(|| here.job.with(|it| pictures.waiting(it)));
        let done = if photos == 0 {
            phone.take_off(here.id)
        } else {
            Err(format!("Not taken off: only this phone has {} of it. Connect first.", truth::photos(photos)))
        };
        match done {
            Ok(()) => go(Route::Jobs),
            Err(reason) => refused.set(Some(reason)),
        }
    };
    view! {
        <div class="stack">
            <button type="button" class="button" id="put-away" hidden=move || phone.role.get() == Role::Viewer on:click=put_away>{words}</button>
            <p class="field-hint">{move || if archived() {
                "It is put away: not in anybody's list of work, and kept at the shop."
            } else {
                "Done, or never to be done: it leaves everybody's list of work and is kept at the shop."
            }}</p>
            <button type="button" class="button" id="take-off" on:click=take_off>"Take it off this phone"</button>
            {move || refused.get().map(|it| view! { <p class="field-error" role="alert">{it}</p> })}
        </div>
    }
}

/// Whether all jobs in work are kept here, or only those that were opened here.
#[component]
pub fn KeepWhich() -> impl IntoView {
    let phone = Phone::here();
    let key = move |only_opened: bool, words: &'static str| {
        let chosen = move || phone.keeping.with(|it| it.only_opened) == only_opened;
        view! {
            <button type="button" class="segment" aria-pressed=move || chosen().to_string() on:click=move |_| phone.set_only_opened(only_opened)>{words}</button>
        }
    };
    view! {
        <div class="field">
            <span class="field-label">"Kept on this phone"</span>
            <div class="segments" role="group" aria-label="Kept on this phone">
                {key(false, "All jobs in work")}
                {key(true, "Only those I open")}
            </div>
            <span class="field-hint">"What is kept opens without a network. Jobs that are put away are kept only when you open them."</span>
        </div>
    }
}
