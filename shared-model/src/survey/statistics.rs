//! How good an adjusted room is, and who checks whom (Baarda, *A Testing Procedure for Use in Geodetic Networks*; Ghilani,
//! *Adjustment Computations*, ch. 16, 19 and 21).

use nalgebra::DMatrix;
use serde::{Deserialize, Serialize};

use crate::job::Angle;
use crate::length::Length;

use super::chi_square;
use super::equation::{Equation, Terms};
use super::network::{Amount, Network, angle, length};
use super::solve::{coefficients, unknown};

/// A standardised residual beyond this is a blunder's: exceeded by chance once in 1 000 readings.
pub const OUTLIER: f64 = 3.2905;
/// The blunder that such a test finds four times out of five, in standard deviations of a residual: 3.2905 + 0.8416.
pub const FOUND: f64 = 4.1321;
/// Less of a blunder than this part shows in its residual: nobody has checked the reading.
const UNCHECKED: f64 = 1e-3;
/// Half the width of a 95 % interval in standard deviations.
pub(super) const INTERVAL: f64 = 1.959_964;
/// The same for an ellipse: the root of χ² with 2 degrees at 5 %, 5.991.
const ELLIPSE: f64 = 2.447_747;

/// Whether the readings contradict one another by more than their uncertainties explain.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub struct GlobalTest {
    /// How many readings more there are than needed.
    pub degrees: usize,
    /// v'Pv.
    pub fit: f64,
    /// 95 % of rooms without a blunder lie between these; both are zero without degrees of freedom.
    pub low: f64,
    pub high: f64,
    /// 99.9 % lie below this.
    pub blunder: f64,
}

impl GlobalTest {
    pub fn new(degrees: usize, fit: f64) -> Self {
        let limit = |probability| chi_square::limit(probability, degrees);
        Self { degrees, fit, low: limit(0.975), high: limit(0.025), blunder: limit(0.001) }
    }

    /// Not above the upper limit. (A fit below the lower one says that the readings are better than was assumed.)
    pub fn passes(&self) -> bool {
        self.degrees == 0 || self.fit <= self.high
    }
}

/// What the others say of one observation.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub struct Judged {
    /// Observed less adjusted.
    pub residual: Amount,
    /// The part of a blunder in it that shows in its own residual: 0 when nothing checks it, 1 when all others do.
    pub redundancy: f64,
    /// The residual in its own standard deviations; zero when nothing checks it. See [`OUTLIER`].
    pub standardised: f64,
    /// The smallest blunder that would be found four times out of five; `None`: nobody has checked this.
    pub least_blunder: Option<Amount>,
}

/// Where a corner lies with 95 % probability, as seen from the first wall.
#[derive(Clone, Copy, PartialEq, Debug, Default, Serialize, Deserialize)]
pub struct Ellipse {
    /// Half axes.
    pub longer: Length,
    pub shorter: Length,
    /// Direction of the longer one, from the first wall's direction to the right; from 0° to below 180°.
    pub heading: Angle,
}

/// The covariance of the corners, in mm².
#[derive(Clone, Debug)]
pub(super) struct Covariance(pub DMatrix<f64>);

impl Covariance {
    /// Of two functions of the unknowns, given by their coefficients.
    pub fn between(&self, one: &[(usize, f64)], other: &[(usize, f64)]) -> f64 {
        one.iter().map(|&(i, a)| a * other.iter().map(|&(j, b)| self.0[(i, j)] * b).sum::<f64>()).sum()
    }

    pub fn variance(&self, of: &Terms) -> f64 {
        let row = coefficients(of);
        self.between(&row, &row).max(0.0)
    }

    /// The 95 % uncertainty, one way, of a function in millimetres.
    pub fn uncertainty(&self, of: &Terms) -> Length {
        length(INTERVAL * libm::sqrt(self.variance(of)))
    }

    pub fn ellipse(&self, corner: usize) -> Ellipse {
        let entry = |one, other| match (unknown(corner, one), unknown(corner, other)) {
            (Some(i), Some(j)) => self.0[(i, j)],
            _ => 0.0,
        };
        let (xx, xy, yy) = (entry(0, 0), entry(0, 1), entry(1, 1));
        let (mean, half) = ((xx + yy) / 2.0, (yy - xx) / 2.0);
        let radius = libm::hypot(half, xy);
        let axis = |variance: f64| length(ELLIPSE * libm::sqrt(variance.max(0.0)));
        let heading = angle(libm::atan2(xy, half) / 2.0);
        let heading = Angle(heading.0.rem_euclid(Angle::FULL.0 / 2));
        Ellipse { longer: axis(mean + radius), shorter: axis(mean - radius), heading }
    }
}

pub(super) fn judge(network: &Network, equations: &[Equation], covariance: &Covariance) -> Vec<Judged> {
    let judged = network.observations.iter().zip(equations).map(|(observation, equation)| {
        let redundancy = (1.0 - covariance.variance(&equation.terms)).clamp(0.0, 1.0);
        let checked = redundancy > UNCHECKED;
        let root = libm::sqrt(redundancy);
        Judged {
            residual: observation.measure(equation.misfit * observation.sigma()),
            redundancy,
            standardised: if checked { equation.misfit / root } else { 0.0 },
            least_blunder: checked.then(|| observation.measure(FOUND * observation.sigma() / root)),
        }
    });
    judged.collect()
}

/// How alike the tests of two observations are, from 0 to 1: at 1 they check only each other.
pub(super) fn alike(equations: &[Equation], covariance: &Covariance, one: usize, other: usize) -> f64 {
    let row = |i: usize| coefficients(&equations[i].terms);
    let (a, b) = (row(one), row(other));
    let shown = (1.0 - covariance.between(&a, &a)) * (1.0 - covariance.between(&b, &b));
    if shown <= UNCHECKED * UNCHECKED { 1.0 } else { (covariance.between(&a, &b) / libm::sqrt(shown)).abs() }
}
