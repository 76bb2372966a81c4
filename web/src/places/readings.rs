//! Every reading of the picked wall or check: who, when, and a key to set it aside or to bring it back.

use leptos::prelude::*;
use shared_model::ids::ReadingId;
use shared_model::job::{Edit, Job, Reading};

use super::measure::Measuring;
use crate::checking;
use crate::measuring::Aim;
use crate::proposal::unread_words;
use crate::shown;

#[component]
pub fn Readings() -> impl IntoView {
    let measuring: Measuring = expect_context();
    let here = measuring.here;
    move || {
        let (shown, job) = (measuring.room.get()?, here.job.get());
        let room = shown.id;
        let lines: Vec<AnyView> = match measuring.aim.get() {
            Aim::Check(of) => {
                let act = Callback::new(move |(check, withdrawn)| {
                    here.act(said(withdrawn), vec![Edit::WithdrawCheck { room, check, withdrawn }]);
                });
                let checks = checking::of_same(&shown, of).map(|it| &it.reading);
                checks.map(|it| line(it, !it.withdrawn, &job, act)).collect()
            }
            Aim::Rise(of, _) => {
                let wall = measuring.wall()?;
                let standing: Vec<ReadingId> = wall.rises_in_force().map(|it| it.reading.id).collect();
                let act = Callback::new(move |(rise, withdrawn)| {
                    here.act(said(withdrawn), vec![Edit::WithdrawRise { room, wall: of, rise, withdrawn }]);
                });
                wall.rises.iter().map(|it| line(&it.reading, standing.contains(&it.reading.id), &job, act)).collect()
            }
            _ => {
                let wall = measuring.wall()?;
                let in_force: Vec<ReadingId> = wall.in_force().map(|it| it.id).collect();
                let of = wall.id;
                let act = Callback::new(move |(reading, withdrawn)| {
                    here.act(said(withdrawn), vec![Edit::WithdrawReading { room, wall: of, reading, withdrawn }]);
                });
                wall.readings.iter().map(|it| line(it, in_force.contains(&it.id), &job, act)).collect()
            }
        };
        (!lines.is_empty()).then(|| view! { <ul class="readings" id="readings">{lines}</ul> })
    }
}

const fn said(withdrawn: bool) -> &'static str {
    if withdrawn { "reading set aside" } else { "reading brought back" }
}

/// One reading. One that a correction replaced stays to be seen; it comes back when the correction is set aside.
fn line(reading: &Reading, in_force: bool, job: &Job, act: Callback<(ReadingId, bool)>) -> AnyView {
    let (id, withdrawn) = (reading.id, reading.withdrawn);
    let value = shown::length(reading.value, job.units);
    let who = job.people.get(&reading.stamp.by).cloned().unwrap_or_default();
    let how = unread_words(reading).map(|it| format!(", {it}"));
    let by = reading.set_aside.map(|it| {
        let who = job.people.get(&it.by).cloned().unwrap_or_default();
        view! { <span class="quiet">{format!("set aside by {who} {}", crate::when::clock(it.at))}</span> }
    });
    let (word, glyph) = if withdrawn { ("Bring back", "↶") } else { ("Set aside", "×") };
    let key = (in_force || withdrawn).then(|| {
        view! {
            <button
                type="button" class="button button-quiet button-icon" data-set-aside="" aria-label=format!("{word} {value}")
                on:click=move |_| act.run((id, !withdrawn))
            >{glyph}</button>
        }
    });
    view! {
        <li class="reading" class:aside=!in_force>
            <strong>{value.clone()}</strong>
            <span class="quiet">{format!("{who} {}", crate::when::clock(reading.stamp.at))}{how}</span>
            {by}
            {key}
        </li>
    }
    .into_any()
}
