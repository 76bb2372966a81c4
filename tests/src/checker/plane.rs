//! The checker's own plane geometry, apart from the engine's.

use shared_model::polygon::{Point, Ring};

use super::TOLERANCE;

/// However flat an edge is, it is not looked past it farther than 1/2 mm.
const MOST_PLAY: f64 = 1_000.0;

pub type Polygon = Vec<(f64, f64)>;

pub fn edges(polygon: &Polygon) -> impl Iterator<Item = ((f64, f64), (f64, f64))> + '_ {
    polygon.iter().copied().zip(polygon.iter().copied().cycle().skip(1))
}

pub fn perimeter(polygon: &Polygon) -> f64 {
    edges(polygon).map(|(a, b)| (b.0 - a.0).hypot(b.1 - a.1)).sum()
}

pub fn doubled_area(ring: &Ring) -> i128 {
    let next = ring.0.iter().cycle().skip(1);
    let cross =
        |(a, b): (&Point, &Point)| i128::from(a.x.0) * i128::from(b.y.0) - i128::from(b.x.0) * i128::from(a.y.0);
    ring.0.iter().zip(next).map(cross).sum()
}

pub fn inside(polygon: &Polygon, (u, v): (f64, f64)) -> bool {
    let crossed =
        edges(polygon).filter(|(a, b)| (a.1 > v) != (b.1 > v) && u < a.0 + (b.0 - a.0) * (v - a.1) / (b.1 - a.1));
    crossed.count() % 2 == 1
}

/// How far the sides of two polygons are apart, across or along, whichever is more; zero where they cross.
pub fn distance(one: &Polygon, other: &Polygon) -> f64 {
    let to_edges = |it: &Polygon, of: &Polygon| {
        let all = it.iter().flat_map(|&at| edges(of).map(move |edge| to_edge(at, edge)));
        all.fold(f64::INFINITY, f64::min)
    };
    let cross = |(a, b): &((f64, f64), (f64, f64)), (c, d): &((f64, f64), (f64, f64))| {
        let side = |p: (f64, f64), q: (f64, f64), r: (f64, f64)| (q.0 - p.0) * (r.1 - p.1) - (q.1 - p.1) * (r.0 - p.0);
        side(*a, *b, *c) * side(*a, *b, *d) < 0.0 && side(*c, *d, *a) * side(*c, *d, *b) < 0.0
    };
    if edges(one).any(|edge| edges(other).any(|there| cross(&edge, &there))) {
        return 0.0;
    }
    to_edges(one, other).min(to_edges(other, one))
}

/// The larger of both distances falls towards the nearest point of an edge, and rises behind it.
fn to_edge(at: (f64, f64), (from, to): ((f64, f64), (f64, f64))) -> f64 {
    let far = |t: f64| {
        let on = (from.0 + (to.0 - from.0) * t, from.1 + (to.1 - from.1) * t);
        (on.0 - at.0).abs().max((on.1 - at.1).abs())
    };
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..80 {
        let third = (high - low) / 3.0;
        if far(low + third) <= far(high - third) {
            high -= third;
        } else {
            low += third;
        }
    }
    far(low)
}

/// Where a line meets an edge, and by how much that may be off when the edge's ends are rounded: the flatter, the more.
#[derive(Clone, Copy)]
pub struct Met {
    pub u: f64,
    pub play: f64,
}

/// Where a polygon without corners between `low` and `high` is met by the line at `share` of the way between them.
pub fn spans(polygon: &Polygon, low: f64, high: f64, share: f64) -> Vec<(Met, Met)> {
    let through = edges(polygon).filter(|(a, b)| a.1.min(b.1) <= low && a.1.max(b.1) >= high);
    let mut met: Vec<(f64, Met)> = through
        .map(|(a, b)| {
            let slope = (b.0 - a.0) / (b.1 - a.1);
            let at = |v: f64| a.0 + slope * (v - a.1);
            let play = TOLERANCE * (1.0 + slope.abs()).min(MOST_PLAY);
            (at((low + high) / 2.0), Met { u: at(low + (high - low) * share), play })
        })
        .collect();
    met.sort_by(|one, other| one.0.total_cmp(&other.0));
    met.chunks_exact(2).map(|pair| (pair[0].1, pair[1].1)).collect()
}
