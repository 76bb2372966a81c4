//! What stands in the way of a plan that can be cut.

use leptos::prelude::*;
use shared_model::ids::GoodsId;
use shared_model::job::{Job, Room};
use shared_model::problem::ProblemKind;
use shared_model::takeoff::Takeoff;

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

/// Beside a number that something is ordered by: the rooms that are not in it.
#[component]
pub fn LeftOut(here: OpenJob, #[prop(optional)] goods: Option<GoodsId>) -> impl IntoView {
    move || {
        let words = left_out(&here.job.get(), &here.takeoff.get(), goods)?;
        Some(view! { <p class="problem" data-left-out="" role="status"><span class="problem-text">{words}</span></p> })
    }
}

/// `Without Hall (does not close) and Den (not closed yet).`
pub fn left_out(job: &Job, takeoff: &Takeoff, goods: Option<GoodsId>) -> Option<String> {
    let why = |room: &Room| match (room.walls.is_empty(), room.closed) {
        (true, _) => "not measured",
        (false, false) => "not closed yet",
        (false, true) => "its readings do not fit together",
    };
    let rooms: Vec<String> =
        takeoff.left_out(job, goods).map(|room| format!("{} ({})", room.name, why(room))).collect();
    let (last, others) = rooms.split_last()?;
    let all = if others.is_empty() { last.clone() } else { format!("{} and {last}", others.join(", ")) };
    Some(format!("Not in this number: {all}."))
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

#[cfg(test)]
mod tests {
    use shared_model::takeoff::takeoff;

    use super::*;
    use crate::measured::House;

    #[test]
    fn a_room_that_is_in_no_number_is_named_with_the_reason() {
        let mut house = House::default();
        let words = |house: &House, goods| left_out(&house.job(), &takeoff(&house.job()), goods);
        let den = house.rectangle("Den", [12, 9]);
        assert_eq!(words(&house, None), None);
        house.add("Hall");
        house.walls("Office", &["12'", "9'"]);
        house.correct(den, 1, "12' 6\"");
        assert_eq!(
            words(&house, None).as_deref(),
            Some(
                "Not in this number: Den (its readings do not fit together), Hall (not measured) and Office (not closed yet)."
            )
        );
        assert_eq!(words(&house, Some(GoodsId(uuid::Uuid::nil()))), None, "none of them is of other goods");
    }
}
