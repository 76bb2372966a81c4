//! A seam: why it lies there, why not elsewhere, and what moving it would change.

use leptos::html;
use leptos::prelude::*;
use shared_model::job::Pin;
use shared_model::layout::{Seam, SeamCost, SeamKind, Why};
use shared_model::length::{Length, Units};
use shared_model::polygon::{Axis, Point};
use shared_model::takeoff::{moved, why};

use super::compare::{seam_cost, seam_points};
use super::pins::pin_edit;
use super::seams::{seam_title, with_layout};
use crate::drawing::plan::Laid;
use crate::reason::{Because, Reason};
use crate::shown;
use crate::state::OpenJob;

/// So many steps each way at most.
const MOST_STEPS: i64 = 144;

/// A seam is moved in such steps.
pub const fn step(units: Units) -> Length {
    match units {
        Units::Imperial => Length::inches(1),
        Units::Metric => Length::mm(20),
    }
}

/// The steps of a drag, to the nearest.
pub fn steps_of(by: Length, units: Units) -> i64 {
    let step = step(units);
    (by.round_to(step).0 / step.0).clamp(-MOST_STEPS, MOST_STEPS)
}

/// The seam's ends when it lies so far east or north of its place.
pub fn shifted(seam: &Seam, by: Length) -> (Point, Point) {
    let shift = match seam.axis() {
        Axis::Y => Point::new(by, Length::ZERO),
        Axis::X => Point::new(Length::ZERO, by),
    };
    (seam.from + shift, seam.to + shift)
}

/// What the picked seam is, what moving it would change, and why it lies where it does.
#[component]
pub fn SeamCard(
    laid: Memo<Option<Laid>>,
    seam: RwSignal<Option<usize>>,
    /// How far it is moved.
    steps: RwSignal<i64>,
) -> impl IntoView {
    let here = OpenJob::here();
    let told = Memo::new(move |_| {
        let index = seam.get()?;
        let takeoff = here.takeoff.get();
        with_layout(here, laid.get(), |job, goods, layout| {
            let seam = layout.seams.get(index)?;
            let why = why(job, &takeoff, goods.goods, layout, index);
            Some((seam.clone(), seam_title(seam, job), shown::length(seam.length, job.units), why))
        })?
    });
    move || {
        let (seam_itself, title, length, why) = told.get()?;
        let name = title.clone();
        let points = seam_points(seam_cost(&seam_itself));
        let here_because = why.as_ref().map(|it| view! { <p id="why-here">{it.here.clone()}</p> });
        let movable = seam_itself.kind == SeamKind::Side;
        let card = NodeRef::<html::Section>::new();
        Effect::new(move |_| {
            if let Some(card) = card.get() {
                card.scroll_into_view();
            }
        });
        Some(view! {
            <section class="card seam-card" id="seam-card" aria-label=title node_ref=card>
                <div class="spread">
                    <h2 class="card-title">{name}</h2>
                    <button type="button" class="button button-quiet button-icon" aria-label="Close" data-close="" on:click=move |_| seam.set(None)>"×"</button>
                </div>
                <p><span class="number">{length}</span> " long, " {points}</p>
                {movable.then(|| view! { <Move laid seam=seam_itself.clone() steps /> })}
                <h3 class="subtitle">"Why here?"</h3>
                {here_because}
                {costs(&seam_itself.costs)}
                {why.map(|it| elsewhere(&it))}
                <Reason ask="What are seam points?" because=points_reason() />
            </section>
        })
    }
}

fn costs(costs: &[SeamCost]) -> impl IntoView + use<> {
    if costs.is_empty() {
        return view! { <p>"Nothing speaks against this place."</p> }.into_any();
    }
    let line = |(reason, points): (String, i64)| view! { <li>{reason} " " <strong>{seam_points(points)}</strong></li> };
    view! { <ul class="bullets">{summed(costs).into_iter().map(line).collect_view()}</ul> }.into_any()
}

/// Each reason once, with what it costs in all.
fn summed(costs: &[SeamCost]) -> Vec<(String, i64)> {
    let mut sums: Vec<(String, i64, usize)> = Vec::new();
    for cost in costs {
        match sums.iter_mut().find(|it| it.0 == cost.reason) {
            Some(sum) => (sum.1, sum.2) = (sum.1 + cost.points, sum.2 + 1),
            None => sums.push((cost.reason.clone(), cost.points, 1)),
        }
    }
    let words = |(reason, points, times)| match times {
        1 => (reason, points),
        _ => (format!("{times} times: {reason}"), points),
    };
    sums.into_iter().map(words).collect()
}

fn elsewhere(why: &Why) -> Option<impl IntoView + use<>> {
    let places = why.not_there.iter().map(|it| {
        view! { <li><strong>{it.place.clone()}</strong>": " {it.reason.clone()}</li> }
    });
    (!why.not_there.is_empty()).then(|| {
        view! {
            <h3 class="subtitle">"Why not there?"</h3>
            <ul class="bullets" id="why-not-there">{places.collect_view()}</ul>
        }
    })
}

/// Moves the seam over the plan; what that costs and saves follows, and a pin holds it there.
#[component]
fn Move(laid: Memo<Option<Laid>>, seam: Seam, steps: RwSignal<i64>) -> impl IntoView {
    let here = OpenJob::here();
    let (one_way, other_way) = if seam.axis() == Axis::Y { ("left", "right") } else { ("down", "up") };
    let seam = StoredValue::new(seam);
    let units = here.job.with(|it| it.units);
    let moved_by = move || step(units) * steps.get();
    let found = Memo::new(move |_| {
        let takeoff = here.takeoff.get();
        with_layout(here, laid.get(), |job, goods, layout| {
            let index = layout.seams.iter().position(|it| seam.with_value(|seam| it == seam))?;
            moved(job, &takeoff, goods.goods, layout, index, moved_by())
        })?
    });
    let place = move || {
        let by = moved_by();
        let far = shown::length(by.abs(), units);
        match by.0 {
            0 => "Drag it on the plan, or slide.".to_owned(),
            1.. => format!("{far} farther {other_way}."),
            _ => format!("{far} farther {one_way}."),
        }
    };
    let difference = move || match found.get() {
        Some(moved) if steps.get() != 0 => moved.difference.unwrap_or_else(|| NO_SEAM_THERE.to_owned()),
        Some(_) => String::new(),
        None => "No straight wall runs beside this seam to measure it from.".to_owned(),
    };
    let possible = move || found.get().is_some_and(|it| steps.get() == 0 || it.difference.is_some());
    let hold = move |_| {
        let Some(Pin::Seam { wall, distance }) = found.get().map(|it| it.pin) else { return };
        let room = seam.with_value(|it| it.room);
        here.act("seam pinned", vec![pin_edit(&here.job.get_untracked(), room, Pin::Seam { wall, distance })]);
    };
    let slide = move |event| steps.set(event_target_value(&event).parse().unwrap_or_default());
    let nudge = move |way: &str, by: i64| {
        let label = format!("{} {way}", shown::length(step(units), units));
        let more = move |_| steps.update(|it| *it = (*it + by).clamp(-MOST_STEPS, MOST_STEPS));
        let sign = if by < 0 { "−" } else { "+" };
        view! { <button type="button" class="button button-icon" aria-label=label on:click=more>{sign}</button> }
    };
    view! {
        <div class="move" role="group" aria-label="Move the seam">
            {nudge(one_way, -1)}
            <input
                type="range" class="slide" id="seam-slide" aria-label=format!("Move the seam {one_way} or {other_way}")
                min=-MOST_STEPS max=MOST_STEPS step="1" prop:value=move || steps.get().to_string()
                aria-valuetext=place on:input=slide
            />
            {nudge(other_way, 1)}
        </div>
        <button type="button" class="button" id="pin-seam" disabled=move || !possible() on:click=hold>
            {move || if steps.get() == 0 { "Keep it here" } else { "Pin it there" }}
        </button>
        <p id="seam-moved" aria-live="polite"><strong>{place}</strong> " " {difference}</p>
        <p class="fine quiet">"A pin holds in every layout; the rest is planned around it. What it costs is an estimate until then."</p>
    }
}

const NO_SEAM_THERE: &str = "No seam can lie there: it would fall outside the floor or too near a wall, or leave a breadth wider than the roll.";

fn points_reason() -> Because {
    Because {
        facts: Vec::new(),
        rule: "Each thing that makes a seam show, wear or open early adds points, and fewer points are better. Breadths lie so that \
               no other layout is better in roll, in seam length and in points at once."
            .to_owned(),
        source: "the placement rules of CRI's carpet installation standard §6.2 (traffic, light, pivot points, doorways); the weights are the shop's choice".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_drag_goes_in_whole_steps_and_not_out_of_the_house() {
        assert_eq!(steps_of(Length::mm(-40), Units::Imperial), -2);
        assert_eq!(steps_of(Length::mm(31), Units::Metric), 2);
        assert_eq!(steps_of(Length::feet(1_000), Units::Imperial), MOST_STEPS);
    }

    #[test]
    fn a_reason_that_comes_twice_is_told_once() {
        let cost = |reason: &str, points| SeamCost { reason: reason.to_owned(), points };
        let told = summed(&[cost("Way.", 15), cost("Light.", 10), cost("Way.", 15)]);
        assert_eq!(told, [("2 times: Way.".to_owned(), 30), ("Light.".to_owned(), 10)]);
    }
}
