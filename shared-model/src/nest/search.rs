//! Looks for an order of the pieces that fills the strip to a shorter plan.

use super::beam::beam;
use super::filling::{Filling, Lot, Outcome, Rule};
use super::proof::Proof;
use super::skyline::Skyline;
use super::{Block, Budget, Strip};

/// Up to this many pieces, each is moved in the order on its own; beyond, equal pieces move together.
const SINGLE: usize = 4_000;
/// Orders of so few pieces are all tried.
const FEW: usize = 7;

/// More plans than 2 to this power never grow side by side.
const WIDEST: u32 = 16;

/// How far a search has come, in the strip's units.
#[derive(Clone, Copy)]
pub(super) struct Progress {
    /// Of the best plan; none yet when `None`.
    pub length: Option<i64>,
    /// No plan is shorter.
    pub lower: i64,
    pub steps: u64,
}

/// The best plan found, in the strip's units.
pub(super) struct Found {
    pub length: i64,
    /// No plan is shorter.
    pub lower: i64,
    /// One place `(x, y)` per block of the strip.
    pub places: Vec<(i64, i64)>,
    pub steps: u64,
}

/// Searches, and proves, until the best plan is proven to be the shortest, the budget is spent, or `go_on` says no. Always ends with a
/// plan. `known` is a length that no plan is shorter than.
pub(super) fn search<T: Filling>(
    strip: &Strip,
    budget: Budget,
    known: i64,
    go_on: impl FnMut(Progress) -> bool,
) -> Found {
    let mut lots = lots_of(&strip.blocks);
    let mut proof = Proof::of(strip);
    proof.lower = proof.lower.max(known);
    let mut search = Search {
        strip,
        filling: T::new(strip),
        best: None,
        plan: Vec::new(),
        proof,
        proof_steps: 0,
        budget: budget.steps,
        go_on,
        random: Random(budget.seed),
    };
    let orders = search.usual_orders(&mut lots);
    if lots.len() <= FEW {
        search.every_order(&mut lots, 0);
    }
    search.rounds(orders);
    search.found()
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
        return sorted.into_iter().map(|block| Lot { block, count: 1, slit: false }).collect();
    }
    sorted
        .chunk_by(|a, b| a == b)
        .map(|equal| Lot { block: equal[0], count: equal.len() as u32, slit: false })
        .collect()
}

struct Search<'a, T, F> {
    strip: &'a Strip,
    filling: T,
    /// Length of the best plan; no plan yet when `None`.
    best: Option<i64>,
    /// The best plan: each placed block with its place.
    plan: Vec<(Block, i64, i64)>,
    proof: Proof,
    /// Spent on proofs.
    proof_steps: u64,
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

impl<T: Filling, F: FnMut(Progress) -> bool> Search<'_, T, F> {
    /// Tries one order; keeps its plan when it is the best so far.
    fn attempt(&mut self, lots: &[Lot], rule: Rule, limit: i64) -> Outcome {
        let outcome = self.filling.place(lots, rule, limit);
        if outcome.left_over == 0 && self.best.is_none_or(|best| outcome.length < best) {
            self.keep(lots, outcome.length);
        }
        outcome
    }

    /// What is laid is the best plan so far.
    fn keep(&mut self, lots: &[Lot], length: i64) {
        self.best = Some(length);
        self.plan.clear();
        self.plan.extend(self.filling.plan().placed.iter().map(|it| (lots[it.lot as usize].block, it.x, it.y)));
    }

    fn met_bound(&self) -> bool {
        self.best.is_some_and(|best| best <= self.proof.lower)
    }

    fn steps(&self) -> u64 {
        self.filling.steps() + self.proof_steps
    }

    fn done(&mut self) -> bool {
        let progress = Progress { length: self.best, lower: self.proof.lower, steps: self.steps() };
        self.met_bound() || self.steps() >= self.budget || !(self.go_on)(progress)
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

    /// Swaps in the orders, plans that grow side by side, and proofs, in turn: each round takes longer than the one before, and
    /// neither search takes more than the other.
    fn rounds(&mut self, mut orders: Vec<Order>) {
        let mut spent = self.filling.steps();
        let mut turn = 0;
        for round in 0.. {
            if self.done() {
                return;
            }
            self.prove(spent / 2);
            self.swaps(&mut orders, &mut turn, spent);
            let before = self.filling.steps();
            self.beams(&orders, 1 << round.min(WIDEST));
            spent = (self.filling.steps() - before).max(spent);
        }
    }

    fn prove(&mut self, steps: u64) {
        let left = self.budget.saturating_sub(self.steps());
        if let Some(best) = self.best {
            self.proof_steps += self.proof.raise(self.strip, best, steps.min(left));
        }
    }

    /// From each order, plans that grow side by side.
    fn beams(&mut self, orders: &[Order], width: usize) {
        for order in orders.iter().filter(|it| it.rule == Rule::BestFit) {
            while !self.done() {
                let limit = self.target();
                let (before, budget) = (self.proof_steps, self.budget);
                let progress = Progress { length: self.best, lower: self.proof.lower, steps: 0 };
                let go_on = |steps| {
                    let steps = steps + before;
                    steps < budget && (self.go_on)(Progress { steps, ..progress })
                };
                if !beam(&mut self.filling, &order.lots, width, limit, go_on) {
                    break;
                }
                let length = self.filling.plan().length(&order.lots);
                self.keep(&order.lots, length);
            }
        }
    }

    /// Aims one unit below the best plan and swaps two blocks of an order at random, keeping what leaves no more carpet
    /// without a place. After a while without success, goes on with the next of the orders, until `steps` are spent (after Wei,
    /// Oon, Zhu and Lim 2011, without their tabu list).
    fn swaps(&mut self, orders: &mut [Order], turn: &mut usize, steps: u64) {
        let until = self.filling.steps().saturating_add(steps);
        while self.filling.steps() < until && !self.done() {
            *turn += 1;
            let count = orders.len();
            let Some(order) = orders.get_mut(*turn % count.max(1)) else { return };
            self.swap(order);
        }
    }

    fn swap(&mut self, Order { lots, rule, .. }: &mut Order) {
        let size = lots.len();
        let mut target = self.target();
        let mut left_over = self.attempt(lots, *rule, target).left_over;
        let mut failed = 0;
        while failed < 20 * size.max(20) && !self.done() {
            let (a, b) = (self.random.below(size), self.random.below(size));
            failed += 1;
            if lots[a].block == lots[b].block {
                continue;
            }
            let slit = T::SLITS && self.random.below(3) == 0;
            change(lots, a, b, slit);
            let now = self.attempt(lots, *rule, target).left_over;
            if now > left_over {
                change(lots, a, b, slit);
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

    /// Hands the best plan's places to the strip's blocks: equal blocks are interchangeable.
    fn found(mut self) -> Found {
        let strip = self.strip;
        self.plan.sort_unstable();
        let mut blocks: Vec<usize> = (0..strip.blocks.len()).collect();
        blocks.sort_by_key(|it| (strip.blocks[*it], *it));
        let mut places = vec![(0, 0); strip.blocks.len()];
        for (block, &(_, x, y)) in blocks.into_iter().zip(&self.plan) {
            places[block] = (x, y);
        }
        let steps = self.steps();
        Found { length: self.best.unwrap_or(0), lower: self.proof.lower, places, steps }
    }
}

/// The lot `a` is parted the other way, or else changes places with `b`. Done twice, nothing is changed.
fn change(lots: &mut [Lot], a: usize, b: usize, slit: bool) {
    if slit {
        lots[a].slit = !lots[a].slit;
    } else {
        lots.swap(a, b);
    }
}

/// SplitMix64 (Steele, Lea and Flood 2014).
pub(super) struct Random(pub u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// A number from 0 to `end` − 1.
    pub fn below(&mut self, end: usize) -> usize {
        ((u128::from(self.next()) * end as u128) >> 64) as usize
    }
}
