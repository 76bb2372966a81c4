//! A wall that is an arc: how far its middle stands off the line between its corners.

use leptos::prelude::*;
use shared_model::job::{Edit, Room};

use super::measure::Measuring;
use crate::keypad::{Taken, keep_focus};
use crate::measuring::{Aim, new_reading};

/// A rise entered for the picked wall.
pub fn take(measuring: Measuring, room: &Room, taken: &Taken) -> Result<(), String> {
    let Aim::Rise(wall, inward) = measuring.aim.get_untracked() else { return Ok(()) };
    let reading = new_reading(taken, Vec::new());
    measuring.here.try_act("rise of an arc", vec![Edit::AddRise { room: room.id, wall, inward, reading }])
}

/// In place of the wall's actions while its arc is entered.
#[component]
pub fn BendPanel() -> impl IntoView {
    let Measuring { aim, .. } = expect_context();
    let inward = Memo::new(move |_| matches!(aim.get(), Aim::Rise(_, true)));
    let way = move |into: bool, name: &'static str| {
        view! { <button type="button" class="button" aria-pressed=move || (inward.get() == into).to_string() on:click=move |_| aim.update(|it| *it = it.wall().map_or(*it, |wall| Aim::Rise(wall, into)))>{name}</button> }
    };
    view! {
        <div class="actions" role="group" aria-label="Arc" on:mousedown=keep_focus>
            <button type="button" class="button button-quiet" id="bend-done" on:click=move |_| aim.update(|it| *it = it.wall().map_or(Aim::Next, Aim::Wall))>"‹ Wall"</button>
            {way(false, "Bends out")}
            {way(true, "Bends in")}
        </div>
    }
}
