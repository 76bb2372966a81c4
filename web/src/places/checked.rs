//! The overview: what is measured, disputed and unchecked, room by room. Each line leads to where it is seen to.

use leptos::prelude::*;
use shared_model::ids::RoomId;
use shared_model::job::{Job, Reading};

use crate::overview::{Account, Line, Matter, overview, summary};
use crate::route::{Place, Route};
use crate::shown;
use crate::state::OpenJob;
use crate::when::clock;

/// Below the list of rooms: how much there is to see to, and the way there.
#[component]
pub fn ToChecked() -> impl IntoView {
    let here = OpenJob::here();
    let counted = Memo::new(move |_| summary(&accounts(here)));
    let any = Memo::new(move |_| here.rooms.with(|it| !it.is_empty()));
    let words = move || counted.get().unwrap_or_else(|| "nothing left to see to".to_owned());
    move || {
        any.get().then(|| {
            view! {
                <a class="item item-alone" id="to-checked" href=Route::In(here.id, Place::Checked).to_string()>
                    <span class="item-main"><strong>"What is checked"</strong></span>
                    <span class="item-side">{words}</span>
                </a>
            }
        })
    }
}

fn accounts(here: OpenJob) -> Vec<Account> {
    here.takeoff.with(|takeoff| here.rooms.with(|rooms| overview(rooms, &takeoff.problems)))
}

#[component]
pub fn Checked() -> impl IntoView {
    let here = OpenJob::here();
    let accounts = Memo::new(move |_| accounts(here));
    let head = move || {
        accounts.with(|all| match (all.is_empty(), summary(all)) {
            (true, _) => "No room yet: nothing to check.".to_owned(),
            (false, None) => "Every room is read, and its readings check each other.".to_owned(),
            (false, Some(counted)) => format!("{counted}."),
        })
    };
    // An edit that changes no line leaves the list alone, and what is unfolded in it open.
    let rooms = move || {
        let job = here.job.get_untracked();
        accounts.with(|all| all.iter().map(|it| section(here, it, &job)).collect_view())
    };
    view! {
        <main class="place">
            <div class="page" id="checked">
                <p class="quiet" id="checked-summary" role="status">{head}</p>
                {rooms}
            </div>
        </main>
    }
}

fn section(here: OpenJob, account: &Account, job: &Job) -> impl IntoView + use<> {
    let room = account.room;
    let (aside, todo): (Vec<_>, Vec<_>) = account.lines.iter().partition(|it| it.matter == Matter::Aside);
    let rows = |lines: Vec<&Line>| lines.into_iter().map(|it| row(here, room, it, job)).collect_view();
    let name = account.name.clone();
    let trusted = if todo.is_empty() { "Trusted. " } else { "" };
    let trust = account.trust.clone().map(|it| view! { <p class="quiet" data-trust="">{trusted}{it}</p> });
    let list =
        (!todo.is_empty()).then(|| view! { <ul class="list" role="list" aria-label=name.clone()>{rows(todo)}</ul> });
    let gone: usize = aside.iter().map(|it| it.count).sum();
    let folded = (gone > 0).then(|| {
        view! {
            <details class="reason">
                <summary>{shown::count(gone, "reading", "readings")} " set aside"</summary>
                <ul class="list" role="list" aria-label=format!("{name}, set aside")>{rows(aside)}</ul>
            </details>
        }
    });
    view! {
        <section class="stack" data-checked=room.to_string() aria-label=name.clone()>
            <h2 class="subtitle">{account.name.clone()}</h2>
            {trust}{list}{folded}
        </section>
    }
}

fn row(here: OpenJob, room: RoomId, line: &Line, job: &Job) -> impl IntoView + use<> {
    let aim = line.aim;
    let readings = line.readings.iter().map(|it| view! { <span class="item-note">{reading_words(it, job)}</span> });
    view! {
        <li>
            <a
                class="item" data-matter=line.matter.badge() href=Route::In(here.id, Place::Room(room)).to_string()
                on:click=move |_| here.picked.set(aim.map(|it| (room, it)))
            >
                <span class="item-main">
                    <span class="badge">{line.matter.badge()}</span>" "{line.text.clone()}
                    {readings.collect_view()}
                </span>
            </a>
        </li>
    }
}

/// `13' 4", Ana 10:42`.
fn reading_words(reading: &Reading, job: &Job) -> String {
    let value = shown::length(reading.value, job.units);
    let who = job.people.get(&reading.stamp.by).cloned().unwrap_or_default();
    format!("{value}, {who} {}", clock(reading.stamp.at))
}
