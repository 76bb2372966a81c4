//! The readings of one room as plain values: what the adjustment works on.

use nalgebra::Vector2;
use serde::{Deserialize, Serialize};

use crate::job::{Angle, Turn};
use crate::length::Length;

/// A point or a step on the plan in millimetres: east, north.
pub(super) type Vector = Vector2<f64>;

/// A ring of corners and everything that was observed of it. Wall `i` runs from corner `i` to the next one, the last
/// back to corner 0; to the right around the room or to the left.
#[derive(Clone, PartialEq, Debug, Default, Serialize, Deserialize)]
pub struct Network {
    pub corners: usize,
    /// How corners look whose turn nobody measured. It decides between shapes that the readings fit alike: a room and its mirror
    /// image, a bay and a dent.
    #[serde(default)]
    pub looks: Vec<(usize, Turn)>,
    /// Named by their position in this list.
    pub observations: Vec<Observation>,
}

/// One reading or statement with its standard deviation.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub enum Observation {
    Length {
        of: Span,
        value: Length,
        sigma: Length,
        /// As it was typed, to try what may have slipped; may be empty.
        typed: String,
    },
    /// How the walk turns at a corner, from the wall before it to the wall after it.
    Turn { corner: usize, value: Turn, sigma: Angle },
}

/// What a length was read of.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Serialize, Deserialize)]
pub enum Span {
    /// A wall from corner to corner; of a curved wall the chord. (Its rise has no check: it shapes the drawing and the
    /// area only.)
    Wall(usize),
    /// Straight from one corner to another.
    Across { from: usize, to: usize },
    /// From a corner square onto the line of a wall.
    Offset { corner: usize, wall: usize },
    /// From the middle of the opposite wall square onto the line of a wall parallel to it.
    Width { wall: usize, opposite: usize },
}

/// An amount of what was observed.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub enum Amount {
    Length(Length),
    Angle(Angle),
}

/// Why readings give no room.
#[derive(thiserror::Error, Clone, PartialEq, Eq, Debug)]
pub enum Unsolved {
    #[error("a room has at least three walls; this one has {0}")]
    TooFewWalls(usize),
    /// The position of the observation.
    #[error("reading {0} is of a wall or corner that the room does not have, or of the same one twice")]
    NoSuchPlace(usize),
    #[error("reading {0} is no length that can be: more than zero, at most 10 km, with an uncertainty above zero")]
    BadLength(usize),
    #[error("corner {0} turns by half a turn or more")]
    BadTurn(usize),
    /// By how much the turns miss once around.
    #[error("the turns do not go once around: {} is missing", .missing.show())]
    NotOnceAround { missing: Angle },
    /// Nothing read so far fixes these.
    #[error("walls {walls:?} and corners {corners:?} are not determined by the readings: measure one of them")]
    Undetermined { walls: Vec<usize>, corners: Vec<usize> },
    #[error("the readings contradict each other so much that no room fits them")]
    Diverged,
}

impl Network {
    /// The corner at the end of a wall.
    pub const fn end(&self, wall: usize) -> usize {
        (wall + 1) % self.corners
    }

    /// The wall that ends at a corner.
    pub const fn before(&self, corner: usize) -> usize {
        (corner + self.corners - 1) % self.corners
    }

    /// Refuses what is of no wall or cannot be.
    pub fn check(&self) -> Result<(), Unsolved> {
        if self.corners < 3 {
            return Err(Unsolved::TooFewWalls(self.corners));
        }
        if let Some((corner, _)) =
            self.looks.iter().find(|(corner, look)| *corner >= self.corners || !look.is_possible())
        {
            return Err(Unsolved::BadTurn(*corner));
        }
        for (i, observation) in self.observations.iter().enumerate() {
            match observation {
                Observation::Length { of, value, sigma, .. } => {
                    if !self.has(*of) {
                        return Err(Unsolved::NoSuchPlace(i));
                    }
                    let possible = |it: Length| it > Length::ZERO && it <= Length::MOST;
                    if !possible(*value) || !possible(*sigma) {
                        return Err(Unsolved::BadLength(i));
                    }
                }
                Observation::Turn { corner, value, sigma } => {
                    if *corner >= self.corners {
                        return Err(Unsolved::NoSuchPlace(i));
                    }
                    if !value.is_possible() || *sigma <= Angle::ZERO || *sigma > Angle::FULL {
                        return Err(Unsolved::BadTurn(*corner));
                    }
                }
            }
        }
        Ok(())
    }

    pub(super) fn has(&self, span: Span) -> bool {
        let n = self.corners;
        match span {
            Span::Wall(wall) => wall < n,
            Span::Across { from, to } => from < n && to < n && from != to,
            Span::Offset { corner, wall } => corner < n && wall < n && corner != wall && corner != self.end(wall),
            Span::Width { wall, opposite } => wall < n && opposite < n && wall != opposite,
        }
    }

    /// The network without some of its observations.
    pub(super) fn without(&self, gone: &[usize]) -> Self {
        let left = self.observations.iter().enumerate().filter(|(i, _)| !gone.contains(i));
        Self { observations: left.map(|it| it.1.clone()).collect(), looks: self.looks.clone(), ..*self }
    }

    /// The network with one of its observations read otherwise.
    pub(super) fn with(&self, observation: usize, amount: Amount) -> Self {
        let mut changed = self.clone();
        match (&mut changed.observations[observation], amount) {
            (Observation::Length { value, .. }, Amount::Length(other)) => *value = other,
            (Observation::Turn { value, .. }, Amount::Angle(other)) => *value = Turn(other),
            _ => {}
        }
        changed
    }
}

impl Observation {
    /// What was read.
    pub fn amount(&self) -> Amount {
        match self {
            Self::Length { value, .. } => Amount::Length(*value),
            Self::Turn { value, .. } => Amount::Angle(value.0),
        }
    }

    /// The standard deviation in millimetres or radians.
    pub(super) fn sigma(&self) -> f64 {
        match self {
            Self::Length { sigma, .. } => sigma.as_mm(),
            Self::Turn { sigma, .. } => radians(*sigma),
        }
    }

    /// An amount of this observation's kind, from millimetres or radians.
    pub(super) fn measure(&self, value: f64) -> Amount {
        match self {
            Self::Length { .. } => Amount::Length(length(value)),
            Self::Turn { .. } => Amount::Angle(angle(value)),
        }
    }
}

impl Amount {
    /// Millimetres or radians.
    pub(super) fn value(self) -> f64 {
        match self {
            Self::Length(it) => it.as_mm(),
            Self::Angle(it) => radians(it),
        }
    }
}

pub(super) fn radians(angle: Angle) -> f64 {
    angle.0 as f64 / Angle::FULL.0 as f64 * core::f64::consts::TAU
}

pub(super) fn angle(radians: f64) -> Angle {
    Angle(libm::round(radians / core::f64::consts::TAU * Angle::FULL.0 as f64) as i64)
}

/// From millimetres, to the nearest count.
pub(super) fn length(mm: f64) -> Length {
    Length(libm::round(mm * Length::MM.0 as f64) as i64)
}
