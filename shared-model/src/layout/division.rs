//! Several rolls, where the order is longer than any that the supplier has.
//!
//! Two rolls may be of two dye lots, so pieces that meet come from one of them (common practice). Only where no roll is long enough for
//! them are they parted, and the layout says so.

use std::cmp::Reverse;

use super::cut_already::{CutAlready, Wanted};
use super::stock::Stock;
use crate::job::Source;
use crate::length::Length;
use crate::nest::{Shape, estimate};

/// Each group is looked at so often, whether it lies better on another roll.
const ROUNDS: usize = 2;

/// All pieces of an order, by the roll that they are cut from.
pub(super) struct Rolls {
    /// The first first; never empty.
    pub rolls: Vec<Vec<Wanted>>,
    /// Whether pieces that meet are cut from different rolls.
    pub parted: bool,
}

/// Pieces that stay together, and their roll.
struct Bundle {
    wanted: Vec<Wanted>,
    roll: usize,
    /// Some of them are cut from that roll already.
    bound: bool,
}

struct Division<'a> {
    stock: &'a Stock<'a>,
    cut: &'a CutAlready<'a>,
    longest: Length,
    bundles: Vec<Bundle>,
    /// Of each roll, what is to be ordered so far; `None` if it must be longer than any is.
    orders: Vec<Option<Length>>,
}

/// Divides what is ordered among as many rolls as it takes, none of them cut up further than `longest`; one roll if that is zero. Pieces
/// of one group meet. A piece that is longer than any roll gets one of its own.
pub(super) fn in_rolls(groups: Vec<Vec<Wanted>>, stock: &Stock, cut: &CutAlready, longest: Length) -> Rolls {
    let begun = cut.pieces.iter().filter_map(|it| number(it.place.source)).max().unwrap_or(0);
    let longest = if longest == Length::ZERO { Length::MOST } else { longest };
    if begun == 0 && (longest == Length::MOST || length(groups.iter().flatten(), stock, cut, 0) <= longest) {
        return Rolls { rolls: vec![groups.concat()], parted: false };
    }
    let mut division = Division { stock, cut, longest, bundles: Vec::new(), orders: Vec::new() };
    let (bound, mut free): (Vec<_>, Vec<_>) = groups.into_iter().partition(|it| it.iter().any(|it| it.cut.is_some()));
    let mut parted = false;
    for wanted in bound {
        let roll = wanted.iter().find_map(|it| number(it.cut?.0.source)).unwrap_or(0);
        // What is cut already lies where it lies.
        parted |= wanted.iter().filter_map(|it| number(it.cut?.0.source)).any(|it| it != roll);
        division.bundles.push(Bundle { wanted, roll, bound: true });
    }
    division.orders = (0..=begun).map(|it| division.order(it, None, &[])).collect();
    free.sort_by_key(|it| Reverse(it.iter().map(|it| (it.shape.width * it.shape.length).0).sum::<i128>()));
    for wanted in free {
        if length(&wanted, stock, cut, usize::MAX) <= longest {
            division.add(wanted);
        } else {
            parted |= wanted.len() > 1;
            let mut each: Vec<Vec<Wanted>> = wanted.into_iter().map(|it| vec![it]).collect();
            each.sort_by_key(|it| Reverse(it[0].shape.length));
            each.into_iter().for_each(|it| division.add(it));
        }
    }
    division.improve();
    Rolls { rolls: division.rolls(begun), parted }
}

fn number(source: Source) -> Option<usize> {
    source.roll().map(usize::from)
}

/// How far a roll is cut up with all of this cut from it.
fn length<'a>(wanted: impl IntoIterator<Item = &'a Wanted>, stock: &Stock, cut: &CutAlready, roll: usize) -> Length {
    let shapes: Vec<Shape> = wanted.into_iter().filter(|it| it.cut.is_none()).map(|it| it.shape).collect();
    let begun = u8::try_from(roll).map_or(Length::ZERO, |it| cut.end(Source::Roll(it)));
    let rest = if shapes.is_empty() { Some(Length::ZERO) } else { estimate(&shapes, stock.goods.roll_width) };
    begun + rest.unwrap_or(Length::MOST)
}

impl Division<'_> {
    /// What is to be ordered of a roll with what is cut from it and some more, if no roll must be longer.
    fn order(&self, roll: usize, without: Option<usize>, more: &[Wanted]) -> Option<Length> {
        let own = self.bundles.iter().enumerate().filter(|(n, it)| it.roll == roll && Some(*n) != without);
        let wanted = own.flat_map(|(_, it)| &it.wanted).chain(more);
        let length = length(wanted, self.stock, self.cut, roll);
        (length <= self.longest).then(|| self.stock.goods.order_for(length))
    }

    /// On the roll that grows least; on a new one where it fits on none.
    fn add(&mut self, wanted: Vec<Wanted>) {
        let new = self.orders.len();
        let roll = self.cheapest(&wanted, None).map_or(new, |(_, it)| it);
        self.orders.resize(new.max(roll + 1), Some(Length::ZERO));
        self.bundles.push(Bundle { wanted, roll, bound: false });
        self.orders[roll] = self.order(roll, None, &[]);
    }

    /// The roll that grows least by some more, and by how much; `None` if they fit on none.
    fn cheapest(&self, wanted: &[Wanted], but: Option<usize>) -> Option<(Length, usize)> {
        let grown = self.orders.iter().enumerate().filter(|(roll, _)| Some(*roll) != but);
        grown.filter_map(|(roll, order)| Some((self.order(roll, None, wanted)? - (*order)?, roll))).min()
    }

    /// Moves what shortens the order elsewhere.
    fn improve(&mut self) {
        let count = self.bundles.len();
        for n in (0..ROUNDS).flat_map(|_| 0..count) {
            let Bundle { wanted, roll: from, bound: false } = &self.bundles[n] else { continue };
            let from = *from;
            let left = self.order(from, Some(n), &[]);
            let Some(saved) = self.orders[from].zip(left).map(|(order, left)| order - left) else { continue };
            let Some((cost, roll)) = self.cheapest(wanted, Some(from)).filter(|(cost, _)| *cost < saved) else {
                continue;
            };
            self.orders[from] = left;
            self.orders[roll] = self.orders[roll].map(|it| it + cost);
            self.bundles[n].roll = roll;
        }
    }

    /// The pieces by their rolls. What is cut lies on the roll that it was cut from; of those behind the last that is `begun`, one that all
    /// has been moved away from is not ordered.
    fn rolls(self, begun: usize) -> Vec<Vec<Wanted>> {
        let mut rolls: Vec<Vec<Wanted>> = vec![Vec::new(); self.orders.len().max(begun + 1)];
        for Bundle { wanted, roll, .. } in self.bundles {
            for it in wanted {
                let own = it.cut.and_then(|(at, _)| number(at.source)).unwrap_or(roll);
                rolls[own].push(it);
            }
        }
        let behind = rolls.split_off(begun + 1);
        rolls.into_iter().chain(behind.into_iter().filter(|it| !it.is_empty())).collect()
    }
}
