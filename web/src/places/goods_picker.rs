//! Which goods a place is about.

use leptos::prelude::*;
use shared_model::ids::GoodsId;
use shared_model::takeoff::{GoodsTakeoff, Takeoff};

use crate::route::{Place, Route};
use crate::state::OpenJob;

/// The goods that a person picked, or the first that some room or flight is to be laid with, or the first.
pub fn shown_goods(takeoff: &Takeoff, picked: Option<GoodsId>) -> Option<(usize, &GoodsTakeoff)> {
    let all = || takeoff.goods.iter().enumerate();
    let own = all().find(|(_, it)| Some(it.goods) == picked);
    let in_use = |it: &GoodsTakeoff| takeoff.floor.groups.iter().any(|group| group.goods == it.goods);
    own.or_else(|| all().find(|(_, it)| in_use(it))).or_else(|| all().next())
}

/// One button for each goods of the job; only the name when there is one.
#[component]
pub fn GoodsPicker(picked: RwSignal<Option<GoodsId>>) -> impl IntoView {
    let here = OpenJob::here();
    let goods = Memo::new(move |_| {
        let takeoff = here.takeoff.get();
        takeoff.goods.iter().map(|it| (it.goods, it.name.clone())).collect::<Vec<_>>()
    });
    let shown = Memo::new(move |_| shown_goods(&here.takeoff.get(), picked.get()).map(|(_, it)| it.goods));
    let button = move |(id, name): (GoodsId, String)| {
        view! {
            <button type="button" class="segment" aria-pressed=move || (shown.get() == Some(id)).to_string() on:click=move |_| picked.set(Some(id))>
                {name}
            </button>
        }
    };
    let change = move || {
        shown.get().map(|id| view! {
        <a class="button button-quiet no-print" href=Route::In(here.id, Place::Goods(id)).to_string()>"Change goods"</a>
    })
    };
    let names = move || {
        let goods = goods.get();
        match goods.as_slice() {
            [] => ().into_any(),
            [(_, name)] => view! { <p class="goods-name">{name.clone()}</p> }.into_any(),
            _ => view! { <div class="segments" role="group" aria-label="Goods">{goods.into_iter().map(button).collect_view()}</div> }.into_any(),
        }
    };
    view! { <div class="spread">{names}{change}</div> }
}
