//! History: who did what when, the newest first, and the way to the job as it stood after each action.

use std::sync::Arc;

use leptos::prelude::*;
use shared_model::history::{Difference, difference};
use shared_model::ids::GoodsId;
use shared_model::job::{ChangeHash, Decision, Entry, Job, JobDoc, Sheet, Stamp, Timestamp};

use crate::phone::Phone;
use crate::route::{Place, Route};
use crate::shown;
use crate::state::OpenJob;
use crate::timeline::{Calendar, Group, Line, groups, page_of, span_words, who};
use crate::when::{self, clock};

/// Days and times as this phone writes them.
pub const CALENDAR: Calendar = Calendar { day, time: when::time };

fn day(at: Timestamp) -> String {
    if when::is_today(at) { "Today".to_owned() } else { when::date(at) }
}

/// Asks the document of the open job, again whenever the job changes.
pub fn ask<T>(here: OpenJob, ask: impl FnOnce(&JobDoc) -> T) -> Option<T> {
    here.job.track();
    Phone::here().with(here.id, |it| ask(it.kept.doc()))
}

/// The way to the history.
#[component]
pub fn ToHistory() -> impl IntoView {
    let here = OpenJob::here();
    view! {
        <a class="item item-alone" id="to-history" href=Route::In(here.id, Place::History(0)).to_string()>
            <span class="item-main"><strong>"History"</strong>"Who measured what and when, and the job as it stood"</span>
        </a>
    }
}

#[component]
pub fn History(page: usize) -> impl IntoView {
    let here = OpenJob::here();
    let phone = Phone::here();
    let entries = Memo::new(move |_| {
        here.job.track();
        Arc::new(phone.with(here.id, |it| it.kept.doc().timeline()).unwrap_or_default())
    });
    let shown = move || {
        let (entries, job) = (entries.get(), here.job.get());
        let (page, on_page) = page_of(&entries, page);
        let groups = phone.with(here.id, |it| {
            let doc = it.kept.doc();
            groups(on_page, &job, |change| did(doc, change), CALENDAR)
        });
        let (count, all) = (on_page.len(), entries.len());
        view! {
            <p class="quiet" id="history-span" role="status">{span_words(page, count, all)}</p>
            {groups.unwrap_or_default().into_iter().map(|it| group(here, it)).collect_view()}
            {turning(here, page, page * crate::timeline::PAGE + count < all)}
        }
    };
    view! {
        <main class="place">
            <div class="page" id="history">
                <Since />
                {shown}
            </div>
        </main>
    }
}

/// What a change did.
pub fn did(doc: &JobDoc, change: &ChangeHash) -> Vec<Difference> {
    doc.step(change).map(|it| difference(&it.before, &it.after)).unwrap_or_default()
}

fn turning(here: OpenJob, page: usize, more: bool) -> impl IntoView {
    let to = |page| Route::In(here.id, Place::History(page)).to_string();
    let newer = (page > 0).then(|| view! { <a class="button" id="newer" href=to(page - 1)>"Newer"</a> });
    let older = more.then(|| view! { <a class="button" id="older" href=to(page + 1)>"Older"</a> });
    view! { <div class="buttons">{newer}{older}</div> }
}

fn group(here: OpenJob, group: Group) -> impl IntoView {
    let title = format!("{}, {}", group.day, group.who);
    view! {
        <section class="stack" aria-label=title>
            <h2 class="history-head"><span>{group.day}</span><strong>{group.who}</strong></h2>
            <ul class="list" role="list">{group.lines.into_iter().map(|it| line(here, it)).collect_view()}</ul>
        </section>
    }
}

fn line(here: OpenJob, line: Line) -> impl IntoView {
    let to = Route::In(here.id, Place::Then(line.change)).to_string();
    let action = line.said.clone();
    view! {
        <li>
            <a class="item" data-action=action href=to>
                <span class="item-main">
                    <strong>{line.said}</strong>
                    {line.did.into_iter().map(|it| view! { <span class="history-did">{it}</span> }).collect_view()}
                    {line.clock.map(|it| view! { <span class="history-clock">{it}</span> })}
                </span>
                <span class="item-side quiet number">{line.time}</span>
            </a>
        </li>
    }
}

/// A moment from which the crew asks what changed since.
struct Mark {
    change: ChangeHash,
    /// `the day's sheet was printed`.
    what: String,
    by: String,
    changed: usize,
}

/// The plans that are chosen, and the newest print of the day's sheet: how much changed since each.
#[component]
fn Since() -> impl IntoView {
    let here = OpenJob::here();
    let marks = move || {
        let job = here.job.get();
        ask(here, |doc| {
            let plans = job.goods.iter().filter_map(|it| since_plan(doc, &job, it.id));
            let plans: Vec<_> = plans.map(|it| link(here, "plan", it)).collect();
            (plans, since_print(doc, &job).map(|it| link(here, "print", it)))
        })
    };
    view! { <div class="stack" id="since">{marks}</div> }
}

/// What changed since the plan of these goods was chosen.
#[component]
pub fn SincePlan(goods: GoodsId) -> impl IntoView {
    let here = OpenJob::here();
    move || {
        let job = here.job.get();
        ask(here, |doc| since_plan(doc, &job, goods))?.map(|it| link(here, "plan", it))
    }
}

/// What changed since the day's sheet was printed last.
#[component]
pub fn SincePrint() -> impl IntoView {
    let here = OpenJob::here();
    move || {
        let job = here.job.get();
        ask(here, |doc| since_print(doc, &job))?.map(|it| link(here, "print", it))
    }
}

fn since_plan(doc: &JobDoc, job: &Job, goods: GoodsId) -> Option<Mark> {
    let of = |it: &&shared_model::job::Choice| matches!(&it.decision, Decision::Plan(plan) if plan.goods == goods);
    let choice = job.choices.iter().rfind(of)?;
    let name = job.goods.iter().find(|it| it.id == goods).map_or("the goods", |it| &it.name);
    mark(doc, job, doc.chose(choice.id)?, format!("the plan for {name} was chosen"), choice.stamp)
}

fn since_print(doc: &JobDoc, job: &Job) -> Option<Mark> {
    let print = job.prints.iter().rfind(|it| it.sheet == Sheet::Day)?;
    mark(doc, job, doc.noted(print.id)?, "the day's sheet was printed".to_owned(), print.stamp)
}

fn mark(doc: &JobDoc, job: &Job, change: ChangeHash, what: String, stamp: Stamp) -> Option<Mark> {
    let changed = difference(&doc.at(&[change])?, job).len();
    Some(Mark { change, what, by: format!("{}, {}", who(job, stamp.by), clock(stamp.at)), changed })
}

fn link(here: OpenJob, of: &'static str, mark: Mark) -> impl IntoView {
    let changed = match mark.changed {
        0 => "Nothing".to_owned(),
        n => shown::count(n, "thing", "things"),
    };
    view! {
        <a class="item item-alone no-print" data-since=of href=Route::In(here.id, Place::Then(mark.change)).to_string()>
            <span class="item-main"><strong>{changed}" changed since "{mark.what}</strong>{mark.by}</span>
        </a>
    }
}

/// The entry of one change.
pub fn entry_of(doc: &JobDoc, change: ChangeHash) -> Option<(usize, Entry)> {
    let entries = doc.timeline();
    let page = crate::timeline::page_with(&entries, change);
    entries.into_iter().find(|it| it.change == change).map(|it| (page, it))
}
