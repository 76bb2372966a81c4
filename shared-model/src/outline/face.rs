//! The face of the walls: arcs over the lines between corners, and the rectangles of fixtures.

use super::Outline;
use super::readings::bend;
use crate::ids::WallId;
use crate::job::{Fixture, Opening, Room};
use crate::length::Length;
use crate::polygon::{Point, Ring};

/// An arc is drawn by straight lines that leave it by less than this.
const FLAT: Length = Length::sixty_fourths(4);
/// No arc rises more than this share of half its chord: then it is half a circle.
pub(super) const MOST_BEND: f64 = 1.0;
/// No arc needs more lines.
const MOST_LINES: i64 = 96;

/// A stretch of a wall that lies off its line, seen from the wall's start in clockwise order.
struct Stretch {
    along: Length,
    from: Point,
    to: Point,
    /// The step from the wall's line: out of the room, or into it.
    step: Point,
}

/// The walls' face: arcs, the near sides of fixtures that stand against a wall, and openings as far as `reach` says, out of the
/// room. Where stretches of one wall overlap the first counts; that is a problem told elsewhere.
pub(crate) fn face(room: &Room, outline: &Outline, reach: impl Fn(&Opening) -> Option<Length>) -> Ring {
    let mut corners = Vec::new();
    for ((&wall, &bend), (start, end)) in outline.walls.iter().zip(&outline.bends).zip(outline.ring.edges()) {
        corners.push(start);
        if bend != Length::ZERO {
            corners.extend(arc(start, end, bend));
            continue;
        }
        let out = |it: &Opening| {
            let ((from, to), far) = (outline.opening(it)?, reach(it)?);
            Some(Stretch { along: start.distance(from), from, to, step: outward(start, end, far) })
        };
        let into = |it: &Fixture| {
            let (from, to) = outline.fixture_foot(it)?;
            Some(Stretch { along: start.distance(from), from, to, step: outward(start, end, -it.depth) })
        };
        let openings = room.openings.iter().filter(|it| it.wall == wall).filter_map(out);
        let stands = |it: &&Fixture| it.wall == wall && is_notch(it) && outline.standing.contains(&it.id);
        let against = room.fixtures.iter().filter(stands);
        let mut stretches: Vec<Stretch> = openings.chain(against.filter_map(into)).collect();
        stretches.sort_by_key(|it| (it.along, start.distance(it.to)));
        let mut reached = Length::ZERO;
        for Stretch { along, from, to, step } in stretches {
            if along >= reached {
                reached = start.distance(to);
                corners.extend([from, from + step, to + step, to]);
            }
        }
    }
    Ring(corners).tidied()
}

/// Stands against its wall, so that the floor ends at it.
pub(super) fn is_notch(fixture: &Fixture) -> bool {
    fixture.clear == Length::ZERO && !fixture.kind.is_laid_over()
}

impl Outline {
    /// A fixture's near side on the line of its wall, the first end in clockwise order first. `None` when it does not fit its wall.
    fn fixture_foot(&self, fixture: &Fixture) -> Option<(Point, Point)> {
        self.span(fixture.wall, fixture.offset, fixture.width)
    }

    /// The corners of a fixture, clockwise from the one nearest to the start of its wall. `None` when it does not fit its wall.
    pub fn fixture(&self, fixture: &Fixture) -> Option<Ring> {
        let (from, to) = self.fixture_foot(fixture)?;
        let (near, far) = (outward(from, to, -fixture.clear), outward(from, to, -(fixture.clear + fixture.depth)));
        Some(Ring(vec![from + near, to + near, to + far, from + far]))
    }
}

/// A step square to the line from `from` to `to`, away from the room to its right; into the room for a negative length.
fn outward(from: Point, to: Point, far: Length) -> Point {
    let along = to - from;
    Point::new(-along.y, along.x).scaled(far, from.distance(to))
}

/// The points between the ends of an arc whose middle stands `bend` off the line between them, out of the room.
///
/// What is drawn never leaves floor out: lines touch an arc that bends outward from outside, and end on one that bends
/// inward.
fn arc(start: Point, end: Point, bend: Length) -> Vec<Point> {
    let (half, rise) = (start.distance(end).0 as f64 / 2.0, bend.0.unsigned_abs() as f64);
    if half <= 0.0 || rise > half * MOST_BEND {
        return Vec::new();
    }
    let radius = (half * half + rise * rise) / (2.0 * rise);
    let around = 4.0 * libm::atan(rise / half);
    let flat = FLAT.0 as f64;
    let widest = 2.0 * libm::acos((1.0 - flat / radius).clamp(-1.0, 1.0));
    let lines = (libm::ceil(around / widest.max(1e-6)) as i64).clamp(2, MOST_LINES);
    let each = around / lines as f64;
    let (angles, far): (Vec<f64>, f64) = if bend > Length::ZERO {
        ((0..lines).map(|it| (it as f64 + 0.5) * each).collect(), radius / libm::cos(each / 2.0))
    } else {
        ((1..lines).map(|it| it as f64 * each).collect(), radius)
    };
    let place = |angle: f64| {
        // From the middle of the line: along it, and off it to the side of the bend.
        let from_middle = angle - around / 2.0;
        let along = far * libm::sin(from_middle);
        let off = far * libm::cos(from_middle) - (radius - rise);
        let whole = start.distance(end);
        let step = (end - start).scaled(counts(half + along), whole);
        start + step + outward(start, end, counts(off * bend.0.signum() as f64))
    };
    angles.into_iter().map(place).collect()
}

fn counts(value: f64) -> Length {
    Length(libm::round(value) as i64)
}

/// How far each wall stands off the line between its corners, in the order of `walls`; out of the room is positive.
pub(super) fn bends(room: &Room, walls: &[WallId]) -> Vec<Length> {
    walls.iter().map(|&id| room.wall(id).map_or(Length::ZERO, bend)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Across a 16 ft chord a rise of 4 ft belongs to a circle of 10 ft radius (3-4-5 triangle: 6, 8, 10); its segment holds
    /// r²·(θ − sin θ)/2 with sin θ/2 = 0.8, which is 44.729 sq ft.
    #[test]
    fn an_arc_encloses_its_segment() {
        let (start, end) = (Point::ORIGIN, Point::new(Length::ZERO, Length::feet(16)));
        let square_feet = |bend: Length| {
            let mut ring = vec![start];
            ring.extend(arc(start, end, bend));
            ring.push(end);
            let area = Ring(ring).area();
            area.0 as f64 / (Length::feet(1) * Length::feet(1)).0 as f64
        };
        let (outward, inward) = (square_feet(Length::feet(4)), square_feet(-Length::feet(4)));
        let segment = 100.0 * (2.0 * libm::asin(0.8) - libm::sin(2.0 * libm::asin(0.8))) / 2.0;
        assert!((segment - 44.729).abs() < 0.001, "{segment}");
        assert!(outward > segment && outward < segment * 1.003, "{outward}: nothing is left out");
        assert!(inward < segment && inward > segment * 0.997, "{inward}: nothing is taken off");
    }

    #[test]
    fn an_arc_stays_within_a_sixteenth() {
        let (start, end) = (Point::ORIGIN, Point::new(Length::ZERO, Length::feet(16)));
        let centre = Point::new(Length::feet(6), Length::feet(8));
        for point in arc(start, end, Length::feet(4)) {
            let off = centre.distance(point) - Length::feet(10);
            assert!(off >= Length::ZERO && off <= Length::sixty_fourths(5), "{}", off.exact_text());
        }
        for point in arc(start, end, -Length::feet(4)) {
            let mirrored = Point::new(-point.x, point.y);
            assert!((centre.distance(mirrored) - Length::feet(10)).abs() <= Length(2));
        }
    }
}
