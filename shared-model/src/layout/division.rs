//! Several rolls, where the order is longer than any that the supplier has.
//!
//! Two rolls may be of two dye lots, so pieces that meet come from one of them (common practice). Only where no roll is long enough for
//! them are they parted. What is cut already, or planned on a roll by the crew's choice, stays on its roll while that holds it.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use super::cut_already::{CutAlready, Wanted};
use super::stock::Stock;
use crate::job::{MOST_ROLLS, Source};
use crate::length::Length;
use crate::nest::{Shape, estimate};

/// Each group is looked at so often, whether it lies better on another roll.
const ROUNDS: usize = 2;

/// Pieces by the number of the roll that they are cut from.
pub(super) type ByRoll = BTreeMap<u8, Vec<Wanted>>;

/// Pieces that stay together, and their roll.
struct Bundle {
    wanted: Vec<Wanted>,
    roll: u8,
    hold: Hold,
}

/// What keeps a bundle on its roll.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Hold {
    Nothing,
    /// The crew's plan.
    Planned,
    /// Some of it is cut from that roll.
    Cut,
}

pub(super) struct Division<'a> {
    stock: &'a Stock<'a>,
    cut: &'a CutAlready<'a>,
    /// No roll is to be cut up further, unless it is already.
    longest: Length,
    bundles: Vec<Bundle>,
    /// Of each roll, what is to be ordered so far; `None` if it must be longer than any is.
    orders: BTreeMap<u8, Option<Length>>,
}

impl<'a> Division<'a> {
    /// Divides what is ordered among as many rolls as it takes, none of them cut up further than `longest`. Pieces of one group meet;
    /// `fits` says whether some of them fit on one roll. `None` when it takes too many rolls.
    pub fn of(
        groups: Vec<Vec<Wanted>>,
        (stock, cut, longest): (&'a Stock<'a>, &'a CutAlready<'a>, Length),
        fits: impl Fn(&[Wanted]) -> bool,
    ) -> Option<ByRoll> {
        let mut it = Self { stock, cut, longest, bundles: Vec::new(), orders: BTreeMap::from([(0, None)]) };
        let mut open: Vec<Vec<Wanted>> = groups.into_iter().filter_map(|group| it.keep(group)).collect();
        let begun = cut.pieces.iter().filter_map(|it| it.place.source.roll());
        it.orders.extend(begun.chain(it.bundles.iter().map(|it| it.roll)).map(|roll| (roll, None)).collect::<Vec<_>>());
        for roll in it.orders.keys().copied().collect::<Vec<_>>() {
            open.extend(it.relieve(roll));
        }
        open.sort_by_key(|it| Reverse(area(it)));
        for wanted in open {
            if fits(&wanted) {
                it.add(wanted)?;
            } else {
                let mut each: Vec<Vec<Wanted>> = wanted.into_iter().map(|it| vec![it]).collect();
                each.sort_by_key(|it| Reverse(it[0].shape.length));
                each.into_iter().try_for_each(|one| it.add(one))?;
            }
        }
        it.improve();
        Some(it.rolls())
    }

    /// Puts a group on the roll that some of it is cut from or planned on, or in parts on several; answers it where there is none.
    fn keep(&mut self, group: Vec<Wanted>) -> Option<Vec<Wanted>> {
        let mut homes: BTreeMap<u8, Vec<Wanted>> = BTreeMap::new();
        let mut others = Vec::new();
        for it in group {
            match self.cut.home(&it).and_then(Source::roll) {
                Some(roll) => homes.entry(roll).or_default().push(it),
                None => others.push(it),
            }
        }
        let Some(largest) = homes.iter().max_by_key(|(roll, it)| (area(it), Reverse(**roll))).map(|(roll, _)| *roll)
        else {
            return Some(others);
        };
        homes.entry(largest).or_default().extend(others);
        for (roll, wanted) in homes {
            let hold = if wanted.iter().any(|it| it.cut.is_some()) { Hold::Cut } else { Hold::Planned };
            self.bundles.push(Bundle { wanted, roll, hold });
        }
        None
    }

    /// Takes from a roll what it does not hold: whole groups, the smallest first, and then what is not cut yet of those that are begun.
    fn relieve(&mut self, roll: u8) -> Vec<Vec<Wanted>> {
        let mut taken = Vec::new();
        while self.order(roll, None, &[]).is_none() {
            let here = |it: &&(usize, &Bundle)| it.1.roll == roll;
            let all: Vec<(usize, &Bundle)> = self.bundles.iter().enumerate().collect();
            let planned = all.iter().filter(here).filter(|it| it.1.hold == Hold::Planned);
            if let Some(&(n, _)) = planned.min_by_key(|it| (area(&it.1.wanted), it.0)) {
                taken.push(self.bundles.remove(n).wanted);
                continue;
            }
            let uncut = |it: &&(usize, &Bundle)| it.1.wanted.iter().any(|it| it.cut.is_none());
            let Some(&(n, _)) = all.iter().filter(here).find(uncut) else { break };
            let (cut, rest) = std::mem::take(&mut self.bundles[n].wanted).into_iter().partition(|it| it.cut.is_some());
            self.bundles[n].wanted = cut;
            let rest: Vec<Wanted> = rest;
            taken.extend(rest.into_iter().map(|it| vec![it]));
        }
        let order = self.order(roll, None, &[]);
        self.orders.insert(roll, order);
        taken
    }

    /// What is to be ordered of a roll with what is cut from it and some more, if no roll must be longer.
    fn order(&self, roll: u8, without: Option<usize>, more: &[Wanted]) -> Option<Length> {
        let own = self.bundles.iter().enumerate().filter(|(n, it)| it.roll == roll && Some(*n) != without);
        let wanted: Vec<&Wanted> =
            own.flat_map(|(_, it)| &it.wanted).chain(more).filter(|it| it.cut.is_none()).collect();
        let end = self.cut.end(Source::Roll(roll));
        // All of it behind what is cut, or behind what stays where it is planned.
        let anew = end + self.estimate(&wanted);
        let planned = |it: &&&Wanted| self.cut.planned(it, Source::Roll(roll)).is_some();
        let (stays, rest): (Vec<&Wanted>, Vec<&Wanted>) = wanted.iter().partition(planned);
        let reach = stays.iter().filter_map(|it| self.cut.planned(it, Source::Roll(roll))).map(|it| it.y + it.length);
        let length = anew.min(reach.max().unwrap_or_default().max(end) + self.estimate(&rest));
        (length <= self.longest.max(end)).then(|| self.stock.goods.order_for(length))
    }

    fn estimate(&self, wanted: &[&Wanted]) -> Length {
        let shapes: Vec<Shape> = wanted.iter().map(|it| it.shape).collect();
        let none = || Some(Length::ZERO);
        let estimated = if shapes.is_empty() { none() } else { estimate(&shapes, self.stock.goods.roll_width) };
        estimated.unwrap_or(Length::MOST)
    }

    /// On the roll that grows least; on a new one where it fits on none. `None` when there are too many.
    fn add(&mut self, wanted: Vec<Wanted>) -> Option<()> {
        let new = || (0..MOST_ROLLS).find(|it| !self.orders.contains_key(it));
        let roll = self.cheapest(&wanted, None).map(|(_, it)| it).or_else(new)?;
        self.bundles.push(Bundle { wanted, roll, hold: Hold::Nothing });
        let order = self.order(roll, None, &[]);
        self.orders.insert(roll, order);
        Some(())
    }

    /// The roll that grows least by some more, and by how much; `None` if they fit on none.
    fn cheapest(&self, wanted: &[Wanted], but: Option<u8>) -> Option<(Length, u8)> {
        let grown = self.orders.iter().filter(|(roll, _)| Some(**roll) != but);
        grown.filter_map(|(roll, order)| Some((self.order(*roll, None, wanted)? - (*order)?, *roll))).min()
    }

    /// Moves what shortens the order elsewhere.
    fn improve(&mut self) {
        let count = self.bundles.len();
        for n in (0..ROUNDS).flat_map(|_| 0..count) {
            let Bundle { wanted, roll: from, hold: Hold::Nothing } = &self.bundles[n] else { continue };
            let from = *from;
            let left = self.order(from, Some(n), &[]);
            let before = self.orders.get(&from).copied().flatten();
            let Some(saved) = before.zip(left).map(|(order, left)| order - left) else { continue };
            let cheaper = self.cheapest(wanted, Some(from)).filter(|(cost, _)| *cost < saved);
            let Some((_, roll)) = cheaper else { continue };
            self.bundles[n].roll = roll;
            for changed in [from, roll] {
                let order = self.order(changed, None, &[]);
                self.orders.insert(changed, order);
            }
        }
    }

    /// The pieces by their rolls: the first, those that something is cut from, and those with something to cut.
    fn rolls(self) -> ByRoll {
        let mut rolls = ByRoll::from([(0, Vec::new())]);
        rolls.extend(self.cut.pieces.iter().filter_map(|it| it.place.source.roll()).map(|it| (it, Vec::new())));
        for Bundle { wanted, roll, .. } in self.bundles.into_iter().filter(|it| !it.wanted.is_empty()) {
            rolls.entry(roll).or_default().extend(wanted);
        }
        rolls
    }
}

fn area(wanted: &[Wanted]) -> i128 {
    wanted.iter().map(|it| (it.shape.width * it.shape.length).0).sum()
}
