//! Which reading is wrong, and what it may have been (data snooping: Baarda; iterated: Ghilani, *Adjustment Computations*, ch. 21).

use serde::{Deserialize, Serialize};

use super::equation::equation;
use super::network::{Amount, Network, Observation};
use super::slips::{Slip, readings};
use super::solve::{iterate, solve};
use super::statistics::{self, Judged, OUTLIER};
use super::{Settings, State, chi_square, start};

/// What the tests say of a room as a whole.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub enum Verdict {
    /// Nothing checks anything: there is not one reading more than needed.
    Unchecked,
    /// The readings agree within their uncertainties.
    Sound,
    /// They do not, and these may be wrong, the likeliest first. When several are needed to explain it they lead, each judged
    /// without the others; then come those that may be wrong instead.
    Suspects(Vec<Suspect>),
    /// They do not, and no single reading can be blamed: these all look the same. One further reading tells them apart.
    Inseparable(Vec<Suspect>),
}

impl Verdict {
    /// Nothing contradicts anything by more than the readings' uncertainties explain.
    pub const fn agrees(&self) -> bool {
        matches!(self, Self::Unchecked | Self::Sound)
    }
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
/// Suspects of which any two may be wrong together.
const PAIRED: usize = 12;
/// Without two readings whose tests are as alike as this the room is hardly determined.
const BOUND: f64 = 0.9999;
/// In rooms of more corners than this nothing is solved again for each suspect or pair: it would take seconds.
const SOLVED_AGAIN: usize = 60;
/// Most blunders looked for in one room.
const ROUNDS: usize = 4;

pub(super) fn judge(network: &Network, state: &State, settings: &Settings) -> Verdict {
    if state.test.degrees == 0 {
        return Verdict::Unchecked;
    }
    if !alarms(network, state) {
        return Verdict::Sound;
    }
    let suspects = suspects(network, state, settings);
    let Some(first) = suspects.first() else { return Verdict::Inseparable(Vec::new()) };
    if network.corners <= SOLVED_AGAIN
        && suspects.iter().all(|it| it.fit > state.test.blunder)
        && let Some(verdict) = two(network, state, &suspects, settings)
    {
        return verdict;
    }
    let same = alike(&suspects);
    if state.test.degrees == 1 || same > 1 {
        return Verdict::Inseparable(suspects.into_iter().take(same.min(NAMED)).collect());
    }
    Verdict::Suspects(followed(together(network, state, *first, settings), &suspects))
}

/// Those named, and then who else may be.
fn followed(mut named: Vec<Suspect>, suspects: &[Suspect]) -> Vec<Suspect> {
    for it in suspects {
        if !named.iter().any(|known| known.observation == it.observation) {
            named.push(*it);
        }
    }
    named.truncate(NAMED);
    named
}

/// The room as a whole, or one reading in it, is farther off than chance explains.
fn alarms(network: &Network, state: &State) -> bool {
    let worst = state.judged.iter().map(|it| it.standardised.abs()).fold(0.0, f64::max);
    let bound = libm::sqrt(chi_square::limit(ALARM / network.observations.len() as f64, 1));
    state.test.fit > state.test.blunder || worst > bound
}

/// The suspects of a room that fails, the likeliest first.
fn suspects(network: &Network, state: &State, settings: &Settings) -> Vec<Suspect> {
    let judged = &state.judged;
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
    let small = network.corners <= SOLVED_AGAIN;
    let freed = small.then(|| iterate(&network.without(&[i]), &state.solved.corners).ok()).flatten();
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

/// How many of the suspects, the likeliest first, cannot be told from the first.
fn alike(suspects: &[Suspect]) -> usize {
    let Some(first) = suspects.first() else { return 0 };
    suspects.iter().take_while(|it| it.unlikely() <= first.unlikely() + TOLD).count()
}

/// Two readings that explain together what no single one does. All pairs are tried: with two blunders in a room the reading that
/// looks worst is often neither of them.
fn two(network: &Network, state: &State, suspects: &[Suspect], settings: &Settings) -> Option<Verdict> {
    let tried: Vec<usize> = suspects.iter().take(PAIRED).map(|it| it.observation).collect();
    let mut pairs: Vec<(f64, [usize; 2])> = Vec::new();
    for (n, &one) in tried.iter().enumerate() {
        for &other in &tried[n + 1..] {
            if statistics::alike(&state.equations, &state.covariance, one, other) > BOUND {
                continue;
            }
            let solved = iterate(&network.without(&[one, other]), &state.solved.corners);
            let fit = solved.map_or(f64::INFINITY, |it| it.fit);
            if fit <= state.test.blunder {
                pairs.push((fit, [one, other]));
            }
        }
    }
    let least = pairs.iter().map(|it| it.0).reduce(f64::min)?;
    pairs.retain(|it| it.0 <= least + 2.0 * ANYTHING + TOLD);
    let explained = pairs.into_iter().filter_map(|(fit, gone)| {
        let both = gone.map(|it| beside(network, state, &gone, it, settings));
        let [Some(one), Some(other)] = both else { return None };
        Some((one.unlikely() + other.unlikely() - fit, [one, other]))
    });
    let mut explained: Vec<(f64, [Suspect; 2])> = explained.collect();
    explained.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (first, both) = *explained.first()?;
    let same: Vec<Suspect> =
        explained.iter().take_while(|it| it.0 <= first + TOLD).skip(1).flat_map(|it| it.1).collect();
    Some(match same.is_empty() {
        true => Verdict::Suspects(followed(both.to_vec(), suspects)),
        false => Verdict::Inseparable(followed(both.to_vec(), &same)),
    })
}

/// The readings that are wrong together. They are found one after the other, as long as the room fails without those found;
/// one that was blamed for what others did agrees once those are left out, and is cleared. When several look the same they all
/// follow.
fn together(network: &Network, state: &State, first: Suspect, settings: &Settings) -> Vec<Suspect> {
    let mut gone = vec![first.observation];
    let mut same = Vec::new();
    while gone.len() < ROUNDS && same.is_empty() {
        let Some(found) = failing(network, state, &gone, settings) else { break };
        match alike(&found) {
            1 => gone.push(found[0].observation),
            several => same.extend(found.into_iter().take(several)),
        }
    }
    let mut named = vec![first];
    while gone.len() > 1 {
        named = gone.iter().filter_map(|&it| beside(network, state, &gone, it, settings)).collect();
        let least = named.iter().min_by(|a, b| a.standardised.abs().total_cmp(&b.standardised.abs()));
        let Some(cleared) = least.filter(|it| it.standardised.abs() < OUTLIER).map(|it| it.observation) else { break };
        gone.retain(|&it| it != cleared);
        named.retain(|it| it.observation != cleared);
    }
    named.sort_by(|a, b| b.standardised.abs().total_cmp(&a.standardised.abs()));
    named.extend(same);
    named
}

/// A suspect as it looks when the others that are wrong with it are left out.
fn beside(
    network: &Network,
    state: &State,
    gone: &[usize],
    observation: usize,
    settings: &Settings,
) -> Option<Suspect> {
    let others: Vec<usize> = gone.iter().copied().filter(|&it| it != observation).collect();
    let rest = network.without(&others);
    let rest_state = State::near(&rest, &state.solved.corners).ok()?;
    let at = kept(network, &others).iter().position(|&it| it == observation)?;
    let judged = rest_state.judged.get(at)?;
    Some(Suspect { observation, ..suspect(&rest, &rest_state, settings, at, judged) })
}

/// The suspects of a room without some of its readings, when it still fails.
fn failing(network: &Network, state: &State, gone: &[usize], settings: &Settings) -> Option<Vec<Suspect>> {
    let rest = network.without(gone);
    let after = State::near(&rest, &state.solved.corners).ok()?;
    if after.test.degrees == 0 || !alarms(&rest, &after) {
        return None;
    }
    let kept = kept(network, gone);
    let mut found = suspects(&rest, &after, settings);
    found.iter_mut().for_each(|it| it.observation = kept[it.observation]);
    (!found.is_empty()).then_some(found)
}

/// The positions of the observations that are left.
fn kept(network: &Network, gone: &[usize]) -> Vec<usize> {
    (0..network.observations.len()).filter(|it| !gone.contains(it)).collect()
}

/// The corners whose turn, taken the other way, makes a ring of turns that do not go once around; best fit first.
pub fn turned_wrong(network: &Network) -> Vec<usize> {
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
