//! Looks for an order of the pieces that the skyline turns into a shorter plan.

use super::skyline::{Lot, Outcome, Rule, Skyline};
use super::{Block, Budget, Strip};

/// Up to this many pieces, each is moved in the order on its own; beyond, equal pieces move together.
const SINGLE: usize = 4_000;
/// Orders of so few pieces are all tried.
const FEW: usize = 7;

/// The best plan found, in the strip's units.
pub(super) struct Found {
    pub length: i64,
    /// One place `(x, y)` per block of the strip.
    pub places: Vec<(i64, i64)>,
    pub steps: u64,
}

/// Searches until a plan meets `bound`, the budget is spent, or `go_on` says no. Always ends with a plan.
pub(super) fn search(strip: &Strip, bound: i64, budget: Budget, go_on: impl FnMut() -> bool) -> Found {
    let mut lots = lots_of(&strip.blocks);
    let mut search = Search {
        skyline: Skyline::new(strip),
        best: None,
        plan: Vec::new(),
        bound,
        budget: budget.steps,
        go_on,
        random: Random(budget.seed),
    };
    let starts = search.usual_orders(&mut lots);
    if lots.len() <= FEW {
        search.every_order(&mut lots, 0);
    } else {
        search.swaps(starts);
    }
    search.found(strip)
}

/// The length of the plan that placing the longest blocks first gives.
pub(super) fn first_length(strip: &Strip) -> i64 {
    let mut lots = lots_of(&strip.blocks);
    lots.sort_by_key(|it| (-it.block.length, it.block));
    Skyline::new(strip).place(&lots, Rule::BestFit, i64::MAX).length
}

fn lots_of(blocks: &[Block]) -> Vec<Lot> {
    let mut sorted = blocks.to_vec();
    sorted.sort_unstable();
    if blocks.len() <= SINGLE {
        return sorted.into_iter().map(|block| Lot { block, count: 1 }).collect();
    }
    sorted.chunk_by(|a, b| a == b).map(|equal| Lot { block: equal[0], count: equal.len() as u32 }).collect()
}

struct Search<F> {
    skyline: Skyline,
    /// Length of the best plan; no plan yet when `None`.
    best: Option<i64>,
    /// The best plan: each placed block with its place.
    plan: Vec<(Block, i64, i64)>,
    bound: i64,
    budget: u64,
    go_on: F,
    random: Random,
}

/// An order with the rule that places it.
struct Order {
    lots: Vec<Lot>,
    rule: Rule,
    length: i64,
}

impl<F: FnMut() -> bool> Search<F> {
    /// Tries one order; keeps its plan when it is the best so far.
    fn attempt(&mut self, lots: &[Lot], rule: Rule, limit: i64) -> Outcome {
        let outcome = self.skyline.place(lots, rule, limit);
        if outcome.left_over == 0 && self.best.is_none_or(|best| outcome.length < best) {
            self.best = Some(outcome.length);
            self.plan.clear();
            self.plan.extend(self.skyline.placed.iter().map(|it| (lots[it.lot as usize].block, it.x, it.y)));
        }
        outcome
    }

    fn met_bound(&self) -> bool {
        self.best.is_some_and(|best| best <= self.bound)
    }

    fn done(&mut self) -> bool {
        self.met_bound() || self.skyline.steps >= self.budget || !(self.go_on)()
    }

    /// One unit shorter than the best plan.
    fn target(&self) -> i64 {
        self.best.map_or(i64::MAX, |best| best - 1)
    }

    /// Largest first, by each of the usual measures; best first.
    fn usual_orders(&mut self, lots: &mut [Lot]) -> Vec<Order> {
        type Measure = fn(&Block) -> i64;
        let measures: [Measure; 4] =
            [|it| it.width * it.length, |it| it.length, |it| it.width, |it| it.width + it.length];
        let mut orders = Vec::new();
        for rule in [Rule::BestFit, Rule::InTurn] {
            for measure in measures {
                if self.met_bound() {
                    break;
                }
                lots.sort_by_key(|it| (-measure(&it.block), it.block));
                let length = self.attempt(lots, rule, i64::MAX).length;
                orders.push(Order { lots: lots.to_vec(), rule, length });
            }
        }
        orders.sort_by_key(|it| it.length);
        orders
    }

    /// All orders of the lots from place `from` on.
    fn every_order(&mut self, lots: &mut [Lot], from: usize) {
        if from == lots.len() {
            let target = self.target();
            self.attempt(lots, Rule::InTurn, target);
            return;
        }
        for i in from..lots.len() {
            if self.done() {
                return;
            }
            // An equal lot in the same place gives the same orders again.
            if lots[from..i].iter().any(|it| it.block == lots[i].block) {
                continue;
            }
            lots.swap(from, i);
            self.every_order(lots, from + 1);
            lots.swap(from, i);
        }
    }

    /// Aims one unit below the best plan and swaps two blocks of an order at random, keeping what leaves no more carpet
    /// without a place. After a while without success, goes on from the next of the starting orders (after Wei, Oon, Zhu
    /// and Lim 2011, without their tabu list).
    fn swaps(&mut self, mut orders: Vec<Order>) {
        let Some(size) = orders.first().map(|it| it.lots.len()) else { return };
        let patience = 20 * size.max(20);
        for turn in 0.. {
            let count = orders.len();
            let Order { lots, rule, .. } = &mut orders[turn % count];
            let mut target = self.target();
            let mut left_over = self.attempt(lots, *rule, target).left_over;
            let mut failed = 0;
            while failed < patience {
                if self.done() {
                    return;
                }
                let (a, b) = (self.random.below(size), self.random.below(size));
                failed += 1;
                if lots[a].block == lots[b].block {
                    continue;
                }
                lots.swap(a, b);
                let now = self.attempt(lots, *rule, target).left_over;
                if now > left_over {
                    lots.swap(a, b);
                    continue;
                }
                if now < left_over {
                    failed = 0;
                }
                left_over = now;
                if now == 0 {
                    target = self.target();
                    left_over = self.attempt(lots, *rule, target).left_over;
                }
            }
        }
    }

    /// Hands the best plan's places to the strip's blocks: equal blocks are interchangeable.
    fn found(mut self, strip: &Strip) -> Found {
        self.plan.sort_unstable();
        let mut blocks: Vec<usize> = (0..strip.blocks.len()).collect();
        blocks.sort_by_key(|it| (strip.blocks[*it], *it));
        let mut places = vec![(0, 0); strip.blocks.len()];
        for (block, &(_, x, y)) in blocks.into_iter().zip(&self.plan) {
            places[block] = (x, y);
        }
        Found { length: self.best.unwrap_or(0), places, steps: self.skyline.steps }
    }
}

/// SplitMix64 (Steele, Lea and Flood 2014).
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// A number from 0 to `end` − 1.
    fn below(&mut self, end: usize) -> usize {
        ((u128::from(self.next()) * end as u128) >> 64) as usize
    }
}
