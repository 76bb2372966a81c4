//! Pieces on the roll: rectangles of fixed orientation on a strip of fixed width, as short as can be.
//!
//! `skyline` places pieces one after another in a given order, `sheet` so that the plan can be cut edge to edge; `search` looks for a better
//! order, and `beam` lets several plans grow side by side. `stepped` plans pieces that need less than their rectangle, on a `profile`.
//! `bound` and `proof` say how short no plan can be. All of it counts in whole numbers, so every comparison is exact.

pub mod file;

mod beam;
mod bound;
mod cuts;
mod filling;
mod line;
mod profile;
mod proof;
mod search;
mod sheet;
mod skyline;
mod stepped;

use serde::{Deserialize, Serialize};

pub use cuts::{Cut, CutList, CutWay, Offcut, cuts};
use filling::Filling;
use sheet::Sheet;
use skyline::Skyline;
pub use stepped::{Column, SteppedPiece, nest_stepped};

use crate::length::Length;

/// What is to be placed.
#[derive(Clone, PartialEq, Debug)]
pub struct NestPiece {
    pub id: String,
    /// Across the roll.
    pub width: Length,
    /// Along the roll.
    pub length: Length,
    /// Where along the roll the piece may start (pattern repeat); anywhere when `None`.
    pub phase: Option<Phase>,
    /// Where across the roll the piece's left edge may lie (pattern repeat in the width); anywhere when `None`.
    pub across: Option<Phase>,
}

/// A piece without its name.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Shape {
    pub width: Length,
    pub length: Length,
    pub phase: Option<Phase>,
    pub across: Option<Phase>,
}

impl Shape {
    pub fn named(self, id: &str) -> NestPiece {
        let Self { width, length, phase, across } = self;
        NestPiece { id: id.to_owned(), width, length, phase, across }
    }
}

/// Positions at multiples of `step` plus `offset`. A step of zero or less allows every position.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Phase {
    pub step: Length,
    pub offset: Length,
}

/// A valid plan of the roll.
#[derive(Clone, PartialEq, Debug, Default, Serialize, Deserialize)]
pub struct RollPlan {
    pub width: Length,
    /// From the roll's outer end to the last piece's end.
    pub length: Length,
    /// No plan of these pieces is shorter: proven.
    pub lower_bound: Length,
    /// In the order of the pieces given.
    pub placements: Vec<Placement>,
    /// Search steps spent.
    pub steps: u64,
}

#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Placement {
    pub piece: String,
    /// From the roll's left edge to the piece's.
    pub x: Length,
    /// From the roll's outer end to the piece's start.
    pub y: Length,
}

/// How long to search. A step is one piece weighed against one gap of the plan.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Budget {
    pub steps: u64,
    /// Starts the search's own random numbers: the same seed gives the same plan.
    pub seed: u64,
}

impl Budget {
    /// Places the pieces in each of the usual orders and does not search further.
    pub const QUICK: Self = Self::steps(0);

    pub const fn steps(steps: u64) -> Self {
        Self { steps, seed: 1 }
    }
}

#[derive(thiserror::Error, Debug, Clone, PartialEq)]
pub enum NestError {
    #[error("{piece} is wider than the roll")]
    TooWide { piece: String },
    #[error("{piece} has no width or no length")]
    Empty { piece: String },
    #[error("{piece} would lie too far along the roll to count")]
    TooLong { piece: String },
}

impl RollPlan {
    pub fn optimal(&self) -> bool {
        self.length == self.lower_bound
    }
}

/// Places all pieces on one strip. Deterministic: counts steps, not seconds.
pub fn nest(pieces: &[NestPiece], width: Length, budget: Budget) -> Result<RollPlan, NestError> {
    nest_while(pieces, width, budget, |_| true)
}

/// How far a search has come.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Progress {
    /// Of the best plan; none yet when `None`.
    pub length: Option<Length>,
    /// No plan is shorter: proven.
    pub lower_bound: Length,
    /// Search steps spent.
    pub steps: u64,
}

/// Like [`nest`], and also ends the search when `go_on` says no; it is asked before every new arrangement. The best plan so far
/// is the answer.
pub fn nest_while(
    pieces: &[NestPiece],
    width: Length,
    budget: Budget,
    go_on: impl FnMut(Progress) -> bool,
) -> Result<RollPlan, NestError> {
    plan::<Skyline>(pieces, width, budget, Length::ZERO, go_on)
}

/// Like [`nest`], for pieces of which it is known that no plan is shorter than `lower_bound`.
pub fn nest_above(
    pieces: &[NestPiece],
    width: Length,
    budget: Budget,
    lower_bound: Length,
) -> Result<RollPlan, NestError> {
    plan::<Skyline>(pieces, width, budget, lower_bound, |_| true)
}

fn plan<T: Filling>(
    pieces: &[NestPiece],
    width: Length,
    budget: Budget,
    lower_bound: Length,
    mut go_on: impl FnMut(Progress) -> bool,
) -> Result<RollPlan, NestError> {
    let shapes: Vec<Shape> = pieces.iter().map(NestPiece::shape).collect();
    let strip = Strip::of(&shapes, width).map_err(|(at, fault)| {
        let piece = pieces.get(at).map(|it| it.id.clone()).unwrap_or_default();
        match fault {
            Fault::TooWide => NestError::TooWide { piece },
            Fault::Empty => NestError::Empty { piece },
            Fault::TooLong => NestError::TooLong { piece },
        }
    })?;
    let along = |it: i64| Length(it * strip.unit_along);
    let known = lower_bound.0 / strip.unit_along;
    let found = search::search::<T>(&strip, budget, known, |it| {
        go_on(Progress { length: it.length.map(along), lower_bound: along(it.lower), steps: it.steps })
    });
    let placements = pieces.iter().zip(&found.places).map(|(piece, &(x, y))| Placement {
        piece: piece.id.clone(),
        x: Length(x * strip.unit_across),
        y: along(y),
    });
    Ok(RollPlan {
        width,
        length: along(found.length),
        lower_bound: along(found.lower),
        placements: placements.collect(),
        steps: found.steps,
    })
}

/// Like [`nest_while`], for a plan that can be cut edge to edge; with its cuts, in the order in which they are made.
pub fn nest_cuttable(
    pieces: &[NestPiece],
    width: Length,
    budget: Budget,
    go_on: impl FnMut(Progress) -> bool,
) -> Result<(RollPlan, CutList), NestError> {
    let plan = plan::<Sheet>(pieces, width, budget, Length::ZERO, go_on)?;
    // A sheet is filled by cutting it, so there always are such cuts.
    let cuts = cuts(pieces, &plan).unwrap_or_default();
    Ok((plan, cuts))
}

/// The length of a plan made without any search, or `None` when a shape cannot be placed.
pub fn estimate(shapes: &[Shape], width: Length) -> Option<Length> {
    let strip = Strip::of(shapes, width).ok()?;
    Some(Length(search::first_length(&strip) * strip.unit_along))
}

impl NestPiece {
    fn shape(&self) -> Shape {
        Shape { width: self.width, length: self.length, phase: self.phase, across: self.across }
    }
}

/// Why a piece cannot be placed.
enum Fault {
    TooWide,
    Empty,
    TooLong,
}

/// The pieces in the largest whole units that measure all of them: the positions of a plan pushed to the start and
/// to the left are sums of lengths and of widths, so no plan is lost, and bounds round up to whole units.
struct Strip {
    width: i64,
    blocks: Vec<Block>,
    unit_across: i64,
    unit_along: i64,
}

/// A piece in whole units.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
struct Block {
    width: i64,
    length: i64,
    along: Lattice,
    across: Lattice,
}

/// Allowed positions: `offset` plus multiples of `step`, where `0 ≤ offset < step`.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
struct Lattice {
    step: i64,
    offset: i64,
}

impl Lattice {
    const FREE: Self = Self { step: 1, offset: 0 };

    fn of(phase: Option<Phase>) -> Self {
        match phase {
            Some(Phase { step, offset }) if step.0 > 0 => Self { step: step.0, offset: offset.0.rem_euclid(step.0) },
            _ => Self::FREE,
        }
    }

    /// The first allowed position at or after `at`.
    fn up(self, at: i64) -> i64 {
        if self.step == 1 { at } else { at + (self.offset - at).rem_euclid(self.step) }
    }

    /// The last allowed position at or before `at`; may be negative.
    fn down(self, at: i64) -> i64 {
        if self.step == 1 { at } else { at - (at - self.offset).rem_euclid(self.step) }
    }

    fn in_units(self, unit: i64) -> Self {
        if self == Self::FREE { self } else { Self { step: self.step / unit, offset: self.offset / unit } }
    }
}

impl Strip {
    /// Or the first shape that cannot be placed.
    fn of(shapes: &[Shape], width: Length) -> Result<Self, (usize, Fault)> {
        let mut far: i64 = 0;
        let (mut unit_across, mut unit_along) = (0, 0);
        let mut blocks = Vec::with_capacity(shapes.len());
        for (i, shape) in shapes.iter().enumerate() {
            if shape.width <= Length::ZERO || shape.length <= Length::ZERO {
                return Err((i, Fault::Empty));
            }
            let (along, across) = (Lattice::of(shape.phase), Lattice::of(shape.across));
            if shape.width > width || across.up(0) > width.0 - shape.width.0 {
                return Err((i, Fault::TooWide));
            }
            // Even one behind another, with a whole repeat lost at each, the pieces must be countable.
            let next = far.checked_add(shape.length.0).and_then(|it| it.checked_add(along.step));
            far = next.filter(|it| *it < i64::MAX / 4).ok_or((i, Fault::TooLong))?;
            unit_across = gcd_with(gcd(unit_across, shape.width.0), across);
            unit_along = gcd_with(gcd(unit_along, shape.length.0), along);
            blocks.push(Block { width: shape.width.0, length: shape.length.0, along, across });
        }
        let (unit_across, unit_along) = (unit_across.max(1), unit_along.max(1));
        for block in &mut blocks {
            block.width /= unit_across;
            block.length /= unit_along;
            block.across = block.across.in_units(unit_across);
            block.along = block.along.in_units(unit_along);
        }
        let width = width.0 / unit_across;
        // Areas must be countable too.
        if i128::from(width) * i128::from(far / unit_along + 1) > i128::from(i64::MAX / 4) {
            return Err((shapes.len().saturating_sub(1), Fault::TooLong));
        }
        Ok(Self { width, blocks, unit_across, unit_along })
    }
}

fn gcd(a: i64, b: i64) -> i64 {
    if b == 0 { a } else { gcd(b, a % b) }
}

fn gcd_with(unit: i64, lattice: Lattice) -> i64 {
    if lattice == Lattice::FREE { unit } else { gcd(gcd(unit, lattice.step), lattice.offset) }
}
