//! Places blocks one after another on the skyline: the outline of what already lies on the strip.

use std::cmp::Reverse;
use std::collections::BTreeSet;

use super::{Block, Lattice, Strip};

/// Blocks of one size that are interchangeable in the order.
#[derive(Clone, Copy, Debug)]
pub(super) struct Lot {
    pub block: Block,
    pub count: u32,
}

/// How the next block is chosen.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Rule {
    /// Into the lowest gap goes the block that fits it best, the first of the order among equals (best-fit: Burke,
    /// Kendall and Whitwell 2004; scores after Leung, Zhang and Sim 2011).
    BestFit,
    /// Each block of the order in turn goes where its end comes lowest.
    InTurn,
}

/// What came of placing an order.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Outcome {
    pub length: i64,
    /// Area of the blocks that found no place within the limit.
    pub left_over: i64,
}

/// A block's place in a plan: which lot of the order, and where.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub(super) struct Placed {
    pub lot: u32,
    pub x: i64,
    pub y: i64,
}

/// A level stretch of the skyline.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
struct Level {
    x: i64,
    width: i64,
    y: i64,
}

/// A block's fit in a gap: more is better, compared in this order.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Fit {
    /// Carpet lost between the gap's floor and the next place that the pattern allows, as a negative number.
    wait: i64,
    score: u8,
}

const PERFECT: Fit = Fit { wait: 0, score: 4 };
/// At most so many lots are weighed for one gap; only strips of thousands of sizes ever have more.
const WEIGHED: usize = 2_000;

/// Laying a block takes as long as weighing so many.
const LAYING: u64 = 8;

/// A lot that is not yet wholly placed; `lot` is its place in the order.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Waiting {
    width: i64,
    length: i64,
    lot: u32,
    count: u32,
}

/// A plan that is being made. Compared, the same floor with the same lots waiting comes together.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Default)]
pub(super) struct Begun {
    levels: Vec<Level>,
    /// What is left of the order.
    waiting: Vec<Waiting>,
    pub placed: Vec<Placed>,
}

/// Places lots; keeps its buffers from plan to plan.
pub(super) struct Skyline {
    width: i64,
    /// No piece has a pattern to keep.
    plain: bool,
    pub plan: Begun,
    /// Blocks weighed against gaps so far.
    pub steps: u64,
}

impl Begun {
    /// Of what is not laid yet.
    pub fn waiting_area(&self) -> i64 {
        self.waiting.iter().map(|it| it.width * it.length * i64::from(it.count)).sum()
    }

    /// Whether the same can still follow from both, as far as lengths go.
    pub fn goes_on_like(&self, other: &Self) -> bool {
        self.levels == other.levels && self.waiting == other.waiting
    }
}

impl Skyline {
    pub fn new(strip: &Strip) -> Self {
        let plain = strip.blocks.iter().all(|it| it.along == Lattice::FREE && it.across == Lattice::FREE);
        Self { width: strip.width, plain, plan: Begun::default(), steps: 0 }
    }

    /// Places the `lots` in this order, none beyond `limit`.
    pub fn place(&mut self, lots: &[Lot], rule: Rule, limit: i64) -> Outcome {
        self.begin(lots);
        let left_over = match rule {
            Rule::BestFit => self.fill(lots, limit),
            Rule::InTurn => self.in_turn(lots, limit),
        };
        Outcome { length: self.length(lots), left_over }
    }

    /// Of what is placed.
    pub fn length(&self, lots: &[Lot]) -> i64 {
        self.plan.placed.iter().map(|it| it.y + lots[it.lot as usize].block.length).max().unwrap_or(0)
    }

    /// Nothing is placed, all lots wait.
    pub fn begin(&mut self, lots: &[Lot]) {
        self.plan.levels.clear();
        self.plan.levels.push(Level { x: 0, width: self.width, y: 0 });
        self.plan.placed.clear();
        self.plan.waiting.clear();
        self.plan.waiting.extend(lots.iter().enumerate().map(|(i, it)| Waiting {
            width: it.block.width,
            length: it.block.length,
            lot: i as u32,
            count: it.count,
        }));
    }

    /// Goes on from the plan begun: what fits best into the lowest gap, again and again. The area that found no place.
    pub fn fill(&mut self, lots: &[Lot], limit: i64) -> i64 {
        let narrowest = self.narrowest();
        while !self.plan.waiting.is_empty() {
            let gap = self.lowest();
            let found = if self.plan.levels[gap].width < narrowest { None } else { self.choose(lots, gap, limit) };
            if let Some(at) = found {
                self.lay(lots, gap, at);
            } else if !self.raise(gap) {
                break;
            }
        }
        self.plan.waiting_area()
    }

    fn narrowest(&self) -> i64 {
        self.plan.waiting.iter().map(|it| it.width).min().unwrap_or(0)
    }

    /// Lays one of the waiting lot `at` into the gap, beside the wall that it is level with or the taller one.
    pub fn lay(&mut self, lots: &[Lot], gap: usize, at: usize) {
        self.steps += LAYING;
        let level = self.plan.levels[gap];
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
        self.plan.placed.push(Placed { lot, x, y });
        self.plan.waiting[at].count -= 1;
        if self.plan.waiting[at].count == 0 {
            self.plan.waiting.remove(at);
        }
    }

    /// The lowest gap that something fits, with all that does: the best first, of equal blocks one. Gaps below it are given up.
    /// `None` when nothing fits anywhere.
    pub fn ways_on(&mut self, lots: &[Lot], limit: i64) -> Option<(usize, Vec<usize>)> {
        let narrowest = self.narrowest();
        loop {
            let gap = self.lowest();
            let mut fits = Vec::new();
            if self.plan.levels[gap].width >= narrowest {
                self.weigh(lots, gap, limit, |fit, at| {
                    fits.push((Reverse(fit), at));
                    false
                });
            }
            if !fits.is_empty() {
                fits.sort_unstable();
                let mut seen = BTreeSet::new();
                fits.retain(|(_, at)| seen.insert(lots[self.plan.waiting[*at].lot as usize].block));
                return Some((gap, fits.into_iter().map(|it| it.1).collect()));
            }
            if !self.raise(gap) {
                return None;
            }
        }
    }

    fn lowest(&self) -> usize {
        let mut lowest = 0;
        for (i, level) in self.plan.levels.iter().enumerate().skip(1) {
            if level.y < self.plan.levels[lowest].y {
                lowest = i;
            }
        }
        lowest
    }

    /// How far the skyline rises at the left and at the right end of a level; the strip's edges rise for ever.
    fn walls(&self, gap: usize) -> (i64, i64) {
        let y = self.plan.levels[gap].y;
        let left = if gap == 0 { i64::MAX } else { self.plan.levels[gap - 1].y - y };
        let right = self.plan.levels.get(gap + 1).map_or(i64::MAX, |it| it.y - y);
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
        let level = self.plan.levels[gap];
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
    pub fn raise(&mut self, gap: usize) -> bool {
        let left = gap.checked_sub(1).map(|it| self.plan.levels[it].y);
        let right = self.plan.levels.get(gap + 1).map(|it| it.y);
        let to = match (left, right) {
            (Some(left), Some(right)) => left.min(right),
            (Some(only), None) | (None, Some(only)) => only,
            (None, None) => return false,
        };
        self.plan.levels[gap].y = to;
        self.merge(gap);
        true
    }

    /// Lays a block over the level `gap`, from `x` on, up to `top`.
    fn cover(&mut self, gap: usize, x: i64, width: i64, top: i64) {
        let old = self.plan.levels[gap];
        let before = Level { width: x - old.x, ..old };
        let after = Level { x: x + width, width: old.x + old.width - x - width, ..old };
        self.plan.levels[gap] = Level { x, width, y: top };
        if after.width > 0 {
            self.plan.levels.insert(gap + 1, after);
        }
        if before.width > 0 {
            self.plan.levels.insert(gap, before);
        }
        self.merge(gap + usize::from(before.width > 0));
    }

    /// Joins a level with neighbours of its height.
    fn merge(&mut self, at: usize) {
        if let Some(right) = self.plan.levels.get(at + 1).copied()
            && right.y == self.plan.levels[at].y
        {
            self.plan.levels[at].width += right.width;
            self.plan.levels.remove(at + 1);
        }
        if at > 0 && self.plan.levels[at - 1].y == self.plan.levels[at].y {
            self.plan.levels[at - 1].width += self.plan.levels[at].width;
            self.plan.levels.remove(at);
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
        for i in 0..self.plan.levels.len() {
            let x = block.across.up(self.plan.levels[i].x);
            if x + block.width > self.width {
                break;
            }
            let spanned = self.plan.levels[i..].iter().take_while(|it| it.x < x + block.width);
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
        let mut levels = Vec::with_capacity(self.plan.levels.len() + 2);
        let mut push = |level: Level| {
            if level.width > 0 {
                levels.push(level);
            }
        };
        let mut raised = false;
        for level in &self.plan.levels {
            let (from, to) = (level.x, level.x + level.width);
            push(Level { width: to.min(x) - from, ..*level });
            if to > x && !raised {
                push(Level { x, width, y: top });
                raised = true;
            }
            let rest = from.max(end);
            push(Level { x: rest, width: to - rest, ..*level });
        }
        self.plan.levels = levels;
        // Left neighbours first, so that each merge leaves the indices before it alone.
        for at in (1..self.plan.levels.len()).rev() {
            if self.plan.levels[at].y == self.plan.levels[at - 1].y {
                self.plan.levels[at - 1].width += self.plan.levels[at].width;
                self.plan.levels.remove(at);
            }
        }
    }
}
