//! Cuts: the order length and how it came about, the roll to scale, and the cut list with its check-off.

use leptos::ev::Event;
use leptos::html;
use leptos::prelude::*;
use shared_model::ids::{ChoiceId, GoodsId};
use shared_model::job::{Choice, Decision, Edit, Job, NewChoice};
use shared_model::layout::{Layout, Piece};
use shared_model::nest::{Cut, CutWay, Offcut};
use shared_model::takeoff::Takeoff;
use uuid::Uuid;

use super::compare::{bound_words, order_reason};
use super::cut_reason::cut_reason;
use super::goods_picker::{GoodsPicker, shown_goods};
use super::problems::PlanProblems;
use crate::cutting;
use crate::drawing::plan::Laid;
use crate::drawing::roll::RollDrawing;
use crate::reason::{Because, Reason};
use crate::shown;
use crate::state::OpenJob;

/// The place where the roll is ordered and cut.
#[component]
pub fn Cuts() -> impl IntoView {
    let here = OpenJob::here();
    let goods = RwSignal::new(None::<GoodsId>);
    let picked = RwSignal::new(None::<String>);
    let laid = Memo::new(move |_| {
        let takeoff = here.takeoff.get();
        let (index, of) = shown_goods(&takeoff, goods.get())?;
        (!of.layouts.is_empty()).then_some(Laid { goods: index, layout: of.chosen })
    });
    view! {
        <main class="place cuts">
            <div class="cuts-head">
                <GoodsPicker picked=goods />
                <PlanProblems />
                <OrderLength laid />
            </div>
            <Show when=move || laid.get().is_some() fallback=NothingToCut>
                <div class="cuts-roll"><RollDrawing laid picked /></div>
                <div class="cuts-list"><CutList laid picked /><Leftovers laid /></div>
            </Show>
        </main>
    }
}

#[component]
fn NothingToCut() -> impl IntoView {
    view! { <p class="empty">"Nothing to cut yet. Close a room under Rooms, and its pieces appear here."</p> }
}

/// The layout that is cut, looked up in today's takeoff.
fn with_layout<T>(here: OpenJob, laid: Option<Laid>, read: impl FnOnce(&Job, &Layout) -> T) -> Option<T> {
    let (job, takeoff) = (here.job.get(), here.takeoff.get());
    Some(read(&job, takeoff.goods.get(laid?.goods)?.layouts.get(laid?.layout)?))
}

/// The number that goes to the supplier.
#[component]
fn OrderLength(laid: Memo<Option<Laid>>) -> impl IntoView {
    let here = OpenJob::here();
    move || {
        let goods_of = here.takeoff.get().goods.get(laid.get()?.goods)?.goods;
        with_layout(here, laid.get(), |job, layout| {
            let (increment, minimum) =
                job.goods_of(Some(goods_of)).map(|it| (it.increment, it.minimum)).unwrap_or_default();
            let order = shown::order(layout.order, job.units);
            let square = shown::ordered(layout.ordered, job.units);
            let freehand = layout.freehand.map(|it| {
                let saved = shown::length(layout.order - it, job.units);
                view! { <p class="quiet">"Every cut runs from edge to edge. Cuts around corners would save " {saved} "."</p> }
            });
            let width = shown::length(layout.roll.width, job.units);
            let on_hand: usize = layout.on_hand.iter().map(|it| it.pieces.len()).sum();
            let on_hand = (on_hand > 0).then(|| view! {
                <p id="from-remnants">{shown::count(on_hand, "piece is", "pieces are")} " cut from what is on hand, not from the order."</p>
            });
            view! {
                <section class="order" aria-label="Order">
                    <p class="label">"Order"</p>
                    <p class="figure">{order.clone()}</p>
                    <p>{square} ", of the " {width} " wide roll. " {shown::share(layout.waste, layout.ordered)} " waste. " {bound_words(&layout.roll, job.units)}</p>
                    {on_hand}
                    {freehand}
                    <Reason ask=format!("How {order} came about") because=order_reason(layout, job, increment, minimum) />
                </section>
            }
        })
    }
}

/// The pieces in cutting order.
#[component]
fn CutList(laid: Memo<Option<Laid>>, picked: RwSignal<Option<String>>) -> impl IntoView {
    let here = OpenJob::here();
    let lines = Memo::new(move |_| with_layout(here, laid.get(), lines).unwrap_or_default());
    let done = move || lines.with(|it| it.iter().filter(|it| !it.cut.is_empty()).count());
    let left_over = move || {
        let extra = with_layout(here, laid.get(), |job, _| {
            let takeoff = here.takeoff.get();
            let chosen: Vec<&Layout> = takeoff.goods.iter().filter_map(|it| it.layout()).collect();
            cutting::cut_but_not_planned(job, &chosen).len()
        })?;
        (extra > 0).then(|| view! {
            <p class="problem"><span class="problem-text">
                {shown::count(extra, "piece was", "pieces were")} " cut that this plan no longer has: the layout or a reading changed since. Look at the offcuts before you cut on."
            </span></p>
        })
    };
    view! {
        <h2 class="subtitle">"Cut list, from the outer end"</h2>
        <p class="quiet">{done} " of " {move || lines.with(Vec::len)} " cut. Sizes are across × along the roll, rounded up, never down. What is cut stays where it was cut from; the rest is planned behind it."</p>
        <p class="caution"><span>
            "Sharp knife, hot iron: cut away from the hand that holds, on a board, blade in a sharps tin afterwards. Check the pile direction "
            "before each cut; a piece that is turned is lost. Local codes and licensed practice decide."
        </span></p>
        {left_over}
        <ol class="list cut-list">
            <For each=move || lines.get() key=|it| it.id.clone() let(line)><CutLine id=line.id lines picked /></For>
        </ol>
    }
}

/// A piece in the list.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
struct Line {
    id: String,
    number: usize,
    label: String,
    /// Across and along the roll, rounded up.
    across: String,
    along: String,
    starts: String,
    /// The check-offs in force.
    cut: Vec<ChoiceId>,
    cut_by: Option<String>,
    because: Because,
}

fn lines(job: &Job, layout: &Layout) -> Vec<Line> {
    let line = |cut: cutting::Cut| {
        let choices: Vec<&Choice> = cutting::checked_off(job, &cut.piece.id).collect();
        Line {
            id: cut.piece.id.clone(),
            number: cut.number,
            label: cut.piece.label.clone(),
            across: shown::cut(cut.piece.width, job),
            along: shown::cut(cut.piece.length, job),
            starts: starts(&cut, job),
            cut: choices.iter().map(|it| it.id).collect(),
            cut_by: choices
                .first()
                .map(|it| job.people.get(&it.stamp.by).cloned().unwrap_or_else(|| "someone".to_owned())),
            because: cut_reason(&cut, job),
        }
    };
    cutting::in_order(layout).into_iter().map(line).collect()
}

/// Where on the roll, or on which remnant.
fn starts(cut: &cutting::Cut, job: &Job) -> String {
    let length = |it| shown::length(it, job.units);
    let place = format!("starts at {}, {} from the left edge", length(cut.y), length(cut.x));
    match cut.remnant {
        Some(it) => format!("from the remnant {}, {} × {}: {place}", it.lot, length(it.roll.width), length(it.length)),
        None => place,
    }
}

/// Checks a piece off, or takes every check-off of it back.
fn check_off(piece: &str, cut: &[ChoiceId], id: ChoiceId) -> Vec<Edit> {
    if cut.is_empty() {
        let decision = Decision::Cut { piece: piece.to_owned() };
        return vec![Edit::Choose { choice: NewChoice { id, decision, supersedes: Vec::new() } }];
    }
    cut.iter().map(|&choice| Edit::WithdrawChoice { choice, withdrawn: true }).collect()
}

/// Who cuts a piece of a plan that nobody chose chooses it: later readings then leave what is cut where it was cut from.
fn plan_of(takeoff: &Takeoff, piece: &str) -> Option<Decision> {
    let open = takeoff.goods.iter().filter(|it| it.standing.is_none());
    let mut layouts = open.filter_map(|it| Some((it.goods, it.layout()?)));
    let (goods, layout) = layouts.find(|(_, it)| it.placed().any(|(it, _)| it.id == piece))?;
    Some(Decision::Plan(layout.chosen(goods)))
}

fn decide(decision: Decision) -> Edit {
    Edit::Choose { choice: NewChoice { id: ChoiceId(Uuid::new_v4()), decision, supersedes: Vec::new() } }
}

/// What is not cut from the roll, what is left of it, and every cut in turn.
#[component]
fn Leftovers(laid: Memo<Option<Laid>>) -> impl IntoView {
    let here = OpenJob::here();
    let left_out = move || {
        let pieces = with_layout(here, laid.get(), left_out).unwrap_or_default();
        let line = move |(label, ids): (String, Vec<ChoiceId>)| {
            let back = move |_| {
                let take_back = |&choice: &ChoiceId| Edit::WithdrawChoice { choice, withdrawn: true };
                here.act("piece cut after all", ids.iter().map(take_back).collect());
            };
            view! { <li class="item"><span class="item-main">{label}</span><button type="button" class="button" on:click=back>"Cut it after all"</button></li> }
        };
        (!pieces.is_empty()).then(|| {
            view! {
                <h2 class="subtitle">"Not from this roll"</h2>
                <ul class="list">{pieces.into_iter().map(line).collect_view()}</ul>
            }
        })
    };
    let offcuts = move || {
        let lines = with_layout(here, laid.get(), offcut_lines)?;
        let line = |(size, place): (String, String)| view! { <li class="item"><span class="item-main"><strong>{size}</strong><span class="quiet">{place}</span></span></li> };
        (!lines.is_empty()).then(|| {
            view! {
                <h2 class="subtitle">"Offcuts worth keeping"</h2>
                <ul class="list" id="offcuts">{lines.into_iter().map(line).collect_view()}</ul>
            }
        })
    };
    let cuts = move || {
        let lines = with_layout(here, laid.get(), cut_lines)?;
        let line = |it: String| view! { <li>{it}</li> };
        (!lines.is_empty()).then(|| {
            view! {
                <details class="reason" id="every-cut">
                    <summary>"Every cut in turn"</summary>
                    <ol class="reason-body">{lines.into_iter().map(line).collect_view()}</ol>
                </details>
            }
        })
    };
    view! { {left_out}{offcuts}{cuts} }
}

/// Pieces that are left out, with the decisions that say so.
fn left_out(job: &Job, layout: &Layout) -> Vec<(String, Vec<ChoiceId>)> {
    let of = |id: &str| {
        let left = job.choices.iter().filter(|it| matches!(&it.decision, Decision::LeaveOut { piece } if piece == id));
        left.map(|it| it.id).collect()
    };
    let line = |it: &Piece| {
        let size = format!("{} × {}", shown::cut(it.width, job), shown::cut(it.length, job));
        (format!("{}, {size}", it.label), of(&it.id))
    };
    layout.left_out.iter().map(line).collect()
}

/// The size of each offcut, and where it falls.
fn offcut_lines(job: &Job, layout: &Layout) -> Vec<(String, String)> {
    let length = |it| shown::length(it, job.units);
    let line = |it: Offcut| {
        (format!("{} × {}", length(it.width), length(it.length)), format!("at {} along the roll", length(it.y)))
    };
    layout.offcuts(&job.rules).into_iter().map(line).collect()
}

/// Every cut in the order in which it is made.
fn cut_lines(job: &Job, layout: &Layout) -> Vec<String> {
    let length = |it| shown::length(it, job.units);
    let line = |it: &Cut| match it.way {
        CutWay::Across => format!("Across at {}, from {} to {}.", length(it.at), length(it.from), length(it.to)),
        CutWay::Along => {
            format!("Along, {} from the left edge, from {} to {}.", length(it.at), length(it.from), length(it.to))
        }
    };
    layout.cuts.iter().flat_map(|it| &it.cuts).map(line).collect()
}

/// Stays the same line on the page while what it says changes: a check-off keeps the focus and the opened reason.
#[component]
fn CutLine(id: String, lines: Memo<Vec<Line>>, picked: RwSignal<Option<String>>) -> impl IntoView {
    let here = OpenJob::here();
    let id = StoredValue::new(id);
    let line = Memo::new(move |_| {
        lines.with(|all| id.with_value(|id| all.iter().find(|it| it.id == *id).cloned())).unwrap_or_default()
    });
    let because = Memo::new(move |_| line.with(|it| it.because.clone()));
    let done = move || line.with(|it| !it.cut.is_empty());
    let toggle = move |_: Event| {
        let said = if done() { "cut taken back" } else { "cut" };
        let plan = here.takeoff.with(|it| id.with_value(|id| plan_of(it, id))).filter(|_| !done());
        let cut = line.with(|it| check_off(&it.id, &it.cut, ChoiceId(Uuid::new_v4())));
        here.act(said, plan.into_iter().map(decide).chain(cut).collect());
    };
    let pick = move |_| picked.set(Some(id.get_value()));
    let leave = move |_| here.act("piece left out", vec![decide(Decision::LeaveOut { piece: id.get_value() })]);
    let is_picked = move || picked.with(|it| id.with_value(|id| it.as_ref() == Some(id)));
    let item = NodeRef::<html::Li>::new();
    // A piece that is picked on the roll comes into view.
    Effect::new(move |_| {
        if let (true, Some(item)) = (is_picked(), item.get()) {
            let nearest = web_sys::ScrollIntoViewOptions::new();
            nearest.set_block(web_sys::ScrollLogicalPosition::Nearest);
            item.scroll_into_view_with_scroll_into_view_options(&nearest);
        }
    });
    let number = move || line.with(|it| it.number);
    let state =
        move || line.with(|it| it.cut_by.as_ref().map_or_else(|| it.starts.clone(), |by| format!("Cut, says {by}")));
    view! {
        <li class="cut" node_ref=item class:done=done aria-current=move || is_picked().to_string() data-piece=id.get_value()>
            <label class="cut-check">
                <input type="checkbox" class="tick" prop:checked=done on:change=toggle aria-label=move || format!("Piece {} is cut", number()) />
            </label>
            <button type="button" class="cut-number" aria-label=move || format!("Show piece {} on the roll", number()) on:click=pick>{number}</button>
            <div class="cut-main">
                <p class="cut-size"><span class="number">{move || line.with(|it| it.across.clone())}</span> <span class="cut-times">" × "</span> <span class="number">{move || line.with(|it| it.along.clone())}</span></p>
                <p class="cut-label">{move || line.with(|it| it.label.clone())}</p>
                <p class="quiet">{state}</p>
                {move || view! { <Reason ask="Exact size and why" because=because.get() /> }}
                <button type="button" class="button cut-leave no-print" hidden=move || done() || !is_picked() on:click=leave>"Not from this roll"</button>
            </div>
        </li>
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::places::fixture::{layout, with_piece};
    use shared_model::length::Length;

    #[test]
    fn pieces_are_cut_from_the_outer_end_and_from_left_to_right() {
        let feet = Length::feet;
        let plan = layout("a", feet(50), Length::ZERO, 0);
        let plan = with_piece(plan, "late", (feet(0), feet(20)), (feet(12), feet(10)));
        let plan = with_piece(plan, "right", (feet(6), feet(0)), (feet(6), feet(20)));
        let plan = with_piece(plan, "left", (feet(0), feet(0)), (feet(6), feet(18)));
        let order: Vec<(usize, &str)> =
            cutting::in_order(&plan).iter().map(|it| (it.number, it.piece.id.as_str())).collect();
        assert_eq!(order, [(1, "left"), (2, "right"), (3, "late")]);
    }

    #[test]
    fn a_check_off_is_one_decision_and_taking_it_back_withdraws_all_of_them() {
        let new = ChoiceId(Uuid::from_u128(1));
        let made = check_off("den/1", &[], new);
        let [Edit::Choose { choice }] = made.as_slice() else { panic!("not one choice: {made:?}") };
        assert_eq!(choice.decision, Decision::Cut { piece: "den/1".to_owned() });
        let both = [ChoiceId(Uuid::from_u128(2)), ChoiceId(Uuid::from_u128(3))];
        let back = check_off("den/1", &both, new);
        assert_eq!(back, both.map(|choice| Edit::WithdrawChoice { choice, withdrawn: true }));
    }
}
