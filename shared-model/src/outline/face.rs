//! The face of the walls: arcs over the lines between corners, and the rectangles of fixtures.

use super::Outline;
use super::openings::PLAY;
use super::readings::bend;
use crate::ids::WallId;
use crate::job::{Fixture, Opening, Room};
use crate::length::Length;
use crate::polygon::{Point, Ring};

/// An arc is drawn by straight lines that leave it by less than this.
const FLAT: Length = Length::sixty_fourths(4);
/// No arc needs more lines.
const MOST_LINES: i64 = 96;

/// A stretch of a wall that lies off its line, from the wall's start in clockwise order.
struct Stretch {
    from: Length,
    to: Length,
    /// Off the wall's line: out of the room, or into it when negative.
    out: Length,
}

/// The face of one wall without the corners at its ends.
#[derive(Default)]
struct WallFace {
    points: Vec<Point>,
    /// What stands at its start, or end, fills the corner there.
    fills_start: bool,
    fills_end: bool,
}

/// The walls' face: arcs, the near sides of fixtures that stand against a wall, and openings as far as `reach` says, out of the
/// room. Where stretches of one wall overlap the first counts.
pub(crate) fn face(room: &Room, outline: &Outline, reach: impl Fn(&Opening) -> Option<Length>) -> Ring {
    let edges: Vec<(Point, Point)> = outline.ring.edges().collect();
    let walls = outline.walls.iter().zip(&outline.bends).enumerate();
    let faces: Vec<WallFace> = walls
        .map(|(i, (&wall, &bend))| match edges.get(i) {
            Some(&(start, end)) if bend != Length::ZERO => {
                WallFace { points: arc(start, end, bend), ..WallFace::default() }
            }
            _ => straight(outline, &edges, i, stretches(room, outline, wall, &reach)),
        })
        .collect();
    let mut corners = Vec::new();
    let mut is_filled = faces.last().is_some_and(|it| it.fills_end);
    for (WallFace { points, fills_start, fills_end }, (start, _)) in faces.into_iter().zip(edges) {
        if !fills_start && !is_filled {
            corners.push(start);
        }
        corners.extend(points);
        is_filled = fills_end;
    }
    Ring(corners).tidied()
}

fn stretches(room: &Room, outline: &Outline, wall: WallId, reach: impl Fn(&Opening) -> Option<Length>) -> Vec<Stretch> {
    let Some(start) = outline.walls.iter().position(|&it| it == wall).and_then(|it| outline.ring.0.get(it)) else {
        return Vec::new();
    };
    let stretch =
        |(from, to): (Point, Point), out: Length| Stretch { from: start.distance(from), to: start.distance(to), out };
    let openings = room.openings.iter().filter(|it| it.wall == wall);
    let openings = openings.filter_map(|it| Some(stretch(outline.opening(it)?, reach(it)?)));
    let against = room.fixtures.iter().filter(|it| it.wall == wall && is_notch(it));
    let against = against.filter(|it| outline.standing.contains(&it.id));
    let against = against.filter_map(|it| Some(stretch(outline.fixture_foot(it)?, -it.depth)));
    let mut stretches: Vec<Stretch> = openings.chain(against).collect();
    stretches.sort_by_key(|it| (it.from, it.to));
    stretches
}

/// The face of a wall without a bend.
fn straight(outline: &Outline, edges: &[(Point, Point)], wall: usize, stretches: Vec<Stretch>) -> WallFace {
    let count = edges.len();
    let (before, after) = ((wall + count - 1) % count, (wall + 1) % count);
    let (start, end) = edges[wall];
    let length = start.distance(end);
    let place = |along: Length, out: Length| start + (end - start).scaled(along, length) + outward(start, end, out);
    let is_straight = |it: usize| outline.bends.get(it) == Some(&Length::ZERO);
    let mut face = WallFace::default();
    let mut reached = Length::ZERO;
    for Stretch { from, to, out } in stretches {
        let from = from.max(reached);
        if from >= to {
            continue;
        }
        reached = to;
        let [near, far] = [place(from, out), place(to, out)];
        match filled(edges[wall], (start, edges[before].0), near, out).filter(|_| from <= PLAY && is_straight(before)) {
            Some(at) => {
                face.fills_start = true;
                face.points.push(at);
            }
            None => face.points.extend([place(from, Length::ZERO), near]),
        }
        match filled(edges[wall], (end, edges[after].1), far, out).filter(|_| length - to <= PLAY && is_straight(after))
        {
            Some(at) => {
                face.fills_end = true;
                face.points.push(at);
            }
            None => face.points.extend([far, place(to, Length::ZERO)]),
        }
    }
    face
}

/// Where the near side of what stands in a corner meets the wall beside it: nobody strips or carpets the gap that rounding, a
/// corner not quite square or the tape leaves there.
fn filled((start, end): (Point, Point), (corner, beyond): (Point, Point), near: Point, out: Length) -> Option<Point> {
    let (along, aside) = (end - start, beyond - corner);
    let inward = (aside.x * along.y - aside.y * along.x).0 / i128::from(start.distance(end).0.max(1));
    let inward = Length(i64::try_from(inward).ok()?);
    let at = corner + aside.scaled(-out, inward);
    (out < Length::ZERO && inward >= -out && at.distance(near) <= PLAY).then_some(at)
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
pub(super) fn outward(from: Point, to: Point, far: Length) -> Point {
    let along = to - from;
    Point::new(-along.y, along.x).scaled(far, from.distance(to))
}

/// The points between the ends of an arc whose middle stands `bend` off the line between them, out of the room.
///
/// What is drawn never leaves floor out: lines touch an arc that bends outward from outside, and end on one that bends
/// inward.
fn arc(start: Point, end: Point, bend: Length) -> Vec<Point> {
    let (half, rise) = (start.distance(end).0 as f64 / 2.0, bend.0.unsigned_abs() as f64);
    // Half a circle rises by half its chord.
    if half <= 0.0 || rise > half {
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
