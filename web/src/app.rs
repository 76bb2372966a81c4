//! The page: which place is shown, the bar above it, the bar below it.

use leptos::html;
use leptos::prelude::*;
use shared_model::ids::JobId;
use shared_model::wire::{Role, Whereabouts};
use wasm_bindgen_futures::spawn_local;

use crate::glyph::Glyph;
use crate::phone::{self, JobSignals, Phone};
use crate::pictures::Pictures;
use crate::places::checked::Checked;
use crate::places::cuts::Cuts;
use crate::places::day::Day;
use crate::places::flights::FlightForm;
use crate::places::goods::GoodsForm;
use crate::places::history::History;
use crate::places::jobs::Jobs;
use crate::places::measure::Measure;
use crate::places::rooms::Rooms;
use crate::places::seams::Seams;
use crate::places::sharing::SyncChip;
use crate::places::then::Then;
use crate::route::{Place, Route};
use crate::state::OpenJob;
use crate::truth::Link;
use crate::{link, theme, when};

#[component]
pub fn App() -> impl IntoView {
    let phone = Phone::new();
    provide_context(phone);
    let pictures = Pictures::new(phone);
    provide_context(pictures);
    let route = RwSignal::new(here());
    provide_context(route.read_only());
    window_event_listener_untyped("hashchange", move |_| route.set(here()));
    spawn_local(async move {
        phone.start().await;
        theme::restore(phone).await;
        link::start(phone);
        pictures.start().await;
    });
    Effect::new(move |_| {
        let may = if phone.role.get() == Role::Viewer { "look" } else { "measure" };
        // Setting an attribute of a fixed name does not fail.
        let _ = document().document_element().map(|page| page.set_attribute("data-may", may));
    });
    let job = Memo::new(move |_| match route.get() {
        Route::Jobs => None,
        Route::In(job, _) => Some(job),
    });
    view! {
        <div class="app">
            {move || match job.get() {
                None => view! { <Jobs /> }.into_any(),
                Some(job) => view! { <JobPage job /> }.into_any(),
            }}
            <Notices />
        </div>
    }
}

fn here() -> Route {
    Route::parse(&window().location().hash().unwrap_or_default())
}

/// Goes to another place, as a link would.
pub fn go(route: Route) {
    // Setting the part after # fails for no address.
    let _ = window().location().set_hash(&route.to_string());
}

/// The route as a signal.
pub fn route() -> ReadSignal<Route> {
    expect_context()
}

/// A job: read from storage first.
#[component]
fn JobPage(job: JobId) -> impl IntoView {
    let phone = Phone::here();
    let signals = RwSignal::new(None::<JobSignals>);
    let missing = RwSignal::new(false);
    Effect::new(move |_| {
        let listed = phone.jobs.with(|jobs| jobs.iter().any(|it| it.job == job));
        if phone.started.get() && phone.me.with(Option::is_some) && signals.with_untracked(Option::is_none) {
            spawn_local(async move {
                let opened = phone.open(job).await;
                if opened.is_some() {
                    phone.keep_opened(job);
                }
                missing.try_set(opened.is_none() && !listed);
                signals.try_set(opened);
            });
        }
    });
    move || {
        match signals.get() {
        Some(signals) => view! { <JobFrame job signals /> }.into_any(),
        None => view! {
            <header class="topbar"><BackTo route=Route::Jobs label="All jobs" /><h1 class="topbar-title">"Job"</h1></header>
            <main class="place"><p class="empty">{move || waiting_words(phone, missing.get())}</p></main>
        }
        .into_any(),
    }
    }
}

fn waiting_words(phone: Phone, missing: bool) -> &'static str {
    match (phone.me.with(Option::is_some), phone.link.get()) {
        (false, Link::Unpaired) => "This phone is not paired with a shop: open its pairing link first.",
        (false, _) => "Waiting for the first answer of the shop's server…",
        (true, Link::Up) if missing => "This job is neither on this phone nor on the server.",
        (true, _) if missing => "This job is not on this phone. It appears when the server can be reached.",
        _ => "Reading the job…",
    }
}

/// A job that is in memory: its places, and the bars around them.
#[component]
fn JobFrame(job: JobId, signals: JobSignals) -> impl IntoView {
    let open = OpenJob::provide(job, signals);
    let phone = Phone::here();
    let route = route();
    let place = Memo::new(move |_| match route.get() {
        Route::In(_, place) => place,
        Route::Jobs => Place::Rooms,
    });
    Effect::new(move |_| {
        let at = match place.get() {
            Place::Room(room) => Whereabouts::Room(room),
            _ => Whereabouts::Job,
        };
        open.room.set(if let Place::Room(room) = place.get() { Some(room) } else { None });
        phone.go(job, at);
    });
    on_cleanup(move || phone.go(job, Whereabouts::Gone));
    view! {
        <header class="topbar">
            {move || match place.get() {
                Place::Checked | Place::Room(_) | Place::Flight(_) | Place::History(_) | Place::Then(_) => view! { <BackTo route=Route::In(job, Place::Rooms) label="All rooms" /> },
                Place::Goods(_) => view! { <BackTo route=Route::In(job, Place::Seams) label="Seams" /> },
                _ => view! { <BackTo route=Route::Jobs label="All jobs" /> },
            }}
            <h1 class="topbar-title">{move || title(open, place.get())}</h1>
            <SyncChip />
        </header>
        <OnPaper job=open />
        {move || match place.get() {
            Place::Rooms => view! { <Rooms /> }.into_any(),
            Place::Checked => view! { <Checked /> }.into_any(),
            Place::Room(room) => view! { <Measure room /> }.into_any(),
            Place::Flight(flight) => view! { <FlightForm flight /> }.into_any(),
            Place::Goods(goods) => view! { <GoodsForm goods /> }.into_any(),
            Place::Seams => view! { <Seams /> }.into_any(),
            Place::Cuts => view! { <Cuts /> }.into_any(),
            Place::Day => view! { <Day /> }.into_any(),
            Place::History(page) => view! { <History page /> }.into_any(),
            Place::Then(change) => view! { <Then change /> }.into_any(),
        }}
        <nav class="bottombar" aria-label="Places of the job">
            <Tab job to=Place::Rooms place name="Rooms" glyph=Glyph::Rooms />
            <Tab job to=Place::Seams place name="Seams" glyph=Glyph::Seams />
            <Tab job to=Place::Cuts place name="Cuts" glyph=Glyph::Cuts />
            <Tab job to=Place::Day place name="Day" glyph=Glyph::Day />
        </nav>
    }
}

/// What a sheet of paper says of itself, whichever place is printed: whose it is, of which job, and as of when.
#[component]
fn OnPaper(job: OpenJob) -> impl IntoView {
    let phone = Phone::here();
    let line = NodeRef::<html::P>::new();
    // Written at once: the page is taken before anything that waits for its turn.
    let write = move |_| {
        let shop = phone.me.with_untracked(|it| it.as_ref().map(|it| format!("{}: ", it.shop))).unwrap_or_default();
        let (name, at) = (job.job.with_untracked(|it| it.name.clone()), phone::now());
        let words = format!("{shop}{name}, as on this phone {} {}", when::date(at), when::time(at));
        if let Some(line) = line.get_untracked() {
            line.set_text_content(Some(&words));
        }
    };
    let printing = window_event_listener_untyped("beforeprint", write);
    on_cleanup(move || printing.remove());
    view! { <p class="print-only" id="on-paper" node_ref=line></p> }
}

fn title(open: OpenJob, place: Place) -> String {
    match place {
        Place::Checked => return "What is checked".to_owned(),
        Place::History(_) => return "History".to_owned(),
        Place::Then(_) => return "As it stood".to_owned(),
        _ => {}
    }
    let job = open.job.get();
    let name = match place {
        Place::Room(room) => job.room(room).map(|it| it.name.clone()),
        Place::Flight(flight) => job.flights.iter().find(|it| it.id == flight).map(|it| it.name.clone()),
        Place::Goods(goods) => job.goods.iter().find(|it| it.id == goods).map(|it| it.name.clone()),
        _ => None,
    };
    name.unwrap_or_else(|| job.name.clone())
}

#[component]
fn BackTo(route: Route, label: &'static str) -> impl IntoView {
    view! { <a class="button button-quiet button-icon" id="back" href=route.to_string() aria-label=label>"‹"</a> }
}

/// One of the four places.
#[component]
fn Tab(job: JobId, to: Place, place: Memo<Place>, name: &'static str, glyph: Glyph) -> impl IntoView {
    let current = move || (place.get().tab() == to).then_some("page");
    view! {
        <a class="tab" data-place=name.to_lowercase() href=Route::In(job, to).to_string() aria-current=current>
            {glyph.show()}
            {name}
        </a>
    }
}

/// What the person must know whatever is shown: storage that fails, a newer build, and what just happened.
#[component]
fn Notices() -> impl IntoView {
    let phone = Phone::here();
    let newer =
        move || {
            phone.newer_build.get().map(|build| view! {
        <div class="toast" id="newer-build" role="status">
            <span>"The server has a newer version of this page."</span>
            <a class="button" href=format!("/?b={build}")>"Reload"</a>
            <button type="button" class="button" on:click=move |_| phone.newer_build.set(None)>"Later"</button>
        </div>
    })
        };
    let trouble = move || {
        phone.trouble.get().map(|it| {
            view! {
                <div class="toast" id="trouble" role="alert">{it}</div>
            }
        })
    };
    let notice = move || {
        phone.notice.get().map(|it| {
            view! {
                <div class="toast" id="notice" role="status">
                    <span>{it}</span>
                    <button type="button" class="button" on:click=move |_| phone.notice.set(None)>"OK"</button>
                </div>
            }
        })
    };
    view! { <div class="notices">{newer}{trouble}{notice}</div> }
}
