//! The few plane-geometry operations; the only file that names the geometry crate.
//!
//! Whatever can be exact is: areas, crossings, containment, quarter turns, and cuts along the axes of rings whose walls run
//! along the axes. Where a cut meets a slanted wall the point is rounded to a count (1/8 µm).

use std::iter::Sum;
use std::ops::{Add, Mul, Neg, Sub};

use geo::{BooleanOps, Coord, LineString, Polygon};
use serde::{Deserialize, Serialize};

use crate::job::Angle;
use crate::length::Length;

mod clip;

/// A point of a plan: `x` to the east, `y` to the north. Exact counts, so that rectilinear rooms stay exact.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default, Serialize, Deserialize)]
pub struct Point {
    pub x: Length,
    pub y: Length,
}

/// A simple ring of corners without the repeated first one, clockwise (the room lies to the right of each wall).
#[derive(Clone, PartialEq, Eq, Debug, Default, Serialize, Deserialize)]
pub struct Ring(pub Vec<Point>);

/// An area, exact: square counts of 1/8 µm.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Area(pub i128);

/// The unit an area is shown in.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum AreaUnit {
    SquareFeet,
    SquareYards,
    SquareMetres,
}

/// One of the plan's two axes.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
pub enum Axis {
    /// To the east.
    X,
    /// To the north.
    Y,
}

/// The smallest rectangle along the axes around something.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Bounds {
    pub min: Point,
    pub max: Point,
}

impl Point {
    pub const ORIGIN: Self = Self { x: Length::ZERO, y: Length::ZERO };

    pub const fn new(x: Length, y: Length) -> Self {
        Self { x, y }
    }

    /// The end of a walk of this `length` from the origin, `heading` counted from north to the right. Exact for
    /// quarter turns, rounded to the nearest count otherwise.
    pub fn toward(heading: Angle, length: Length) -> Self {
        Self::new(Length::ZERO, length).turned(heading)
    }

    /// Turned around the origin to the right. Exact for quarter turns, rounded to the nearest count otherwise.
    pub fn turned(self, by: Angle) -> Self {
        match by.quarters() {
            Some(0) => self,
            Some(1) => Self::new(self.y, -self.x),
            Some(2) => -self,
            Some(_) => Self::new(-self.y, self.x),
            None => {
                let (sin, cos) = by.unit();
                let (x, y) = (self.x.0 as f64, self.y.0 as f64);
                Self::new(nearest(x * cos + y * sin), nearest(y * cos - x * sin))
            }
        }
    }

    /// `part ÷ whole` of the way from the origin, to the nearest count. The origin if `whole` is zero.
    pub fn scaled(self, part: Length, whole: Length) -> Self {
        let scaled = |it: Length| {
            let (product, whole) = (i128::from(it.0) * i128::from(part.0), i128::from(whole.0));
            let floor = (2 * product + whole).checked_div_euclid(2 * whole).unwrap_or(0);
            Length(i64::try_from(floor).unwrap_or(0))
        };
        Self::new(scaled(self.x), scaled(self.y))
    }

    /// Half way between two points, to a count.
    pub fn middle(self, other: Self) -> Self {
        Self::new((self.x + other.x) / 2, (self.y + other.y) / 2)
    }

    /// To the nearest count.
    pub fn distance(self, other: Self) -> Length {
        let step = other - self;
        let (x, y) = (u128::from(step.x.0.unsigned_abs()), u128::from(step.y.0.unsigned_abs()));
        let square = x * x + y * y;
        let root = square.isqrt();
        let nearest = if square - root * root > root { root + 1 } else { root };
        Length(i64::try_from(nearest).unwrap_or(i64::MAX))
    }

    /// The coordinate along an axis.
    pub const fn along(self, axis: Axis) -> Length {
        match axis {
            Axis::X => self.x,
            Axis::Y => self.y,
        }
    }
}

fn nearest(counts: f64) -> Length {
    Length(libm::round(counts) as i64)
}

impl Add for Point {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self::new(self.x + other.x, self.y + other.y)
    }
}

impl Sub for Point {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self::new(self.x - other.x, self.y - other.y)
    }
}

impl Neg for Point {
    type Output = Self;
    fn neg(self) -> Self {
        Self::new(-self.x, -self.y)
    }
}

impl Axis {
    pub const fn other(self) -> Self {
        match self {
            Self::X => Self::Y,
            Self::Y => Self::X,
        }
    }
}

impl Bounds {
    /// Size along an axis.
    pub fn size(&self, axis: Axis) -> Length {
        self.max.along(axis) - self.min.along(axis)
    }

    /// The smallest rectangle around both.
    pub fn with(self, other: Self) -> Self {
        let min = Point::new(self.min.x.min(other.min.x), self.min.y.min(other.min.y));
        let max = Point::new(self.max.x.max(other.max.x), self.max.y.max(other.max.y));
        Self { min, max }
    }

    /// Whether more than an edge is common to both.
    pub fn overlaps(&self, other: &Self) -> bool {
        [Axis::X, Axis::Y]
            .iter()
            .all(|&axis| self.min.along(axis) < other.max.along(axis) && other.min.along(axis) < self.max.along(axis))
    }
}

/// Twice the signed area of the triangle: positive when `a`, `b`, `c` turn left.
fn cross(a: Point, b: Point, c: Point) -> i128 {
    let (ab, ac) = (b - a, c - a);
    i128::from(ab.x.0) * i128::from(ac.y.0) - i128::from(ab.y.0) * i128::from(ac.x.0)
}

/// Whether `p`, which lies on the line through `a` and `b`, lies between them or on one of them.
fn between(a: Point, b: Point, p: Point) -> bool {
    (a.x.min(b.x)..=a.x.max(b.x)).contains(&p.x) && (a.y.min(b.y)..=a.y.max(b.y)).contains(&p.y)
}

/// Whether two segments have a point in common.
fn touch(a: Point, b: Point, c: Point, d: Point) -> bool {
    let (ca, cb) = (cross(c, d, a).signum(), cross(c, d, b).signum());
    let (ac, ad) = (cross(a, b, c).signum(), cross(a, b, d).signum());
    (ca * cb < 0 && ac * ad < 0)
        || (ca == 0 && between(c, d, a))
        || (cb == 0 && between(c, d, b))
        || (ac == 0 && between(a, b, c))
        || (ad == 0 && between(a, b, d))
}

impl Ring {
    /// A rectangle along the axes between two opposite corners; its first edge runs north from the south-west corner.
    pub fn rectangle(a: Point, b: Point) -> Self {
        let (west, east) = (a.x.min(b.x), a.x.max(b.x));
        let (south, north) = (a.y.min(b.y), a.y.max(b.y));
        Self(vec![Point::new(west, south), Point::new(west, north), Point::new(east, north), Point::new(east, south)])
    }

    /// Each edge from its start to its end.
    pub fn edges(&self) -> impl Iterator<Item = (Point, Point)> + '_ {
        self.0.iter().copied().zip(self.0.iter().copied().cycle().skip(1))
    }

    /// Twice the area, positive for a clockwise ring.
    fn doubled(&self) -> i128 {
        self.edges().map(|(a, b)| i128::from(b.x.0) * i128::from(a.y.0) - i128::from(a.x.0) * i128::from(b.y.0)).sum()
    }

    pub fn is_clockwise(&self) -> bool {
        self.doubled() > 0
    }

    /// Exact; half a square count is dropped, which only slanted walls can leave.
    pub fn area(&self) -> Area {
        Area(self.doubled().abs() / 2)
    }

    pub fn perimeter(&self) -> Length {
        self.edges().map(|(a, b)| a.distance(b)).sum()
    }

    /// `None` for a ring without corners.
    pub fn bounds(&self) -> Option<Bounds> {
        self.0.iter().map(|&it| Bounds { min: it, max: it }).reduce(Bounds::with)
    }

    /// The first two edges, by the index of their starts, that cross or touch each other where they must not; an edge
    /// without length touches the one before. `None` for a simple ring.
    pub fn crossing(&self) -> Option<(usize, usize)> {
        let edges: Vec<_> = self.edges().collect();
        let count = edges.len();
        for (i, &(a, b)) in edges.iter().enumerate() {
            for (j, &(c, d)) in edges.iter().enumerate().skip(i + 1) {
                let follows = j == i + 1;
                let closes = i == 0 && j + 1 == count;
                let wrong = match (follows, closes) {
                    (false, false) => touch(a, b, c, d),
                    (true, _) => folds_back(a, b, d),
                    (false, true) => folds_back(c, d, b),
                };
                if wrong {
                    return Some((i, j));
                }
            }
        }
        None
    }

    /// Whether the point lies inside or on the edge.
    pub fn contains(&self, p: Point) -> bool {
        let mut inside = false;
        for (a, b) in self.edges() {
            let side = cross(a, b, p);
            if side == 0 && between(a, b, p) {
                return true;
            }
            if (a.y > p.y) != (b.y > p.y) && (side > 0) == (b.y > a.y) {
                inside = !inside;
            }
        }
        inside
    }

    /// Turned around the origin to the right; see [`Point::turned`].
    pub fn turned(&self, by: Angle) -> Self {
        Self(self.0.iter().map(|it| it.turned(by)).collect())
    }

    pub fn shifted(&self, by: Point) -> Self {
        Self(self.0.iter().map(|&it| it + by).collect())
    }

    /// Without repeated corners, corners on a straight line, and spikes. Empty if nothing with an area is left.
    pub fn tidied(&self) -> Self {
        let mut corners: Vec<Point> = Vec::with_capacity(self.0.len());
        for &point in &self.0 {
            corners.push(point);
            while let [.., a, b, c] = corners[..]
                && cross(a, b, c) == 0
            {
                corners.truncate(corners.len() - 2);
                if a != c {
                    corners.push(c);
                }
            }
            if let [a, b] = corners[..]
                && a == b
            {
                corners.pop();
            }
        }
        // The same where the end meets the start.
        loop {
            match corners[..] {
                [] | [_] | [_, _] => return Self::default(),
                [a, .., y, z] if cross(y, z, a) == 0 => {
                    corners.pop();
                }
                [a, b, .., z] if cross(z, a, b) == 0 => {
                    corners.remove(0);
                }
                _ => return Self(corners),
            }
        }
    }

    /// The parts whose coordinate on axis `across` lies between `from` and `to`; without parts that have no area.
    ///
    /// Exact for edges along the axes; where a slanted edge is cut, the point is rounded to the nearest count, the same
    /// way on both sides of the cut.
    pub fn clipped(&self, across: Axis, from: Length, to: Length) -> Vec<Self> {
        clip::strip(self, across, from, to)
    }

    /// What lies in both rings. Computed in floating point and rounded to the nearest count: good for finding and drawing
    /// overlaps, not for cutting.
    pub fn overlap(&self, other: &Self) -> Vec<Self> {
        match (self.bounds(), other.bounds()) {
            (Some(one), Some(two)) if one.overlaps(&two) => {}
            _ => return Vec::new(),
        }
        let common = self.polygon().intersection(&other.polygon());
        common.into_iter().map(|it| Self::from_line(it.exterior()).tidied()).filter(|it| !it.0.is_empty()).collect()
    }

    fn polygon(&self) -> Polygon<f64> {
        let line = self.0.iter().map(|it| Coord { x: it.x.0 as f64, y: it.y.0 as f64 }).collect();
        Polygon::new(line, Vec::new())
    }

    fn from_line(line: &LineString<f64>) -> Self {
        let mut ring = Self(line.coords().skip(1).map(|it| Point::new(nearest(it.x), nearest(it.y))).collect());
        if !ring.is_clockwise() {
            ring.0.reverse();
        }
        ring
    }
}

/// Whether the edge from `b` to `c` has no length or runs back along the edge from `a` to `b`.
fn folds_back(a: Point, b: Point, c: Point) -> bool {
    a == b || b == c || (cross(a, b, c) == 0 && (between(a, b, c) || between(b, c, a)))
}

impl Area {
    pub const ZERO: Self = Self(0);
    pub const SQUARE_FOOT: Self = Self((Length::FOOT.0 as i128).pow(2));
    pub const SQUARE_YARD: Self = Self(9 * Self::SQUARE_FOOT.0);
    pub const SQUARE_METRE: Self = Self((Length::METRE.0 as i128).pow(2));

    /// To the nearest hundredth of the unit: `37.33 sq yd`.
    pub fn show(self, unit: AreaUnit) -> String {
        let (one, name) = match unit {
            AreaUnit::SquareFeet => (Self::SQUARE_FOOT, "sq ft"),
            AreaUnit::SquareYards => (Self::SQUARE_YARD, "sq yd"),
            AreaUnit::SquareMetres => (Self::SQUARE_METRE, "m²"),
        };
        let sign = if self.0 < 0 { "-" } else { "" };
        let hundredths = (self.0.unsigned_abs().saturating_mul(100) + one.0.unsigned_abs() / 2) / one.0.unsigned_abs();
        format!("{sign}{}.{:02} {name}", hundredths / 100, hundredths % 100)
    }
}

impl Mul for Length {
    type Output = Area;
    fn mul(self, other: Self) -> Area {
        Area(i128::from(self.0) * i128::from(other.0))
    }
}

impl Add for Area {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }
}

impl Sub for Area {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }
}

impl Sum for Area {
    fn sum<I: Iterator<Item = Self>>(areas: I) -> Self {
        areas.fold(Self::ZERO, Add::add)
    }
}
