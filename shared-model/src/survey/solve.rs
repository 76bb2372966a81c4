//! Weighted least squares by Gauss-Newton.
//!
//! Unknown are the corners' coordinates; the first corner is the origin, and the first wall runs north (Ghilani,
//! *Adjustment Computations*, ch. 16: horizontal surveys by angles and distances).

use nalgebra::{DMatrix, DVector, SymmetricEigen};

use super::Unsolved;
use super::envelope::Envelope;
use super::equation::{Equation, Terms, equation, span, turning};
use super::network::{Network, Observation, Span, Vector};
use super::start::Start;

/// Steps stop when no corner moves farther, in millimetres.
const STILL: f64 = 1e-6;
/// A step that improves nothing any more is rounding when it is shorter, in millimetres.
const ROUNDING: f64 = 1e-2;
const MOST_STEPS: usize = 60;
/// To begin with, lengths may be off by one part in so many.
const LOOSE: i64 = 10;
/// A pivot of the normal matrix, scaled to a diagonal of ones, that is this small says that nothing fixes an unknown.
const SINGULAR: f64 = 1e-9;

/// The adjusted corners in millimetres, with what is needed to judge them.
#[derive(Clone, Debug)]
pub(super) struct Solved {
    pub corners: Vec<Vector>,
    /// v'Pv: the sum of the squared residuals in units of their standard deviations.
    pub fit: f64,
}

/// Adjusts a network from its start. An error says what is not determined, or that nothing fits.
pub(super) fn solve(network: &Network, start: &Start) -> Result<Solved, Unsolved> {
    if start.guesses.is_empty() {
        return iterate(network, &start.corners);
    }
    let led = if start.free_corners {
        let guessed = guessed(network, start);
        let loosely = iterate(&loosened(&guessed), &start.corners)?;
        iterate(&guessed, &loosely.corners)?.corners
    } else {
        start.corners.clone()
    };
    let normal = Normal::at(network, &led).ok_or(Unsolved::Diverged)?;
    match normal.free_motions() {
        motions if motions.is_empty() => iterate(network, &led),
        motions => Err(undetermined(network, &led, &motions)),
    }
}

/// The network with its stand-ins as if they were read.
pub(super) fn guessed(network: &Network, start: &Start) -> Network {
    let mut guessed = network.clone();
    guessed.observations.extend(start.guesses.iter().cloned());
    guessed
}

/// The network with lengths that give as much as the guessed turns, so that the search begins with a shape between both: what
/// corners look like decides to which side they turn, and the lengths by how much.
fn loosened(network: &Network) -> Network {
    let mut loosened = network.clone();
    for observation in &mut loosened.observations {
        if let Observation::Length { value, sigma, .. } = observation {
            *sigma = (*value / LOOSE).max(*sigma);
        }
    }
    loosened
}

pub(super) fn iterate(network: &Network, start: &[Vector]) -> Result<Solved, Unsolved> {
    let mut solved = Solved { fit: fit(network, start).ok_or(Unsolved::Diverged)?, corners: start.to_vec() };
    for _ in 0..MOST_STEPS {
        let normal = Normal::at(network, &solved.corners).ok_or(Unsolved::Diverged)?;
        let step = normal.step().ok_or(Unsolved::Diverged)?;
        let longest = step.amax();
        if !longest.is_finite() {
            return Err(Unsolved::Diverged);
        }
        // A step that overshoots is halved until it improves.
        let shorter = core::iter::successors(Some(1.0), |it| (*it > 1e-3).then_some(it / 2.0));
        let moved = shorter.filter_map(|part| moved(network, &solved, &step, part)).next();
        match moved {
            Some(better) => solved = better,
            None if longest < ROUNDING => return Ok(solved),
            None => return Err(Unsolved::Diverged),
        }
        if longest < STILL {
            return Ok(solved);
        }
    }
    Err(Unsolved::Diverged)
}

/// The ring after a part of a step, if that fits no worse.
fn moved(network: &Network, from: &Solved, step: &DVector<f64>, part: f64) -> Option<Solved> {
    let mut corners = from.corners.clone();
    for (corner, at) in corners.iter_mut().enumerate() {
        for axis in 0..2 {
            if let Some(i) = unknown(corner, axis) {
                at[axis] += part * step[i];
            }
        }
    }
    let fit = fit(network, &corners)?;
    (fit <= from.fit).then_some(Solved { corners, fit })
}

fn fit(network: &Network, at: &[Vector]) -> Option<f64> {
    network.observations.iter().map(|it| equation(network, it, at).map(|it| it.misfit * it.misfit)).sum()
}

/// The position of a coordinate among the unknowns; `None` for the three that the datum fixes.
pub(super) const fn unknown(corner: usize, axis: usize) -> Option<usize> {
    match (corner, axis) {
        (0, _) | (1, 0) => None,
        (1, _) => Some(0),
        _ => Some(2 * corner - 3 + axis),
    }
}

/// A linear function of the corners as coefficients of the unknowns.
pub(super) fn coefficients(terms: &Terms) -> Vec<(usize, f64)> {
    let mut row: Vec<(usize, f64)> = Vec::with_capacity(2 * terms.len());
    for &(corner, by) in terms {
        for axis in 0..2 {
            let Some(i) = unknown(corner, axis) else { continue };
            match row.iter_mut().find(|it| it.0 == i) {
                Some(known) => known.1 += by[axis],
                None => row.push((i, by[axis])),
            }
        }
    }
    row
}

/// The normal equations at a ring, scaled so that the matrix has a diagonal of ones.
pub(super) struct Normal {
    matrix: Envelope,
    right: DVector<f64>,
    scale: DVector<f64>,
}

impl Normal {
    /// `None` where corners coincide.
    pub fn at(network: &Network, corners: &[Vector]) -> Option<Self> {
        let unknowns = 2 * network.corners - 3;
        let equations = equations(network, corners)?;
        let rows: Vec<Vec<(usize, f64)>> = equations.iter().map(|it| coefficients(&it.terms)).collect();
        let mut matrix = Envelope::of(unknowns, &rows);
        let mut right = DVector::zeros(unknowns);
        for (row, Equation { misfit, .. }) in rows.iter().zip(&equations) {
            for &(i, a) in row {
                right[i] += a * misfit;
                row.iter().filter(|it| it.0 <= i).for_each(|&(j, b)| matrix.add(i, j, a * b));
            }
        }
        let scale = matrix.diagonal().map(|it: f64| if it > 0.0 { 1.0 / libm::sqrt(it) } else { 1.0 });
        matrix.scale(&scale);
        right.component_mul_assign(&scale);
        Some(Self { matrix, right, scale })
    }

    /// The Gauss-Newton step in millimetres. `None` when nothing fixes an unknown.
    pub fn step(&self) -> Option<DVector<f64>> {
        Some(self.matrix.cholesky()?.solve(&self.right).component_mul(&self.scale))
    }

    /// The covariance of the unknowns in mm². `None` when nothing fixes an unknown.
    pub fn covariance(&self) -> Option<DMatrix<f64>> {
        let mut inverse = self.matrix.cholesky()?.inverse();
        for j in 0..inverse.ncols() {
            for i in 0..inverse.nrows() {
                inverse[(i, j)] *= self.scale[i] * self.scale[j];
            }
        }
        Some(inverse)
    }

    /// The ways in which the corners can move without any reading noticing.
    fn free_motions(&self) -> Vec<DVector<f64>> {
        if self.matrix.cholesky().is_some_and(|it| it.least_pivot() > SINGULAR) {
            return Vec::new();
        }
        let eigen = SymmetricEigen::new(self.matrix.full());
        let free = (0..eigen.eigenvalues.len()).filter(|&i| eigen.eigenvalues[i] < SINGULAR);
        free.map(|i| eigen.eigenvectors.column(i).component_mul(&self.scale)).collect()
    }
}

/// Names the walls whose length changes and the corners whose turn changes in a free motion.
fn undetermined(network: &Network, at: &[Vector], motions: &[DVector<f64>]) -> Unsolved {
    let (mut walls, mut corners) = (Vec::new(), Vec::new());
    for index in 0..network.corners {
        let (start, end) = (index, network.end(index));
        let before = network.before(index);
        let size = (at[end] - at[start]).norm();
        let stretch = span(network, Span::Wall(index), at).map(|it| it.1).unwrap_or_default();
        let (arriving, leaving) = (turning(at[start] - at[before]) * size, turning(at[end] - at[start]) * size);
        let bend = vec![(before, arriving), (start, -arriving - leaving), (end, leaving)];
        let free = |terms: &Terms| {
            let row = coefficients(terms);
            motions.iter().any(|motion| {
                let change: f64 = row.iter().map(|&(i, a)| a * motion[i]).sum();
                change.abs() > 1e-4 * motion.amax()
            })
        };
        if free(&stretch) {
            walls.push(index);
        }
        if free(&bend) {
            corners.push(index);
        }
    }
    Unsolved::Undetermined { walls, corners }
}

/// What the network's observations say of one another at the adjusted ring.
pub(super) fn equations(network: &Network, at: &[Vector]) -> Option<Vec<Equation>> {
    network.observations.iter().map(|it: &Observation| equation(network, it, at)).collect()
}
