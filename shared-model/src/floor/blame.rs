//! Which reading keeps the rooms of a cluster from fitting together, and what it may have been (data snooping: Baarda;
//! iterated: Ghilani, *Adjustment Computations*, ch. 21).
//!
//! A reading that does not fit is left out, so that its foot stays in one place and is not smeared over the house; then the others
//! are tested again.

use super::Site;
use super::network::{Blunder, Conditions, FREE, Solved};
use super::reading::Source;
use crate::job::{Job, Opening, Room};
use crate::length::{Length, Units};
use crate::survey::{OUTLIER, limit, misreadings};

/// One cluster in so many without a blunder is suspected because of its worst reading.
const ALARM: f64 = 0.005;
/// Most blunders looked for in one cluster.
const ROUNDS: usize = 12;
/// So many are looked at for fewer that explain as much; with more it would take too long.
const FEW: usize = 4;
/// A suspect is told from another when it is 20 times likelier: 2 ln 20.
const TOLD: f64 = 6.0;
/// Suspects named together.
const NAMED: usize = 6;
/// A wrong reading is wrong by up to a foot or so either way.
const WRONG_BY: f64 = 610.0;
/// What is not one reading's error needs several, or a wall that bends: that much less likely (our judgement).
const SEVERAL: f64 = 8.0;
/// An offset is read from the wrong end of the wall about as often as an inch is missed (our judgement).
const WRONG_END: f64 = 2.0;

/// Something that is wrong, by the reading that is left out for it.
#[derive(Clone, PartialEq, Debug)]
pub(super) struct Named {
    pub reading: usize,
    /// That reading and those that cannot be told from it, the likeliest first.
    pub suspects: Vec<Suspect>,
}

#[derive(Clone, Copy, PartialEq, Debug)]
pub(super) struct Suspect {
    pub reading: usize,
    /// What would fit, to the nearest count.
    pub fitting: Option<Length>,
    /// What it may have been, and how that would have come about.
    pub meant: Option<(&'static str, Length)>,
    /// -2 ln of its likelihood, but for what all have in common.
    unlikely: f64,
}

/// A cluster that is tested with some readings left out.
struct Tested<'a> {
    sites: &'a [Site<'a>],
    sources: &'a [Source],
    conditions: &'a Conditions,
    sigmas: &'a [f64],
    job: &'a Job,
}

/// What does not fit, in the order in which it is found. Each is judged without the others.
pub(super) fn named(
    sites: &[Site],
    sources: &[Source],
    conditions: &Conditions,
    sigmas: &[f64],
    job: &Job,
) -> Vec<Named> {
    let tested = Tested { sites, sources, conditions, sigmas, job };
    let mut found: Vec<usize> = Vec::new();
    while found.len() < ROUNDS && !tested.fits(&found) {
        let Some(first) = tested.suspects(&found).first().copied() else { break };
        found.push(first.reading);
    }
    while let Some(fewer) = tested.fewer(&found) {
        found = fewer;
    }
    let named = |&reading: &usize| Named { reading, suspects: tested.suspects(&others(&found, &[reading])) };
    found.iter().map(named).collect()
}

fn others(found: &[usize], gone: &[usize]) -> Vec<usize> {
    found.iter().copied().filter(|it| !gone.contains(it)).collect()
}

impl Tested<'_> {
    fn solved(&self, free: &[usize]) -> Option<(Solved, Vec<Blunder>)> {
        let mut sigmas = self.sigmas.to_vec();
        free.iter().for_each(|&it| sigmas[it] = FREE);
        let solved = self.conditions.solve(&sigmas)?;
        let blunders = self.conditions.blunders(&sigmas, &solved);
        Some((solved, blunders))
    }

    fn fits(&self, free: &[usize]) -> bool {
        self.solved(free).is_none_or(|(solved, blunders)| !alarms(&blunders, &solved))
    }

    /// Those that cannot be told from the likeliest.
    fn suspects(&self, free: &[usize]) -> Vec<Suspect> {
        let Some((solved, blunders)) = self.solved(free) else { return Vec::new() };
        suspects(self.sites, self.sources, &blunders, &solved, self.job)
    }

    /// A reading that lies between two wrong ones may be blamed for both, and then two more for what that spoils: then one of those
    /// that look like any of them does in place of two.
    fn fewer(&self, found: &[usize]) -> Option<Vec<usize>> {
        if !(3..=FEW).contains(&found.len()) {
            return None;
        }
        let alike = found.iter().flat_map(|&it| self.suspects(&others(found, &[it]))).map(|it| it.reading);
        let tried: Vec<usize> = alike.filter(|it| !found.contains(it)).collect();
        let pairs = || (1..found.len()).flat_map(|n| found[..n].iter().map(move |&one| [one, found[n]]));
        let fewer = tried.iter().flat_map(|&it| pairs().map(move |gone| [others(found, &gone), vec![it]].concat()));
        fewer.into_iter().find(|it| self.fits(it))
    }
}

/// The loops as a whole, or one reading, are farther off than chance explains. A reading by the usual bound, but in a house with
/// many loops, where many are tested, by one that as few such houses exceed (Bonferroni).
fn alarms(blunders: &[Blunder], solved: &Solved) -> bool {
    if solved.test.degrees == 0 {
        return false;
    }
    let worst = blunders.iter().map(|it| it.standardised.abs()).fold(0.0, f64::max);
    let bound = libm::sqrt(limit(ALARM / solved.test.degrees as f64, 1)).max(OUTLIER);
    solved.test.fit > solved.test.blunder || worst > bound
}

fn suspects(sites: &[Site], sources: &[Source], blunders: &[Blunder], solved: &Solved, job: &Job) -> Vec<Suspect> {
    let judged = sources.iter().zip(blunders).enumerate();
    // A reading that is free already has nothing left to say.
    let judged = judged.filter(|(_, (_, it))| it.sigma > 0.0 && it.sigma < FREE / 2.0);
    let mut all: Vec<Suspect> = judged
        .filter_map(|(reading, (source, blunder))| suspect(sites, reading, *source, blunder, solved.test.fit, job))
        .collect();
    // Two sides of one opening look the same but for the last bits, which must not decide.
    let rounded = |it: &Suspect| libm::round(it.unlikely * 1e6);
    all.sort_by(|a, b| rounded(a).total_cmp(&rounded(b)).then(a.reading.cmp(&b.reading)));
    let least = all.first().map_or(0.0, |it| it.unlikely);
    all.retain(|it| it.unlikely <= least + TOLD);
    all.truncate(NAMED);
    all
}

fn suspect(sites: &[Site], reading: usize, source: Source, blunder: &Blunder, fit: f64, job: &Job) -> Option<Suspect> {
    let without = fit - blunder.standardised * blunder.standardised;
    // That it is wrong by just this much is less likely than that a slip hits it.
    let anything = (-2.0 * libm::log(blunder.sigma * libm::sqrt(core::f64::consts::TAU) / WRONG_BY)).max(0.0);
    let (value, slips) = match source {
        Source::Checked => return None,
        Source::Across { .. } => {
            let unlikely = without + anything + SEVERAL;
            return Some(Suspect { reading, fitting: None, meant: None, unlikely });
        }
        Source::Offset { site, opening } => {
            let opening = sites[site].room.openings.iter().find(|it| it.id == opening)?;
            (opening.offset, of_offset(&sites[site], opening, job.units))
        }
        Source::Wall { site, wall } => {
            let read: Vec<_> = sites[site].room.wall(wall)?.in_force().collect();
            let [only] = read[..] else { return None };
            (only.value, of_length(only.value, &only.typed, sites[site].room, job.units))
        }
    };
    let fitting = value - Length(libm::round(blunder.size * Length::MM.0 as f64) as i64);
    // Nothing is read behind the start of a wall.
    if fitting < Length::ZERO {
        return None;
    }
    let mut best = Suspect { reading, fitting: Some(fitting), meant: None, unlikely: without + anything };
    for (how, rarity, length) in slips {
        let left = (length - fitting).as_mm() / blunder.sigma;
        let unlikely = without + rarity + left * left;
        if unlikely < best.unlikely {
            best = Suspect { meant: Some((how, length)), unlikely, ..best };
        }
    }
    Some(best)
}

/// What an offset may have been: it is not kept as it was typed, so it is read again as it is shown.
fn of_offset(site: &Site, opening: &Opening, units: Units) -> Vec<(&'static str, f64, Length)> {
    let mut all = of_length(opening.offset, &opening.offset.show(units.style()), site.room, units);
    let wall = site.outline.wall(opening.wall).map(|(start, end)| start.distance(end));
    all.extend(wall.map(|it| ("read from the other end of the wall", WRONG_END, it - opening.offset - opening.width)));
    all
}

fn of_length(value: Length, typed: &str, room: &Room, units: Units) -> Vec<(&'static str, f64, Length)> {
    let thickness = room.openings.iter().map(|it| it.depth).max().unwrap_or_default();
    let slips = misreadings(value, typed, thickness, units).into_iter();
    slips.map(|(slip, length)| (slip.words(), slip.rarity(), length)).collect()
}
