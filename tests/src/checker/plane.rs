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
