//! What is cut for a room and how certain that is; and which reading would make the least certain of it most certain.

use serde::{Deserialize, Serialize};

use super::State;
use super::equation::{Terms, span};
use super::network::{Network, Observation, Span, Vector, length};
use super::solve::coefficients;
use super::statistics::INTERVAL;
use crate::length::Length;

/// A length that carpet is cut to.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub struct Cut {
    pub of: CutOf,
    pub length: Length,
    /// 95 % of all rooms with such readings are no farther from this, either way.
    pub uncertainty: Length,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum CutOf {
    Wall(usize),
    /// Overall, along the first wall.
    Along,
    /// Overall, square to the first wall.
    Across,
}

/// A reading worth taking.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub struct NextCheck {
    pub of: Span,
    /// What it should read.
    pub expected: Length,
    /// The largest uncertainty of a cut now, and with it.
    pub now: Length,
    pub then: Length,
}

/// Differences below this part do not count.
const SAME: f64 = 0.01;
/// Corners between which checks are looked for; of larger rooms evenly spaced ones.
const MOST_CORNERS: usize = 40;
/// Least certain cuts that a check is judged by.
const JUDGED: usize = 8;
/// Of a check in millimetres: what a tape leaves on a few metres.
const SIGMA: f64 = 3.5;

pub(super) fn cuts(network: &Network, state: &State) -> Vec<Cut> {
    let made = functions(network, &state.solved.corners).into_iter().map(|(of, long, terms)| Cut {
        of,
        length: length(long),
        uncertainty: state.covariance.uncertainty(&terms),
    });
    made.collect()
}

/// Every wall and both extents: what, how long in millimetres, and how it moves with the corners.
fn functions(network: &Network, at: &[Vector]) -> Vec<(CutOf, f64, Terms)> {
    let walls = (0..network.corners)
        .filter_map(|i| span(network, Span::Wall(i), at).map(|(long, terms)| (CutOf::Wall(i), long, terms)));
    let extent = |of, axis: usize| {
        let by = |a: &usize, b: &usize| at[*a][axis].total_cmp(&at[*b][axis]);
        let (low, high) = ((0..at.len()).min_by(by)?, (0..at.len()).max_by(by)?);
        let mut step = Vector::zeros();
        step[axis] = 1.0;
        Some((of, at[high][axis] - at[low][axis], vec![(low, -step), (high, step)]))
    };
    walls.chain(extent(CutOf::Along, 1)).chain(extent(CutOf::Across, 0)).collect()
}

/// By the rank-one update of the covariance that each candidate would make (Ghilani, ch. 16: adding an observation). In a
/// room with several equally uncertain cuts no one reading helps all of them: then the one that helps most in all counts.
pub(super) fn best(network: &Network, state: &State, cuts: &[Cut]) -> Option<NextCheck> {
    let at = &state.solved.corners;
    let mut judged: Vec<(Vec<(usize, f64)>, f64)> = functions(network, at)
        .iter()
        .map(|(_, _, terms)| coefficients(terms))
        .map(|row| {
            let variance = state.covariance.between(&row, &row);
            (row, variance)
        })
        .collect();
    judged.sort_by(|a, b| b.1.total_cmp(&a.1));
    judged.truncate(JUDGED);
    let before: f64 = judged.iter().map(|it| it.1 * it.1).sum();
    let mut best: Option<(f64, f64, Span, f64)> = None;
    for of in candidates(network, at) {
        let Some((expected, terms)) = span(network, of, at) else { continue };
        let row = coefficients(&terms);
        let known = SIGMA * SIGMA + state.covariance.between(&row, &row);
        let after = judged.iter().map(|(cut, variance)| {
            let shared = state.covariance.between(cut, &row);
            variance - shared * shared / known
        });
        let (worst, all) = after.fold((0.0_f64, 0.0), |(worst, all), it| (worst.max(it), all + it * it));
        let better = best.is_none_or(|(least, least_all, ..)| {
            worst < least * (1.0 - SAME) || (worst < least * (1.0 + SAME) && all < least_all * (1.0 - SAME))
        });
        if better {
            best = Some((worst, all, of, expected));
        }
    }
    let (worst, all, of, expected) = best?;
    let interval = |variance: f64| length(INTERVAL * libm::sqrt(variance.max(0.0)));
    let now = cuts.iter().map(|it| it.uncertainty).max()?;
    (all < before * (1.0 - SAME)).then(|| NextCheck { of, expected: length(expected), now, then: interval(worst) })
}

/// Walls once more, then every straight line inside the room between two corners, then parallel walls across.
fn candidates(network: &Network, at: &[Vector]) -> Vec<Span> {
    let count = network.corners;
    let step = count.div_ceil(MOST_CORNERS);
    let corners: Vec<usize> = (0..count).step_by(step).collect();
    let mut all: Vec<Span> = (0..count).map(Span::Wall).collect();
    for (i, &from) in corners.iter().enumerate() {
        for &to in &corners[i + 1..] {
            let neighbours = network.end(from) == to || network.end(to) == from;
            if !neighbours && inside(at, from, to) {
                all.push(Span::Across { from, to });
            }
        }
    }
    for (i, &wall) in corners.iter().enumerate() {
        for &opposite in &corners[i + 1..] {
            if parallel(network, at, wall, opposite) {
                all.push(Span::Width { wall, opposite });
            }
        }
    }
    let read = |of: &Span| {
        network
            .observations
            .iter()
            .filter(|it| matches!(it, Observation::Length { of: read, .. } if read == of))
            .count()
    };
    all.retain(|of| read(of) < 2);
    all
}

/// Whether the walls are parallel and face each other over most of the shorter one.
fn parallel(network: &Network, at: &[Vector], wall: usize, opposite: usize) -> bool {
    let [a, b] = [wall, opposite].map(|it| (at[it], at[network.end(it)]));
    let along = (a.1 - a.0) / (a.1 - a.0).norm();
    let other = (b.1 - b.0) / (b.1 - b.0).norm();
    if along.perp(&other).abs() > 0.02 || along.perp(&(b.0 - a.0)).abs() < 300.0 {
        return false;
    }
    let place = |it: Vector| along.dot(&(it - a.0));
    let (start, end) = (place(b.0).min(place(b.1)), place(b.0).max(place(b.1)));
    let long = (a.1 - a.0).norm();
    end.min(long) - start.max(0.0) > 0.5 * (end - start).min(long)
}

/// Whether a tape can be held straight between two corners: the line crosses no wall and its middle lies in the ring.
fn inside(at: &[Vector], from: usize, to: usize) -> bool {
    let (a, b) = (at[from], at[to]);
    let sides = || at.iter().copied().zip(at.iter().copied().cycle().skip(1));
    let side = |p: Vector, q: Vector, r: Vector| (q - p).perp(&(r - p));
    let touches = |(p, q): (Vector, Vector)| {
        let at_an_end = [p, q].iter().any(|it| (it - a).norm() < 1e-6 || (it - b).norm() < 1e-6);
        !at_an_end && side(a, b, p) * side(a, b, q) <= 0.0 && side(p, q, a) * side(p, q, b) <= 0.0
    };
    let middle = (a + b) / 2.0;
    let crossed = sides().filter(|(p, q)| {
        (p.y > middle.y) != (q.y > middle.y) && middle.x < p.x + (q.x - p.x) * (middle.y - p.y) / (q.y - p.y)
    });
    !sides().any(touches) && crossed.count() % 2 == 1
}
