//! A flight of stairs.

use leptos::prelude::*;
use shared_model::ids::{FlightId, RoomId, WallId};
use shared_model::job::{Edit, Flight, Foot, Room, Subject, Wall};
use shared_model::length::Length;
use shared_model::problem::Place as Spot;

use super::lengths::{LengthField, LengthPad, Lengths};
use super::photos::Photos;
use super::undo_keys::Removed;
use crate::app::go;
use crate::route::{Place, Route};
use crate::state::OpenJob;

/// No flight of a house has more.
const MOST_STEPS: u32 = 40;

#[component]
pub fn FlightForm(flight: FlightId) -> impl IntoView {
    let here = OpenJob::here();
    Lengths::provide();
    let id = flight;
    let found = Memo::new(move |_| here.job.with(|job| job.flights.iter().find(|it| it.id == id).cloned()));
    let present = Memo::new(move |_| found.with(Option::is_some));
    let set = move |change: &dyn Fn(&mut Flight)| {
        if let Some(mut flight) = found.get_untracked() {
            change(&mut flight);
            here.act("stairs", vec![Edit::SetFlight { flight }]);
        }
    };
    let of =
        move |part: fn(&Flight) -> Length| Signal::derive(move || found.get().map(|it| part(&it)).unwrap_or_default());
    let rename = move |event| {
        let name = event_target_value(&event).trim().to_owned();
        if !name.is_empty() {
            set(&|it| it.name.clone_from(&name));
        }
    };
    let steps = move || found.get().map_or(0, |it| it.steps);
    let step = move |by: i32| {
        set(&|it| {
            it.steps = it.steps.saturating_add_signed(by).clamp(1, MOST_STEPS);
            it.winders = it.winders.min(it.steps);
        });
    };
    let winders = move || found.get().map_or(0, |it| it.winders);
    let wind = move |by: i32| set(&|it| it.winders = it.winders.saturating_add_signed(by).min(it.steps));
    let any_winders = Memo::new(move |_| winders() > 0);
    let placed = Memo::new(move |_| found.with(|it| it.as_ref().is_some_and(|it| it.foot.is_some())));
    let place = Callback::new(move |foot: Option<Foot>| set(&|it| it.foot = foot));
    let set_offset = Callback::new(move |to| {
        set(&|it| it.foot = it.foot.map(|foot| Foot { offset: to, ..foot }));
    });
    let remove = move |_| {
        here.act("stairs removed", vec![Edit::RemoveFlight { flight: id, removed: true }]);
        go(Route::In(here.id, Place::Rooms));
    };
    move || {
        if !present.get() {
            return view! { <Removed what="This flight of stairs" back=Edit::RemoveFlight { flight: id, removed: false } /> }.into_any();
        }
        view! {
            <main class="place">
                <div class="page" id="flight-form">
                    <label class="field">
                        <span class="field-label">"Name"</span>
                        <input class="input" name="flight-name" autocomplete="off" maxlength="80" prop:value=move || found.get().map(|it| it.name) on:change=rename />
                    </label>
                    <Count name="Steps to cover" id="steps" count=Signal::derive(steps) by=Callback::new(step) hint="A step is a tread and the riser below it; winders count, a landing does not." />
                    <Count name="Of these, winders" id="winders" count=Signal::derive(winders) by=Callback::new(wind) hint="Steps that turn: each is cut by its own template." />
                    <LengthField name="Riser" value=of(|it| it.riser) set=Callback::new(move |to| set(&|it| it.riser = to)) hint="Height from tread to tread." />
                    <LengthField name="Going" value=of(|it| it.going) set=Callback::new(move |to| set(&|it| it.going = to)) hint="From riser to riser, level." />
                    <LengthField name="Nosing" value=of(|it| it.nosing) set=Callback::new(move |to| set(&|it| it.nosing = to)) hint="How far a tread stands out over its riser." />
                    <LengthField name="Width" value=of(|it| it.width) set=Callback::new(move |to| set(&|it| it.width = to)) hint="From wall or baluster to the other side." />
                    {move || any_winders.get().then(|| view! {
                        <LengthField name="Winder" value=of(|it| it.winder_reach) set=Callback::new(move |to| set(&|it| it.winder_reach = to)) hint="The longest straight line over a winder's tread, corner to corner." />
                    })}
                    <LengthField name="Landing" value=of(|it| it.landing) set=Callback::new(move |to| set(&|it| it.landing = to)) hint="Depth of a landing in the flight, if there is one. A larger one is measured as a room." />
                    <Start flight=found place />
                    {move || placed.get().then(|| view! {
                        <LengthField name="Place" value=of(|it| it.foot.map(|it| it.offset).unwrap_or_default()) set=set_offset hint="From the wall's start, as it was walked, to the stairs." />
                    })}
                    <div class="field"><span class="field-label">"Photos of the stairs"</span><Photos of=Subject::Flight(id) /></div>
                    {move || {
                        let told = here.takeoff.with(|it| it.problems.iter().filter(|it| it.place == Spot::Flight(id)).map(|it| it.text.clone()).collect::<Vec<_>>());
                        told.into_iter().map(|it| view! { <p class="problem"><span class="problem-text">{it}</span></p> }).collect_view()
                    }}
                    <button type="button" class="button button-loud" id="remove-flight" on:click=remove>"Remove the stairs"</button>
                </div>
                <LengthPad />
            </main>
        }
        .into_any()
    }
}

/// At which wall of which room it starts, and whether up or down from there.
#[component]
fn Start(flight: Memo<Option<Flight>>, place: Callback<Option<Foot>>) -> impl IntoView {
    let here = OpenJob::here();
    let foot = move || flight.with(|it| it.as_ref().and_then(|it| it.foot));
    let options = move || {
        let (job, now) = (here.job.get(), foot());
        let walls = job.rooms.iter().flat_map(|room| room.walls.iter().zip(1..).map(move |(wall, n)| (room, wall, n)));
        let option = |(room, wall, n): (&Room, &Wall, usize)| {
            let chosen = now.is_some_and(|it| (it.room, it.wall) == (room.id, wall.id));
            view! { <option value=format!("{} {}", room.id, wall.id) selected=chosen>{format!("{}, wall {n}", room.name)}</option> }
        };
        walls.map(option).collect::<Vec<_>>()
    };
    let choose = move |event| {
        let value = event_target_value(&event);
        let ids = value
            .split_once(' ')
            .and_then(|(room, wall)| Some((room.parse::<RoomId>().ok()?, wall.parse::<WallId>().ok()?)));
        let before = foot();
        place.run(ids.map(|(room, wall)| Foot {
            room,
            wall,
            offset: before.map(|it| it.offset).unwrap_or_default(),
            up: before.is_none_or(|it| it.up),
        }));
    };
    let way = move |up: bool, name: &'static str| {
        let chosen = move || foot().is_some_and(|it| it.up == up).to_string();
        view! { <button type="button" class="segment" aria-pressed=chosen on:click=move |_| place.run(foot().map(|it| Foot { up, ..it }))>{name}</button> }
    };
    view! {
        <label class="field">
            <span class="field-label">"Starts at"</span>
            <select class="input" name="foot" on:change=choose>
                <option value="">"not on the plan"</option>
                {options}
            </select>
        </label>
        {move || foot().is_some().then(|| view! {
            <div class="segments" role="group" aria-label="Up or down">{way(true, "Leads up")}{way(false, "Leads down")}</div>
        })}
    }
}

/// A number that goes up and down by one.
#[component]
fn Count(
    name: &'static str,
    id: &'static str,
    count: Signal<u32>,
    by: Callback<i32>,
    hint: &'static str,
) -> impl IntoView {
    view! {
        <div class="field" role="group" aria-label=name>
            <span class="field-label">{name}</span>
            <div class="row">
                <button type="button" class="button button-icon" id=format!("fewer-{id}") aria-label="One fewer" on:click=move |_| by.run(-1)>"−"</button>
                <output class="figure" id=id aria-live="polite">{count}</output>
                <button type="button" class="button button-icon" id=format!("more-{id}") aria-label="One more" on:click=move |_| by.run(1)>"+"</button>
            </div>
            <span class="field-hint">{hint}</span>
        </div>
    }
}
