//! All jobs of the shop: the list, a new one, another phone.

use leptos::ev::{Event, SubmitEvent};
use leptos::prelude::*;
use shared_model::ids::{GoodsId, JobId};
use shared_model::job::{Edit, Goods, Order};
use shared_model::job_file::EXTENSION;
use shared_model::length::{Length, Units};
use shared_model::wire::Role;
use uuid::Uuid;
use wasm_bindgen_futures::spawn_local;

use super::goods::{roll_widths, shown_width};
use super::people::{AddPhone, People, role_words};
use super::sharing::link_words;
use super::shelf::KeepWhich;
use crate::app::go;
use crate::files;
use crate::offline::JobRecord;
use crate::phone::{Form, Phone};
use crate::pictures::Pictures;
use crate::route::{Place, Route};
use crate::sheet::Sheet;
use crate::theme::{self, Theme};
use crate::truth::{Link, list_words};
use crate::when::clock;

#[component]
pub fn Jobs() -> impl IntoView {
    let phone = Phone::here();
    let (new_job, add_phone, people) = (RwSignal::new(false), RwSignal::new(false), RwSignal::new(false));
    let looks = move || phone.role.get() == Role::Viewer;
    let known = move || phone.me.with(Option::is_some);
    view! {
        <header class="topbar">
            <h1 class="topbar-title">{move || phone.me.get().map_or_else(|| "Napline".to_owned(), |it| it.shop)}</h1>
            <span class="badge" id="link-state" role="status">{move || link_words(&phone.link.get())}</span>
        </header>
        <main class="place">
            <div class="page">
                {move || (phone.started.get() && !known()).then(|| view! { <Unpaired /> })}
                {move || known().then(|| view! {
                    <div class="buttons">
                        <button type="button" class="button button-main" id="new-job" hidden=looks on:click=move |_| new_job.set(true)>"New job"</button>
                        <button type="button" class="button" id="add-phone" hidden=looks on:click=move |_| add_phone.set(true)>"Add a phone"</button>
                        <OpenFile />
                        <button type="button" class="button" id="show-people" on:click=move |_| people.set(true)>"People"</button>
                    </div>
                    <JobList />
                    <KeepWhich />
                    <Settings />
                })}
            </div>
        </main>
        <Sheet title="New job" open=new_job id="new-job-sheet"><NewJob /></Sheet>
        <Sheet title="Add a phone" open=add_phone id="add-phone-sheet"><AddPhone /></Sheet>
        <Sheet title="People and their devices" open=people id="people-sheet"><People /></Sheet>
    }
}

/// Before the server said who this phone is.
#[component]
fn Unpaired() -> impl IntoView {
    let phone = Phone::here();
    let words = move || match phone.link.get() {
        Link::Unpaired => {
            "This phone is not paired with the shop. On a phone that is, open Add a phone, and scan its code here."
        }
        Link::Closed(_) => "The server closed the connection.",
        _ => "Waiting for the first answer of the shop's server…",
    };
    view! { <p class="empty" id="unpaired" role="status">{words}</p> }
}

#[component]
fn OpenFile() -> impl IntoView {
    let (phone, pictures) = (Phone::here(), Pictures::here());
    let open = move |event: Event| {
        spawn_local(async move {
            match files::chosen(&event).await {
                Some(Ok((name, bytes))) => {
                    if let Some(job) = phone.open_file(pictures, &name, &bytes).await {
                        go(Route::In(job, Place::Rooms));
                    }
                }
                Some(Err(_)) => {
                    phone.notice.set(Some("The browser cannot read the file. Nothing is changed.".to_owned()));
                }
                None => {}
            }
        });
    };
    view! {
        <label class="button" hidden=move || phone.role.get() == Role::Viewer>
            "Open a file"
            <input type="file" class="unseen" id="open-file" accept=format!(".{EXTENSION}") on:change=open />
        </label>
    }
}

#[component]
fn JobList() -> impl IntoView {
    let phone = Phone::here();
    let (menu, of) = (RwSignal::new(false), RwSignal::new(None::<(JobId, String)>));
    let name = Signal::derive(move || of.get().map(|it| it.1).unwrap_or_default());
    let save = move |form: Form| {
        menu.set(false);
        if let Some((job, _)) = of.get_untracked() {
            spawn_local(phone.save_file(job, form));
        }
    };
    let in_work = move |put_away: bool| {
        let mut jobs = phone.jobs.get();
        jobs.retain(|it| phone.keeping.with(|keeping| keeping.is_archived(it.job)) == put_away);
        jobs
    };
    view! {
        <Show when=move || phone.jobs.with(Vec::is_empty)>
            <p class="empty">"No job yet. Start one with New job: it works without a network too."</p>
        </Show>
        <nav class="list" id="jobs" aria-label="Jobs" hidden=move || phone.jobs.with(Vec::is_empty)>
            <For each=move || in_work(false) key=line_key let:record>
                {job_line(record, move |it| { of.set(Some(it)); menu.set(true) })}
            </For>
        </nav>
        <details id="put-away-jobs" hidden=move || in_work(true).is_empty()>
            <summary>{move || format!("Put away: {}", in_work(true).len())}</summary>
            <nav class="list" aria-label="Jobs that are put away">
                <For each=move || in_work(true) key=line_key let:record>
                    {job_line(record, move |it| { of.set(Some(it)); menu.set(true) })}
                </For>
            </nav>
        </details>
        <Sheet title=name open=menu id="job-menu">
            <div class="stack">
                <button type="button" class="button" id="save-job" on:click=move |_| save(Form::JobFile)>"Save as a file"</button>
                <p class="field-hint">"To open on another phone or server, with everything that was ever entered and the photos that are on this phone."</p>
                <button type="button" class="button" id="save-json" on:click=move |_| save(Form::Json)>"Save for other programs"</button>
                <p class="field-hint">"The job as it reads now, as open JSON. It cannot be opened here again."</p>
            </div>
        </Sheet>
    }
}

fn line_key(it: &JobRecord) -> (JobId, String, i64, Option<i64>) {
    (it.job, it.name.clone(), it.changed.0, it.shared.map(|at| at.0))
}

fn job_line(record: JobRecord, menu: impl Fn((JobId, String)) + 'static) -> impl IntoView {
    let kept = Phone::here().keeping.with_untracked(|it| it.keeps(record.job));
    let name = if record.name.is_empty() { "Job without a name".to_owned() } else { record.name };
    let shared = list_words(record.changed, record.shared, kept, clock);
    let (job, called) = (record.job, name.clone());
    view! {
        <div class="item-row">
            <a class="item" data-job=job.to_string() href=Route::In(job, Place::Rooms).to_string()>
                <span class="item-main"><strong>{name.clone()}</strong></span>
                <span class="item-side quiet">{shared}</span>
            </a>
            <button
                type="button" class="button button-quiet button-icon" data-menu=job.to_string() aria-label=format!("More for {name}")
                on:click=move |_| menu((job, called.clone()))
            >"⋯"</button>
        </div>
    }
}

#[component]
fn NewJob() -> impl IntoView {
    let phone = Phone::here();
    let (name, units, width) =
        (RwSignal::new(String::new()), RwSignal::new(Units::Imperial), RwSignal::new(None::<Length>));
    let unnamed = RwSignal::new(false);
    let make = move |event: SubmitEvent| {
        event.prevent_default();
        let named = name.get().trim().to_owned();
        if named.is_empty() {
            return unnamed.set(true);
        }
        if let Some(job) = phone.new_job(&first_edits(named, units.get(), width.get())) {
            go(Route::In(job, Place::Rooms));
        }
    };
    let choose_units = move |to: Units| {
        units.set(to);
        width.set(None);
    };
    let unit_key = move |to: Units, label: &'static str| {
        view! {
            <button type="button" class="segment" aria-pressed=move || (units.get() == to).to_string() on:click=move |_| choose_units(to)>{label}</button>
        }
    };
    view! {
        <form class="form" on:submit=make>
            <label class="field">
                <span class="field-label">"Name of the job"</span>
                <input
                    class="input" name="name" autocomplete="off" maxlength="80" prop:value=name
                    aria-invalid=move || unnamed.get().then_some("true")
                    on:input=move |event| { name.set(event_target_value(&event)); unnamed.set(false) }
                />
                <span class="field-hint">"A street or a family name: what the crew calls it."</span>
            </label>
            {move || unnamed.get().then(|| view! { <p class="field-error" role="alert">"Give the job a name first."</p> })}
            <div class="field">
                <span class="field-label">"Units"</span>
                <div class="segments" role="group" aria-label="Units">
                    {unit_key(Units::Imperial, "Feet and inches")}
                    {unit_key(Units::Metric, "Metres")}
                </div>
            </div>
            <div class="field">
                <span class="field-label">"Roll width"</span>
                <div class="segments even" role="group" aria-label="Roll width">
                    {move || roll_widths().map(|it| {
                        let chosen = move || width.get().unwrap_or_else(|| usual_width(units.get())) == it;
                        view! {
                            <button type="button" class="segment" aria-pressed=move || chosen().to_string() on:click=move |_| width.set(Some(it))>
                                {shown_width(it)}
                            </button>
                        }
                    }).collect_view()}
                </div>
                <span class="field-hint">"Can be changed later, under Seams."</span>
            </div>
            <button type="submit" class="button button-main" id="create-job">"Start the job"</button>
        </form>
    }
}

/// The width most broadloom comes in, by the units of the market: 12 ft and 4 m (common practice).
const fn usual_width(units: Units) -> Length {
    match units {
        Units::Imperial => Length::feet(12),
        Units::Metric => Length::mm(4_000),
    }
}

fn first_edits(name: String, units: Units, width: Option<Length>) -> Vec<Edit> {
    let roll_width = width.unwrap_or_else(|| usual_width(units));
    let goods = Goods::plain(GoodsId(Uuid::new_v4()), "Carpet".to_owned(), roll_width, Order::between(None, None));
    vec![Edit::NameJob { name }, Edit::SetUnits { units }, Edit::AddGoods { goods }]
}

/// What is set on this phone only.
#[component]
fn Settings() -> impl IntoView {
    let phone = Phone::here();
    let who =
        move || phone.me.get().map(|it| format!("{} on this phone: {}", it.person.name, role_words(phone.role.get())));
    let keys = Theme::ALL.map(|it| view! {
        <button type="button" class="segment" aria-pressed=move || (phone.theme.get() == it).to_string() on:click=move |_| theme::choose(phone, it)>{it.name()}</button>
    });
    view! {
        <div class="field">
            <span class="field-label">"Screen"</span>
            <div class="segments" role="group" aria-label="Screen">{keys.collect_view()}</div>
            <span class="field-hint">{who}</span>
        </div>
    }
}
