//! The rooms of a cluster adjusted together, so that every loop of rooms closes.
//!
//! Unknown are the shifts of the rooms; how they are turned follows from the joins that place them. Every join observes the
//! difference of two shifts, as well as it was read ([`super::reading`]).
//!
//! A room stays rigid: its outline is its own adjustment, with its corners square, and the carpet is cut by it. What is left of a
//! loop goes into the doors, where half a depth of carpet more or less runs under the door leaf and nobody cuts to it.

use super::blame::{self, Named};
use super::join::{self, Join};
use super::network::{Conditions, FREE, Network, Step, Tie};
use super::reading::readings;
use super::{Fit, JoinFit, Site, words};
use crate::job::Job;
use crate::length::Length;
use crate::polygon::Point;
use crate::problem::Problem;

/// A misfit up to this is the rounding of a slanted wall.
const ROUNDING: i64 = 2;

/// More loops between rooms than a house of 150 has are not adjusted: a phone would take too long.
const MOST_LOOPS: usize = 120;

/// Moves the rooms of each cluster to where all joins together want them, except for those readings that do not fit; says which
/// these are, and how well the others do.
pub(super) fn adjust(
    sites: &mut [Site],
    clusters: &[Vec<usize>],
    joins: &[Join],
    job: &Job,
) -> (Vec<Fit>, Vec<Problem>) {
    let (mut fits, mut problems) = (Vec::new(), Vec::new());
    for cluster in clusters {
        let mut own = Vec::new();
        for join in joins.iter().filter(|it| cluster.contains(&it.one.site)) {
            match join::turn(sites, join, &job.rules) {
                Ok(()) => own.push(join),
                Err(problem) => problems.push(problem),
            }
        }
        // A tree has nothing to adjust.
        if own.len() < cluster.len() {
            continue;
        }
        if own.len() - cluster.len() >= MOST_LOOPS {
            problems.push(words::too_many(sites, &own));
            continue;
        }
        let (fit, found) = together(sites, cluster, &own, job);
        fits.extend(fit);
        problems.extend(found);
    }
    (fits, problems)
}

fn together(sites: &mut [Site], cluster: &[usize], joins: &[&Join], job: &Job) -> (Option<Fit>, Vec<Problem>) {
    let (sources, readings) = readings(sites, joins, &job.rules);
    let ties = joins.iter().filter_map(|it| tie(sites, cluster, it)).collect();
    let network = Network { places: cluster.len(), ties, readings };
    let conditions = Conditions::of(&network);
    let mut sigmas: Vec<f64> = network.readings.iter().map(|it| it.sigma).collect();
    let named = blame::named(sites, &sources, &conditions, &sigmas, job);
    for Named { reading, .. } in &named {
        sigmas[*reading] = FREE;
    }
    let told = words::Loops { sites, cluster, joins, network: &network, conditions: &conditions, units: job.units };
    let problems = named.iter().map(|it| told.problem(it, &sources)).collect();
    let Some(solved) = conditions.solve(&sigmas) else { return (None, problems) };
    let adjusted = conditions.adjusted(&network, &sigmas, &solved);
    for (&site, by) in cluster.iter().zip(&adjusted.moved) {
        if let Some(place) = &mut sites[site].place {
            place.shift = place.shift + point(*by);
        }
    }
    let fitted = joins.iter().zip(&adjusted.ties).map(|(Join { one, two }, judged)| JoinFit {
        rooms: [one.room, two.room],
        openings: [one.opening, two.opening],
        residual: point(judged.residual),
        standardised: judged.standardised.amax(),
    });
    let rooms = cluster.iter().map(|&it| sites[it].room.id).collect();
    (Some(Fit { rooms, joins: fitted.collect(), test: adjusted.test }), problems)
}

/// Both rooms by their place in the cluster, and how far the second lies from where the first wants it.
fn tie(sites: &[Site], cluster: &[usize], Join { one, two }: &Join) -> Option<Tie> {
    let place = |site: usize| cluster.iter().position(|&it| it == site);
    let (near, far) = (sites[one.site].place?, sites[two.site].place?);
    let misfit = one.facing(near, two) - far.of(two.centre);
    let rounding = misfit.x.0.abs().max(misfit.y.0.abs()) <= ROUNDING;
    let misfit = if rounding { Step::zeros() } else { Step::new(misfit.x.as_mm(), misfit.y.as_mm()) };
    Some(Tie { from: place(one.site)?, to: place(two.site)?, misfit })
}

/// To the nearest count.
fn point(step: Step) -> Point {
    let counts = |mm: f64| Length(libm::round(mm * Length::MM.0 as f64) as i64);
    Point::new(counts(step.x), counts(step.y))
}
