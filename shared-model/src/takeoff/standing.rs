//! How the plan that the crew chose stands against today's readings, before anyone cuts.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::ids::GoodsId;
use crate::job::{ChosenPlan, Decision, Goods, Job};
use crate::layout::{Layout, Piece, Ways, place_of, tell_apart};
use crate::length::{Length, Units};

/// A chosen plan beside today's readings.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Standing {
    /// What was to be ordered when it was chosen.
    pub order: Length,
    /// By how much today's order is longer; zero when the carpet ordered suffices.
    pub more: Length,
    /// Pieces that come out smaller by the plan as it was chosen than they must be today.
    pub short: Vec<Short>,
    /// Names of rooms and flights that cannot be carpeted as chosen, or were not there: they are planned anew.
    pub anew: Vec<String>,
}

/// A piece that was planned too small.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Short {
    /// The piece by today's plan.
    pub piece: String,
    /// "Bedroom 2, breadth 3".
    pub label: String,
    /// What is missing across the roll, and along it.
    pub width: Length,
    pub length: Length,
}

impl Standing {
    fn of(plan: &ChosenPlan, goods: Option<&Goods>, today: &Layout, anew: Vec<String>) -> Self {
        let short = today.placed().filter_map(|(piece, _)| short(plan, piece)).collect();
        Self { order: plan.order, more: more(plan, goods, today), short, anew }
    }

    /// The carpet ordered and the pieces planned suffice by today's readings.
    pub fn fits(&self) -> bool {
        self.more == Length::ZERO && self.short.is_empty() && self.anew.is_empty()
    }

    /// What differs, in sentences; "Still fits today's readings." when nothing does.
    pub fn words(&self, units: Units) -> String {
        let show = |it: Length| it.show(units.style());
        let mut sentences = Vec::new();
        if !self.anew.is_empty() {
            sentences.push(format!("Not laid as chosen, but planned anew: {}.", self.anew.join(", ")));
        }
        for it in &self.short {
            let ways = [(it.width, "across"), (it.length, "along")];
            let missing: Vec<String> = ways
                .iter()
                .filter(|it| it.0 > Length::ZERO)
                .map(|(by, way)| format!("{} {way} the roll", show(*by)))
                .collect();
            sentences.push(format!("Short by {} in {}.", missing.join(" and "), it.label));
        }
        if self.more > Length::ZERO {
            sentences.push(format!("Needs {} more than the {} that was chosen.", show(self.more), show(self.order)));
        }
        if sentences.is_empty() { "Still fits today's readings.".to_owned() } else { sentences.join(" ") }
    }
}

/// What today's order needs that was not ordered. Where there are several rolls, what is over of one is nothing for another.
fn more(plan: &ChosenPlan, goods: Option<&Goods>, today: &Layout) -> Length {
    let mut planned: BTreeMap<u8, Length> = BTreeMap::new();
    for (roll, end) in plan.cuts.values().filter_map(|it| Some((it.source.roll()?, it.y + it.length))) {
        let longest = planned.entry(roll).or_default();
        *longest = end.max(*longest);
    }
    let rolls = today.rolls();
    let longest = goods.map(|it| it.longest).filter(|it| *it > Length::ZERO);
    // A roll as it was planned does not come any more: the order is another one.
    let comes = |length: &Length| longest.is_none_or(|it| *length <= it);
    let roll_by_roll = (rolls.len() > 1 || planned.len() > 1) && planned.values().all(comes);
    let Some(goods) = goods.filter(|_| roll_by_roll) else {
        return (today.order - plan.order).max(Length::ZERO);
    };
    let ordered = |roll: u8| goods.order_for(planned.get(&roll).copied().unwrap_or_default());
    rolls.into_iter().map(|(roll, length)| (length - ordered(roll)).max(Length::ZERO)).sum()
}

/// What the piece lacks when it is cut as it was chosen. A piece that was not planned is no short one.
fn short(plan: &ChosenPlan, piece: &Piece) -> Option<Short> {
    let place = place_of(&piece.id);
    let (_, cut) = plan.cuts.iter().find(|(id, _)| place_of(id) == place)?;
    let width = (piece.width - cut.width).max(Length::ZERO);
    let length = (piece.length - cut.length).max(Length::ZERO);
    let lacks = width > Length::ZERO || length > Length::ZERO;
    lacks.then(|| Short { piece: piece.id.clone(), label: piece.label.clone(), width, length })
}

/// The newest plan that the crew chose for the goods.
pub(super) fn chosen(job: &Job, goods: GoodsId) -> Option<&ChosenPlan> {
    let plans = job.choices.iter().filter_map(|choice| match &choice.decision {
        Decision::Plan(plan) if plan.goods == goods => Some((choice.stamp.at, choice.id, plan)),
        _ => None,
    });
    plans.max_by_key(|(at, id, _)| (*at, *id)).map(|(_, _, plan)| plan)
}

/// Finds the chosen plan among the layouts, or puts it there; its index, and how it stands.
pub(super) fn judged(
    job: &Job,
    ways: &Ways,
    plan: &ChosenPlan,
    layouts: &mut Vec<Layout>,
) -> Option<(usize, Standing)> {
    let (today, anew, _) = ways.as_chosen();
    let today = today?;
    let name = |id: &uuid::Uuid| {
        let room = job.rooms.iter().find(|it| it.id.0 == *id).map(|it| it.name.clone());
        room.or_else(|| job.flights.iter().find(|it| it.id.0 == *id).map(|it| it.name.clone()))
    };
    let standing = Standing::of(plan, job.goods_of(Some(plan.goods)), &today, anew.iter().filter_map(name).collect());
    // Its twin in the list does not know what is cut already.
    layouts.retain(|it| it.key != today.key);
    let measures = |it: &Layout| (it.order, it.seam_length, it.seam_cost);
    let index = layouts.partition_point(|it| measures(it) <= measures(&today));
    layouts.insert(index, today);
    tell_apart(layouts);
    Some((index, standing))
}
