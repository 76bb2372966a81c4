//! Places blocks so that the plan can be cut edge to edge. Each block lies in the corner of an offcut; a cut right across the
//! offcut and one along what is left of it, or the other way round, part the block from two smaller offcuts.

use std::cmp::Reverse;
use std::collections::BTreeSet;

use super::filling::{Begun, Filling, Fit, LAYING, Lot, Outcome, Rule, WEIGHED};
use super::{Block, Strip};

/// A rectangle of carpet that nothing is cut from yet.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub(super) struct Offcut {
    y: i64,
    x: i64,
    width: i64,
    length: i64,
}

pub(super) struct Sheet {
    width: i64,
    plan: Begun<Offcut>,
    /// Blocks weighed against offcuts so far.
    steps: u64,
}

/// A block of a waiting lot into the last offcut, or that offcut thrown away.
pub(super) enum Way {
    Lay { at: usize, slit: bool },
    Leave,
}

impl Filling for Sheet {
    type Stretch = Offcut;
    type Way = Way;
    const SLITS: bool = true;

    fn new(strip: &Strip) -> Self {
        Self { width: strip.width, plan: Begun::NOTHING, steps: 0 }
    }

    fn steps(&self) -> u64 {
        self.steps
    }

    fn plan(&mut self) -> &mut Begun<Offcut> {
        &mut self.plan
    }

    fn begin(&mut self, lots: &[Lot], limit: i64) {
        self.plan.begin(lots, Offcut { y: 0, x: 0, width: self.width, length: limit });
    }

    fn place(&mut self, lots: &[Lot], rule: Rule, limit: i64) -> Outcome {
        self.begin(lots, limit);
        let left_over = self.fill_by(lots, rule);
        Outcome { length: self.plan.length(lots), left_over }
    }

    fn fill(&mut self, lots: &[Lot], _limit: i64) -> i64 {
        self.fill_by(lots, Rule::BestFit)
    }

    fn ways(&mut self, lots: &[Lot], _limit: i64, most: usize) -> Vec<Way> {
        while let Some(&offcut) = self.plan.free.last() {
            let mut fits = Vec::new();
            self.weigh(lots, offcut, |fit, at| {
                fits.push((Reverse(fit), at));
                false
            });
            if fits.is_empty() {
                self.plan.free.pop();
                continue;
            }
            fits.sort_unstable();
            let mut seen = BTreeSet::new();
            fits.retain(|(_, at)| seen.insert(lots[self.plan.waiting[*at].lot as usize].block));
            let both = |(_, at)| [false, true].map(|slit| Way::Lay { at, slit });
            return fits.into_iter().flat_map(both).take(most).chain([Way::Leave]).collect();
        }
        Vec::new()
    }

    fn go(&mut self, lots: &[Lot], way: &Way) {
        match *way {
            Way::Lay { at, slit } => self.lay(lots, at, slit),
            Way::Leave => {
                self.plan.free.pop();
            }
        }
    }
}

impl Sheet {
    fn fill_by(&mut self, lots: &[Lot], rule: Rule) -> i64 {
        while let Some(&offcut) = self.plan.free.last() {
            match self.choose(lots, offcut, rule) {
                Some(at) => self.lay(lots, at, lots[self.plan.waiting[at].lot as usize].slit),
                None => {
                    self.plan.free.pop();
                }
            }
        }
        self.plan.waiting_area()
    }

    fn choose(&mut self, lots: &[Lot], offcut: Offcut, rule: Rule) -> Option<usize> {
        let mut best: Option<(Fit, usize)> = None;
        self.weigh(lots, offcut, |fit, at| {
            if best.is_none_or(|(found, _)| fit > found) {
                best = Some((fit, at));
            }
            rule == Rule::InTurn
        });
        best.map(|(_, at)| at)
    }

    /// Tells how well each waiting lot fits the offcut, if at all, until that is `enough`.
    fn weigh(&mut self, lots: &[Lot], offcut: Offcut, mut enough: impl FnMut(Fit, usize) -> bool) {
        let mut weighed = 0;
        for (at, it) in self.plan.waiting.iter().take(WEIGHED).enumerate() {
            weighed += 1;
            let block = &lots[it.lot as usize].block;
            let (right, back) = (offcut.x + offcut.width, offcut.y + offcut.length);
            let (x, y) = offcut.start(block);
            if x + block.width > right || y + block.length > back {
                continue;
            }
            let score = match (x + block.width == right, y + block.length == back) {
                (true, true) => 3,
                (true, false) => 2,
                (false, true) => 1,
                (false, false) => 0,
            };
            if enough(Fit { wait: -((y - offcut.y) * block.width), score }, at) {
                break;
            }
        }
        self.steps += weighed;
    }

    /// Lays one of the waiting lot `at` into the last offcut.
    fn lay(&mut self, lots: &[Lot], at: usize, slit: bool) {
        self.steps += LAYING;
        let Some(offcut) = self.plan.free.pop() else { return };
        let block = lots[self.plan.waiting[at].lot as usize].block;
        let (x, y) = offcut.start(&block);
        let (right, back) = (x + block.width, y + block.length);
        let (beside, behind) = (offcut.x + offcut.width - right, offcut.y + offcut.length - back);
        // A roll without an end is always cut across first.
        let slit = slit && offcut.length < OPEN;
        let (length, width) = if slit { (offcut.length, right - offcut.x) } else { (back - offcut.y, offcut.width) };
        // What is beside is used before what is behind.
        let behind = Offcut { y: back, x: offcut.x, width, length: behind };
        let beside = Offcut { y: offcut.y, x: right, width: beside, length };
        self.plan.free.extend([behind, beside].into_iter().filter(|it| it.width > 0 && it.length > 0));
        self.plan.place(at, x, y);
    }
}

/// Longer than any plan.
const OPEN: i64 = i64::MAX / 4;

impl Offcut {
    /// Where a block in its corner lies.
    fn start(&self, block: &Block) -> (i64, i64) {
        (block.across.up(self.x), block.along.up(self.y))
    }
}
