//! Carpet on hand: remnants and part rolls that are cut before more is ordered.

use leptos::prelude::*;
use shared_model::ids::{ChoiceId, GoodsId};
use shared_model::job::{Decision, Edit, Job, NewChoice, Remnant, Source};
use shared_model::layout::Layout;
use shared_model::length::Length;
use uuid::Uuid;

use super::lengths::LengthField;
use crate::shown;
use crate::state::OpenJob;

/// What of the goods is on hand, and what is cut from it; and one more remnant.
#[component]
pub fn OnHand(goods: GoodsId) -> impl IntoView {
    let here = OpenJob::here();
    let lot = RwSignal::new(String::new());
    let (width, length, worth) =
        (RwSignal::new(Length::ZERO), RwSignal::new(Length::ZERO), RwSignal::new(Length::ZERO));
    let refused = RwSignal::new(None::<String>);
    let lines = move || {
        let (job, takeoff) = (here.job.get(), here.takeoff.get());
        let layout = takeoff.goods.iter().find(|it| it.goods == goods).and_then(|it| it.layout());
        lines(&job, goods, layout).into_iter().map(|it| line(here, it)).collect_view()
    };
    let described = move || {
        let lot = lot.get().trim().to_owned();
        let all = !lot.is_empty() && width.get() > Length::ZERO && length.get() > Length::ZERO;
        all.then(|| Remnant { goods, lot, width: width.get(), length: length.get(), worth: worth.get() })
    };
    let add = move |_| {
        let Some(remnant) = untrack(described) else { return };
        let choice =
            NewChoice { id: ChoiceId(Uuid::new_v4()), decision: Decision::OnHand(remnant), supersedes: Vec::new() };
        if let Err(why) = here.try_act("carpet on hand", vec![Edit::Choose { choice }]) {
            return refused.set(Some(why));
        }
        refused.set(None);
        lot.set(String::new());
        width.set(Length::ZERO);
        length.set(Length::ZERO);
        worth.set(Length::ZERO);
    };
    view! {
        <h2 class="subtitle">"On hand"</h2>
        <p class="quiet">"Remnants and part rolls of these goods. Rooms and stairs are cut from them where that shortens the order; never two dye lots where carpet meets."</p>
        <ul class="list" id="on-hand">{lines}</ul>
        <label class="field">
            <span class="field-label">"Dye lot, as on the label"</span>
            <input class="input" name="lot" autocomplete="off" maxlength="80" prop:value=move || lot.get() on:input=move |event| lot.set(event_target_value(&event)) />
        </label>
        <LengthField name="Remnant across the roll" value=width set=Callback::new(move |to| width.set(to)) />
        <LengthField name="Remnant along the roll" value=length set=Callback::new(move |to| length.set(to)) hint="The pile lies this way. Measure it; do not trust the label." />
        <LengthField name="Only to save" value=worth set=Callback::new(move |to| worth.set(to)) hint="It stays uncut unless the order gets shorter by so much: what it would fetch, as a length of new roll." />
        <button type="button" class="button" id="add-remnant" disabled=move || described().is_none() on:click=add>"Put it on hand"</button>
        {move || refused.get().map(|why| view! { <p class="problem" role="alert"><span class="problem-text">{why}</span></p> })}
    }
}

fn line(here: OpenJob, Line { id, size, used, begun }: Line) -> impl IntoView {
    let back = move |_| here.act("no more on hand", vec![Edit::WithdrawChoice { choice: id, withdrawn: true }]);
    view! {
        <li class="item">
            <span class="item-main"><strong>{size}</strong><span class="quiet">{used}</span></span>
            {match begun {
                true => view! { <span class="quiet">"Cut into"</span> }.into_any(),
                false => view! { <button type="button" class="button" on:click=back>"Take away"</button> }.into_any(),
            }}
        </li>
    }
}

/// A remnant in the list.
#[derive(PartialEq, Eq, Debug)]
struct Line {
    id: ChoiceId,
    size: String,
    used: String,
    /// Something is cut from it: it cannot be taken away.
    begun: bool,
}

/// Each remnant with its size, and what the layout cuts from it.
fn lines(job: &Job, goods: GoodsId, layout: Option<&Layout>) -> Vec<Line> {
    let length = |it| shown::length(it, job.units);
    let line = |(id, it): (ChoiceId, &Remnant)| {
        let cut = layout.and_then(|layout| layout.others.iter().find(|it| it.source == Source::Remnant(id)));
        let used = match cut {
            Some(it) => {
                let labels: Vec<&str> = it.pieces.iter().map(|it| it.label.as_str()).collect();
                format!("Cut from it: {}.", labels.join("; "))
            }
            None => "Nothing is cut from it.".to_owned(),
        };
        let worth = match it.worth {
            Length::ZERO => String::new(),
            worth => format!(" Only to save {}.", length(worth)),
        };
        let size = format!("{}, {} × {}", it.lot, length(it.width), length(it.length));
        let begun = job.cut(goods).any(|(_, it)| it.place.source == Source::Remnant(id));
        Line { id, size, used: used + &worth, begun }
    };
    job.remnants(goods).map(line).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::places::fixture::job;
    use shared_model::ids::DeviceId;
    use shared_model::job::{Choice, Stamp, Timestamp};

    #[test]
    fn a_remnant_is_listed_with_its_lot_and_size() {
        let goods = GoodsId(Uuid::from_u128(7));
        let (width, length, worth) = (Length::feet(12), Length::feet(9), Length::feet(2));
        let remnant = Remnant { goods, lot: "lot 12".to_owned(), width, length, worth };
        let stamp = Stamp { by: DeviceId(Uuid::nil()), at: Timestamp(0) };
        let id = ChoiceId(Uuid::nil());
        let choice = Choice { id, decision: Decision::OnHand(remnant), stamp, supersedes: Vec::new() };
        let job = Job { choices: vec![choice], ..job() };
        let wanted = Line {
            id,
            size: "lot 12, 12' 0\" × 9' 0\"".to_owned(),
            used: "Nothing is cut from it. Only to save 2' 0\".".to_owned(),
            begun: false,
        };
        assert_eq!(lines(&job, goods, None), [wanted]);
        assert_eq!(lines(&job, GoodsId(Uuid::nil()), None), []);
    }
}
