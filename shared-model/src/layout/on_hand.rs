//! Carpet on hand: remnants from which whole nap groups are cut, so that less has to be ordered.
//!
//! Carpet of two dye lots side by side shows (common practice), so all pieces of a nap group come from one remnant, or all from the
//! roll that is ordered.

use std::cmp::Reverse;

use serde::{Deserialize, Serialize};

use super::Piece;
use super::plan::{order_of, to_nest};
use super::stock::Stock;
use crate::ids::ChoiceId;
use crate::job::Remnant;
use crate::length::Length;
use crate::nest::{Budget, CutList, RollPlan, Shape, estimate, nest_cuttable};

/// For one remnant.
const BUDGET: Budget = Budget::steps(2_000);
/// So many remnants are looked at, the largest first.
const MOST_REMNANTS: usize = 16;

/// Pieces that are cut from a remnant instead of the roll that is ordered.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct OnHand {
    /// The decision that says it is there.
    pub remnant: ChoiceId,
    /// As on its label.
    pub lot: String,
    /// Of the whole remnant, along the roll that it was cut from.
    pub length: Length,
    pub pieces: Vec<Piece>,
    pub roll: RollPlan,
    pub cuts: CutList,
}

/// The pieces of one nap group.
pub(super) type Cuts = Vec<(Piece, Shape)>;

/// Divides the nap groups' pieces between the roll that is ordered and the remnants: one group after another goes where it shortens the
/// order most. Groups that are `bound` stay on the roll.
pub(super) fn divided(
    groups: Vec<Cuts>,
    stock: &Stock,
    remnants: &[(ChoiceId, &Remnant)],
    bound: impl Fn(&Cuts) -> bool,
) -> (Cuts, Vec<OnHand>) {
    let mut remnants = remnants.to_vec();
    remnants.sort_by_key(|(id, it)| (Reverse((it.width * it.length).0), *id));
    remnants.truncate(MOST_REMNANTS);
    if remnants.is_empty() {
        return (groups.into_iter().flatten().collect(), Vec::new());
    }
    let mut from: Vec<Option<usize>> = vec![None; groups.len()];
    while let Some((group, remnant)) = best(&groups, &from, stock, &remnants, &bound) {
        from[group] = Some(remnant);
    }
    let mut all: Vec<Cuts> = vec![Vec::new(); remnants.len() + 1];
    for (group, from) in groups.into_iter().zip(from) {
        all[from.map_or(0, |it| it + 1)].extend(group);
    }
    let mut all = all.into_iter();
    let ordered = all.next().unwrap_or_default();
    let cut = |(cuts, (id, remnant)): (Cuts, &(ChoiceId, &Remnant))| {
        let (roll, list) = laid(&cuts, remnant, stock)?;
        let pieces = cuts.into_iter().map(|(piece, _)| piece).collect();
        Some(OnHand { remnant: *id, lot: remnant.lot.clone(), length: remnant.length, pieces, roll, cuts: list })
    };
    let on_hand = all.zip(&remnants).filter(|(cuts, _)| !cuts.is_empty()).filter_map(cut).collect();
    (ordered, on_hand)
}

/// The group and the remnant that leave the shortest order; of remnants that do as well, the smallest. `None` when none leaves a
/// shorter one than today's.
fn best(
    groups: &[Cuts],
    from: &[Option<usize>],
    stock: &Stock,
    remnants: &[(ChoiceId, &Remnant)],
    bound: impl Fn(&Cuts) -> bool,
) -> Option<(usize, usize)> {
    let of = |wanted: &dyn Fn(usize) -> bool| -> Cuts {
        groups.iter().enumerate().filter(|(i, _)| wanted(*i)).flat_map(|(_, it)| it.iter().cloned()).collect()
    };
    let order_without = |without: Option<usize>| {
        let cuts = of(&|i| from[i].is_none() && Some(i) != without);
        let shapes: Vec<Shape> = cuts.iter().map(|it| it.1).collect();
        Some(order_of(estimate(&shapes, stock.goods.roll_width)?, stock))
    };
    let today = order_without(None)?;
    let mut promising: Vec<(Length, i128, usize, usize)> = Vec::new();
    let free = |it: &usize| from[*it].is_none() && !groups[*it].is_empty() && !bound(&groups[*it]);
    for group in (0..groups.len()).filter(free) {
        let Some(order) = order_without(Some(group)).filter(|it| *it < today) else { continue };
        promising.extend(remnants.iter().zip(0..).map(|((_, it), n)| (order, (it.width * it.length).0, group, n)));
    }
    promising.sort_unstable();
    let holds = |&&(.., group, n): &&(Length, i128, usize, usize)| {
        laid(&of(&|i| from[i] == Some(n) || i == group), remnants[n].1, stock).is_some()
    };
    promising.iter().find(holds).map(|&(.., group, n)| (group, n))
}

/// The pieces on the remnant, if they fit. Where in the pattern it begins is not known: up to one repeat is cut off first.
fn laid(cuts: &Cuts, remnant: &Remnant, stock: &Stock) -> Option<(RollPlan, CutList)> {
    if stock.repeat_across.is_some() && remnant.width != stock.goods.roll_width {
        return None;
    }
    let usable = remnant.length - stock.repeat.unwrap_or_default();
    let area: i128 = cuts.iter().map(|(_, it)| (it.width * it.length).0).sum();
    let too_large = cuts.iter().any(|(_, it)| it.width > remnant.width || it.length > usable);
    if too_large || area > (remnant.width * usable).0 {
        return None;
    }
    let shapes: Vec<Shape> = cuts.iter().map(|it| it.1).collect();
    let pieces = to_nest(cuts.iter().map(|it| &it.0), &shapes);
    let open = |length: Option<Length>, least: Length| length.is_none_or(|it| it > usable) && least <= usable;
    let (plan, list) = nest_cuttable(&pieces, remnant.width, BUDGET, |it| open(it.length, it.lower_bound)).ok()?;
    (plan.length <= usable).then_some((plan, list))
}
