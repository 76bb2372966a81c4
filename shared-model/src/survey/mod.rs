//! How far a room's readings can be trusted: the weighted least-squares adjustment of all of them, and what it says of each.
//!
//! ```text
//! readings → network → start → solve → statistics → blunders, next
//! ```
//!
//! Everything is derived and nothing is changed: a suspect is named with what it may have been, and a person decides.

mod blunders;
mod chi_square;
mod envelope;
mod equation;
pub mod file;
mod network;
mod next;
mod room;
mod slips;
mod solve;
mod start;
mod statistics;
pub mod words;

use serde::{Deserialize, Serialize};

use crate::length::{Length, Units};
use crate::outline::Misclosure;
use crate::polygon::Point;

pub use blunders::{Suspect, Verdict, turned_wrong};
pub use chi_square::{beyond, limit};
pub use network::{Amount, Network, Observation, Span, Unsolved};
pub use next::{Cut, CutOf, NextCheck};
pub(crate) use room::sigma;
pub use room::{Source, Survey, survey};
pub use slips::Slip;
pub(crate) use slips::readings as misreadings;
pub use statistics::{Ellipse, FOUND, GlobalTest, Judged, OUTLIER};

use equation::Equation;
use network::length;
use solve::{Normal, Solved, equations};
use statistics::Covariance;

/// What judging a room needs to know beside its readings.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Settings {
    /// A room is trusted when what is cut for it is this certain: the wall allowance.
    pub allowance: Length,
    /// For slips between the inside and the outside of a wall.
    pub thickness: Length,
    /// In which typed texts are read again.
    pub units: Units,
}

/// A room adjusted and judged.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Adjusted {
    /// One per wall, its start; the first at the origin, the first wall to the north.
    pub corners: Vec<Point>,
    /// Of the walk before anything is adjusted; `None` when part of it is not measured.
    pub misclosure: Option<Misclosure>,
    pub test: GlobalTest,
    /// In the order of the network's observations.
    pub judged: Vec<Judged>,
    /// In the order of the corners.
    pub ellipses: Vec<Ellipse>,
    /// What is cut for the room, with how certain it is: every wall, then both overall extents.
    pub cuts: Vec<Cut>,
    pub verdict: Verdict,
    /// No blunder shows, and every cut is certain to within the allowance.
    pub trusted: bool,
    /// The reading that would make the least certain cut most certain; `None` when none would help.
    pub next: Option<NextCheck>,
}

/// Adjusts a room and judges its readings.
///
/// # Errors
/// What is not determined, or that nothing fits. When the turns do not go once around, [`turned_wrong`] names the corner.
pub fn adjust(network: &Network, settings: &Settings) -> Result<Adjusted, Unsolved> {
    network.check()?;
    let start = start::start(network)?;
    let state = State::of(network, solve::solve(network, &start)?)?;
    let cuts = next::cuts(network, &state);
    let verdict = blunders::judge(network, &state, settings);
    let within = |it: &Cut| it.uncertainty <= settings.allowance;
    let trusted = verdict.agrees() && cuts.iter().all(within);
    Ok(Adjusted {
        corners: state.solved.corners.iter().map(|it| Point::new(length(it.x), length(it.y))).collect(),
        misclosure: start.misclosure,
        test: state.test,
        ellipses: (0..network.corners).map(|it| state.covariance.ellipse(it)).collect(),
        next: next::best(network, &state, &cuts),
        judged: state.judged,
        cuts,
        verdict,
        trusted,
    })
}

/// An adjusted network with what is needed to judge it.
struct State {
    solved: Solved,
    equations: Vec<Equation>,
    covariance: Covariance,
    test: GlobalTest,
    /// In the order of the observations.
    judged: Vec<Judged>,
}

impl State {
    fn of(network: &Network, solved: Solved) -> Result<Self, Unsolved> {
        let equations = equations(network, &solved.corners).ok_or(Unsolved::Diverged)?;
        let normal = Normal::at(network, &solved.corners).ok_or(Unsolved::Diverged)?;
        let covariance = Covariance(normal.covariance().ok_or(Unsolved::Diverged)?);
        let degrees = network.observations.len().saturating_sub(2 * network.corners - 3);
        let test = GlobalTest::new(degrees, solved.fit);
        let judged = statistics::judge(network, &equations, &covariance);
        Ok(Self { solved, equations, covariance, test, judged })
    }

    /// Of the network as it is, or changed a little, from corners near its solution.
    fn near(network: &Network, corners: &[network::Vector]) -> Result<Self, Unsolved> {
        Self::of(network, solve::iterate(network, corners)?)
    }
}
