//! What stands in the way of a plan that can be cut.

use leptos::prelude::*;
use shared_model::problem::ProblemKind;

use crate::known::is_wrong;
use crate::state::OpenJob;

/// Whether a problem belongs where seams and cuts are looked at; the rest is told where rooms are measured.
const fn concerns_plan(kind: ProblemKind) -> bool {
    matches!(
        kind,
        ProblemKind::BadFloor
            | ProblemKind::Unusual
            | ProblemKind::BadGoods
            | ProblemKind::BadPiece
            | ProblemKind::StalePlan
            | ProblemKind::PinImpossible
    )
}

/// The problems of goods, floor, pieces and chosen plan, and how many there are in the rooms.
#[component]
pub fn PlanProblems() -> impl IntoView {
    let here = OpenJob::here();
    move || {
        let takeoff = here.takeoff.get();
        let (plan, rooms): (Vec<_>, Vec<_>) = takeoff.problems.iter().partition(|it| concerns_plan(it.kind));
        let told = plan
            .into_iter()
            .map(|it| view! { <p class="problem"><span class="problem-text">{it.text.clone()}</span></p> })
            .collect_view();
        let wrong = rooms.iter().filter(|it| is_wrong(it)).count();
        let left = rooms.len() - wrong;
        let open = (wrong > 0).then(|| view! {
            <p class="problem"><span class="problem-text">{crate::shown::count(wrong, "reading needs", "readings need")} " a second look, under Rooms, before you cut."</span></p>
        });
        let unmeasured = (left > 0).then(|| view! {
            <p class="problem problem-work"><span class="problem-text">"Still to measure or check: " {left} ". What is closed is laid out already."</span></p>
        });
        view! { {told}{open}{unmeasured} }
    }
}
