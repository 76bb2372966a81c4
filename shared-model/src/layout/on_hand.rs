//! Carpet on hand: remnants from which whole nap groups are cut, so that less has to be ordered.
//!
//! Carpet of two dye lots side by side shows (common practice), so all pieces that meet come from remnants of one lot, or none of them
//! does.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};

use super::cut_already::{Carpet, CutAlready, Wanted};
use super::stock::Stock;
use super::{Piece, Strip};
use crate::ids::ChoiceId;
use crate::job::{Remnant, Source};
use crate::length::Length;
use crate::nest::{Budget, Shape, estimate, nest_cuttable};

/// For one remnant.
const BUDGET: Budget = Budget::steps(2_000);
/// For one on which a first plan is too long by less than one part in so many.
const PATIENT: Budget = Budget::steps(30_000);
const NEARLY: i64 = 8;
/// So many remnants are looked at, the largest first.
const MOST_REMNANTS: usize = 16;
/// So many groups may be cut from them, the largest first.
const MOST_GROUPS: usize = 12;
/// Of more pieces, the roll's length is told by their area: few of them lie beside a piece that is taken away.
const MOST_ESTIMATED: usize = 200;

/// Where all pieces of a layout are cut from.
#[derive(Default)]
pub(super) struct Divided {
    /// In groups that meet.
    pub ordered: Vec<Vec<Wanted>>,
    pub on_hand: Vec<Strip>,
    /// Cut from remnants that are no longer there.
    pub elsewhere: Vec<Piece>,
}

/// All remnants of one dye lot, the smallest first.
type Lot<'a> = Vec<(ChoiceId, &'a Remnant)>;

/// The carpet on hand, and what is to be cut from it.
struct Shelf<'a> {
    stock: &'a Stock<'a>,
    cut: &'a CutAlready<'a>,
    lots: Vec<Lot<'a>>,
    groups: Vec<Vec<Wanted>>,
    /// The lot that a group is cut from, if not from the roll that is ordered.
    from: Vec<Option<usize>>,
}

/// Divides the pieces between the roll that is ordered and the remnants. Pieces of one group meet; those that are cut already stay with
/// what they were cut from, and the rest of their group with them.
pub(super) fn divided(
    groups: Vec<Vec<Wanted>>,
    stock: &Stock,
    remnants: &BTreeMap<ChoiceId, &Remnant>,
    cut: &CutAlready,
) -> Divided {
    let mut divided = Divided::default();
    let lots = lots(remnants, stock, cut);
    let there: BTreeSet<ChoiceId> = lots.iter().flatten().map(|(id, _)| *id).collect();
    let is_there = |it: &Wanted| it.cut.and_then(|(at, _)| at.source.remnant()).is_none_or(|it| there.contains(&it));
    let mut kept = Vec::new();
    for group in groups {
        let (there, gone): (Vec<Wanted>, Vec<Wanted>) = group.into_iter().partition(is_there);
        divided.elsewhere.extend(gone.into_iter().map(|it| it.piece));
        kept.push(there);
    }
    let from = vec![None; kept.len()];
    let mut shelf = Shelf { stock, cut, lots, groups: kept, from };
    let free = shelf.bound();
    shelf.fill(free);
    let packed: Vec<Strip> =
        (0..shelf.lots.len()).flat_map(|lot| shelf.packed(lot, None).unwrap_or_default()).collect();
    divided.on_hand = packed.into_iter().filter(|it| !it.pieces.is_empty()).collect();
    let on_hand: BTreeSet<&str> = divided.on_hand.iter().flat_map(|it| &it.pieces).map(|it| it.id.as_str()).collect();
    let mut ordered = shelf.groups;
    ordered.iter_mut().for_each(|it| it.retain(|it| !on_hand.contains(it.piece.id.as_str())));
    divided.ordered = ordered;
    divided
}

/// What of the remnants can be used, by dye lot. A remnant that something was cut from is always looked at.
fn lots<'a>(remnants: &BTreeMap<ChoiceId, &'a Remnant>, stock: &Stock, cut: &CutAlready) -> Vec<Lot<'a>> {
    let begun: BTreeSet<ChoiceId> = cut.pieces.iter().filter_map(|it| it.place.source.remnant()).collect();
    let matched = |it: &Remnant| stock.repeat_across.is_none() || it.width == stock.goods.roll_width;
    let can_be_used = |it: &Remnant| matched(it) && it.width > Length::ZERO && it.length > Length::ZERO;
    let mut all: Vec<(ChoiceId, &Remnant)> =
        remnants.iter().map(|(id, it)| (*id, *it)).filter(|(id, it)| begun.contains(id) || can_be_used(it)).collect();
    all.sort_by_key(|(id, it)| (!begun.contains(id), Reverse(it.width * it.length), *id));
    all.truncate(MOST_REMNANTS.max(begun.len()));
    let mut lots: BTreeMap<&str, Lot> = BTreeMap::new();
    for (id, remnant) in all.into_iter().rev() {
        lots.entry(remnant.lot.trim()).or_default().push((id, remnant));
    }
    let mut lots: Vec<Lot> = lots.into_values().collect();
    lots.iter_mut().for_each(|it| it.sort_by_key(|(id, it)| (it.width * it.length, *id)));
    lots
}

fn area(shapes: &[Shape]) -> i128 {
    shapes.iter().map(|it| (it.width * it.length).0).sum()
}

impl Shelf<'_> {
    /// Binds the groups of which something is cut, or that the crew's plan has somewhere; the others, the largest first.
    fn bound(&mut self) -> Vec<usize> {
        let mut free = Vec::new();
        for group in 0..self.groups.len() {
            let places: Vec<_> =
                self.groups[group].iter().filter_map(|it| self.cut.home(it)).map(Source::remnant).collect();
            if places.is_empty() {
                free.push(group);
            } else if !places.contains(&None) {
                let lot = self.lots.iter().position(|it| it.iter().any(|(id, _)| places.contains(&Some(*id))));
                self.from[group] = lot.filter(|&lot| self.packed(lot, Some(group)).is_some());
            }
        }
        free.retain(|&it| !self.groups[it].is_empty() && self.lots.iter().any(|lot| self.may_hold(lot, it)));
        free.sort_by_key(|&it| Reverse(area(&self.shapes(it))));
        free.truncate(MOST_GROUPS);
        free
    }

    /// One group after another goes where it shortens the roll most, the largest first where several do; what in the end does not shorten
    /// the order stays on the roll.
    fn fill(&mut self, mut free: Vec<usize>) {
        let mut full: BTreeSet<(usize, usize)> = BTreeSet::new();
        let mut filled = Vec::new();
        while let Some((group, lot)) = self.best(&free, &mut full) {
            self.from[group] = Some(lot);
            free.retain(|it| *it != group);
            filled.push(group);
        }
        filled.sort_by_key(|&it| area(&self.shapes(it)));
        for group in &filled {
            self.put_back(&[*group], Length::ZERO);
        }
        for lot in 0..self.lots.len() {
            let of_lot: Vec<usize> = filled.iter().copied().filter(|it| self.from[*it] == Some(lot)).collect();
            self.put_back(&of_lot, self.worth(lot));
        }
    }

    /// Leaves the groups on the roll after all, unless they shorten the order by what their remnants are worth.
    fn put_back(&mut self, groups: &[usize], worth: Length) {
        let (from, order) = (self.from.clone(), self.stock.goods.order_for(self.rest(None)));
        groups.iter().for_each(|it| self.from[*it] = None);
        let saved = self.stock.goods.order_for(self.rest(None)) - order;
        if saved > Length::ZERO && saved >= worth {
            self.from = from;
        }
    }

    /// Of all of the lot's remnants that would be cut into.
    fn worth(&self, lot: usize) -> Length {
        let packed = self.packed(lot, None).unwrap_or_default();
        let begun = packed.iter().map(|it| it.pieces.is_empty() || self.cut.end(it.source) > Length::ZERO);
        let fresh = self.lots[lot].iter().zip(begun).filter(|(_, begun)| !begun);
        fresh.map(|((_, remnant), _)| remnant.worth).sum()
    }

    /// The group and the lot that leave the shortest roll; of lots that do as well, the one with the least carpet. `None` when none of
    /// them holds one more.
    fn best(&self, free: &[usize], full: &mut BTreeSet<(usize, usize)>) -> Option<(usize, usize)> {
        if free.is_empty() {
            return None;
        }
        let today = self.rest(None);
        let mut promising: Vec<_> =
            free.iter().map(|&it| (self.rest(Some(it)), it)).filter(|(rest, _)| *rest <= today).collect();
        promising.sort_by_key(|&(rest, group)| (rest, Reverse(area(&self.shapes(group))), group));
        let mut lots: Vec<usize> = (0..self.lots.len()).collect();
        lots.sort_by_key(|&it| self.lots[it].iter().map(|(_, it)| (it.width * it.length).0).sum::<i128>());
        let pairs = promising.iter().flat_map(|&(_, group)| lots.iter().map(move |&lot| (group, lot)));
        for (group, lot) in pairs {
            let tried = full.contains(&(group, lot)) || !self.may_hold(&self.lots[lot], group);
            if !tried && self.packed(lot, Some(group)).is_some() {
                return Some((group, lot));
            }
            // What is too full for a group now is so when it holds more.
            full.insert((group, lot));
        }
        None
    }

    /// The length of roll with all that stays on it, without one group.
    fn rest(&self, without: Option<usize>) -> Length {
        let stays = |it: &usize| self.from[*it].is_none() && Some(*it) != without;
        let shapes: Vec<Shape> = (0..self.groups.len()).filter(stays).flat_map(|it| self.shapes(it)).collect();
        let by_area = || Length((area(&shapes) / i128::from(self.stock.goods.roll_width.0)) as i64);
        let estimated =
            (shapes.len() <= MOST_ESTIMATED).then(|| estimate(&shapes, self.stock.goods.roll_width)).flatten();
        self.cut.end(Source::Roll(0)) + estimated.unwrap_or_else(by_area)
    }

    /// What of a group is still to be cut.
    fn shapes(&self, group: usize) -> Vec<Shape> {
        self.groups[group].iter().filter(|it| it.cut.is_none()).map(|it| it.shape).collect()
    }

    /// Whether each piece fits on a remnant of the lot, and all are not too much for them.
    fn may_hold(&self, lot: &Lot, group: usize) -> bool {
        let shapes = self.shapes(group);
        let fits = |it: &Shape| lot.iter().any(|(_, of)| it.width <= of.width && it.length <= of.length);
        area(&shapes) <= lot.iter().map(|(_, it)| (it.width * it.length).0).sum() && shapes.iter().all(fits)
    }

    /// The lot's remnants with all that is cut from them, and one group more, if they hold it.
    fn packed(&self, lot: usize, more: Option<usize>) -> Option<Vec<Strip>> {
        let remnants = &self.lots[lot];
        let here = |it: &usize| self.from[*it] == Some(lot) || more == Some(*it);
        // What is cut from a remnant, and what the crew's plan has on it, if the lot is theirs.
        let is_on = |group: usize, it: &Wanted, id: ChoiceId| {
            let of_plan = || here(&group) && self.cut.holds() && self.cut.planned(it, Source::Remnant(id)).is_some();
            it.cut.map_or_else(of_plan, |(at, _)| at.source == Source::Remnant(id))
        };
        let on = |id: ChoiceId| {
            let all = self.groups.iter().enumerate().flat_map(|(group, all)| all.iter().map(move |it| (group, it)));
            all.filter(move |(group, it)| is_on(*group, it, id)).map(|(_, it)| it.clone())
        };
        let mut each: Vec<Vec<Wanted>> = remnants.iter().map(|(id, _)| on(*id).collect()).collect();
        let placed: BTreeSet<String> = each.iter().flatten().map(|it| it.piece.id.clone()).collect();
        let open = (0..self.groups.len()).filter(here).flat_map(|it| &self.groups[it]);
        let open = open.filter(|it| it.cut.is_none() && !placed.contains(&it.piece.id));
        let mut open: Vec<&Wanted> = open.collect();
        let all_on = |n: usize| {
            let all = [each[n].clone(), open.iter().map(|it| (*it).clone()).collect()].concat();
            self.laid(remnants[n], &all).is_some().then_some(all)
        };
        if open.is_empty() {
            // All lie where they are.
        } else if let Some((n, all)) = (0..remnants.len()).find_map(|n| Some((n, all_on(n)?))) {
            each[n] = all;
        } else if remnants.len() == 1 {
            return None;
        } else {
            open.sort_by_key(|it| Reverse((it.shape.length, it.shape.width)));
            for it in open {
                let with = |n: usize| [each[n].clone(), vec![it.clone()]].concat();
                let (n, all) = (0..remnants.len())
                    .map(|n| (n, with(n)))
                    .find(|(n, all)| self.laid(remnants[*n], all).is_some())?;
                each[n] = all;
            }
        }
        remnants.iter().zip(each).map(|(of, wanted)| self.laid(*of, &wanted)).collect()
    }

    /// The pieces on a remnant, if they fit.
    fn laid(&self, (id, remnant): (ChoiceId, &Remnant), wanted: &[Wanted]) -> Option<Strip> {
        // Where in the pattern a remnant begins is not known: up to one repeat is cut off first.
        let matched = wanted.iter().any(|it| it.shape.phase.is_some());
        let lead = self.stock.repeat.filter(|_| matched).unwrap_or_default();
        let usable = remnant.length - lead;
        let open: Vec<Shape> = wanted.iter().filter(|it| it.cut.is_none()).map(|it| it.shape).collect();
        let too_large = open.iter().any(|it| it.width > remnant.width || it.length > usable);
        if too_large || !open.is_empty() && area(&open) > (remnant.width * usable).0 {
            return None;
        }
        // A first plan is made at once; most of what is tried does not fit, and what nearly does is worth some patience.
        let source = Source::Remnant(id);
        let begun = self.cut.pieces.iter().any(|it| it.place.source == source);
        let first = estimate(&open, remnant.width).filter(|_| !begun).unwrap_or_default();
        if first > usable + Length(usable.0 / NEARLY) {
            return None;
        }
        let budget = if first > usable { PATIENT } else { BUDGET };
        let carpet = Carpet { source, width: remnant.width, freehand: false };
        let fits = |length: Option<Length>, least: Length| length.is_none_or(|it| it > usable) && least <= usable;
        let (roll, cuts) = self
            .cut
            .planned_around(carpet, wanted, |it| {
                let (plan, list) = nest_cuttable(it, remnant.width, budget, |it| fits(it.length, it.lower_bound))?;
                Ok((plan, Some(list)))
            })
            .ok()?;
        let holds = open.is_empty() || roll.length <= usable;
        let pieces = wanted.iter().map(|it| it.piece.clone()).collect();
        let name = remnant.lot.clone();
        holds.then_some(Strip { source, name, length: remnant.length, lead, pieces, roll, cuts })
    }
}
