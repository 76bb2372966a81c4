//! Seams: the goods, the layouts to choose from, the plan with breadths, pile and seams, and why each seam is where it is.

use leptos::prelude::*;
use shared_model::ids::{ChoiceId, GoodsId};
use shared_model::job::{Decision, Edit, Job, NewChoice};
use shared_model::layout::{Layout, Seam};
use shared_model::length::Length;
use shared_model::takeoff::GoodsTakeoff;
use uuid::Uuid;

use super::compare::{against_first, pile_words, piles, seam_cost, seam_name, seam_points};
use super::goods_picker::{GoodsPicker, shown_goods};
use super::history::SincePlan;
use super::pins::Pins;
use super::problems::PlanProblems;
use super::seam_card::{SeamCard, shifted, step, steps_of};
use super::side_by_side::SideBySide;
use crate::drawing::plan::{FloorPlan, Laid};
use crate::drawing::seam_touch::SeamTouch;
use crate::state::OpenJob;
use crate::{cutting, shown};

/// The place where the crew decides how the carpet lies.
#[component]
pub fn Seams() -> impl IntoView {
    let here = OpenJob::here();
    let goods = RwSignal::new(None::<GoodsId>);
    // Looking at a layout decides nothing: the other phones keep seeing the chosen one.
    let looked_at = RwSignal::new(None::<String>);
    let seam = RwSignal::new(None::<usize>);
    let laid = Memo::new(move |_| {
        let takeoff = here.takeoff.get();
        let (index, of) = shown_goods(&takeoff, goods.get())?;
        let layout = looked_at.with(|key| key.as_ref().and_then(|key| of.layouts.iter().position(|it| it.key == *key)));
        (!of.layouts.is_empty()).then_some(Laid { goods: index, layout: layout.unwrap_or(of.chosen) })
    });
    let steps = RwSignal::new(0_i64);
    Effect::new(move |_| {
        laid.track();
        seam.set(None);
    });
    let open = Callback::new(move |index| {
        steps.set(0);
        seam.set(Some(index));
    });
    let drag = Callback::new(move |by: Length| steps.set(steps_of(by, here.job.with_untracked(|it| it.units))));
    let ghost = Signal::derive(move || {
        let (index, steps) = (seam.get()?, steps.get());
        let there = |job: &Job, _: &GoodsTakeoff, layout: &Layout| {
            layout.seams.get(index).map(|it| shifted(it, step(job.units) * steps))
        };
        with_layout(here, laid.get(), there)?.filter(|_| steps != 0)
    });
    let on_seam = SeamTouch { picked: seam.into(), ghost, tap: open, drag };
    view! {
        <main class="place split">
            <div class="split-main"><FloorPlan laid on_seam /></div>
            <div class="split-side">
                <SeamCard laid seam steps />
                <GoodsPicker picked=goods />
                <PlanProblems />
                <Show when=move || laid.get().is_some() fallback=NothingToLay>
                    <Stands laid />
                    <Piles laid />
                    <Layouts laid looked_at />
                    <SeamList laid seam open />
                    <Pins laid />
                </Show>
            </div>
        </main>
    }
}

#[component]
fn NothingToLay() -> impl IntoView {
    view! {
        <p class="empty">"No room is closed yet. Measure a room until its ring closes, and its breadths and seams appear here by themselves."</p>
    }
}

/// What is laid, looked up in today's takeoff.
pub(super) fn with_layout<T>(
    here: OpenJob,
    laid: Option<Laid>,
    read: impl FnOnce(&Job, &GoodsTakeoff, &Layout) -> T,
) -> Option<T> {
    let (job, takeoff) = (here.job.get(), here.takeoff.get());
    let goods = takeoff.goods.get(laid?.goods)?;
    Some(read(&job, goods, goods.layouts.get(laid?.layout)?))
}

/// How the plan that the crew chose stands against today's readings.
#[component]
fn Stands(laid: Memo<Option<Laid>>) -> impl IntoView {
    let here = OpenJob::here();
    move || {
        with_layout(here, laid.get(), |job, goods, _| {
            let standing = goods.standing.as_ref()?;
            let words = standing.words(job.units);
            // What does not fit is told among the problems above.
            let fits =
                standing.fits().then(|| view! { <p class="quiet" id="standing">"The chosen plan: " {words}</p> });
            Some(view! { {fits}<SincePlan goods=goods.goods /> })
        })?
    }
}

/// Which way the pile runs in each group of rooms.
#[component]
fn Piles(laid: Memo<Option<Laid>>) -> impl IntoView {
    let here = OpenJob::here();
    let lines = move || {
        let floor = &here.takeoff.get().floor;
        let piles = with_layout(here, laid.get(), |job, _, layout| piles(layout, floor, job)).unwrap_or_default();
        piles
            .into_iter()
            .map(|(pile, rooms)| view! { <p>"Pile runs "<strong>{pile_words(pile)}</strong>": " {rooms}</p> })
            .collect_view()
    };
    view! { <div class="piles">{lines}</div> }
}

/// The layouts that none beats on roll, seam length and seam place; one is looked at, one is chosen.
#[component]
fn Layouts(laid: Memo<Option<Laid>>, looked_at: RwSignal<Option<String>>) -> impl IntoView {
    let here = OpenJob::here();
    let cards = move || {
        let cards = with_layout(here, laid.get(), |job, goods, looked| {
            let first = goods.layouts.first().unwrap_or(looked);
            let card = |(index, it): (usize, &Layout)| {
                LayoutCard::of(it, first, job, it.key == looked.key, index == goods.chosen)
            };
            goods.layouts.iter().enumerate().map(card).collect::<Vec<_>>()
        });
        cards.unwrap_or_default().into_iter().map(|it| it.show(looked_at)).collect_view()
    };
    let choose = move |_| {
        let edit =
            with_layout(here, laid.get(), |job, goods, layout| choose(job, goods, layout, ChoiceId(Uuid::new_v4())));
        if let Some(edit) = edit {
            here.act("layout", vec![edit]);
        }
    };
    let is_chosen = move || {
        with_layout(here, laid.get(), |_, goods, layout| goods.layout().is_some_and(|it| it.key == layout.key))
            .unwrap_or(true)
    };
    let already_cut = move || {
        let cut = with_layout(here, laid.get(), |job, _, layout| cutting::cut_but_not_planned(job, &[layout]).len())?;
        (cut > 0 && !is_chosen()).then(|| view! {
            <p class="caution">{shown::count(cut, "piece is", "pieces are")} " already cut by another plan and will not be in this one."</p>
        })
    };
    view! {
        <h2 class="subtitle">"Layouts to choose from"</h2>
        <div class="choices" role="radiogroup" aria-label="Layouts">{cards}</div>
        <SideBySide laid />
        <div class="choose-bar" hidden=is_chosen>
            {already_cut}
            <button type="button" class="button button-main" disabled=is_chosen on:click=choose>"Shown, not chosen: use this layout"</button>
        </div>
    }
}

/// The decision for a layout, in place of the ones before it for the same goods.
fn choose(job: &Job, goods: &GoodsTakeoff, layout: &Layout, id: ChoiceId) -> Edit {
    let before =
        job.choices.iter().filter(|it| matches!(&it.decision, Decision::Plan(plan) if plan.goods == goods.goods));
    let decision = Decision::Plan(layout.chosen(goods.goods));
    Edit::Choose { choice: NewChoice { id, decision, supersedes: before.map(|it| it.id).collect() } }
}

/// A layout in the list, in words.
struct LayoutCard {
    key: String,
    name: String,
    order: String,
    facts: String,
    compared: String,
    looked_at: bool,
    chosen: bool,
}

impl LayoutCard {
    fn of(layout: &Layout, first: &Layout, job: &Job, looked_at: bool, chosen: bool) -> Self {
        let units = job.units;
        let seams = match layout.seams.len() {
            0 => "no seam".to_owned(),
            _ => format!("{} of seam; {}", shown::length(layout.seam_length, units), seam_points(layout.seam_cost)),
        };
        let parted = if layout.parted { "; two rolls or dye lots meet" } else { "" };
        Self {
            key: layout.key.clone(),
            name: layout.name.clone(),
            order: shown::order(layout.order, units),
            facts: format!("{} waste; {seams}{parted}", shown::share(layout.waste(), layout.carpet)),
            compared: against_first(layout, first, units),
            looked_at,
            chosen,
        }
    }

    fn show(self, looked_at: RwSignal<Option<String>>) -> impl IntoView {
        let key = self.key;
        view! {
            <button type="button" class="choice choice-shown" role="radio" aria-checked=self.looked_at.to_string() on:click=move |_| looked_at.set(Some(key.clone()))>
                <span class="choice-head"><span class="choice-name">{self.name}</span><span class="number">{self.order}</span></span>
                <span>{self.facts}</span>
                <span class="fine">{self.compared}</span>
                {self.chosen.then(|| view! { <span class="badge choice-badge">"Chosen"</span> })}
            </button>
        }
    }
}

/// The seams as a list: what a tap on the plan also opens.
#[component]
fn SeamList(laid: Memo<Option<Laid>>, seam: RwSignal<Option<usize>>, open: Callback<usize>) -> impl IntoView {
    let here = OpenJob::here();
    let items = move || {
        let items = with_layout(here, laid.get(), |job, _, layout| {
            layout
                .seams
                .iter()
                .map(|it| (seam_title(it, job), shown::length(it.length, job.units), seam_points(seam_cost(it))))
                .collect::<Vec<_>>()
        });
        items.unwrap_or_default()
    };
    let item = move |(index, (title, length, points)): (usize, (String, String, String))| {
        view! {
            <button type="button" class="item" aria-current=move || (seam.get() == Some(index)).to_string() on:click=move |_| open.run(index)>
                <span class="item-main"><strong>{title}</strong><span class="quiet">{points}</span></span>
                <span class="item-side"><span class="number">{length}</span></span>
            </button>
        }
    };
    view! {
        <Show when=move || !items().is_empty() fallback=|| view! { <p class="quiet">"This layout needs no seam."</p> }>
            <h2 class="subtitle">"Seams"</h2>
            <div class="list">{move || items().into_iter().enumerate().map(item).collect_view()}</div>
        </Show>
    }
}

pub(super) fn seam_title(seam: &Seam, job: &Job) -> String {
    let room = job.room(seam.room).map_or("", |it| it.name.as_str());
    format!("{}, {room}", seam_name(seam.kind))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::places::fixture;
    use shared_model::ids::DeviceId;
    use shared_model::job::{Choice, CutPiece, Stamp, Timestamp};

    #[test]
    fn choosing_a_layout_supersedes_the_choice_before_for_the_same_goods_only() {
        let (loop_pile, berber) = (GoodsId(Uuid::from_u128(1)), GoodsId(Uuid::from_u128(2)));
        let stamp = Stamp { by: DeviceId(Uuid::nil()), at: Timestamp(0) };
        let made = |id, goods| Choice {
            id: ChoiceId(Uuid::from_u128(id)),
            decision: Decision::Plan(fixture::layout("old", Length::feet(60), Length::ZERO, 0).chosen(goods)),
            stamp,
            supersedes: Vec::new(),
        };
        let (piece, place) = ("den/1".to_owned(), fixture::place());
        let cut = Choice { decision: Decision::Cut(CutPiece { goods: berber, piece, place }), ..made(12, berber) };
        let job = Job { choices: vec![made(10, loop_pile), made(11, berber), cut], ..fixture::job() };
        let layout = fixture::layout("new", Length::feet(50), Length::ZERO, 0);
        let goods = GoodsTakeoff {
            goods: loop_pile,
            name: String::new(),
            layouts: vec![layout.clone()],
            chosen: 0,
            standing: None,
        };
        let Edit::Choose { choice } = choose(&job, &goods, &layout, ChoiceId(Uuid::from_u128(20))) else {
            panic!("not a choice")
        };
        assert_eq!(choice.decision, Decision::Plan(layout.chosen(loop_pile)));
        assert_eq!(choice.supersedes, vec![ChoiceId(Uuid::from_u128(10))]);
    }

    #[test]
    fn a_card_says_what_a_layout_takes() {
        let layout = fixture::layout("a", Length::feet(50), Length::ZERO, 0);
        let card = LayoutCard::of(&layout, &layout, &fixture::job(), true, false);
        assert_eq!((card.order.as_str(), card.facts.as_str()), ("50' 0\"", "0.0 % waste; no seam"));
    }
}
