//! Cuts: the order length and how it came about, the roll to scale, and the cut list with its check-off.

use leptos::ev::Event;
use leptos::html;
use leptos::prelude::*;
use shared_model::ids::{ChoiceId, GoodsId};
use shared_model::job::{Choice, CutPiece, Decision, Edit, Job, NewChoice, Source};
use shared_model::layout::{Layout, Piece, Strip};
use shared_model::length::Length;
use shared_model::nest::{Cut, CutWay, Offcut};
use shared_model::takeoff::Takeoff;
use uuid::Uuid;

use super::compare::{bound_words, order_reason, several_rolls};
use super::cut_reason::cut_reason;
use super::goods_picker::{GoodsPicker, shown_goods};
use super::problems::{LeftOut, PlanProblems};
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
    view! { <p class="empty">"Nothing to cut yet. Close a room under Rooms, or settle what stands above, and its pieces appear here."</p> }
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
            let on_hand: usize = layout.remnants().map(|it| it.pieces.len()).sum();
            let on_hand = (on_hand > 0).then(|| view! {
                <p id="from-remnants">{shown::count(on_hand, "piece is", "pieces are")} " cut from what is on hand, not from the order."</p>
            });
            view! {
                <section class="order" aria-label="Order">
                    <p class="label">"Order"</p>
                    <p class="figure">{order.clone()}</p>
                    <LeftOut here goods=goods_of />
                    <p>{square} ", of the " {width} " wide roll. " {shown::share(layout.waste(), layout.carpet)} " waste. " {bound_words(layout, job.units)}</p>
                    {several_rolls(layout, job).map(|it| view! { <p id="several-rolls">{it}</p> })}
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
            let extra = cutting::cut_but_not_planned(job, &chosen);
            extra.iter().map(|it| shown::size(it.place.width, it.place.length, job)).collect::<Vec<_>>()
        })?;
        (!extra.is_empty()).then(|| view! {
            <p class="problem" id="cut-for-nothing"><span class="problem-text">
                {shown::count(extra.len(), "piece was", "pieces were")} " cut that this plan has no place for: the layout or a reading changed since. What is cut: "
                {extra.join("; ")} ". The rest is planned behind it."
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
    let all = cutting::in_order(layout);
    let line = |cut: &cutting::Cut| {
        let choices: Vec<&Choice> = cutting::checked_off(job, layout, &cut.piece.id).collect();
        Line {
            id: cut.piece.id.clone(),
            number: cut.number,
            label: cut.piece.label.clone(),
            across: shown::cut(cut.piece.width, job),
            along: shown::cut(cut.piece.length, job),
            starts: starts(cut, &all, !choices.is_empty(), job),
            cut: choices.iter().map(|it| it.id).collect(),
            cut_by: choices
                .first()
                .map(|it| job.people.get(&it.stamp.by).cloned().unwrap_or_else(|| "someone".to_owned())),
            because: cut_reason(cut, job),
        }
    };
    all.iter().map(line).collect()
}

/// Where on which roll or remnant. Where in the pattern it begins, only who has it before them sees.
fn starts(cut: &cutting::Cut, all: &[cutting::Cut], cut_already: bool, job: &Job) -> String {
    let length = |it| shown::length(it, job.units);
    let mut place = format!("starts at {}, {} from the left edge", length(cut.place.y), length(cut.place.x));
    if let Some(other) = all.iter().find(|it| it.number != cut.number && it.place.overlaps(&cut.place)) {
        place += &match cut_already {
            true => format!("; it fits into piece {}, so its rectangle is not whole", other.number),
            false => format!(
                "; it fits into piece {}: cut both off in one, lay both floors out on it with their allowance, and part them in between",
                other.number
            ),
        };
    }
    let Some(it) = cut.other else { return place };
    let from = match it.source {
        Source::Roll(_) => format!("from {}", it.name),
        Source::Remnant(_) => {
            format!("from the remnant {}, {} × {}", it.name, length(it.roll.width), length(it.length))
        }
    };
    match it.lead {
        Length::ZERO => format!("{from}: {place}"),
        _ => format!("{from}: cut it square at the pattern's start first; behind that it {place}"),
    }
}

/// Checks a piece of a chosen layout off. Who cuts a piece of a plan that nobody chose chooses it: later readings then leave what is not
/// cut yet where it was planned.
fn check_off(takeoff: &Takeoff, piece: &str) -> Vec<Decision> {
    let mut of = takeoff.goods.iter().filter_map(|it| {
        let layout = it.layout()?;
        let (_, place) = layout.placed().find(|(it, _)| it.id == piece)?;
        Some((it, layout, place))
    });
    let Some((goods, layout, place)) = of.next() else { return Vec::new() };
    let plan = goods.standing.is_none().then(|| Decision::Plan(layout.chosen(goods.goods)));
    let cut = CutPiece { goods: goods.goods, piece: piece.to_owned(), place };
    plan.into_iter().chain([Decision::Cut(cut)]).collect()
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
    let line = |it: &Piece| (format!("{}, {}", it.label, shown::size(it.width, it.length, job)), of(&it.id));
    layout.left_out.iter().map(line).collect()
}

/// The size of each offcut, and where it falls.
fn offcut_lines(job: &Job, layout: &Layout) -> Vec<(String, String)> {
    let length = |it| shown::length(it, job.units);
    let line = |(of, it): (Option<&Strip>, Offcut)| {
        let of = of.map_or_else(|| "the roll".to_owned(), |it| it.name.clone());
        (format!("{} × {}", length(it.width), length(it.length)), format!("at {} along {of}", length(it.y)))
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
    let others = layout.others.iter().flat_map(|of| of.cuts.iter().map(move |it| (&of.name, it)));
    let others = others.flat_map(|(of, it)| it.cuts.iter().map(move |it| format!("{of}: {}", line(it))));
    layout.cuts.iter().flat_map(|it| &it.cuts).map(line).chain(others).collect()
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
        let take_back = |&choice: &ChoiceId| Edit::WithdrawChoice { choice, withdrawn: true };
        let edits = match done() {
            true => line.with(|it| it.cut.iter().map(take_back).collect()),
            false => here.takeoff.with(|it| id.with_value(|id| check_off(it, id))).into_iter().map(decide).collect(),
        };
        here.act(said, edits);
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
    use crate::places::fixture::{layout, place, with_piece};
    use shared_model::job::CutPlace;
    use shared_model::length::Length;
    use shared_model::takeoff::{GoodsTakeoff, Standing};

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
    fn the_first_check_off_chooses_the_plan() {
        let plan = with_piece(
            layout("a", Length::feet(20), Length::ZERO, 0),
            "den/1",
            (Length::ZERO, Length::ZERO),
            (Length::feet(12), Length::feet(14)),
        );
        let id = GoodsId(Uuid::from_u128(7));
        let mut taken = Takeoff {
            goods: vec![GoodsTakeoff {
                goods: id,
                name: String::new(),
                layouts: vec![plan.clone()],
                chosen: 0,
                standing: None,
            }],
            ..Takeoff::default()
        };
        let place = CutPlace { width: Length::feet(12), length: Length::feet(14), ..place() };
        let cut = Decision::Cut(CutPiece { goods: id, piece: "den/1".to_owned(), place });
        assert_eq!(check_off(&taken, "den/1"), [Decision::Plan(plan.chosen(id)), cut.clone()]);
        taken.goods[0].standing =
            Some(Standing { order: plan.order, more: Length::ZERO, short: Vec::new(), anew: Vec::new() });
        assert_eq!(check_off(&taken, "den/1"), [cut]);
        assert_eq!(check_off(&taken, "den/2"), []);
    }
}
