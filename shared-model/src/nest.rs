//! Pieces on the roll: rectangles of fixed orientation on a strip of fixed width, as short as can be.

use serde::{Deserialize, Serialize};

use crate::length::Length;

/// What is to be placed.
#[derive(Clone, PartialEq, Debug)]
pub struct NestPiece {
    pub id: String,
    /// Across the roll.
    pub width: Length,
    /// Along the roll.
    pub length: Length,
    /// The piece may only start at multiples of `step` plus `offset` along the roll (pattern repeat).
    pub phase: Option<Phase>,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Phase {
    pub step: Length,
    pub offset: Length,
}

/// A valid plan of the roll.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
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

/// How long to search.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Budget {
    pub steps: u64,
}

#[derive(thiserror::Error, Debug, Clone, PartialEq)]
pub enum NestError {
    #[error("{piece} is wider than the roll")]
    TooWide { piece: String },
    #[error("{piece} has no width or no length")]
    Empty { piece: String },
}

impl RollPlan {
    pub fn optimal(&self) -> bool {
        self.length == self.lower_bound
    }
}

/// Places all pieces on one strip. Deterministic: counts steps, not seconds.
pub fn nest(pieces: &[NestPiece], width: Length, budget: Budget) -> Result<RollPlan, NestError> {
    let _ = (pieces, width, budget);
    todo!()
}
