//! Places tied to one another by measured differences, around loops that do not quite close: weighted least squares.
//!
//! ```text
//! ties → loops → misclosures → corrections of the readings → corrections of the ties → the places
//! ```
//!
//! Adjusted by condition equations (Ghilani, *Adjustment Computations*, ch. 3 and 12: what is observed must close): one
//! condition per loop and axis and nothing else, so what lies on no loop is not touched by rounding either. It is the same
//! minimum as that of the observation equations. A levelling net is the case with one axis.

use nalgebra::{Cholesky, DMatrix, DVector, Vector2};

use super::circuit::{Circuit, circuits};
use crate::survey::GlobalTest;

/// A step on the plan in millimetres: east, north.
pub type Step = Vector2<f64>;

/// The standard deviation, in millimetres, of what was not read: it may be anything. 100 m.
pub const FREE: f64 = 1e5;

/// An effect on a loop that is smaller is rounding: a reading that is walked forth and back.
const ROUNDING: f64 = 1e-12;

/// What is free takes a degree of freedom when a loop shows more than this part of it.
const SHOWN: f64 = 1e-3;

/// Places and what ties them. Every place lies, to begin with, where it was put; the ties say how far off that is.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Network {
    pub places: usize,
    pub ties: Vec<Tie>,
    pub readings: Vec<Reading>,
}

/// A measured difference between two places.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Tie {
    pub from: usize,
    pub to: usize,
    /// Measured difference less the difference as the places were put, in millimetres.
    pub misfit: Step,
}

/// Something that was read, and how it enters the ties. What two ties have in common correlates them.
#[derive(Clone, PartialEq, Debug)]
pub struct Reading {
    /// Standard deviation in millimetres, more than zero; [`FREE`] for what was not read.
    pub sigma: f64,
    /// By how much ties grow, by their position, when the reading grows by a millimetre.
    pub moves: Vec<(usize, Step)>,
}

/// An adjusted network and what it says of its ties and readings.
#[derive(Clone, PartialEq, Debug)]
pub struct Adjusted {
    /// By how much each place moves, in millimetres; the first of those that hang together stays.
    pub moved: Vec<Step>,
    /// In the order of the ties.
    pub ties: Vec<Judged>,
    /// In the order of the readings.
    pub readings: Vec<Blunder>,
    /// v'Pv over all readings, with one degree of freedom per loop and axis, less what is free.
    pub test: GlobalTest,
}

/// What the loops say of one tie, east and north.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Judged {
    /// Adjusted less measured, in millimetres.
    pub residual: Step,
    /// The residual in its own standard deviations; zero where no loop checks it.
    pub standardised: Step,
}

/// What the loops say of one reading, if it alone is wrong (Baarda's test; Ghilani, ch. 21).
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Blunder {
    /// Adjusted less read, in millimetres.
    pub residual: f64,
    /// Its test: zero where no loop checks it.
    pub standardised: f64,
    /// Read less what would fit best, in millimetres.
    pub size: f64,
    /// The standard deviation of that; zero where no loop checks it.
    pub sigma: f64,
}

/// A network ready to be solved, again and again with other standard deviations.
pub(super) struct Conditions {
    circuits: Vec<Circuit>,
    /// One pair per circuit: east, north; in millimetres.
    misclosures: DVector<f64>,
    /// By how much each reading moves the misclosures, those that it does move.
    effects: Vec<Vec<(usize, f64)>>,
}

/// Adjusts a network. `None` when a standard deviation is zero or a number is none.
pub fn adjust(network: &Network) -> Option<Adjusted> {
    let sigmas: Vec<f64> = network.readings.iter().map(|it| it.sigma).collect();
    let conditions = Conditions::of(network);
    let solved = conditions.solve(&sigmas)?;
    Some(conditions.adjusted(network, &sigmas, &solved))
}

/// The solution for one set of standard deviations.
pub(super) struct Solved {
    /// The covariance of the pulls: of the misclosures', inverted.
    inverse: DMatrix<f64>,
    /// What each misclosure pulls with.
    pull: DVector<f64>,
    pub test: GlobalTest,
}

impl Conditions {
    pub fn of(network: &Network) -> Self {
        let circuits = circuits(network);
        let mut misclosures = DVector::zeros(2 * circuits.len());
        let mut through: Vec<Vec<(usize, f64)>> = vec![Vec::new(); network.ties.len()];
        for (at, circuit) in circuits.iter().enumerate() {
            for &(tie, sign) in &circuit.0 {
                through[tie].push((at, sign));
                for axis in 0..2 {
                    misclosures[2 * at + axis] += sign * network.ties[tie].misfit[axis];
                }
            }
        }
        let effects = network.readings.iter().map(|it| effects(it, &through)).collect();
        Self { circuits, misclosures, effects }
    }

    pub fn circuits(&self) -> &[Circuit] {
        &self.circuits
    }

    /// What a circuit misses its start by.
    pub fn misclosure(&self, circuit: usize) -> Step {
        Step::new(self.misclosures[2 * circuit], self.misclosures[2 * circuit + 1])
    }

    /// By how much a reading opens a circuit.
    pub fn effect(&self, reading: usize, circuit: usize) -> Step {
        let mut step = Step::zeros();
        for &(at, by) in self.effects[reading].iter().filter(|it| it.0 / 2 == circuit) {
            step[at % 2] += by;
        }
        step
    }

    /// `None` when a standard deviation is zero or a number is none.
    pub fn solve(&self, sigmas: &[f64]) -> Option<Solved> {
        let count = self.misclosures.len();
        let mut normal = DMatrix::zeros(count, count);
        for (effects, sigma) in self.effects.iter().zip(sigmas) {
            for &(i, a) in effects {
                effects.iter().for_each(|&(j, b)| normal[(i, j)] += sigma * sigma * a * b);
            }
        }
        let normal = Cholesky::new(normal)?;
        let pull = normal.solve(&self.misclosures);
        let fit = pull.dot(&self.misclosures);
        let shown = |effects: &[(usize, f64)]| effects.iter().any(|it| it.1.abs() > SHOWN);
        let freed = self.effects.iter().zip(sigmas).filter(|(it, sigma)| **sigma >= FREE && shown(it)).count();
        let test = GlobalTest::new(count.saturating_sub(freed), fit);
        fit.is_finite().then(|| Solved { inverse: normal.inverse(), pull, test })
    }

    /// What the loops say of each reading.
    pub fn blunders(&self, sigmas: &[f64], solved: &Solved) -> Vec<Blunder> {
        let judged = self.effects.iter().zip(sigmas).map(|(effects, sigma)| {
            let pull: f64 = effects.iter().map(|&(i, a)| a * solved.pull[i]).sum();
            let residual = -sigma * sigma * pull;
            let weight = solved.weight(effects);
            if weight <= 0.0 {
                return Blunder { residual, ..Blunder::default() };
            }
            let root = libm::sqrt(weight);
            Blunder { residual, standardised: -pull / root, size: pull / weight, sigma: 1.0 / root }
        });
        judged.collect()
    }

    pub fn adjusted(&self, network: &Network, sigmas: &[f64], solved: &Solved) -> Adjusted {
        let readings = self.blunders(sigmas, solved);
        let ties = self.ties(network, sigmas, solved);
        Adjusted { moved: moved(network, &ties), ties, readings, test: solved.test }
    }

    fn ties(&self, network: &Network, sigmas: &[f64], solved: &Solved) -> Vec<Judged> {
        let nothing = Judged { residual: Step::zeros(), standardised: Step::zeros() };
        let mut ties = vec![nothing; network.ties.len()];
        if self.circuits.is_empty() {
            return ties;
        }
        // How the residual of a tie hangs on the pulls: minus the covariance of the tie and the misclosures.
        let mut shared: Vec<[Vec<(usize, f64)>; 2]> = vec![[Vec::new(), Vec::new()]; network.ties.len()];
        for ((reading, effects), sigma) in network.readings.iter().zip(&self.effects).zip(sigmas) {
            for &(tie, step) in &reading.moves {
                for axis in (0..2).filter(|&axis| step[axis] != 0.0) {
                    effects.iter().for_each(|&(i, a)| add(&mut shared[tie][axis], i, sigma * sigma * step[axis] * a));
                }
            }
        }
        for (judged, shared) in ties.iter_mut().zip(&shared) {
            for (axis, shared) in shared.iter().enumerate() {
                let residual = -shared.iter().map(|&(i, a)| a * solved.pull[i]).sum::<f64>();
                let variance = solved.weight(shared);
                judged.residual[axis] = residual;
                // Below a hundredth of a micrometre only rounding is left of a residual.
                if variance > 1e-10 {
                    judged.standardised[axis] = residual / libm::sqrt(variance);
                }
            }
        }
        ties
    }
}

impl Solved {
    /// a'N⁻¹a of coefficients of the misclosures.
    fn weight(&self, of: &[(usize, f64)]) -> f64 {
        of.iter().map(|&(i, a)| a * of.iter().map(|&(j, b)| self.inverse[(i, j)] * b).sum::<f64>()).sum()
    }
}

fn add(to: &mut Vec<(usize, f64)>, at: usize, by: f64) {
    match to.iter_mut().find(|it| it.0 == at) {
        Some(known) => known.1 += by,
        None => to.push((at, by)),
    }
}

fn effects(reading: &Reading, through: &[Vec<(usize, f64)>]) -> Vec<(usize, f64)> {
    let mut effects: Vec<(usize, f64)> = Vec::new();
    for &(tie, step) in &reading.moves {
        for &(circuit, sign) in &through[tie] {
            for axis in 0..2 {
                add(&mut effects, 2 * circuit + axis, sign * step[axis]);
            }
        }
    }
    effects.retain(|it| it.1.abs() > ROUNDING);
    effects
}

/// The places after the adjustment: along the adjusted ties it does not matter which way one goes.
fn moved(network: &Network, ties: &[Judged]) -> Vec<Step> {
    let mut moved: Vec<Option<Step>> = vec![None; network.places];
    for root in 0..network.places {
        if moved[root].is_some() {
            continue;
        }
        moved[root] = Some(Step::zeros());
        let mut reached = vec![root];
        while let Some(at) = reached.pop() {
            let Some(here) = moved[at] else { continue };
            for (tie, judged) in network.ties.iter().zip(ties) {
                let step = tie.misfit + judged.residual;
                let (next, there) = match at {
                    _ if at == tie.from => (tie.to, here + step),
                    _ if at == tie.to => (tie.from, here - step),
                    _ => continue,
                };
                if moved[next].is_none() {
                    moved[next] = Some(there);
                    reached.push(next);
                }
            }
        }
    }
    moved.into_iter().map(Option::unwrap_or_default).collect()
}
