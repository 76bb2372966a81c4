//! A carpet as it is sold: roll width, pattern, what can be ordered.

use leptos::prelude::*;
use shared_model::ids::GoodsId;
use shared_model::job::{Edit, Goods, Match, Order};
use shared_model::length::{Length, Style};
use uuid::Uuid;

use super::lengths::{LengthField, LengthPad, Lengths};
use super::on_hand::OnHand;
use super::rules::CuttingRules;
use super::undo_keys::Removed;
use crate::app::go;
use crate::route::{Place, Route};
use crate::state::OpenJob;

/// The widths that broadloom comes in: 12 ft, 13 ft 6 in, 15 ft; 4 m, 5 m.
pub const fn roll_widths() -> [Length; 5] {
    [Length::feet(12), Length::inches(162), Length::feet(15), Length::mm(4_000), Length::mm(5_000)]
}

/// A roll width in the units that it is sold in: `13 ft 6 in`, `4 m`.
pub fn shown_width(width: Length) -> String {
    if width.0 % Length::METRE.0 == 0 {
        return format!("{} m", width.0 / Length::METRE.0);
    }
    match (width.0 / Length::FOOT.0, width.0 % Length::FOOT.0) {
        (feet, 0) => format!("{feet} ft"),
        (feet, rest) if rest % Length::INCH.0 == 0 => format!("{feet} ft {} in", rest / Length::INCH.0),
        _ => width.show(Style::Metres),
    }
}

/// One more goods for this job, opened to be described.
pub fn add_goods(here: OpenJob) {
    let job = here.job.get_untracked();
    let roll_width = job.goods.last().map_or(Length::feet(12), |it| it.roll_width);
    let name = format!("Carpet {}", job.goods.len() + 1);
    let order = Order::between(job.goods.last().map(|it| &it.order), None);
    let goods = Goods::plain(GoodsId(Uuid::new_v4()), name, roll_width, order);
    let id = goods.id;
    here.act("goods", vec![Edit::AddGoods { goods }]);
    go(Route::In(here.id, Place::Goods(id)));
}

#[component]
pub fn GoodsForm(goods: GoodsId) -> impl IntoView {
    let here = OpenJob::here();
    Lengths::provide();
    let id = goods;
    let found = Memo::new(move |_| here.job.with(|job| job.goods.iter().find(|it| it.id == id).cloned()));
    let change = Callback::new(move |goods: Goods| here.act("goods", vec![Edit::SetGoods { goods }]));
    let present = Memo::new(move |_| found.with(Option::is_some));
    move || {
        if !present.get() {
            return view! { <Removed what="This carpet" back=Edit::RemoveGoods { goods: id, removed: false } /> }
                .into_any();
        }
        view! {
            <main class="place">
                <div class="page" id="goods-form">
                    <NameField found change />
                    <WidthField found change />
                    <Pattern found change />
                    <Ordering found change />
                    <OnHand goods=id />
                    <CuttingRules />
                    <Others id />
                </div>
                <LengthPad />
            </main>
        }
        .into_any()
    }
}

/// Changes one thing of the goods as they are now.
fn with(found: Memo<Option<Goods>>, change: Callback<Goods>, set: impl FnOnce(&mut Goods)) {
    if let Some(mut goods) = found.get_untracked() {
        set(&mut goods);
        change.run(goods);
    }
}

#[component]
fn NameField(found: Memo<Option<Goods>>, change: Callback<Goods>) -> impl IntoView {
    let rename = move |event| {
        let name = event_target_value(&event).trim().to_owned();
        if !name.is_empty() {
            with(found, change, |it| it.name = name);
        }
    };
    view! {
        <label class="field">
            <span class="field-label">"Name"</span>
            <input class="input" name="goods-name" autocomplete="off" maxlength="80" prop:value=move || found.get().map(|it| it.name) on:change=rename />
        </label>
    }
}

#[component]
fn WidthField(found: Memo<Option<Goods>>, change: Callback<Goods>) -> impl IntoView {
    let width = Signal::derive(move || found.get().map(|it| it.roll_width).unwrap_or_default());
    let set = move |to: Length| with(found, change, |it| it.roll_width = to);
    let usual = roll_widths().map(|it| view! {
        <button type="button" class="segment" data-width=it.as_mm().round() as i64 aria-pressed=move || (width.get() == it).to_string() on:click=move |_| set(it)>{shown_width(it)}</button>
    });
    view! {
        <div class="field">
            <span class="field-label">"Roll width"</span>
            <div class="segments even" role="group" aria-label="Roll width">{usual.collect_view()}</div>
        </div>
        <LengthField name="Exact roll width" value=width set=Callback::new(set) hint="As on the label, without selvage." />
    }
}

#[component]
fn Pattern(found: Memo<Option<Goods>>, change: Callback<Goods>) -> impl IntoView {
    let pattern = Memo::new(move |_| found.get().map(|it| it.pattern).unwrap_or_default());
    let set = move |to: Match| with(found, change, |it| it.pattern = to);
    let kinds = [
        (Match::None, "Plain"),
        (Match::Set, "Set match"),
        (Match::Drop { numerator: 1, denominator: 2 }, "Half drop"),
        (Match::Drop { numerator: 1, denominator: 3 }, "Third drop"),
    ];
    let keys = kinds.map(|(kind, name)| view! {
        <button type="button" class="segment" aria-pressed=move || (pattern.get() == kind).to_string() on:click=move |_| set(kind)>{name}</button>
    });
    let of =
        move |part: fn(&Goods) -> Length| Signal::derive(move || found.get().map(|it| part(&it)).unwrap_or_default());
    view! {
        <div class="field">
            <span class="field-label">"Pattern"</span>
            <div class="segments even" role="group" aria-label="Pattern">{keys.collect_view()}</div>
        </div>
        {move || (pattern.get() != Match::None).then(|| view! {
            <LengthField name="Repeat along the roll" value=of(|it| it.repeat_length) set=Callback::new(move |to| with(found, change, |it| it.repeat_length = to)) />
            <LengthField name="Repeat across the roll" value=of(|it| it.repeat_width) set=Callback::new(move |to| with(found, change, |it| it.repeat_width = to)) />
        })}
        <label class="switch">
            <input type="checkbox" name="pile" prop:checked=move || found.get().is_some_and(|it| it.pile) on:change=move |event| { let pile = event_target_checked(&event); with(found, change, |it| it.pile = pile) } />
            "The pile lies one way: no piece is turned"
        </label>
    }
}

#[component]
fn Ordering(found: Memo<Option<Goods>>, change: Callback<Goods>) -> impl IntoView {
    let of =
        move |part: fn(&Goods) -> Length| Signal::derive(move || found.get().map(|it| part(&it)).unwrap_or_default());
    view! {
        <LengthField name="Sold in steps of" value=of(|it| it.increment) set=Callback::new(move |to| with(found, change, |it| it.increment = to)) hint="The order is rounded up to a whole number of these." />
        <LengthField name="Least order" value=of(|it| it.minimum) set=Callback::new(move |to| with(found, change, |it| it.minimum = to)) />
        <LengthField name="Longest roll" value=of(|it| it.longest) set=Callback::new(move |to| with(found, change, |it| it.longest = to)) hint="A longer order is divided among several rolls. Zero when nobody said so." />
    }
}

/// The job's other goods, one more, and taking these off.
#[component]
fn Others(id: GoodsId) -> impl IntoView {
    let here = OpenJob::here();
    let others = move || {
        let job = here.job.get();
        let links = job.goods.iter().filter(|it| it.id != id).map(|it| view! {
            <a class="item" href=Route::In(here.id, Place::Goods(it.id)).to_string()><span class="item-main"><strong>{it.name.clone()}</strong></span><span class="item-side">{shown_width(it.roll_width)}</span></a>
        });
        let links = links.collect::<Vec<_>>();
        (!links.is_empty()).then(|| view! { <nav class="list" aria-label="Other goods">{links}</nav> })
    };
    let remove = move |_| {
        here.act("goods removed", vec![Edit::RemoveGoods { goods: id, removed: true }]);
        go(Route::In(here.id, Place::Seams));
    };
    view! {
        {others}
        <div class="buttons">
            <button type="button" class="button" id="add-goods" on:click=move |_| add_goods(here)>"Add other goods"</button>
            <button type="button" class="button button-loud" id="remove-goods" disabled=move || here.job.with(|it| it.goods.len() < 2) on:click=remove>"Remove these"</button>
        </div>
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn roll_widths_are_said_as_they_are_sold() {
        assert_eq!(roll_widths().map(shown_width), ["12 ft", "13 ft 6 in", "15 ft", "4 m", "5 m"]);
        assert_eq!(shown_width(Length::mm(3_660)), "3.660 m");
    }
}
