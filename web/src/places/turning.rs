//! A turn that is not square: from a short list, or typed.

use leptos::ev::SubmitEvent;
use leptos::prelude::*;
use shared_model::job::{Angle, Turn};

use super::measure::Measuring;
use crate::measuring::turn_words;

/// Angles that houses have, in degrees: bays, corner closets, hexagons.
const USUAL: [i64; 4] = [30, 45, 60, 135];

#[component]
pub fn TurnSheet(open: RwSignal<bool>) -> impl IntoView {
    let measuring: Measuring = expect_context();
    let (typed, refused) = (RwSignal::new(String::new()), RwSignal::new(None::<String>));
    let choose = move |turn: Turn| {
        measuring.turn_by(turn);
        open.set(false);
    };
    let take = move |event: SubmitEvent| {
        event.prevent_default();
        match Turn::parse(&typed.get()) {
            Ok(turn) => choose(turn),
            Err(error) => refused.set(Some(error.to_string())),
        }
    };
    let usual = [-1, 1].map(|side| {
        let keys = USUAL.map(|degrees| {
            let turn = Turn(Angle::degrees(side * degrees));
            view! { <button type="button" class="segment" data-turn=side * degrees on:click=move |_| choose(turn)>{format!("{degrees}°")}</button> }
        });
        let name = if side < 0 { "Left" } else { "Right" };
        view! { <div class="field"><span class="field-label">{name}</span><div class="segments" role="group" aria-label=name>{keys.collect_view()}</div></div> }
    });
    view! {
        <p class="quiet">{move || format!("The corner {} now{}. A turn is how far the next wall turns off from going straight on: a square corner turns 90°.", turn_words(measuring.turn_now()), if measuring.wall().is_some_and(|it| it.turns_freely()) { " as it looks; it is not measured" } else { "" })}</p>
        <div class="segments" role="group" aria-label="Square">
            <button type="button" class="segment" data-turn="-90" on:click=move |_| choose(Turn::LEFT)>"Square left"</button>
            <button type="button" class="segment" data-turn="90" on:click=move |_| choose(Turn::RIGHT)>"Square right"</button>
        </div>
        {usual.collect_view()}
        {move || measuring.wall().is_some().then(|| view! {
            <button type="button" class="choice" id="free-corner" aria-pressed=move || measuring.wall().is_some_and(|it| it.turns_freely()).to_string() on:click=move |_| { measuring.turn_freely(); open.set(false) }>
                <span class="choice-name">"Not measured"</span>
                <span class="field-hint">"The walls and a diagonal decide how it turns."</span>
            </button>
        })}
        <form class="form" on:submit=take>
            <label class="field">
                <span class="field-label">"Any other"</span>
                <input class="input" name="turn" autocomplete="off" placeholder="22.5 left" prop:value=typed on:input=move |event| { typed.set(event_target_value(&event)); refused.set(None) } />
                <span class="field-hint">"Degrees, then left or right."</span>
            </label>
            {move || refused.get().map(|it| view! { <p class="field-error" role="alert">{it}</p> })}
            <button type="submit" class="button button-main">"Turn so"</button>
        </form>
    }
}
