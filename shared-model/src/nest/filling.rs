//! How a plan is made, one block after another: what all ways of placing have in common.

use super::{Block, Strip};

/// Blocks of one size that are interchangeable in the order.
#[derive(Clone, Copy, Debug)]
pub(super) struct Lot {
    pub block: Block,
    pub count: u32,
    /// Where cuts run edge to edge: what lies beside the block is parted from what lies behind it by a cut along the roll.
    pub slit: bool,
}

/// How the next block is chosen.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Rule {
    /// Into the next gap goes the block that fits it best, the first of the order among equals (best-fit: Burke,
    /// Kendall and Whitwell 2004; scores after Leung, Zhang and Sim 2011).
    BestFit,
    /// Each block of the order in turn goes where it does best.
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

/// A block's fit in a gap: more is better, compared in this order.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Fit {
    /// Carpet lost between the gap's floor and the next place that the pattern allows, as a negative number.
    pub wait: i64,
    pub score: u8,
}

/// At most so many lots are weighed for one gap; only strips of thousands of sizes ever have more.
pub(super) const WEIGHED: usize = 2_000;
/// Laying a block takes as long as weighing so many.
pub(super) const LAYING: u64 = 8;

/// A lot that is not yet wholly placed; `lot` is its place in the order.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Waiting {
    pub width: i64,
    pub length: i64,
    pub lot: u32,
    pub count: u32,
}

/// A plan that is being made; `S` is a stretch of what is still free.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Begun<S> {
    pub free: Vec<S>,
    /// What is left of the order.
    pub waiting: Vec<Waiting>,
    pub placed: Vec<Placed>,
}

impl<S: PartialEq> Begun<S> {
    pub const NOTHING: Self = Self { free: Vec::new(), waiting: Vec::new(), placed: Vec::new() };

    /// Nothing is placed, all lots wait.
    pub fn begin(&mut self, lots: &[Lot], whole: S) {
        self.free.clear();
        self.free.push(whole);
        self.placed.clear();
        self.waiting.clear();
        self.waiting.extend(lots.iter().enumerate().map(|(i, it)| Waiting {
            width: it.block.width,
            length: it.block.length,
            lot: i as u32,
            count: it.count,
        }));
    }

    /// One of the waiting lot `at` is placed.
    pub fn place(&mut self, at: usize, x: i64, y: i64) {
        self.placed.push(Placed { lot: self.waiting[at].lot, x, y });
        self.waiting[at].count -= 1;
        if self.waiting[at].count == 0 {
            self.waiting.remove(at);
        }
    }

    pub fn narrowest(&self) -> i64 {
        self.waiting.iter().map(|it| it.width).min().unwrap_or(0)
    }

    /// Of what is placed.
    pub fn length(&self, lots: &[Lot]) -> i64 {
        self.placed.iter().map(|it| it.y + lots[it.lot as usize].block.length).max().unwrap_or(0)
    }

    /// Of what is not laid yet.
    pub fn waiting_area(&self) -> i64 {
        self.waiting.iter().map(|it| it.width * it.length * i64::from(it.count)).sum()
    }

    /// Whether the same can still follow from both, as far as lengths go.
    pub fn goes_on_like(&self, other: &Self) -> bool {
        self.free == other.free && self.waiting == other.waiting
    }
}

/// Places lots; keeps its buffers from plan to plan.
pub(super) trait Filling {
    /// Of what is still free.
    type Stretch: Clone + Ord;
    /// One way to go on.
    type Way;
    /// Whether it matters to a lot how it is parted from what lies around it.
    const SLITS: bool;

    fn new(strip: &Strip) -> Self;

    /// Blocks weighed against gaps so far.
    fn steps(&self) -> u64;

    fn plan(&mut self) -> &mut Begun<Self::Stretch>;

    /// Nothing is placed, all lots wait.
    fn begin(&mut self, lots: &[Lot], limit: i64);

    /// Places the `lots` in this order, none beyond `limit`.
    fn place(&mut self, lots: &[Lot], rule: Rule, limit: i64) -> Outcome;

    /// Goes on from the plan begun: what fits best into the next gap, again and again. The area that found no place.
    fn fill(&mut self, lots: &[Lot], limit: i64) -> i64;

    /// Up to `most` ways to go on, besides leaving a gap empty, the best first. Gaps that nothing fits are given up before. None
    /// when nothing fits anywhere.
    fn ways(&mut self, lots: &[Lot], limit: i64, most: usize) -> Vec<Self::Way>;

    fn go(&mut self, lots: &[Lot], way: &Self::Way);
}
