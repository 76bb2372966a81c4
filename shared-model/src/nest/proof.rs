//! Proves that no plan is as short as a given length, by looking at one direction of the strip only.
//!
//! Along the roll, a piece takes its width of the strip for its length; across it, it takes its length of the plan for
//! its width. In either direction the pieces are tasks that share a capacity, each without a break (Martello, Monaci and
//! Vigo 2003; Côté, Dell'Amico and Iori 2014). When the tasks cannot be done in time (`line`), the plan does not exist.

use std::collections::BTreeSet;

use super::bound::{Measure, lower_bound, measures, reachable};
use super::line::{Line, Verdict};
use super::{Block, Lattice, Strip};

/// More pieces than this are not worth a search.
const MOST: usize = 120;
/// Larger areas than this are not counted.
const LARGEST: i64 = 1 << 45;

/// What is proven about a strip's shortest plan.
pub(super) struct Proof {
    /// No plan is shorter.
    pub lower: i64,
    /// From this length on, these proofs have nothing to say.
    open: i64,
}

impl Proof {
    pub fn of(strip: &Strip) -> Self {
        Self { lower: lower_bound(strip), open: i64::MAX }
    }

    /// Tries to close the gap up to a plan of this length, or else to narrow it. Answers the steps spent, `most` at most.
    pub fn raise(&mut self, strip: &Strip, length: i64, most: u64) -> u64 {
        let mut left = most;
        let mut open = length.min(self.open);
        let mut tried = open - 1;
        let beginning = set_up(strip.blocks.len());
        while self.lower < open {
            let share = if tried == open - 1 { left / 2 } else { left / 4 };
            if share < beginning {
                break;
            }
            let mut steps = share - beginning;
            match refute(strip, tried, &mut steps) {
                Verdict::Refuted => self.lower = tried + 1,
                Verdict::Unknown => open = tried,
                Verdict::Possible => {
                    open = tried;
                    self.open = self.open.min(tried);
                }
            }
            left -= share - steps;
            tried = self.lower + (open - self.lower) / 2;
        }
        most - left
    }
}

/// The steps that an attempt takes before its search begins: each of the measures is taken of each pair of pieces.
fn set_up(pieces: usize) -> u64 {
    let count = pieces as u64;
    16 * count * (count + 10)
}

/// Whether a plan no longer than `length` can be ruled out. `steps` is what may be spent, and is counted down.
fn refute(strip: &Strip, length: i64, steps: &mut u64) -> Verdict {
    if strip.blocks.len() > MOST || strip.width.saturating_mul(length) > LARGEST {
        return Verdict::Possible;
    }
    let sizes = |of: fn(&Block) -> (i64, Lattice)| strip.blocks.iter().map(of).collect::<Vec<_>>();
    let across = spaced(&sizes(|it| (it.width, it.across)), strip.width);
    let along = spaced(&sizes(|it| (it.length, it.along)), length);
    let (Some(across), Some(along)) = (across, along) else { return Verdict::Refuted };
    let (across, along) = (lifted(across, steps), lifted(along, steps));
    let widest = lifted(fullest(&across, &along), steps);
    let share = *steps / 4;
    let mut verdict = Verdict::Possible;
    for (shared, over) in [(&along, &widest), (&widest, &along), (&along, &across), (&across, &along)] {
        let mut own = share;
        let found = Line::of(shared, over).map_or(Verdict::Refuted, |mut it| it.search(&mut own));
        *steps -= share - own;
        match found {
            Verdict::Refuted => return Verdict::Refuted,
            Verdict::Unknown => verdict = Verdict::Unknown,
            Verdict::Possible => {}
        }
    }
    verdict
}

/// Sizes that reach to where the next piece may start, and the whole they share; `None` when a piece has no place. On one lattice, say,
/// each size grows to a multiple of its step.
fn spaced(sizes: &[(i64, Lattice)], whole: i64) -> Option<Measure> {
    let step = sizes.first().map_or(1, |it| it.1.step);
    if sizes.iter().any(|it| it.1.step != step) {
        let shares: Vec<i64> = sizes.iter().map(|it| it.0).collect();
        return shares.iter().all(|it| *it <= whole).then_some(Measure { shares, whole });
    }
    let offsets: BTreeSet<i64> = sizes.iter().map(|it| it.1.offset).collect();
    let first = offsets.first().copied().unwrap_or(0);
    let mut end = 0;
    let mut shares = Vec::with_capacity(sizes.len());
    for (size, lattice) in sizes {
        let next = |offset: &i64| size + (offset - lattice.offset - size).rem_euclid(step);
        let share = offsets.iter().map(next).min().unwrap_or(*size);
        let last = Some(lattice.down(whole - size)).filter(|it| *it >= 0)?;
        end = end.max(last + share);
        shares.push(share);
    }
    Some(Measure { shares, whole: end - first })
}

/// The measure of `sizes` by which the pieces fill the strip most, when they are as long the other way as `others` says.
fn fullest(sizes: &Measure, others: &Measure) -> Measure {
    let filled = |it: &Measure| -> i128 { it.shares.iter().zip(&others.shares).map(|(a, b)| i128::from(a * b)).sum() };
    let mut best = (filled(sizes), sizes.clone());
    for it in measures(&sizes.shares, sizes.whole) {
        let area = filled(&it);
        if area * i128::from(best.1.whole) > best.0 * i128::from(it.whole) {
            best = (area, it);
        }
    }
    best.1
}

/// Each size made as large as what can lie beside it leaves free anyway: whatever fitted side by side still does (Boschetti
/// and Mingozzi 2003). As it was, when that takes too many of the `steps`.
fn lifted(mut scale: Measure, steps: &mut u64) -> Measure {
    let count = scale.shares.len() as u64;
    let work = count * count * (scale.whole.unsigned_abs() / 64 + 8);
    if work > *steps / 4 {
        return scale;
    }
    *steps -= work;
    for i in 0..scale.shares.len() {
        let own = scale.shares[i];
        if own > 0 && own <= scale.whole {
            let others = scale.shares.iter().enumerate().filter(|(j, _)| *j != i).map(|(_, it)| *it);
            scale.shares[i] = scale.whole - reachable(others, scale.whole - own);
        }
    }
    scale
}
