//! Where the seam lines of a room may lie.

use super::PileDirection;
use super::patch::{Ground, Patch};
use crate::length::Length;
use crate::polygon::{Axis, Point, Ring};

/// Which seam lines, in words that stay the same when a reading changes a little.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Start {
    /// The first full breadth lies along the west side (pile to the north), the rest toward the east.
    West,
    East,
    /// The two outer breadths are equally wide.
    Balanced,
    /// A seam lies on a line of the outline: at its n-th corner from the west, counting each line once.
    Corner(usize),
    /// Seams go through given places.
    Given,
}

/// More breadths than any room needs.
const MOST_BREADTHS: usize = 400;
/// Outlines with more corner lines than this are cut at the first of them only.
const MOST_CORNERS: usize = 24;

/// No seam runs nearer beside a wall than this: the stretcher's head would stand on it (common practice).
const CLEAR: Length = Length::inches(6);

/// The sets of seam lines worth trying, each once. All leave breadths that the roll holds, and strips along the walls
/// that can be stretched, unless the pattern leaves no other place.
pub(super) fn lines(ground: &Ground) -> Vec<(Start, Vec<Length>, Vec<Patch>)> {
    let clear = lines_clear_by(ground, CLEAR);
    if clear.is_empty() { lines_clear_by(ground, Length::ZERO) } else { clear }
}

/// The patches that full breadths from the west on leave.
pub(super) fn from_the_west(ground: &Ground) -> Option<Vec<Patch>> {
    ground.patches(&grow(ground, ground.bounds.min.x, CLEAR)?)
}

/// Lines from a seam line to the east, or to the west, each as far on as the roll allows.
pub(super) fn grow_east(ground: &Ground, from: Length) -> Option<Vec<Length>> {
    grow(ground, from, CLEAR)
}

pub(super) fn grow_west(ground: &Ground, from: Length) -> Option<Vec<Length>> {
    grow(&ground.mirrored(), -from, CLEAR).map(mirrored)
}

/// The patches that these lines leave. `None` when one is wider than the roll, or a line runs too near beside a wall.
pub(super) fn laid(ground: &Ground, lines: &[Length]) -> Option<Vec<Patch>> {
    let clear = lines.iter().all(|it| is_clear(ground, *it, CLEAR));
    ground.patches(lines).filter(|_| clear)
}

fn lines_clear_by(ground: &Ground, clear: Length) -> Vec<(Start, Vec<Length>, Vec<Patch>)> {
    let (min, max) = (ground.bounds.min.x, ground.bounds.max.x);
    let mirror = ground.mirrored();
    let from_west = grow(ground, min, clear);
    let from_east = grow(&mirror, mirror.bounds.min.x, clear).map(mirrored);
    let balanced = from_west.as_ref().and_then(|it| balanced(ground, it.len()));

    let mut corners: Vec<Length> = corners(&ground.ring).filter(|it| *it > min && *it < max).collect();
    corners.sort_unstable();
    corners.dedup();
    let at_corner = |at: Length| {
        let west = grow(&mirror, -at, clear).map(mirrored)?;
        let east = grow(ground, at, clear)?;
        Some([west, vec![at], east].concat())
    };

    let mut tried: Vec<(Start, Option<Vec<Length>>)> =
        vec![(Start::West, from_west), (Start::East, from_east), (Start::Balanced, balanced)];
    tried.extend(corners.into_iter().take(MOST_CORNERS).enumerate().map(|(i, at)| (Start::Corner(i), at_corner(at))));

    let mut found: Vec<(Start, Vec<Length>, Vec<Patch>)> = Vec::new();
    for (start, lines) in tried {
        let clear = |lines: &Vec<Length>| lines.iter().all(|it| is_clear(ground, *it, clear));
        let Some(lines) = lines.filter(clear).filter(|lines| found.iter().all(|(_, other, _)| other != lines)) else {
            continue;
        };
        if let Some(patches) = ground.patches(&lines) {
            found.push((start, lines, patches));
        }
    }
    found
}

/// How far a point of the plan lies from the west, with this pile to the north.
pub(super) fn from_west(pile: PileDirection, point: Point) -> Length {
    pile.northward(&Ring(vec![point])).0.first().map(|it| it.x).unwrap_or_default()
}

/// Where the outline turns; the many small turns of an arc are none.
fn corners(ring: &Ring) -> impl Iterator<Item = Length> + '_ {
    let turns = |before: Point, at: Point, after: Point| {
        let (a, b) = (at - before, after - at);
        let dot = i128::from(a.x.0) * i128::from(b.x.0) + i128::from(a.y.0) * i128::from(b.y.0);
        let cross = i128::from(a.x.0) * i128::from(b.y.0) - i128::from(a.y.0) * i128::from(b.x.0);
        // By more than about 22°: tan 0.4.
        dot <= 0 || cross.abs() * 5 > dot * 2
    };
    let sides: Vec<(Point, Point)> = ring.edges().collect();
    let before = sides.last().map(|it| it.0).into_iter().chain(ring.0.clone());
    let all: Vec<(Point, (Point, Point))> = before.zip(sides).collect();
    all.into_iter().filter(move |(before, (at, after))| turns(*before, *at, *after)).map(|(_, (at, _))| at.x)
}

fn mirrored(lines: Vec<Length>) -> Vec<Length> {
    lines.into_iter().rev().map(|it| -it).collect()
}

/// Lines from the seam line (or west side) `from` to the east, each as far on as the roll allows.
fn grow(ground: &Ground, from: Length, clear: Length) -> Option<Vec<Length>> {
    let (min, max) = (ground.bounds.min.x, ground.bounds.max.x);
    let mut lines = Vec::new();
    let mut from = from;
    loop {
        let lost = if from == min { Length::ZERO } else { ground.stock.slack };
        if ground.fits(from, max, lost) {
            return Some(lines);
        }
        from = next(ground, from, clear)?;
        lines.push(from);
        if lines.len() > MOST_BREADTHS {
            return None;
        }
    }
}

/// The farthest seam line after `from` that leaves a breadth the roll holds.
fn next(ground: &Ground, from: Length, clear: Length) -> Option<Length> {
    let stock = ground.stock;
    let full = ground.between(from, (from + stock.usable).min(ground.bounds.max.x));
    let over = full.iter().filter(|it| it.bounds.min.x == from).map(|it| it.west).max()?;
    let farthest = from + stock.goods.roll_width - over - stock.rules.seam_trim;
    // A wall just short of the seam line needs its allowance, so the line may have to lie nearer.
    let nearest = farthest - (ground.wall - stock.rules.seam_trim).max(Length::ZERO);
    let mut candidates = match stock.repeat_across {
        Some(repeat) if from > ground.bounds.min.x => {
            (0..stock.usable.0 / repeat.0).map(|it| from + stock.usable - repeat * it).collect()
        }
        _ => {
            let corners = ground.ring.0.iter().flat_map(|it| [it.x, it.x - clear]);
            let corners = corners.filter(|it| *it > nearest - clear && *it < farthest);
            corners.chain([farthest, nearest]).collect::<Vec<_>>()
        }
    };
    candidates.sort_unstable();
    let within = |it: &Length| *it > from && *it < ground.bounds.max.x;
    candidates
        .into_iter()
        .rev()
        .filter(within)
        .find(|it| is_clear(ground, *it, clear) && ground.fits(from, *it, Length::ZERO))
}

/// Whether no wall runs beside the seam line `at`, nearer than `clear`, with nothing but a strip of floor between them.
fn is_clear(ground: &Ground, at: Length, clear: Length) -> bool {
    let strip = |low, high| ground.ring.clipped(Axis::X, low, high).into_iter();
    let runs = |ring: &Ring, (low, high), sign| {
        let inside = |it: Point| it.x > low && it.x < high;
        ring.edges().any(|(from, to)| (to.y - from.y).0.signum() == sign && inside(from) && inside(to))
    };
    // The floor lies to the right of its edges: those that face east run south.
    let east = (at, at + clear);
    let west = (at - clear, at);
    !strip(east.0, east.1).any(|it| runs(&it, east, -1)) && !strip(west.0, west.1).any(|it| runs(&it, west, 1))
}

/// As many breadths as there are with full ones, the outer two equal.
fn balanced(ground: &Ground, lines: usize) -> Option<Vec<Length>> {
    let between = ground.stock.usable * (i64::try_from(lines).ok()? - 1).max(0);
    let outer = (ground.bounds.max.x - ground.bounds.min.x - between) / 2;
    if lines == 0 || outer <= Length::ZERO {
        return None;
    }
    Some((0..lines).map(|it| ground.bounds.min.x + outer + ground.stock.usable * it as i64).collect())
}
