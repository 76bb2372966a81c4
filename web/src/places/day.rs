//! Day: what the crew needs and does, on one sheet that also prints.

use leptos::prelude::*;
use shared_model::ids::PrintId;
use shared_model::job::{Edit, FloorAtOpening, Job, Sheet};
use shared_model::length::Length;
use shared_model::takeoff::Takeoff;
use uuid::Uuid;

use super::cautions::{CAUTIONS, Caution, DEFER};
use super::history::SincePrint;
use super::marks::place_words;
use super::problems::{LeftOut, PlanProblems};
use crate::drawing::mark_words;
use crate::drawing::plan::level_name;
use crate::reason::{Because, Reason};
use crate::shown;
use crate::state::OpenJob;

/// The place with everything that has to be in the van, and what to watch for.
#[component]
pub fn Day() -> impl IntoView {
    let here = OpenJob::here();
    let title = move || here.job.get().name.clone();
    // What is on paper must be found again; the browser's own menu prints too.
    let printing = StoredValue::new(false);
    let note = move || {
        here.act("day's sheet printed", vec![Edit::NotePrint { print: PrintId(Uuid::new_v4()), sheet: Sheet::Day }]);
    };
    let print = move |_| {
        note();
        printing.set_value(true);
        // A browser without printing says so itself.
        let _ = window().print();
        printing.set_value(false);
    };
    let by_menu = window_event_listener_untyped("beforeprint", move |_| {
        if printing.try_get_value() == Some(false) {
            note();
        }
    });
    on_cleanup(move || by_menu.remove());
    view! {
        <main class="place">
            <div class="page day">
                <div class="spread">
                    <h1 class="title">{title}</h1>
                    <button type="button" class="button no-print" on:click=print>"Print this sheet"</button>
                </div>
                <SincePrint />
                <PlanProblems />
                <DaySheet />
                <section class="stack">
                    <h2 class="subtitle">"Before someone gets hurt"</h2>
                    <p><strong>{DEFER}</strong></p>
                    {CAUTIONS.map(caution).collect_view()}
                </section>
            </div>
        </main>
    }
}

/// What follows from the job, card by card.
#[component]
pub fn DaySheet() -> impl IntoView {
    view! {
        <Carpet />
        <MaterialList />
        <RoomList />
        <Openings />
        <Stretch />
        <Marked />
    }
}

/// What is ordered, per goods.
#[component]
fn Carpet() -> impl IntoView {
    let here = OpenJob::here();
    let lines = move || {
        let (job, takeoff) = (here.job.get(), here.takeoff.get());
        orders(&job, &takeoff)
            .into_iter()
            .map(|(what, how_much)| view! { <dt>{what}</dt><dd>{how_much}</dd> })
            .collect_view()
    };
    view! {
        <section class="card">
            <h2 class="card-title">"Carpet"</h2>
            <dl class="facts facts-large">{lines}</dl>
            <LeftOut here />
        </section>
    }
}

/// Goods and order length.
fn orders(job: &Job, takeoff: &Takeoff) -> Vec<(String, String)> {
    let orders = takeoff.goods.iter().filter_map(|it| {
        let layout = it.layout()?;
        let what = format!(
            "{}, {} wide, {}",
            it.name,
            shown::length(layout.roll.width, job.units),
            shown::count(layout.placed().count(), "piece", "pieces")
        );
        let order = shown::order(layout.order, job.units);
        let rolls: Vec<String> = layout.rolls().iter().map(|it| shown::order(it.1, job.units)).collect();
        Some((what, if rolls.len() > 1 { format!("{order}: {}", rolls.join(" + ")) } else { order }))
    });
    orders.collect()
}

/// Pad, strip, tape, transitions: sums that can be shown.
#[component]
fn MaterialList() -> impl IntoView {
    let here = OpenJob::here();
    let body = move || {
        let (job, takeoff) = (here.job.get(), here.takeoff.get());
        let because = materials_reason(&job, &takeoff);
        let materials = &takeoff.materials;
        let strip = if job.flights.is_empty() { "Tack strip" } else { "Tack strip, rooms" };
        view! {
            <dl class="facts facts-large">
                <dt>"Pad"</dt><dd>{shown::area(materials.pad, job.units)}</dd>
                <dt>{strip}</dt><dd>{shown::length(materials.strip, job.units)}</dd>
                <dt>"Seam tape"</dt><dd>{shown::length(materials.tape, job.units)}</dd>
                <dt>"Transitions"</dt><dd>{materials.transitions.len()}</dd>
                {(materials.well_edges > Length::ZERO).then(|| view! { <dt>"Stair well edges to finish"</dt><dd>{shown::length(materials.well_edges, job.units)}</dd> })}
            </dl>
            <Reason ask="Where these come from" because />
        }
    };
    view! {
        <section class="card">
            <h2 class="card-title">"To bring"</h2>
            {body}
            <LeftOut here />
        </section>
    }
}

fn materials_reason(job: &Job, takeoff: &Takeoff) -> Because {
    let mut because = Because::default();
    for room in &takeoff.floor.rooms {
        let words = format!(
            "{}, {} around",
            shown::area(room.outline.area, job.units),
            shown::length(room.outline.perimeter, job.units)
        );
        because = because.with(&room.name, words);
    }
    for layout in takeoff.goods.iter().filter_map(|it| it.layout()) {
        let seams = format!("{} of seams", shown::length(layout.seam_length, job.units));
        because = because.with(&layout.name, seams);
    }
    because.rule = "Pad: the floors inside the walls, and the flights. Strip: around each room, less the openings one walks through. Tape: the \
                    seams' length. These are sums without anything added for waste: add what your shop adds."
        .to_owned();
    because.source = "tack strip does not cross door openings: CRI 105 §11.1".to_owned();
    if !job.flights.is_empty() {
        because.rule += " Stairs take two strips a step: count them on the stair.";
        because.source += "; two strips a step: common practice";
    }
    because
}

/// The rooms and flights of the job with what is laid there.
#[component]
fn RoomList() -> impl IntoView {
    let here = OpenJob::here();
    let rows = move || {
        let rooms = rooms(&here.job.get(), &here.takeoff.get());
        rooms
            .into_iter()
            .map(|it| view! { <dt><strong>{it.name}</strong><br />{it.where_and_what}</dt><dd>{it.size}</dd> })
            .collect_view()
    };
    view! {
        <section class="card">
            <h2 class="card-title">"Rooms"</h2>
            <dl class="facts">{rows}</dl>
        </section>
    }
}

struct RoomLine {
    name: String,
    where_and_what: String,
    size: String,
}

fn rooms(job: &Job, takeoff: &Takeoff) -> Vec<RoomLine> {
    let goods = |own| job.goods_of(own).map_or("no goods", |it| it.name.as_str());
    let rooms = job.rooms.iter().map(|room| {
        let outline = takeoff.floor.rooms.iter().find(|it| it.room == room.id).map(|it| &it.outline);
        RoomLine {
            name: room.name.clone(),
            where_and_what: format!("{}, {}", level_name(room.level), goods(room.goods)),
            size: outline.map_or_else(|| "not closed yet".to_owned(), |it| shown::area(it.area, job.units)),
        }
    });
    let flights = job.flights.iter().map(|flight| RoomLine {
        name: flight.name.clone(),
        where_and_what: format!("Stairs, {}", goods(flight.goods)),
        size: shown::count(usize::try_from(flight.steps).unwrap_or(usize::MAX), "step", "steps"),
    });
    rooms.chain(flights).collect()
}

/// Where the floor changes or a seam lies under a door, opening by opening.
#[component]
fn Openings() -> impl IntoView {
    let here = OpenJob::here();
    let lines = move || openings(&here.job.get());
    view! {
        <Show when=move || !lines().is_empty()>
            <section class="card">
                <h2 class="card-title">"Openings"</h2>
                <dl class="facts">{move || lines().into_iter().map(|(what, width)| view! { <dt>{what}</dt><dd>{width}</dd> }).collect_view()}</dl>
            </section>
        </Show>
    }
}

fn openings(job: &Job) -> Vec<(String, String)> {
    let all = job.rooms.iter().flat_map(|room| room.openings.iter().map(move |opening| (room, opening)));
    let walked = all.filter(|(_, it)| it.kind.reaches_floor());
    let lines = walked.map(|(room, opening)| {
        let beyond =
            opening.leads_to.and_then(|id| job.room(id)).map_or_else(String::new, |it| format!(" to {}", it.name));
        let does = match opening.floor {
            FloorAtOpening::RunsThrough => "carpet runs through",
            FloorAtOpening::SeamUnderDoor => "seam under the door; undercut the jambs if needed",
            FloorAtOpening::OtherFloor => "another floor: transition piece",
        };
        (format!("{}{beyond}: {does}", room.name), shown::length(opening.width, job.units))
    });
    lines.collect()
}

/// Sides that need the power stretcher.
#[component]
fn Stretch() -> impl IntoView {
    let here = OpenJob::here();
    let sides = move || here.takeoff.get().materials.power_stretch.clone();
    // Stairs are not stretched with it.
    let any_room = move || !here.takeoff.get().floor.rooms.is_empty();
    view! {
        <Show when=any_room>
        <section class="card">
            <h2 class="card-title">"Stretching"</h2>
            <Show when=move || !sides().is_empty() fallback=|| view! { <p>"No side is longer than 12 ft. Stretch with the power stretcher all the same."</p> }>
                <p>"Longer than 12 ft, so the power stretcher is a must here (common practice):"</p>
                <ul class="bullets">{move || sides().into_iter().map(|it| view! { <li>{it}</li> }).collect_view()}</ul>
            </Show>
        </section>
        </Show>
    }
}

/// Squeaks to screw down before the pad is laid, and notes.
#[component]
fn Marked() -> impl IntoView {
    let here = OpenJob::here();
    let lines = move || marked(&here.job.get());
    view! {
        <Show when=move || !lines().is_empty()>
            <section class="card" id="marked">
                <h2 class="card-title">"Squeaks and notes"</h2>
                <ul class="bullets">{move || lines().into_iter().map(|it| view! { <li>{it}</li> }).collect_view()}</ul>
            </section>
        </Show>
    }
}

fn marked(job: &Job) -> Vec<String> {
    let all = job.rooms.iter().flat_map(|room| room.marks_in_force().map(move |mark| (room, mark)));
    let lines = all.map(|(room, mark)| {
        let place = place_words(room, mark, job.units).map(|it| format!(" ({it})")).unwrap_or_default();
        format!("{}: {}{place}", room.name, mark_words(mark))
    });
    lines.collect()
}

fn caution(it: Caution) -> impl IntoView {
    view! {
        <div class="caution">
            <div class="stack-s">
                <p><strong>{it.about}</strong></p>
                <p>{it.text}</p>
                <p class="caution-source">"Source: " {it.source} ". " {DEFER}</p>
            </div>
        </div>
    }
}
