//! Why one place of a seam is worse than another.
//!
//! The rules are those of the Carpet and Rug Institute's *Carpet Installation Standard* (2009/2011), §6.2; how many
//! points each weighs is the shop's judgement, and the crew sees every reason.

use super::area::Area;
use super::lines::from_west;
use super::patch::Ground;
use super::{PileDirection, Seam, SeamCost, SeamKind};
use crate::length::Length;
use crate::polygon::{Axis, Bounds, Point};

const ACROSS_AREA: i64 = 20;
const ACROSS_TRAFFIC: i64 = 15;
const ACROSS_LIGHT: i64 = 10;
const IN_PIVOT: i64 = 25;
const INTO_DOORWAY: i64 = 30;
const SLIVER: i64 = 15;
const IN_SIGHT: i64 = 12;
const THROUGH_OPENING: i64 = 25;

/// A door leaf's width: where people turn in front of it (common practice).
const PIVOT: Length = Length::feet(3);
/// Narrower breadths than this are slivers (common practice).
pub(super) const NARROW: Length = Length::feet(1);

/// What a seam's surroundings are.
pub(super) struct Surroundings<'a> {
    pub area: &'a Area<'a>,
    /// Of the floor on the plan.
    pub bounds: Bounds,
    /// Which way the pile runs.
    pub pile: Axis,
}

/// All that speaks against a seam inside an area. `narrowest` is the narrower of the two breadths beside it.
pub(super) fn costs(seam: &Seam, narrowest: Length, around: &Surroundings) -> Vec<SeamCost> {
    let mut costs = Vec::new();
    let mut add = |points: i64, reason: &str| costs.push(SeamCost { points, reason: reason.to_owned() });
    let (along, across) = (around.bounds.size(around.pile), around.bounds.size(around.pile.other()));
    match seam.kind {
        SeamKind::Side if along < across => {
            add(ACROSS_AREA, "It runs across the area: seams should run its length (CRI installation standard §6.2).");
        }
        SeamKind::Cross => add(IN_SIGHT, "A cross seam in sight: the pile's lean shows it (common practice)."),
        _ => {}
    }
    if seam.kind == SeamKind::Side && narrowest < NARROW {
        add(SLIVER, "One of its breadths is narrower than 1 ft and hard to stretch (common practice).");
    }
    for mouth in around.area.mouths() {
        let walked = mouth.opening.kind.reaches_floor();
        if walked && crosses((seam.from, seam.to), (mouth.from, mouth.to)) {
            add(INTO_DOORWAY, "It runs into a doorway, square to the opening (CRI installation standard §6.2).");
        } else if walked && distance_to(mouth.middle(), (seam.from, seam.to)) < PIVOT.as_mm() {
            add(IN_PIVOT, "It lies where people turn in front of a door (CRI installation standard §6.2).");
        }
        if !walked && parallel((seam.from, seam.to), (mouth.from, mouth.to)) {
            add(ACROSS_LIGHT, "A window's light strikes across it (CRI installation standard §6.2).");
        }
    }
    for path in around.area.paths() {
        if crosses((seam.from, seam.to), path) && !parallel((seam.from, seam.to), path) {
            add(ACROSS_TRAFFIC, "The way from door to door goes across it (CRI installation standard §6.2).");
        }
    }
    costs
}

/// Where a seam that runs with the pile stops lying before a door, and where its breadths stop being slivers: how far from the west side.
pub(super) fn better_places<'a>(
    area: &'a Area,
    pile: PileDirection,
    ground: &Ground,
) -> impl Iterator<Item = Length> + 'a {
    let (west, span) = (ground.bounds.min.x, ground.bounds.size(Axis::X));
    let doors = area.mouths().filter(|it| it.opening.kind.reaches_floor());
    let clear = doors.map(move |it| from_west(pile, it.middle()) - west).flat_map(|it| [it - PIVOT, it + PIVOT]);
    clear.chain([NARROW, span - NARROW])
}

/// What speaks against the seam in an opening between two rooms: nothing, if a door leaf closes over it.
pub(super) fn opening_costs(leaf: bool) -> Vec<SeamCost> {
    if leaf {
        return Vec::new();
    }
    let reason = "It lies across the way through an opening without a door (CRI installation standard §6.2).";
    vec![SeamCost { points: THROUGH_OPENING, reason: reason.to_owned() }]
}

type Segment = (Point, Point);

/// Whether two segments have a point in common, ends included.
fn crosses(one: Segment, other: Segment) -> bool {
    let side = |(a, b): Segment, p: Point| {
        let (ab, ap) = (b - a, p - a);
        (i128::from(ab.x.0) * i128::from(ap.y.0) - i128::from(ab.y.0) * i128::from(ap.x.0)).signum()
    };
    side(one, other.0) * side(one, other.1) <= 0
        && side(other, one.0) * side(other, one.1) <= 0
        && (side(one, other.0), side(one, other.1)) != (0, 0)
}

/// Whether two segments run less than 45° apart.
fn parallel(one: Segment, other: Segment) -> bool {
    let (a, b) = (one.1 - one.0, other.1 - other.0);
    let dot = i128::from(a.x.0) * i128::from(b.x.0) + i128::from(a.y.0) * i128::from(b.y.0);
    let cross = i128::from(a.x.0) * i128::from(b.y.0) - i128::from(a.y.0) * i128::from(b.x.0);
    dot.abs() > cross.abs()
}

/// In millimetres.
fn distance_to(p: Point, (a, b): Segment) -> f64 {
    let (ax, ay) = ((p.x - a.x).as_mm(), (p.y - a.y).as_mm());
    let (bx, by) = ((b.x - a.x).as_mm(), (b.y - a.y).as_mm());
    let square = bx * bx + by * by;
    let along = if square > 0.0 { ((ax * bx + ay * by) / square).clamp(0.0, 1.0) } else { 0.0 };
    let (dx, dy) = (ax - along * bx, ay - along * by);
    (dx * dx + dy * dy).sqrt()
}
