//! A straight flight of stairs.

use leptos::prelude::*;
use shared_model::ids::FlightId;
use shared_model::job::{Edit, Flight};
use shared_model::length::Length;

use super::lengths::{LengthField, LengthPad, Lengths};
use super::undo_keys::Removed;
use crate::app::go;
use crate::route::{Place, Route};
use crate::state::OpenJob;

/// No straight flight of a house has more.
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
    let step = move |by: i32| set(&|it| it.steps = it.steps.saturating_add_signed(by).clamp(1, MOST_STEPS));
    let remove = move |_| {
        here.act("stairs removed", vec![Edit::RemoveFlight { flight: id, removed: true }]);
        go(Route::In(here.id, Place::Rooms));
    };
    move || {
        if !present.get() {
            return view! { <Removed what="This flight of stairs" /> }.into_any();
        }
        view! {
            <main class="place">
                <div class="page" id="flight-form">
                    <label class="field">
                        <span class="field-label">"Name"</span>
                        <input class="input" name="flight-name" autocomplete="off" maxlength="80" prop:value=move || found.get().map(|it| it.name) on:change=rename />
                    </label>
                    <div class="field" role="group" aria-label="Steps">
                        <span class="field-label">"Steps to cover"</span>
                        <div class="row">
                            <button type="button" class="button button-icon" id="fewer-steps" aria-label="One step fewer" on:click=move |_| step(-1)>"−"</button>
                            <output class="figure" id="steps" aria-live="polite">{steps}</output>
                            <button type="button" class="button button-icon" id="more-steps" aria-label="One step more" on:click=move |_| step(1)>"+"</button>
                        </div>
                        <span class="field-hint">"A step is a tread and the riser below it. A landing is measured as a room."</span>
                    </div>
                    <LengthField name="Riser" value=of(|it| it.riser) set=Callback::new(move |to| set(&|it| it.riser = to)) hint="Height from tread to tread." />
                    <LengthField name="Going" value=of(|it| it.going) set=Callback::new(move |to| set(&|it| it.going = to)) hint="From riser to riser, level." />
                    <LengthField name="Nosing" value=of(|it| it.nosing) set=Callback::new(move |to| set(&|it| it.nosing = to)) hint="How far a tread stands out over its riser." />
                    <LengthField name="Width" value=of(|it| it.width) set=Callback::new(move |to| set(&|it| it.width = to)) hint="From wall or baluster to the other side." />
                    <button type="button" class="button button-loud" id="remove-flight" on:click=remove>"Remove the stairs"</button>
                </div>
                <LengthPad />
            </main>
        }
        .into_any()
    }
}
