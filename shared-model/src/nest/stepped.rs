//! Pieces that do not need all of their rectangle, such as those of L-shaped rooms: columns side by side, each as long as it must be.
//!
//! As in `skyline`, each piece of an order comes to lie on the skyline where it does best; but under and over its shorter columns others
//! find room. Bounds look at the parts that each piece falls into, as if these were free to lie anywhere.

use super::profile::{Aim, Item, Profile, Rule};
use super::proof::Proof;
use super::search::Random;
use super::{Budget, Fault, Lattice, NestError, Phase, Placement, Progress, RollPlan, Shape, Strip};
use crate::length::Length;

/// One in so many pieces takes another turn when a search begins anew.
const SHAKEN: usize = 3;

/// What is to be placed.
#[derive(Clone, PartialEq, Debug)]
pub struct SteppedPiece {
    pub id: String,
    /// Side by side from its left edge on; those beside each other share a stretch of the length.
    pub columns: Vec<Column>,
    /// Where along the roll the piece may start; anywhere when `None`.
    pub phase: Option<Phase>,
}

/// A part of a piece: so wide across the roll, and needed from here to there along it, as seen from the piece's start.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Column {
    pub width: Length,
    pub from: Length,
    pub to: Length,
}

/// Places all pieces on one strip, around corners where that is shorter. Deterministic; ends with the budget, or when `go_on` says no.
pub fn nest_stepped(
    pieces: &[SteppedPiece],
    width: Length,
    budget: Budget,
    mut go_on: impl FnMut(Progress) -> bool,
) -> Result<RollPlan, NestError> {
    let parts: Vec<(usize, Shape)> =
        pieces.iter().enumerate().flat_map(|(n, it)| it.parts().into_iter().map(move |part| (n, part))).collect();
    let shapes: Vec<Shape> = parts.iter().map(|(_, it)| *it).collect();
    let named = |n: usize| pieces.get(n).map(|it| it.id.clone()).unwrap_or_default();
    if let Some(n) = pieces.iter().position(|it| it.width() > width) {
        return Err(NestError::TooWide { piece: named(n) });
    }
    let strip = Strip::of(&shapes, width).map_err(|(at, fault)| {
        let piece = named(parts.get(at).map_or(0, |it| it.0));
        match fault {
            Fault::TooWide => NestError::TooWide { piece },
            Fault::Empty => NestError::Empty { piece },
            Fault::TooLong => NestError::TooLong { piece },
        }
    })?;
    // Areas are counted in counts here, and must be countable.
    let all: i128 = pieces.iter().map(|it| i128::from(it.length().0)).sum();
    if i128::from(width.0) * all > i128::from(i64::MAX / 4) {
        return Err(NestError::TooLong { piece: named(pieces.len().saturating_sub(1)) });
    }
    let longest = pieces.iter().map(SteppedPiece::length).max().unwrap_or_default();
    let mut search = Search::of(pieces, width, &strip, longest);
    search.run(budget, |steps, best, lower| go_on(Progress { length: best, lower_bound: lower, steps }));
    let place = |(n, it): (usize, &SteppedPiece)| {
        let (x, y) = search.places.get(n).copied().unwrap_or_default();
        Placement { piece: it.id.clone(), x: Length(x), y: Length(y) }
    };
    Ok(RollPlan {
        width,
        length: Length(search.best.unwrap_or_default()),
        lower_bound: search.lower(),
        placements: pieces.iter().enumerate().map(place).collect(),
        steps: search.steps,
    })
}

impl SteppedPiece {
    fn width(&self) -> Length {
        self.columns.iter().map(|it| it.width).sum()
    }

    pub(super) fn length(&self) -> Length {
        self.columns.iter().map(|it| it.to).max().unwrap_or_default()
    }

    /// The rectangles that it falls into when it is cut across wherever a column begins or ends.
    fn parts(&self) -> Vec<Shape> {
        let mut ends: Vec<Length> = self.columns.iter().flat_map(|it| [it.from, it.to]).collect();
        ends.sort_unstable();
        ends.dedup();
        let mut parts: Vec<Part> = Vec::new();
        for slice in ends.windows(2) {
            let needed = |it: &Column| it.from <= slice[0] && slice[1] <= it.to;
            let mut end = 0;
            for run in self.columns.chunk_by(|a, b| needed(a) == needed(b)) {
                let columns = (end, end + run.len());
                end += run.len();
                if !needed(&run[0]) {
                    continue;
                }
                // What is as wide as the part before it goes on from it.
                if let Some(it) = parts.iter_mut().find(|it| it.columns == columns && it.to == slice[0]) {
                    it.to = slice[1];
                } else {
                    let width = run.iter().map(|it| it.width).sum();
                    parts.push(Part { columns, width, from: slice[0], to: slice[1] });
                }
            }
        }
        let shape = |it: Part| Shape { width: it.width, length: it.to - it.from, phase: None, across: None };
        parts.into_iter().map(shape).collect()
    }
}

/// Of a piece: from and to which of its columns, and where along it.
struct Part {
    columns: (usize, usize),
    width: Length,
    from: Length,
    to: Length,
}

struct Search<'a> {
    items: Vec<Item>,
    /// The same seen from the strip's far end.
    seen_from_behind: Vec<Item>,
    /// The two are exchanged at the moment.
    reversed: bool,
    strip: &'a Strip,
    proof: Proof,
    longest: Length,
    /// Length and places of the best plan.
    best: Option<i64>,
    places: Vec<(i64, i64)>,
    skyline: Profile,
    random: Random,
    steps: u64,
}

impl<'a> Search<'a> {
    fn of(pieces: &[SteppedPiece], width: Length, strip: &'a Strip, longest: Length) -> Self {
        Self {
            items: pieces.iter().map(Item::of).collect(),
            seen_from_behind: pieces.iter().map(|it| Item::of(it).reversed()).collect(),
            reversed: false,
            strip,
            proof: Proof::of(strip),
            longest,
            best: None,
            places: vec![(0, 0); pieces.len()],
            skyline: Profile::new(width.0),
            random: Random(1),
            steps: 0,
        }
    }

    /// No plan is shorter.
    fn lower(&self) -> Length {
        Length(self.proof.lower * self.strip.unit_along).max(self.longest)
    }

    fn done(&self) -> bool {
        self.best.is_some_and(|it| Length(it) <= self.lower())
    }

    /// Looks at the strip from this end.
    const fn turn(&mut self, reversed: bool) {
        if self.reversed != reversed {
            std::mem::swap(&mut self.items, &mut self.seen_from_behind);
            self.reversed = reversed;
        }
    }

    /// Swaps in orders that begin with the largest, and proofs, in turn; each round takes longer than the one before.
    fn run(&mut self, budget: Budget, mut go_on: impl FnMut(u64, Option<Length>, Length) -> bool) {
        self.random = Random(budget.seed);
        let mut orders = self.usual_orders();
        let mut round = self.steps.max(1_000);
        let mut turn = 0;
        loop {
            let until = (self.steps + round).min(budget.steps);
            while self.steps < until {
                if self.done() || !go_on(self.steps, self.best.map(Length), self.lower()) {
                    return;
                }
                turn += 1;
                let count = orders.len();
                let Some(Order { reversed, rule, aims }) = orders.get_mut(turn % count.max(1)) else { return };
                self.turn(*reversed);
                // Each time that its turn comes again, an order begins somewhere else.
                if turn > count {
                    let shaken = aims.len() / SHAKEN + 1;
                    (0..shaken).for_each(|_| Change::any(&mut self.random, aims.len(), *rule).make(aims));
                }
                self.swaps(*rule, aims, until);
            }
            if self.steps >= budget.steps || self.done() {
                return;
            }
            if let Some(best) = self.best {
                let units = best.div_euclid(self.strip.unit_along) + i64::from(best % self.strip.unit_along > 0);
                self.steps += self.proof.raise(self.strip, units, round.min(budget.steps - self.steps));
            }
            round = round.saturating_mul(2);
        }
    }

    fn usual_orders(&mut self) -> Vec<Order> {
        type Measure = fn(&Item) -> i64;
        let measures: [Measure; 4] = [|it| it.area, |it| it.length, |it| it.width, |it| it.width + it.length];
        let mut orders = Vec::new();
        // A pattern counts from the outer end.
        let ways = if self.items.iter().all(|it| it.along == Lattice::FREE) { &[false, true][..] } else { &[false] };
        for &reversed in ways {
            self.turn(reversed);
            for (rule, least_covered) in [(Rule::BestFit, false), (Rule::InTurn, false), (Rule::InTurn, true)] {
                for measure in measures {
                    let mut order: Vec<usize> = (0..self.items.len()).collect();
                    order.sort_by_key(|it| (-measure(&self.items[*it]), *it));
                    let aims: Vec<Aim> =
                        order.into_iter().map(|piece| Aim { piece, least_covered, right: false }).collect();
                    self.attempt(rule, &aims, i64::MAX);
                    orders.push(Order { reversed, rule, aims });
                }
            }
        }
        orders
    }

    /// Aims below the best plan and swaps two pieces at random, or moves one, keeping what leaves no more carpet without a place.
    fn swaps(&mut self, rule: Rule, order: &mut [Aim], until: u64) {
        let size = order.len();
        let target = |best: Option<i64>| best.map_or(i64::MAX, |it| it - 1);
        let mut left_over = self.attempt(rule, order, target(self.best));
        let mut failed = 0;
        while failed < 20 * size.max(10) && self.steps < until && !self.done() {
            let change = Change::any(&mut self.random, size, rule);
            failed += 1;
            change.make(order);
            let now = self.attempt(rule, order, target(self.best));
            if now > left_over {
                change.undo(order);
                continue;
            }
            if now < left_over {
                failed = 0;
            }
            left_over = if now == 0 { self.attempt(rule, order, target(self.best)) } else { now };
        }
    }

    /// Places an order, none beyond `limit`: the area that found no place. Keeps its plan when it is the best so far.
    fn attempt(&mut self, rule: Rule, order: &[Aim], limit: i64) -> i64 {
        self.steps += self.skyline.place(&self.items, rule, order, limit);
        let laid = &self.skyline.laid;
        let of_all: i64 = self.items.iter().map(|it| it.area).sum();
        let left_over = of_all - laid.iter().map(|it| self.items[it.0].area).sum::<i64>();
        let length = laid.iter().map(|it| it.2 + self.items[it.0].length).max().unwrap_or_default();
        if left_over == 0 && self.best.is_none_or(|it| length < it) {
            self.best = Some(length);
            for &(n, x, y) in laid {
                let from_end = length - y - self.items[n].length;
                self.places[n] = (x, if self.reversed { from_end } else { y });
            }
        }
        left_over
    }
}

/// All pieces in the order of their turns.
struct Order {
    /// The strip is filled from its far end.
    reversed: bool,
    rule: Rule,
    aims: Vec<Aim>,
}

/// A change of an order, of the piece whose turn is at `a`.
#[derive(Clone, Copy)]
struct Change {
    kind: Kind,
    a: usize,
    b: usize,
}

#[derive(Clone, Copy)]
enum Kind {
    /// Takes turns with the one at `b`.
    Swap,
    /// Moves to `b`.
    Move,
    Aim,
    Side,
}

impl Change {
    fn any(random: &mut Random, size: usize, rule: Rule) -> Self {
        use Kind::{Aim, Move, Side, Swap};
        let kinds = if rule == Rule::InTurn { &[Swap, Swap, Move, Move, Aim, Side][..] } else { &[Swap, Move][..] };
        Self { kind: kinds[random.below(kinds.len())], a: random.below(size), b: random.below(size) }
    }

    fn make(self, order: &mut [Aim]) {
        let Self { kind, a, b } = self;
        match kind {
            Kind::Swap => order.swap(a, b),
            Kind::Move if a < b => order[a..=b].rotate_left(1),
            Kind::Move => order[b..=a].rotate_right(1),
            Kind::Aim => order[a].least_covered ^= true,
            Kind::Side => order[a].right ^= true,
        }
    }

    fn undo(self, order: &mut [Aim]) {
        match self.kind {
            Kind::Move => Self { a: self.b, b: self.a, ..self }.make(order),
            _ => self.make(order),
        }
    }
}
