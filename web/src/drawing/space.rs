//! Where there is room on a drawing: text and marks are placed so that nothing covers anything else.

use shared_model::polygon::{Point, Ring};

/// A point of a drawing in CSS pixels; `y` runs down the screen.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Spot {
    pub x: f64,
    pub y: f64,
}

impl Spot {
    pub const fn new(x: f64, y: f64) -> Self {
        Self { x, y }
    }

    /// A point of the plan, drawn at `scale` pixels per millimetre, north up.
    pub fn of(point: Point, scale: f64) -> Self {
        Self::new(point.x.as_mm() * scale, -point.y.as_mm() * scale)
    }

    pub fn shifted(self, by: Self, times: f64) -> Self {
        Self::new(self.x + by.x * times, self.y + by.y * times)
    }

    pub fn between(self, other: Self, part: f64) -> Self {
        Self::new(self.x + (other.x - self.x) * part, self.y + (other.y - self.y) * part)
    }

    pub fn distance(self, other: Self) -> f64 {
        (self.x - other.x).hypot(self.y - other.y)
    }

    /// Length 1 from here to `other`; no direction when both are one point.
    pub fn toward(self, other: Self) -> Self {
        match self.distance(other) {
            0.0 => Self::default(),
            far => Self::new((other.x - self.x) / far, (other.y - self.y) / far),
        }
    }

    /// The other way.
    pub const fn back(self) -> Self {
        Self::new(-self.x, -self.y)
    }

    /// A quarter turn to the right as seen on the screen.
    pub const fn right(self) -> Self {
        Self::new(-self.y, self.x)
    }
}

/// The corners of a ring of the plan, as drawn.
pub fn corners(ring: &Ring, scale: f64) -> Vec<Spot> {
    ring.0.iter().map(|&it| Spot::of(it, scale)).collect()
}

/// The corners as an SVG `points` attribute.
pub fn points(corners: &[Spot]) -> String {
    let each: Vec<String> = corners.iter().map(|it| format!("{:.1},{:.1}", it.x, it.y)).collect();
    each.join(" ")
}

/// The sides of a ring: each corner with the next.
pub fn sides(corners: &[Spot]) -> impl Iterator<Item = (Spot, Spot)> + '_ {
    let next = corners.iter().skip(1).chain(corners.first());
    corners.iter().copied().zip(next.copied())
}

/// Whether a point lies inside a ring (even-odd rule).
pub fn inside(at: Spot, ring: &[Spot]) -> bool {
    sides(ring)
        .filter(|(a, b)| (a.y > at.y) != (b.y > at.y) && at.x < a.x + (b.x - a.x) * (at.y - a.y) / (b.y - a.y))
        .count()
        % 2
        == 1
}

/// Distance from a point to the nearest side of a ring.
pub fn clearance(at: Spot, ring: &[Spot]) -> f64 {
    sides(ring).map(|(a, b)| to_side(at, a, b)).fold(f64::INFINITY, f64::min)
}

/// Distance from a point to the straight piece from `a` to `b`.
pub fn to_side(at: Spot, a: Spot, b: Spot) -> f64 {
    let (dx, dy) = (b.x - a.x, b.y - a.y);
    let long = dx * dx + dy * dy;
    let part = if long > 0.0 { (((at.x - a.x) * dx + (at.y - a.y) * dy) / long).clamp(0.0, 1.0) } else { 0.0 };
    at.distance(a.between(b, part))
}

/// The rectangle that a text or a mark takes up.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Patch {
    pub middle: Spot,
    pub width: f64,
    pub height: f64,
    /// Turned by this, clockwise on the screen.
    pub degrees: f64,
}

impl Patch {
    pub const fn level(middle: Spot, width: f64, height: f64) -> Self {
        Self { middle, width, height, degrees: 0.0 }
    }

    /// The thin rectangle along a line.
    pub fn along(a: Spot, b: Spot, height: f64) -> Self {
        let degrees = (b.y - a.y).atan2(b.x - a.x).to_degrees();
        Self { middle: a.between(b, 0.5), width: a.distance(b), height, degrees }
    }

    fn axis(&self) -> Spot {
        let turned = self.degrees.to_radians();
        Spot::new(turned.cos(), turned.sin())
    }

    pub fn corners(&self) -> [Spot; 4] {
        let along = self.axis();
        let across = along.right();
        let corner =
            |x: f64, y: f64| self.middle.shifted(along, x * self.width / 2.0).shifted(across, y * self.height / 2.0);
        [corner(-1.0, -1.0), corner(1.0, -1.0), corner(1.0, 1.0), corner(-1.0, 1.0)]
    }

    /// Whether two rectangles overlap: no side of either separates them.
    pub fn overlaps(&self, other: &Self) -> bool {
        let (mine, theirs) = (self.corners(), other.corners());
        let axes = [self.axis(), self.axis().right(), other.axis(), other.axis().right()];
        axes.iter().all(|axis| {
            let span = |corners: &[Spot; 4]| {
                let along = corners.iter().map(|it| it.x * axis.x + it.y * axis.y);
                along.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), it| (low.min(it), high.max(it)))
            };
            let ((low, high), (least, most)) = (span(&mine), span(&theirs));
            low < most && least < high
        })
    }

    pub fn is_free(&self, taken: &[Self]) -> bool {
        !taken.iter().any(|it| it.overlaps(self))
    }

    /// Whether it lies inside a ring, away from its sides.
    pub fn fits(&self, ring: &[Spot]) -> bool {
        inside(self.middle, ring) && !sides(ring).any(|(a, b)| Self::along(a, b, 3.0).overlaps(self))
    }
}

/// About how wide a text is at a font size: the system's fonts differ, so this is on the wide side.
pub fn text_width(text: &str, size: f64) -> f64 {
    text.chars().map(|it| if matches!(it, ' ' | '\'' | '"' | '.' | ',' | '/') { 0.34 } else { 0.64 }).sum::<f64>()
        * size
}

/// The place inside a ring for something level of this size, as far from the sides as can be and clear of `taken`.
/// `None` when it fits nowhere.
pub fn settle(ring: &[Spot], width: f64, height: f64, taken: &[Patch]) -> Option<Spot> {
    const STEPS: u32 = 16;
    let (low, high) = extent(ring)?;
    let grid = (0..=STEPS).flat_map(|row| (0..=STEPS).map(move |column| (f64::from(column), f64::from(row))));
    let spots = grid.map(|(column, row)| {
        let part = f64::from(STEPS);
        Spot::new(low.x + (high.x - low.x) * column / part, low.y + (high.y - low.y) * row / part)
    });
    let middle = low.between(high, 0.5);
    let fitting = spots.filter(|&at| {
        let patch = Patch::level(at, width, height);
        patch.fits(ring) && patch.is_free(taken)
    });
    // Clear of the sides first; of equally clear places the one nearest the middle.
    let worth = |at: Spot| clearance(at, ring) - 0.25 * at.distance(middle);
    fitting.max_by(|&a, &b| worth(a).total_cmp(&worth(b)))
}

/// The least and the greatest corner of what a set of points takes up.
pub fn extent(spots: &[Spot]) -> Option<(Spot, Spot)> {
    let (&first, rest) = spots.split_first()?;
    Some(rest.iter().fold((first, first), |(low, high), it| {
        (Spot::new(low.x.min(it.x), low.y.min(it.y)), Spot::new(high.x.max(it.x), high.y.max(it.y)))
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ring(spots: &[(f64, f64)]) -> Vec<Spot> {
        spots.iter().map(|&(x, y)| Spot::new(x, y)).collect()
    }

    #[test]
    fn turned_rectangles_overlap_only_where_they_meet() {
        let level = Patch::level(Spot::new(0.0, 0.0), 40.0, 10.0);
        let upright = Patch { middle: Spot::new(28.0, 0.0), width: 40.0, height: 10.0, degrees: -90.0 };
        assert!(
            !level.overlaps(&upright),
            "5 px right of the end of the level one, which is at 20, starts the upright one at 23"
        );
        assert!(level.overlaps(&Patch { middle: Spot::new(24.0, 0.0), ..upright }));
        let slanted = Patch { middle: Spot::new(24.0, 14.0), width: 40.0, height: 10.0, degrees: -45.0 };
        assert!(!level.overlaps(&slanted), "their upright boxes overlap, they do not");
    }

    #[test]
    fn text_settles_in_the_roomy_leg_of_an_l() {
        // 200 wide at the top, only 60 wide below.
        let l = ring(&[(0.0, 0.0), (200.0, 0.0), (200.0, 80.0), (60.0, 80.0), (60.0, 300.0), (0.0, 300.0)]);
        let at = settle(&l, 90.0, 20.0, &[]).unwrap();
        assert!(at.y < 80.0 && Patch::level(at, 90.0, 20.0).fits(&l));
        assert_eq!(settle(&l, 190.0, 90.0, &[]), None);
        let second = settle(&l, 40.0, 20.0, &[Patch::level(at, 90.0, 20.0)]).unwrap();
        assert!(Patch::level(second, 40.0, 20.0).is_free(&[Patch::level(at, 90.0, 20.0)]));
    }

    #[test]
    fn a_point_is_inside_by_the_even_odd_rule() {
        let square = ring(&[(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)]);
        assert!(inside(Spot::new(5.0, 5.0), &square));
        assert!(!inside(Spot::new(15.0, 5.0), &square));
        assert!((clearance(Spot::new(2.0, 5.0), &square) - 2.0).abs() < 1e-9);
    }
}
