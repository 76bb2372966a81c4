//! The job as it stood after an action: looked at, never written. What was lost since is brought back to today's job.

use std::sync::Arc;

use leptos::context::Provider;
use leptos::prelude::*;
use shared_model::history::{Difference, NoReturn, difference, restore};
use shared_model::job::{ChangeHash, Edit, Entry, Job};
use shared_model::takeoff::Takeoff;

use super::day::DaySheet;
use super::goods_picker::shown_goods;
use super::history::{CALENDAR, ask, did, entry_of};
use super::problems::left_out;
use crate::drawing::plan::{FloorPlan, Laid};
use crate::route::{Place, Route};
use crate::shown;
use crate::state::OpenJob;
use crate::timeline::{clock_words, said, who};

/// So many differences are told; a job that changed more is another one.
const MOST_TOLD: usize = 200;

/// What of the document the place shows; none of it changes any more.
struct Moment {
    page: usize,
    entry: Entry,
    job: Arc<Job>,
    did: Vec<Difference>,
}

#[component]
pub fn Then(change: ChangeHash) -> impl IntoView {
    let here = OpenJob::here();
    let moment = untrack(move || {
        ask(here, |doc| {
            let (page, entry) = entry_of(doc, change)?;
            Some(Moment { page, entry, job: Arc::new(doc.at(&[change])?), did: did(doc, &change) })
        })
    });
    match moment.flatten() {
        Some(it) => view! { <main class="place"><div class="page then" id="then">{stood(here, it)}</div></main> }.into_any(),
        None => view! {
            <main class="place"><p class="empty">"This phone does not have that moment of the job. It appears when the phone has caught up."</p></main>
        }
        .into_any(),
    }
}

fn stood(here: OpenJob, moment: Moment) -> impl IntoView {
    let Moment { page, entry, job, did } = moment;
    let then = here.as_it_stood(Arc::clone(&job));
    let names = here.job.get_untracked();
    let title = format!("{}, {}", (CALENDAR.day)(entry.at), (CALENDAR.time)(entry.at));
    let now = {
        let job = Arc::clone(&job);
        Memo::new(move |_| here.job.with(|now| difference(&job, now)))
    };
    let head = move || match now.with(Vec::len) {
        0 => "Nothing is different now".to_owned(),
        n => format!("Different now: {}", shown::count(n, "thing", "things")),
    };
    view! {
        <p class="then-banner" role="status">"The job as it stood: "{title}</p>
        <div class="stack" id="as-it-stood">
            <p>{format!("After “{}” by {}. To look at only: nothing here can be changed.", said(&entry), who(&names, entry.by))}</p>
            {clock_words(&entry, CALENDAR).map(|it| view! { <p class="history-clock">{it}</p> })}
            <a class="button" id="to-timeline" href=Route::In(here.id, Place::History(page)).to_string()>"Back to the history"</a>
        </div>
        <section class="stack" id="did">
            <h2 class="subtitle">"What this action did"</h2>
            <Lost here all=Signal::stored(did) none="Nothing that counts." />
        </section>
        <section class="stack" id="different">
            <h2 class="subtitle">{head}</h2>
            <Lost here all=now none="It is as it was." />
        </section>
        <Orders here then />
        <h2 class="subtitle">"The plan then"</h2>
        <Provider value=then>
            <Plan then />
            <DaySheet />
        </Provider>
    }
}

/// Things that differ, each with a key that brings back what stood before, where something did.
#[component]
fn Lost(here: OpenJob, #[prop(into)] all: Signal<Vec<Difference>>, none: &'static str) -> impl IntoView {
    move || {
        let all = all.get();
        if all.is_empty() {
            return view! { <p class="quiet">{none}</p> }.into_any();
        }
        let job = here.job.get();
        let decided = ask(here, |doc| doc.decided()).unwrap_or_default();
        let rows = all.iter().take(MOST_TOLD).map(|it| lost(here, it.words(&job), restore(&it.what, &job, &decided)));
        let rest = all.len().saturating_sub(MOST_TOLD);
        let rest = (rest > 0).then(|| view! { <li class="item quiet">{format!("and {rest} more")}</li> });
        view! { <ul class="list" role="list">{rows.collect_view()}{rest}</ul> }.into_any()
    }
}

fn lost(here: OpenJob, words: String, back: Result<Vec<Edit>, NoReturn>) -> impl IntoView {
    let (key, note) = match back {
        Ok(edits) => {
            let label = format!("Bring back: {words}");
            let said = format!("brought back: {words}");
            let bring = move |_| here.act(&said, edits.clone());
            let key = view! { <button type="button" class="button" data-bring-back="" aria-label=label on:click=bring>"Bring back"</button> };
            (Some(key), None)
        }
        Err(NoReturn::NothingLost | NoReturn::Stands) => (None, None),
        Err(why) => (None, Some(view! { <span class="item-note">{format!("Cannot come back: {why}.")}</span> })),
    };
    view! { <li class="item"><span class="item-main">{words}{note}</span>{key}</li> }
}

/// What was to be ordered then, beside what is now.
#[component]
fn Orders(here: OpenJob, then: OpenJob) -> impl IntoView {
    let lines = move || {
        let (was, now) = (then.takeoff.get(), here.takeoff.get());
        let units = here.job.get().units;
        orders(&was, &now)
            .into_iter()
            .map(|(name, was, now)| {
                let show = |it: Option<_>| it.map_or_else(|| "nothing".to_owned(), |it| shown::order(it, units));
                view! { <dt>{name}</dt><dd>{format!("{} → {}", show(was), show(now))}</dd> }
            })
            .collect_view()
    };
    view! {
        <section class="card" id="orders">
            <h2 class="card-title">"To order: then → now"</h2>
            <dl class="facts">{lines}</dl>
            {move || left_out(&then.job.get(), &then.takeoff.get(), None).map(|it| view! { <p class="problem"><span class="problem-text">"Then: "{it}</span></p> })}
            {move || left_out(&here.job.get(), &here.takeoff.get(), None).map(|it| view! { <p class="problem"><span class="problem-text">"Now: "{it}</span></p> })}
        </section>
    }
}

type Order = Option<shared_model::length::Length>;

/// Each carpet of either, with what it takes.
fn orders(was: &Takeoff, now: &Takeoff) -> Vec<(String, Order, Order)> {
    let order = |of: &Takeoff, goods| of.goods.iter().find(|it| it.goods == goods)?.layout().map(|it| it.order);
    let gone = was.goods.iter().filter(|it| now.goods.iter().all(|other| other.goods != it.goods));
    let all = now.goods.iter().chain(gone);
    all.map(|it| (it.name.clone(), order(was, it.goods), order(now, it.goods))).collect()
}

/// The floor with the breadths of the plan that counted.
#[component]
fn Plan(then: OpenJob) -> impl IntoView {
    let laid = Memo::new(move |_| {
        let takeoff = then.takeoff.get();
        let (goods, of) = shown_goods(&takeoff, None)?;
        (!of.layouts.is_empty()).then_some(Laid { goods, layout: of.chosen })
    });
    view! { <div class="then-plan"><FloorPlan laid /></div> }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::places::fixture;
    use shared_model::ids::GoodsId;
    use shared_model::length::Length;
    use shared_model::takeoff::GoodsTakeoff;
    use uuid::Uuid;

    #[test]
    fn what_was_ordered_stands_beside_what_is() {
        let goods = |n, feet: Option<i64>| GoodsTakeoff {
            goods: GoodsId(Uuid::from_u128(n)),
            name: format!("goods {n}"),
            layouts: feet.map(|it| fixture::layout("a", Length::feet(it), Length::ZERO, 0)).into_iter().collect(),
            chosen: 0,
            standing: None,
        };
        let takeoff = |goods| Takeoff { goods, ..Takeoff::default() };
        let was = takeoff(vec![goods(1, Some(50)), goods(3, Some(9))]);
        let now = takeoff(vec![goods(1, Some(52)), goods(2, None)]);
        let feet = |n| Some(Length::feet(n));
        assert_eq!(
            orders(&was, &now),
            [
                ("goods 1".to_owned(), feet(50), feet(52)),
                ("goods 2".to_owned(), None, None),
                ("goods 3".to_owned(), feet(9), None)
            ]
        );
    }
}
