//! A seam: why it lies there, why not elsewhere, and what moving it would change.

use leptos::prelude::*;
use shared_model::job::Pin;
use shared_model::layout::{Seam, SeamCost, SeamKind, Why};
use shared_model::length::Length;
use shared_model::polygon::Point;
use shared_model::takeoff::{moved, why};

use super::compare::{seam_cost, seam_points};
use super::pins::pin_edit;
use super::seams::with_layout;
use crate::drawing::plan::Laid;
use crate::reason::{Because, Reason};
use crate::shown;
use crate::state::OpenJob;

/// A seam is moved in such steps, and so many of them each way at most.
const STEP: Length = Length::inches(1);
const MOST_STEPS: i64 = 144;

/// What a tap on a seam opens.
#[component]
pub fn SeamSheet(
    laid: Memo<Option<Laid>>,
    seam: RwSignal<Option<usize>>,
    /// Where the seam would lie, for the plan.
    ghost: RwSignal<Option<(Point, Point)>>,
    opened: RwSignal<bool>,
) -> impl IntoView {
    let here = OpenJob::here();
    let told = Memo::new(move |_| {
        let index = seam.get()?;
        let takeoff = here.takeoff.get();
        with_layout(here, laid.get(), |job, goods, layout| {
            let seam = layout.seams.get(index)?;
            let why = why(job, &takeoff, goods.goods, layout, index);
            Some((seam.clone(), shown::length(seam.length, job.units), why))
        })?
    });
    move || {
        let (seam, length, why) = told.get()?;
        let points = seam_points(seam_cost(&seam));
        let here_because = why.as_ref().map(|it| view! { <p id="why-here">{it.here.clone()}</p> });
        Some(view! {
            <p><span class="number">{length}</span> " long, " {points}</p>
            {here_because}
            {costs(&seam.costs)}
            {(seam.kind == SeamKind::Side).then(|| view! { <Move laid seam=seam.clone() ghost opened /> })}
            {why.map(|it| elsewhere(&it))}
            <Reason ask="What are seam points?" because=points_reason() />
        })
    }
}

fn costs(costs: &[SeamCost]) -> impl IntoView + use<> {
    if costs.is_empty() {
        return view! { <p>"Nothing speaks against this place."</p> }.into_any();
    }
    let costs = costs.iter().map(|it| view! { <dt>{it.reason.clone()}</dt><dd>{seam_points(it.points)}</dd> });
    view! { <dl class="facts">{costs.collect_view()}</dl> }.into_any()
}

fn elsewhere(why: &Why) -> Option<impl IntoView + use<>> {
    let places = why.not_there.iter().map(|it| {
        view! { <li><strong>{it.place.clone()}</strong>": " {it.reason.clone()}</li> }
    });
    (!why.not_there.is_empty()).then(|| {
        view! {
            <h3 class="subtitle">"Why not there?"</h3>
            <ul class="reasons" id="why-not-there">{places.collect_view()}</ul>
        }
    })
}

/// Slides the seam over the plan; what that costs and saves follows, and a pin holds it there.
#[component]
fn Move(
    laid: Memo<Option<Laid>>,
    seam: Seam,
    ghost: RwSignal<Option<(Point, Point)>>,
    opened: RwSignal<bool>,
) -> impl IntoView {
    let here = OpenJob::here();
    let steps = RwSignal::new(0_i64);
    let upright = seam.from.x == seam.to.x;
    let (one_way, other_way) = if upright { ("left", "right") } else { ("down", "up") };
    let seam = StoredValue::new(seam);
    let there = move |by: Length| {
        let shift = if upright { Point::new(by, Length::ZERO) } else { Point::new(Length::ZERO, by) };
        seam.with_value(|it| (it.from + shift, it.to + shift))
    };
    Effect::new(move |_| {
        let steps = steps.get();
        ghost.set((steps != 0).then(|| there(STEP * steps)));
    });
    on_cleanup(move || ghost.set(None));
    let found = Memo::new(move |_| {
        let by = STEP * steps.get();
        let takeoff = here.takeoff.get();
        with_layout(here, laid.get(), |job, goods, layout| {
            let index = layout.seams.iter().position(|it| seam.with_value(|seam| it == seam))?;
            moved(job, &takeoff, goods.goods, layout, index, by)
        })?
    });
    let place = move || {
        let by = STEP * steps.get();
        let far = here.job.with(|job| shown::length(by.abs(), job.units));
        match by.0 {
            0 => "Where it is.".to_owned(),
            1.. => format!("{far} farther {other_way}."),
            _ => format!("{far} farther {one_way}."),
        }
    };
    let difference = move || {
        match found.get() {
        _ if steps.get() == 0 => String::new(),
        Some(moved) => moved.difference.unwrap_or_else(|| {
            "No seam can lie there: it would fall outside the floor or within 6 in of a wall, or leave a breadth wider than the roll.".to_owned()
        }),
        None => "No straight wall runs beside this seam to measure it from.".to_owned(),
    }
    };
    let possible = move || found.get().is_some_and(|it| steps.get() == 0 || it.difference.is_some());
    let hold = move |_| {
        let Some(Pin::Seam { wall, distance }) = found.get().map(|it| it.pin) else { return };
        let room = seam.with_value(|it| it.room);
        let pin = Pin::Seam { wall, distance };
        opened.set(false);
        here.act("seam pinned", vec![pin_edit(&here.job.get_untracked(), room, pin)]);
    };
    let slide = move |event| steps.set(event_target_value(&event).parse().unwrap_or_default());
    let by = move |more: i64| steps.update(|it| *it = (*it + more).clamp(-MOST_STEPS, MOST_STEPS));
    view! {
        <div class="move" role="group" aria-label="Move the seam">
            <button type="button" class="button button-icon" aria-label=format!("1 in {one_way}") on:click=move |_| by(-1)>"−"</button>
            <input
                type="range" class="slide" id="seam-slide" aria-label=format!("Move the seam {one_way} or {other_way}")
                min=-MOST_STEPS max=MOST_STEPS step="1" prop:value=move || steps.get().to_string()
                aria-valuetext=place on:input=slide
            />
            <button type="button" class="button button-icon" aria-label=format!("1 in {other_way}") on:click=move |_| by(1)>"+"</button>
        </div>
        <p id="seam-moved" aria-live="polite"><strong>{place}</strong> " " {difference}</p>
        <button type="button" class="button" id="pin-seam" disabled=move || !possible() on:click=hold>
            {move || if steps.get() == 0 { "Keep it here" } else { "Pin it there" }}
        </button>
        <p class="fine quiet">"A pin holds in every layout; the rest is planned around it. About: the final plan may differ a little."</p>
    }
}

fn points_reason() -> Because {
    Because {
        facts: Vec::new(),
        rule: "Each thing that makes a seam show, wear or open early adds points, and fewer points are better. Breadths lie so that \
               no other layout is better in roll, in seam length and in points at once."
            .to_owned(),
        source: "the placement rules of CRI's carpet installation standard §6.2 (traffic, light, pivot points, doorways); the weights are the shop's choice".to_owned(),
    }
}
