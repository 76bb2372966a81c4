//! What each observation says of the corners, linearised.

use core::f64::consts::{PI, TAU};

use super::network::{Network, Observation, Span, Vector, radians};

/// One observation at given corners, in units of its standard deviation.
pub(super) struct Equation {
    /// Observed less predicted.
    pub misfit: f64,
    /// By how much the prediction grows when a corner moves by a millimetre to the east, to the north. A corner may
    /// stand here several times.
    pub terms: Terms,
}

pub(super) type Terms = Vec<(usize, Vector)>;

/// `None` where two corners coincide, so that there is no direction.
pub(super) fn equation(network: &Network, observation: &Observation, at: &[Vector]) -> Option<Equation> {
    let sigma = observation.sigma();
    let (misfit, mut terms) = match observation {
        Observation::Length { of, value, .. } => {
            let (predicted, terms) = span(network, *of, at)?;
            (value.as_mm() - predicted, terms)
        }
        Observation::Turn { corner, value, .. } => {
            let (predicted, terms) = turn(network, *corner, at)?;
            (wrapped(radians(value.0) - predicted), terms)
        }
    };
    terms.iter_mut().for_each(|(_, step)| *step /= sigma);
    Some(Equation { misfit: misfit / sigma, terms })
}

/// The length of a span, and its derivatives.
pub(super) fn span(network: &Network, of: Span, at: &[Vector]) -> Option<(f64, Terms)> {
    match of {
        Span::Wall(wall) => distance(wall, network.end(wall), at),
        Span::Across { from, to } => distance(from, to, at),
        Span::Offset { corner, wall } => offset(network, &[(corner, 1.0)], wall, at),
        Span::Width { wall, opposite } => offset(network, &[(opposite, 0.5), (network.end(opposite), 0.5)], wall, at),
    }
}

fn distance(from: usize, to: usize, at: &[Vector]) -> Option<(f64, Terms)> {
    let step = at[to] - at[from];
    let distance = step.norm();
    let along = step / distance;
    along.x.is_finite().then(|| (distance, vec![(from, -along), (to, along)]))
}

/// How far a mean of corners lies off the line of a wall, on either side.
fn offset(network: &Network, of: &[(usize, f64)], wall: usize, at: &[Vector]) -> Option<(f64, Terms)> {
    let (start, end) = (wall, network.end(wall));
    let step = at[end] - at[start];
    let length = step.norm();
    let along = step / length;
    let point: Vector = of.iter().map(|&(corner, part)| at[corner] * part).sum();
    let reach = point - at[start];
    let side = if along.perp(&reach) < 0.0 { -1.0 } else { 1.0 };
    let across = Vector::new(-along.y, along.x) * side;
    // Where the foot of the perpendicular lies on the wall: 0 at its start, 1 at its end.
    let foot = along.dot(&reach) / length;
    let mut terms: Terms = of.iter().map(|&(corner, part)| (corner, across * part)).collect();
    terms.push((start, across * (foot - 1.0)));
    terms.push((end, across * -foot));
    foot.is_finite().then(|| (across.dot(&reach), terms))
}

fn turn(network: &Network, corner: usize, at: &[Vector]) -> Option<(f64, Terms)> {
    let (before, after) = (network.before(corner), network.end(corner));
    let (arriving, leaving) = (at[corner] - at[before], at[after] - at[corner]);
    let predicted = libm::atan2(leaving.perp(&arriving), leaving.dot(&arriving));
    let (by_arriving, by_leaving) = (turning(arriving), turning(leaving));
    let terms = vec![(before, by_arriving), (corner, -by_arriving - by_leaving), (after, by_leaving)];
    terms.iter().all(|(_, step)| step.x.is_finite()).then_some((predicted, terms))
}

/// By how much a step's heading grows, in radians, when its end moves by a millimetre.
pub(super) fn turning(step: Vector) -> Vector {
    Vector::new(step.y, -step.x) / step.norm_squared()
}

/// The same angle within half a turn of zero.
fn wrapped(angle: f64) -> f64 {
    angle - TAU * libm::floor((angle + PI) / TAU)
}
