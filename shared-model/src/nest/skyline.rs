//! Places blocks one after another on the skyline: the outline of what already lies on the strip.

use std::cmp::Reverse;
use std::collections::BTreeSet;

use super::filling::{Begun, Filling, Fit, LAYING, Lot, Outcome, Placed, Rule, WEIGHED};
use super::{Block, Lattice, Strip};

/// A level stretch of the skyline.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub(super) struct Level {
    x: i64,
    width: i64,
    y: i64,
}

const PERFECT: Fit = Fit { wait: 0, score: 4 };
/// Places lots; keeps its buffers from plan to plan.
pub(super) struct Skyline {
    width: i64,
    /// No piece has a pattern to keep.
    plain: bool,
    plan: Begun<Level>,
    /// Blocks weighed against gaps so far.
    steps: u64,
}

/// A block of a waiting lot into a gap, or the gap left empty.
pub(super) enum Way {
    Lay { gap: usize, at: usize },
    Raise { gap: usize },
}

impl Filling for Skyline {
    type Stretch = Level;
    type Way = Way;
    const SLITS: bool = false;

    fn new(strip: &Strip) -> Self {
        let plain = strip.blocks.iter().all(|it| it.along == Lattice::FREE && it.across == Lattice::FREE);
        Self { width: strip.width, plain, plan: Begun::NOTHING, steps: 0 }
    }

    fn steps(&self) -> u64 {
        self.steps
    }

    fn plan(&mut self) -> &mut Begun<Level> {
        &mut self.plan
    }

    fn begin(&mut self, lots: &[Lot], _limit: i64) {
        self.plan.begin(lots, Level { x: 0, width: self.width, y: 0 });
    }

    fn place(&mut self, lots: &[Lot], rule: Rule, limit: i64) -> Outcome {
        self.begin(lots, limit);
        let left_over = match rule {
            Rule::BestFit => self.fill(lots, limit),
            Rule::InTurn => self.in_turn(lots, limit),
        };
        Outcome { length: self.plan.length(lots), left_over }
    }

    fn fill(&mut self, lots: &[Lot], limit: i64) -> i64 {
        let narrowest = self.plan.narrowest();
        while !self.plan.waiting.is_empty() {
            let gap = self.lowest();
            let found = if self.plan.free[gap].width < narrowest { None } else { self.choose(lots, gap, limit) };
            if let Some(at) = found {
                self.lay(lots, gap, at);
            } else if !self.raise(gap) {
                break;
            }
        }
        self.plan.waiting_area()
    }

    fn ways(&mut self, lots: &[Lot], limit: i64, most: usize) -> Vec<Way> {
        let narrowest = self.plan.narrowest();
        loop {
            let gap = self.lowest();
            let mut fits = Vec::new();
            if self.plan.free[gap].width >= narrowest {
                self.weigh(lots, gap, limit, |fit, at| {
                    fits.push((Reverse(fit), at));
                    false
                });
            }
            if !fits.is_empty() {
                fits.sort_unstable();
                let mut seen = BTreeSet::new();
                fits.retain(|(_, at)| seen.insert(lots[self.plan.waiting[*at].lot as usize].block));
                let raised = (self.plan.free.len() > 1).then_some(Way::Raise { gap });
                return fits.into_iter().take(most).map(|(_, at)| Way::Lay { gap, at }).chain(raised).collect();
            }
            if !self.raise(gap) {
                return Vec::new();
            }
        }
    }

    fn go(&mut self, lots: &[Lot], way: &Way) {
        match *way {
            Way::Lay { gap, at } => self.lay(lots, gap, at),
            Way::Raise { gap } => {
                self.raise(gap);
            }
        }
    }
}

impl Skyline {
    /// Lays one of the waiting lot `at` into the gap, beside the wall that it is level with or the taller one.
    fn lay(&mut self, lots: &[Lot], gap: usize, at: usize) {
        self.steps += LAYING;
        let level = self.plan.free[gap];
        let lot = self.plan.waiting[at].lot;
        let block = lots[lot as usize].block;
        let y = block.along.up(level.y);
        let (left_wall, right_wall) = self.walls(gap);
        let top = y - level.y + block.length;
        let beside_right = top != left_wall && (top == right_wall || left_wall < right_wall);
        let x = if beside_right {
            block.across.down(level.x + level.width - block.width)
        } else {
            block.across.up(level.x)
        };
        self.cover(gap, x, block.width, y + block.length);
        self.plan.place(at, x, y);
    }

    fn lowest(&self) -> usize {
        let mut lowest = 0;
        for (i, level) in self.plan.free.iter().enumerate().skip(1) {
            if level.y < self.plan.free[lowest].y {
                lowest = i;
            }
        }
        lowest
    }

    /// How far the skyline rises at the left and at the right end of a level; the strip's edges rise for ever.
    fn walls(&self, gap: usize) -> (i64, i64) {
        let y = self.plan.free[gap].y;
        let left = if gap == 0 { i64::MAX } else { self.plan.free[gap - 1].y - y };
        let right = self.plan.free.get(gap + 1).map_or(i64::MAX, |it| it.y - y);
        (left, right)
    }

    /// Which of the waiting lots fits the gap best, the first among equals.
    fn choose(&mut self, lots: &[Lot], gap: usize, limit: i64) -> Option<usize> {
        let mut best: Option<(Fit, usize)> = None;
        self.weigh(lots, gap, limit, |fit, at| {
            if best.is_none_or(|(found, _)| fit > found) {
                best = Some((fit, at));
            }
            fit == PERFECT
        });
        best.map(|(_, at)| at)
    }

    /// Tells how well each waiting lot fits the gap, if at all, until that is `enough`.
    fn weigh(&mut self, lots: &[Lot], gap: usize, limit: i64, mut enough: impl FnMut(Fit, usize) -> bool) {
        let level = self.plan.free[gap];
        let (left_wall, right_wall) = self.walls(gap);
        let taller = left_wall.max(right_wall);
        let room = limit - level.y;
        let mut weighed = 0;
        for (at, it) in self.plan.waiting.iter().take(WEIGHED).enumerate() {
            weighed += 1;
            if it.width > level.width {
                continue;
            }
            let mut rise = 0;
            if !self.plain {
                let block = &lots[it.lot as usize].block;
                if block.across.up(level.x) + block.width > level.x + level.width {
                    continue;
                }
                rise = block.along.up(level.y) - level.y;
            }
            let top = rise + it.length;
            if top > room {
                continue;
            }
            let level_with_wall = top == left_wall || top == right_wall || top == room;
            let score = match (it.width == level.width, level_with_wall) {
                (true, true) => 4,
                (true, false) if top < taller => 3,
                (true, false) => 2,
                (false, true) => 1,
                (false, false) => 0,
            };
            if enough(Fit { wait: -(rise * it.width), score }, at) {
                break;
            }
        }
        self.steps += weighed;
    }

    /// Gives up a gap: lifts it to its lower neighbour. Not when it is the whole width.
    fn raise(&mut self, gap: usize) -> bool {
        let left = gap.checked_sub(1).map(|it| self.plan.free[it].y);
        let right = self.plan.free.get(gap + 1).map(|it| it.y);
        let to = match (left, right) {
            (Some(left), Some(right)) => left.min(right),
            (Some(only), None) | (None, Some(only)) => only,
            (None, None) => return false,
        };
        self.plan.free[gap].y = to;
        self.merge(gap);
        true
    }

    /// Lays a block over the level `gap`, from `x` on, up to `top`.
    fn cover(&mut self, gap: usize, x: i64, width: i64, top: i64) {
        let old = self.plan.free[gap];
        let before = Level { width: x - old.x, ..old };
        let after = Level { x: x + width, width: old.x + old.width - x - width, ..old };
        self.plan.free[gap] = Level { x, width, y: top };
        if after.width > 0 {
            self.plan.free.insert(gap + 1, after);
        }
        if before.width > 0 {
            self.plan.free.insert(gap, before);
        }
        self.merge(gap + usize::from(before.width > 0));
    }

    /// Joins a level with neighbours of its height.
    fn merge(&mut self, at: usize) {
        if let Some(right) = self.plan.free.get(at + 1).copied()
            && right.y == self.plan.free[at].y
        {
            self.plan.free[at].width += right.width;
            self.plan.free.remove(at + 1);
        }
        if at > 0 && self.plan.free[at - 1].y == self.plan.free[at].y {
            self.plan.free[at - 1].width += self.plan.free[at].width;
            self.plan.free.remove(at);
        }
    }

    fn in_turn(&mut self, lots: &[Lot], limit: i64) -> i64 {
        let mut left_over = 0;
        for (lot, it) in lots.iter().enumerate() {
            for _ in 0..it.count {
                match self.lowest_place(&it.block) {
                    Some((x, y)) if y + it.block.length <= limit => {
                        self.top_over(x, it.block.width, y + it.block.length);
                        self.plan.placed.push(Placed { lot: lot as u32, x, y });
                    }
                    _ => left_over += it.block.width * it.block.length,
                }
            }
        }
        left_over
    }

    /// Where a block comes to lie lowest, leftmost among equals.
    fn lowest_place(&mut self, block: &Block) -> Option<(i64, i64)> {
        let mut best: Option<(i64, i64)> = None;
        for i in 0..self.plan.free.len() {
            let x = block.across.up(self.plan.free[i].x);
            if x + block.width > self.width {
                break;
            }
            let spanned = self.plan.free[i..].iter().take_while(|it| it.x < x + block.width);
            let floor = spanned.filter(|it| it.x + it.width > x).map(|it| it.y).max()?;
            let y = block.along.up(floor);
            self.steps += 1;
            if best.is_none_or(|(_, lowest)| y < lowest) {
                best = Some((x, y));
            }
        }
        best
    }

    /// Lifts the skyline to `top` between `x` and `x + width`.
    fn top_over(&mut self, x: i64, width: i64, top: i64) {
        let end = x + width;
        let mut levels = Vec::with_capacity(self.plan.free.len() + 2);
        let mut push = |level: Level| {
            if level.width > 0 {
                levels.push(level);
            }
        };
        let mut raised = false;
        for level in &self.plan.free {
            let (from, to) = (level.x, level.x + level.width);
            push(Level { width: to.min(x) - from, ..*level });
            if to > x && !raised {
                push(Level { x, width, y: top });
                raised = true;
            }
            let rest = from.max(end);
            push(Level { x: rest, width: to - rest, ..*level });
        }
        self.plan.free = levels;
        // Left neighbours first, so that each merge leaves the indices before it alone.
        for at in (1..self.plan.free.len()).rev() {
            if self.plan.free[at].y == self.plan.free[at - 1].y {
                self.plan.free[at - 1].width += self.plan.free[at].width;
                self.plan.free.remove(at);
            }
        }
    }
}
