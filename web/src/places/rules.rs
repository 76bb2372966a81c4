//! The shop's rules for cutting, as this job has them.

use leptos::prelude::*;
use shared_model::job::{Edit, Rule};
use shared_model::length::Length;

use super::lengths::LengthField;
use crate::state::OpenJob;

/// The lengths among them, with what they are for and where the default comes from.
const LENGTHS: [(Rule, &str, &str); 7] = [
    (Rule::SeamTrim, "Seam trim", "Trimmed off each edge that is seamed. 1 in: common practice."),
    (
        Rule::WallAllowance,
        "Wall allowance",
        "Left over at each wall and each cut end. 3 in: CRI carpet installation standard (3 to 4 in).",
    ),
    (Rule::CutStep, "Cuts rounded up to", "1/8 in, or 5 mm in a metric job."),
    (Rule::LeastPiece, "Shortest part of a fill", "No fill is pieced from shorter parts. 3 ft: common practice."),
    (Rule::StairPad, "Stairs: for the pad", "Added to each step. 1 in: Renovation, 3rd ed., carpeting stairs."),
    (Rule::StairTuck, "Stairs: tucked under", "At each side of a flight. 1 1/4 in: same source."),
    (Rule::StairOverall, "Stairs: once for a flight", "Added to its whole length. 6 in: same source."),
];

/// So many cross seams in one fill can be picked.
const CROSS_SEAMS: [i64; 6] = [0, 1, 2, 3, 4, 6];

#[component]
pub fn CuttingRules() -> impl IntoView {
    let here = OpenJob::here();
    let set = move |rule: Rule, value: i64| here.act("rule for cutting", vec![Edit::SetRule { rule, value }]);
    let rule = move |rule: Rule| Signal::derive(move || here.job.with(|it| it.rules.get(rule)));
    let lengths = LENGTHS.map(|(of, name, hint)| {
        let value = rule(of);
        view! { <LengthField name=name value=Signal::derive(move || Length(value.get())) set=Callback::new(move |to: Length| set(of, to.0)) hint=hint /> }
    });
    let most = rule(Rule::MostCrossSeams);
    let counts = CROSS_SEAMS.map(|count| view! {
        <button type="button" class="segment" aria-pressed=move || (most.get() == count).to_string() on:click=move |_| set(Rule::MostCrossSeams, count)>{count}</button>
    });
    let freehand = rule(Rule::Freehand);
    view! {
        <h2 class="subtitle">"How this job is cut"</h2>
        <p class="quiet">"For all carpets of the job. The manufacturer's instructions come first."</p>
        {lengths.collect_view()}
        <div class="field">
            <span class="field-label">"Most cross seams in a fill"</span>
            <div class="segments even" role="group" aria-label="Most cross seams in a fill">{counts.collect_view()}</div>
        </div>
        <label class="switch">
            <input type="checkbox" name="freehand" prop:checked=move || freehand.get() != 0 on:change=move |event| set(Rule::Freehand, i64::from(event_target_checked(&event))) />
            "Cut around corners: not every cut runs from edge to edge"
        </label>
    }
}
