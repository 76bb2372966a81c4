//! The walk around the room from which the adjustment starts.

use super::network::{Network, Observation, Span, Vector, length, radians};
use crate::job::{Angle, Turn};
use crate::length::Length;
use crate::outline::Misclosure;

use super::Unsolved;

/// A closed ring near the readings.
pub(super) struct Start {
    pub corners: Vec<Vector>,
    /// Stand-ins for walls that nobody read and for corners whose turn nobody stated. They lead the search to a room that
    /// can be, and have no part in its result.
    pub guesses: Vec<Observation>,
    pub free_corners: bool,
    /// Of the walk before anything is adjusted; `None` when part of it is not measured.
    pub misclosure: Option<Misclosure>,
}

/// A wall as the walk takes it.
struct Leg {
    /// In millimetres.
    length: f64,
    variance: f64,
    read: bool,
}

/// How far the turns may miss once around, beside what their uncertainties allow, and still be spread over the corners.
const SLACK: Angle = Angle::degrees(5);

pub(super) fn start(network: &Network) -> Result<Start, Unsolved> {
    let turns = stated(network);
    let legs = legs(network);
    let free: Vec<usize> = (0..turns.len()).filter(|&i| turns[i].is_none()).collect();
    let turned = filled(network, &turns, free.len())?;

    let mut guesses: Vec<Observation> = free
        .iter()
        .map(|&corner| Observation::Turn { corner, value: Turn(turned[corner]), sigma: Angle::degrees(45) })
        .collect();
    for (wall, leg) in legs.iter().enumerate().filter(|(_, leg)| !leg.read) {
        let (value, sigma) = (length(leg.length), length(leg.length / 2.0));
        guesses.push(Observation::Length { of: Span::Wall(wall), value, sigma, typed: String::new() });
    }

    let mut heading = Angle::ZERO;
    let mut directions = Vec::with_capacity(legs.len());
    for (wall, turn) in turned.iter().enumerate() {
        // The turn at the first corner leads from the last wall into the first.
        if wall > 0 {
            heading = heading.then(*turn);
        }
        let (east, north) = heading.unit();
        directions.push(Vector::new(east, north));
    }
    let gap: Vector = legs.iter().zip(&directions).map(|(leg, direction)| direction * leg.length).sum();
    let misclosure = guesses.is_empty().then(|| {
        let perimeter = length(legs.iter().map(|it| it.length).sum());
        let miss = length(gap.norm());
        Misclosure { east: length(gap.x), north: length(gap.y), gap: miss, ratio: perimeter.0.checked_div(miss.0) }
    });
    let stretched = if free.is_empty() { stretched(&legs, &directions, gap) } else { None };
    let corners = match stretched {
        Some(lengths) => walk(&lengths, &directions, Vector::zeros()),
        None => walk(&legs.iter().map(|it| it.length).collect::<Vec<_>>(), &directions, gap),
    };
    Ok(Start { corners, guesses, free_corners: !free.is_empty(), misclosure })
}

/// The turn at each corner, the mean where several are stated.
fn stated(network: &Network) -> Vec<Option<Angle>> {
    let mut sums = vec![(0.0, 0.0); network.corners];
    let mut only = vec![None; network.corners];
    for observation in &network.observations {
        if let Observation::Turn { corner, value, .. } = observation {
            let weight = 1.0 / (observation.sigma() * observation.sigma());
            sums[*corner].0 += weight * value.0.0 as f64;
            sums[*corner].1 += weight;
            // One statement is kept exactly, so that square stays square.
            only[*corner] = if only[*corner].is_none_or(|it| it == value.0) { Some(value.0) } else { None };
        }
    }
    let mean = |(sum, weights): (f64, f64)| (weights > 0.0).then(|| Angle(libm::round(sum / weights) as i64));
    sums.into_iter().zip(only).map(|(sum, only)| only.or_else(|| mean(sum))).collect()
}

/// Every wall's mean length; one nobody read is taken to be as long as the others are on average, or 10 ft.
fn legs(network: &Network) -> Vec<Leg> {
    let mut sums = vec![(0.0, 0.0); network.corners];
    for observation in &network.observations {
        if let Observation::Length { of: Span::Wall(wall), value, .. } = observation {
            let weight = 1.0 / (observation.sigma() * observation.sigma());
            sums[*wall].0 += weight * value.as_mm();
            sums[*wall].1 += weight;
        }
    }
    let read: Vec<f64> = sums.iter().filter(|it| it.1 > 0.0).map(|it| it.0 / it.1).collect();
    let usual = if read.is_empty() { Length::feet(10).as_mm() } else { read.iter().sum::<f64>() / read.len() as f64 };
    let leg = |(sum, weights): (f64, f64)| match weights > 0.0 {
        true => Leg { length: sum / weights, variance: 1.0 / weights, read: true },
        false => Leg { length: usual, variance: usual * usual, read: false },
    };
    sums.into_iter().map(leg).collect()
}

/// The turn at each corner so that all of them go once around: the free corners share what is missing; when there are none
/// a small rest is spread over all.
fn filled(network: &Network, turns: &[Option<Angle>], free: usize) -> Result<Vec<Angle>, Unsolved> {
    if free > 0 {
        return looking(network, turns);
    }
    let sum: i64 = turns.iter().flatten().map(|it| it.0).sum();
    let missing = missing(sum);
    let variance: f64 = network
        .observations
        .iter()
        .filter(|it| matches!(it, Observation::Turn { .. }))
        .map(|it| it.sigma() * it.sigma())
        .sum();
    if radians(missing).abs() > radians(SLACK) + 4.0 * libm::sqrt(variance) {
        return Err(Unsolved::NotOnceAround { missing });
    }
    let each = share(missing, turns.len());
    Ok(turns.iter().map(|it| Angle(it.unwrap_or_default().0 + each.0)).collect())
}

/// The same with free corners, which turn as they look: those that look like nothing share what the others miss; when there are
/// none of these, or they cannot take it, all free corners share it.
fn looking(network: &Network, turns: &[Option<Angle>]) -> Result<Vec<Angle>, Unsolved> {
    let look = |corner: usize| network.looks.iter().find(|it| it.0 == corner).map(|it| it.1.0);
    let seen: Vec<Option<Angle>> = turns.iter().enumerate().map(|(i, stated)| stated.or_else(|| look(i))).collect();
    let sum = |of: &[Option<Angle>]| of.iter().flatten().map(|it| it.0).sum::<i64>();
    let missing = missing(sum(&seen));
    let around = missing.0 + sum(&seen);
    let evenly = |known: &[Option<Angle>]| {
        let each = share(Angle(around - sum(known)), known.iter().filter(|it| it.is_none()).count());
        Turn(each).is_possible().then(|| known.iter().map(|it| it.unwrap_or(each)).collect::<Vec<_>>())
    };
    let changed = || {
        let each = share(missing, turns.iter().filter(|it| it.is_none()).count());
        let turn = |(stated, seen): (&Option<Angle>, &Option<Angle>)| {
            let turn = stated.or_else(|| seen.map(|it| Angle(it.0 + each.0)))?;
            Turn(turn).is_possible().then_some(turn)
        };
        turns.iter().zip(&seen).map(turn).collect::<Option<Vec<_>>>()
    };
    let some_look_like_nothing = seen.iter().any(Option::is_none);
    let as_seen = if some_look_like_nothing { evenly(&seen) } else { changed() };
    as_seen.or_else(|| evenly(turns)).ok_or(Unsolved::NotOnceAround { missing: Angle(around - sum(turns)) })
}

/// What turns of this sum miss once around, to the side that they go.
fn missing(sum: i64) -> Angle {
    Angle(if sum < 0 { -Angle::FULL.0 } else { Angle::FULL.0 } - sum)
}

fn share(of: Angle, among: usize) -> Angle {
    Angle(i64::try_from(among).ok().and_then(|it| of.0.checked_div(it)).unwrap_or(0))
}

/// The lengths with which the ring closes while every wall keeps its direction, changed as little as their variances
/// allow. Parallel walls stay exactly parallel, so what the readings leave open shows in the rank. `None` when a
/// wall would lose most of its length.
fn stretched(legs: &[Leg], directions: &[Vector], gap: Vector) -> Option<Vec<f64>> {
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for (leg, along) in legs.iter().zip(directions) {
        xx += leg.variance * along.x * along.x;
        xy += leg.variance * along.x * along.y;
        yy += leg.variance * along.y * along.y;
    }
    let determinant = xx * yy - xy * xy;
    let pull = Vector::new(gap.y * xy - gap.x * yy, gap.x * xy - gap.y * xx) / determinant;
    let lengths: Vec<f64> =
        legs.iter().zip(directions).map(|(leg, along)| leg.length + leg.variance * along.dot(&pull)).collect();
    let sound = legs.iter().zip(&lengths).all(|(leg, &it)| it.is_finite() && it > leg.length * 0.05);
    sound.then_some(lengths)
}

/// The corners of a walk; its gap is spread over the walls in proportion to their lengths. The ring is turned so that the
/// first wall runs north.
fn walk(lengths: &[f64], directions: &[Vector], gap: Vector) -> Vec<Vector> {
    let perimeter: f64 = lengths.iter().sum();
    let mut at = Vector::zeros();
    let mut corners = Vec::with_capacity(lengths.len());
    for (length, direction) in lengths.iter().zip(directions) {
        corners.push(at);
        at += direction * *length - gap * (*length / perimeter);
    }
    turned_north(&mut corners);
    corners
}

/// Turns a ring around its first corner so that the first wall runs north.
pub(super) fn turned_north(corners: &mut [Vector]) {
    let first = corners[1] - corners[0];
    let along = first / first.norm();
    if !along.x.is_finite() || along.x == 0.0 {
        return;
    }
    for corner in corners {
        *corner = Vector::new(along.y * corner.x - along.x * corner.y, along.x * corner.x + along.y * corner.y);
    }
}
