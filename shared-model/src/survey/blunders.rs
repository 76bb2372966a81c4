//! Which reading is wrong, and what it may have been (data snooping: Baarda; iterated: Ghilani, *Adjustment Computations*, ch. 21).

use serde::{Deserialize, Serialize};

use super::network::{Amount, Network, Observation};
use super::slips::{Slip, readings};
use super::solve::solve;
use super::statistics::{alike, judge as judge_each};
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
/// Tests as alike as this cannot be told apart.
const ALIKE: f64 = 0.95;
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
    let same: Vec<Suspect> = suspects
        .iter()
        .filter(|it| it.observation != first.observation && look_the_same(network, state, first, it))
        .copied()
        .collect();
    let told_apart = same.iter().all(|it| first.proposed.is_some() && it.proposed.is_none());
    if state.test.degrees == 1 || !told_apart {
        let named = std::iter::once(*first).chain(same).take(NAMED);
        return Verdict::Inseparable(named.collect());
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

/// A blunder in either would show in the same way, in this room and with these tests.
fn look_the_same(network: &Network, state: &State, one: &Suspect, other: &Suspect) -> bool {
    let near = other.standardised.abs() > 0.9 * one.standardised.abs();
    near && network.observations.len() > 1
        && alike(&state.equations, &state.covariance, one.observation, other.observation) > ALIKE
}

/// The suspects of a room that fails, likeliest first: those with a slip that makes it fit, then by their residuals.
fn suspects(network: &Network, state: &State, settings: &Settings) -> Vec<Suspect> {
    let judged = judge_each(network, &state.equations, &state.covariance);
    let mut order: Vec<usize> = (0..judged.len()).filter(|&i| judged[i].least_blunder.is_some()).collect();
    order.sort_by(|&a, &b| judged[b].standardised.abs().total_cmp(&judged[a].standardised.abs()).then(a.cmp(&b)));
    order.truncate(TRIED);
    let tried = order.into_iter().map(|i| {
        let (standardised, redundancy) = (judged[i].standardised, judged[i].redundancy);
        // How v'Pv changes when this observation alone changes by some of its standard deviations: exact for a linear room.
        let fit_after = |by: f64| state.test.fit + 2.0 * by * state.equations[i].misfit + by * by * redundancy;
        let without = state.test.fit - standardised * standardised;
        let slips = meant(&network.observations[i], settings).into_iter().map(|(slip, amount)| {
            let by = (amount.value() - network.observations[i].amount().value()) / network.observations[i].sigma();
            (fit_after(by), slip, amount)
        });
        // Equal ones: the likelier slip comes first.
        let best = slips.reduce(|best, it| if it.0 < best.0 - 0.5 { it } else { best });
        let limit = state.test.blunder;
        match best.filter(|it| it.0 <= limit && it.0 <= without + 6.0) {
            Some((fit, slip, amount)) => Suspect { observation: i, standardised, proposed: Some((slip, amount)), fit },
            None => Suspect { observation: i, standardised, proposed: None, fit: without },
        }
    });
    let mut suspects: Vec<Suspect> = tried.collect();
    // A slip that explains it counts as much as a somewhat larger residual.
    let weight = |it: &Suspect| it.standardised.abs() * if it.proposed.is_some() { 1.15 } else { 1.0 };
    suspects.sort_by(|a, b| weight(b).total_cmp(&weight(a)).then(a.observation.cmp(&b.observation)));
    suspects
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
