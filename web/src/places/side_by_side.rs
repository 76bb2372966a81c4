//! The layout that is looked at beside the one that is chosen.

use leptos::prelude::*;
use shared_model::job::Job;
use shared_model::layout::{Layout, SeamKind};

use super::seams::with_layout;
use crate::drawing::plan::Laid;
use crate::shown;
use crate::state::OpenJob;

/// Not there while the chosen layout is the one that is shown.
#[component]
pub fn SideBySide(laid: Memo<Option<Laid>>) -> impl IntoView {
    let here = OpenJob::here();
    let rows = Memo::new(move |_| {
        with_layout(here, laid.get(), |job, goods, shown| {
            let chosen = goods.layout().filter(|it| it.key != shown.key)?;
            Some(rows(job, shown, chosen))
        })?
    });
    let row = |[what, shown, chosen]: [String; 3]| {
        let differs = shown != chosen;
        view! {
            <tr class:differs=differs>
                <th scope="row">{what}</th>
                <td class="of-number">{shown}</td>
                <td class="of-number">{chosen}</td>
            </tr>
        }
    };
    move || {
        rows.get().map(|rows| {
            view! {
                <table class="table" id="side-by-side">
                    <thead>
                        <tr><td></td><th scope="col" class="of-number">"Shown"</th><th scope="col" class="of-number">"Chosen"</th></tr>
                    </thead>
                    <tbody>{rows.into_iter().map(row).collect_view()}</tbody>
                </table>
            }
        })
    }
}

/// What is measured, by the one layout and by the other.
fn rows(job: &Job, shown: &Layout, chosen: &Layout) -> Vec<[String; 3]> {
    let of = |what: &str, value: &dyn Fn(&Layout) -> String| [what.to_owned(), value(shown), value(chosen)];
    let seams = |it: &Layout, kind| it.seams.iter().filter(|seam| seam.kind == kind).count().to_string();
    vec![
        of("Order", &|it| shown::order(it.order, job.units)),
        of("Ordered", &|it| shown::ordered(it.ordered, job.units)),
        of("Waste", &|it| shown::share(it.waste(), it.carpet)),
        of("Seam", &|it| shown::length(it.seam_length, job.units)),
        of("Seams along the pile", &|it| seams(it, SeamKind::Side)),
        of("Cross seams", &|it| seams(it, SeamKind::Cross)),
        of("Seams in openings", &|it| seams(it, SeamKind::Opening)),
        of("Seam points", &|it| it.seam_cost.to_string()),
        of("Pieces to cut", &|it| it.placed().count().to_string()),
        of("Offcuts worth keeping", &|it| it.offcuts(&job.rules).len().to_string()),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::places::fixture;
    use shared_model::length::Length;

    #[test]
    fn each_thing_is_told_of_both() {
        let of = |order, points| fixture::layout("a", Length::feet(order), Length::ZERO, points);
        let rows = rows(&fixture::job(), &of(50, 20), &of(52, 0));
        let row = |what: &str| rows.iter().find(|it| it[0] == what).map(|it| [it[1].as_str(), it[2].as_str()]);
        assert_eq!(row("Order"), Some(["50' 0\"", "52' 0\""]));
        assert_eq!(row("Seam points"), Some(["20", "0"]));
        assert_eq!(row("Cross seams"), Some(["0", "0"]));
    }
}
