//! Which reading is wrong, and what it may have been (data snooping: Baarda; iterated: Ghilani, *Adjustment Computations*, ch. 21).

use serde::{Deserialize, Serialize};

use super::equation::equation;
use super::network::{Amount, Network, Observation};
use super::slips::{Slip, readings};
use super::solve::{iterate, solve};
use super::statistics::{Judged, judge as judge_each};
use super::{Settings, State, chi_square, start};

/// What the tests say of a room as a whole.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub enum Verdict {
    /// Nothing checks anything: there is not one reading more than needed.
    Unchecked,
    /// The readings agree within their uncertainties.
    Sound,
    /// They do not, and these may be wrong, the likeliest first. When several are needed to explain it, the first of them is
    /// followed by the suspects that remain once it is put right.
    Suspects(Vec<Suspect>),
    /// They do not, and no single reading can be blamed: these all look the same. One further reading tells them apart.
    Inseparable(Vec<Suspect>),
}

/// A reading that may be wrong.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize)]
pub struct Suspect {
    /// Position among the network's observations.
    pub observation: usize,
    /// Its residual in standard deviations.
    pub standardised: f64,
    /// What it may have been, and how that would have come about.
    pub proposed: Option<(Slip, Amount)>,
    /// v'Pv with the proposal, or without the reading when there is none.
    pub fit: f64,
}

/// One room in so many without a blunder is suspected.
const ALARM: f64 = 0.005;
/// A reading may be wrong by anything up to a foot or so either way. That it is wrong by just this much is less likely than that
/// a slip hits it: by -2 ln(5 mm · √(2π) ÷ 610 mm), 5 mm being how well the others fix a reading.
const ANYTHING: f64 = 7.8;
/// A suspect is told from another when it is 20 times likelier: 2 ln 20.
const TOLD: f64 = 6.0;
/// Suspects that are looked into, and that are named.
const TRIED: usize = 12;
const NAMED: usize = 5;
/// Most blunders looked for in one room.
const ROUNDS: usize = 3;

pub(super) fn judge(network: &Network, state: &State, settings: &Settings) -> Verdict {
    if state.test.degrees == 0 {
        return Verdict::Unchecked;
    }
    if !alarms(network, state) {
        return Verdict::Sound;
    }
    let suspects = suspects(network, state, settings);
    let Some(first) = suspects.first() else { return Verdict::Inseparable(Vec::new()) };
    let same = suspects.iter().take_while(|it| it.unlikely() <= first.unlikely() + TOLD).count();
    if state.test.degrees == 1 || same > 1 {
        return Verdict::Inseparable(suspects.into_iter().take(same.min(NAMED)).collect());
    }
    let mut named = vec![*first];
    named.extend(remaining(network, state, *first, settings, ROUNDS - 1));
    let others = suspects.iter().filter(|it| !named.iter().any(|known| known.observation == it.observation)).copied();
    let others: Vec<Suspect> = others.collect();
    named.extend(others);
    named.truncate(NAMED);
    Verdict::Suspects(named)
}

/// The room as a whole, or one reading in it, is farther off than chance explains.
fn alarms(network: &Network, state: &State) -> bool {
    let worst = worst(network, state);
    let bound = libm::sqrt(chi_square::limit(ALARM / network.observations.len() as f64, 1));
    state.test.fit > state.test.blunder || worst > bound
}

fn worst(network: &Network, state: &State) -> f64 {
    let judged = judge_each(network, &state.equations, &state.covariance);
    judged.iter().map(|it| it.standardised.abs()).fold(0.0, f64::max)
}

/// The suspects of a room that fails, the likeliest first.
fn suspects(network: &Network, state: &State, settings: &Settings) -> Vec<Suspect> {
    let judged = judge_each(network, &state.equations, &state.covariance);
    let mut order: Vec<usize> = (0..judged.len()).filter(|&i| judged[i].least_blunder.is_some()).collect();
    order.sort_by(|&a, &b| judged[b].standardised.abs().total_cmp(&judged[a].standardised.abs()).then(a.cmp(&b)));
    order.truncate(TRIED);
    let mut suspects: Vec<Suspect> =
        order.into_iter().map(|i| suspect(network, state, settings, i, &judged[i])).collect();
    suspects.sort_by(|a, b| a.unlikely().total_cmp(&b.unlikely()).then(a.observation.cmp(&b.observation)));
    suspects
}

/// What one reading would have to have been. The room is solved without it: a foot bends a room so far that the residuals of
/// the bent one mislead, while near the solution without the blunder all is linear again.
fn suspect(network: &Network, state: &State, settings: &Settings, i: usize, judged: &Judged) -> Suspect {
    let observation = &network.observations[i];
    let (standardised, redundancy) = (judged.standardised, judged.redundancy);
    let freed = iterate(&network.without(i), &state.solved.corners).ok();
    let freed = freed.and_then(|it| Some((it.fit, equation(network, observation, &it.corners)?.misfit)));
    let linear = (state.test.fit - standardised * standardised, state.equations[i].misfit / redundancy);
    let (without, off) = freed.unwrap_or(linear);
    let slips = meant(observation, settings).into_iter().map(|(slip, amount)| {
        let left = off + (amount.value() - observation.amount().value()) / observation.sigma();
        Suspect {
            observation: i,
            standardised,
            proposed: Some((slip, amount)),
            fit: without + left * left * redundancy,
        }
    });
    let nothing = Suspect { observation: i, standardised, proposed: None, fit: without };
    slips.fold(nothing, |best, it| if it.unlikely() < best.unlikely() { it } else { best })
}

impl Suspect {
    /// -2 ln of its likelihood, but for what all have in common.
    fn unlikely(&self) -> f64 {
        self.fit + self.proposed.map_or(ANYTHING, |it| it.0.rarity())
    }
}

/// What an observation may have been instead.
fn meant(observation: &Observation, settings: &Settings) -> Vec<(Slip, Amount)> {
    match observation {
        Observation::Length { value, typed, .. } => readings(*value, typed, settings.thickness, settings.units)
            .into_iter()
            .map(|(slip, length)| (slip, Amount::Length(length)))
            .collect(),
        Observation::Turn { value, .. } => {
            let other = crate::job::Angle(-value.0.0);
            vec![(Slip::OtherWay, Amount::Angle(other))]
        }
    }
}

/// The suspects that are left when the first is put right, as long as the room still fails.
fn remaining(network: &Network, state: &State, first: Suspect, settings: &Settings, rounds: usize) -> Vec<Suspect> {
    if rounds == 0 {
        return Vec::new();
    }
    let (rest, position) = match first.proposed {
        Some((_, amount)) => (network.with(first.observation, amount), None),
        None => (network.without(first.observation), Some(first.observation)),
    };
    let Ok(after) = State::near(&rest, &state.solved.corners) else { return Vec::new() };
    if after.test.degrees == 0 || !alarms(&rest, &after) {
        return Vec::new();
    }
    let found = suspects(&rest, &after, settings)
        .into_iter()
        .find(|it| it.observation != first.observation || position.is_some());
    let Some(second) = found else { return Vec::new() };
    let mut named = vec![second];
    named.extend(remaining(&rest, &after, second, settings, rounds - 1));
    // Back to the positions in the network as it is.
    for it in &mut named {
        if position.is_some_and(|gone| it.observation >= gone) {
            it.observation += 1;
        }
    }
    named
}

/// The corners whose turn, taken the other way, makes the ring go once around; best fit first.
pub(super) fn turned_wrong(network: &Network) -> Vec<usize> {
    let mut fits: Vec<(f64, usize)> = Vec::new();
    for (i, observation) in network.observations.iter().enumerate() {
        let Observation::Turn { corner, value, .. } = observation else { continue };
        let other = network.with(i, Amount::Angle(crate::job::Angle(-value.0.0)));
        let solved = start::start(&other).and_then(|start| solve(&other, &start)).and_then(|it| State::of(&other, it));
        if let Ok(state) = solved {
            fits.push((state.test.fit, *corner));
        }
    }
    fits.sort_by(|a, b| a.0.total_cmp(&b.0));
    fits.into_iter().map(|it| it.1).collect()
}
