//! Dimensions along walls: readable from below or from the right, never over each other.

use super::space::{Patch, Spot, inside, text_width, to_side};

/// The font size of dimensions, in pixels.
pub const SIZE: f64 = 14.0;

/// A wall to write its length at. The room lies to the right of the way from `from` to `to`.
#[derive(Clone, PartialEq, Debug)]
pub struct Measured {
    pub from: Spot,
    pub to: Spot,
    pub text: String,
}

/// A dimension that found its place.
#[derive(Clone, PartialEq, Debug)]
pub struct Dim {
    pub middle: Spot,
    /// Clockwise on the screen, more than −90 − ½ and not more than +90 − ½: never upside down.
    pub degrees: f64,
    pub text: String,
    /// The dimension line with its end ticks, when the text stands off the wall and fits between them.
    pub line: Option<(Spot, Spot)>,
}

/// How a dimension may stand: inside against the wall, then step by step outward.
const STEPS: [f64; 4] = [13.0, -14.0, -32.0, -50.0];

/// Gives each wall's length a place that is clear of `taken`, longest wall first; what finds none is hidden. `taken` grows.
/// Outside its own room a length stands on none of the `floors`, where it would name another room's wall; and nowhere nearer to
/// another wall than to its own: who lays carpet by the drawing takes it for that one's.
pub fn place(mut walls: Vec<Measured>, floors: &[Vec<Spot>], taken: &mut Vec<Patch>) -> Vec<Dim> {
    walls.sort_by(|a, b| b.from.distance(b.to).total_cmp(&a.from.distance(a.to)));
    let lines: Vec<(Spot, Spot)> = walls.iter().map(|it| (it.from, it.to)).collect();
    walls.into_iter().filter_map(|wall| place_one(wall, &lines, floors, taken)).collect()
}

fn place_one(wall: Measured, lines: &[(Spot, Spot)], floors: &[Vec<Spot>], taken: &mut Vec<Patch>) -> Option<Dim> {
    let long = wall.from.distance(wall.to);
    let inward = wall.from.toward(wall.to).right();
    let width = text_width(&wall.text, SIZE) + 4.0;
    let degrees = upright(Patch::along(wall.from, wall.to, 0.0).degrees);
    // Beside a wall shorter than itself a length would name its neighbours too.
    let steps = STEPS.iter().filter(|&&step| width + 6.0 <= long || (step < -20.0 && width <= 2.5 * long));
    let places = steps.flat_map(|&step| [0.5, 0.32, 0.68].map(|part| (step, part)));
    for (step, part) in places {
        let middle = wall.from.between(wall.to, part).shifted(inward, step);
        let patch = Patch { middle, width, height: SIZE + 2.0, degrees };
        let line = (wall.from.shifted(inward, step), wall.to.shifted(inward, step));
        let spots = patch.corners().into_iter().chain([line.0, line.1, middle]);
        if step < 0.0 && spots.into_iter().any(|at| floors.iter().any(|floor| inside(at, floor))) {
            continue;
        }
        let own = to_side(middle, wall.from, wall.to);
        if lines.iter().any(|&(a, b)| to_side(middle, a, b) < own - 0.5) {
            continue;
        }
        let (within_wall, off_wall) = (width * 0.5 <= long * part.min(1.0 - part), step < -20.0);
        if (within_wall || (off_wall && part == 0.5)) && patch.is_free(taken) {
            taken.push(patch);
            // Ticks closer than the text is wide would strike it through.
            let line = (off_wall && width + 6.0 <= long).then_some(line);
            if let Some((a, b)) = line {
                taken.push(Patch::along(a, b, 6.0));
            }
            return Some(Dim { middle, degrees, text: wall.text, line });
        }
    }
    None
}

/// The same direction, read from below or from the right.
pub fn upright(degrees: f64) -> f64 {
    let turned = degrees.rem_euclid(180.0);
    if turned >= 89.5 { turned - 180.0 } else { turned }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wall(from: (f64, f64), to: (f64, f64), text: &str) -> Measured {
        Measured { from: Spot::new(from.0, from.1), to: Spot::new(to.0, to.1), text: text.to_owned() }
    }

    #[test]
    fn text_is_read_from_below_or_from_the_right() {
        assert_eq!(upright(0.0), 0.0);
        assert_eq!(upright(180.0), 0.0);
        assert_eq!(upright(90.0), -90.0);
        assert_eq!(upright(-90.0), -90.0);
        assert_eq!(upright(135.0), -45.0);
        assert_eq!(upright(45.0), 45.0);
    }

    #[test]
    fn a_dimension_stands_inside_against_its_wall() {
        let dims = place(vec![wall((0.0, 0.0), (200.0, 0.0), "12' 4 1/2\"")], &[], &mut Vec::new());
        assert_eq!(dims[0].middle, Spot::new(100.0, 13.0));
        assert_eq!(dims[0].line, None);
    }

    #[test]
    fn it_steps_outward_when_the_inside_is_taken() {
        let name = Patch::level(Spot::new(100.0, 14.0), 200.0, 20.0);
        let dims = place(vec![wall((0.0, 0.0), (200.0, 0.0), "12' 4 1/2\"")], &[], &mut vec![name]);
        assert_eq!(dims[0].middle, Spot::new(100.0, -14.0));
    }

    #[test]
    fn off_the_wall_it_has_a_line_that_it_fits_into() {
        let name = Patch::level(Spot::new(100.0, 0.0), 200.0, 50.0);
        let dims = place(vec![wall((0.0, 0.0), (200.0, 0.0), "12' 4 1/2\"")], &[], &mut vec![name]);
        assert_eq!(dims[0].line, Some((Spot::new(0.0, -50.0), Spot::new(200.0, -50.0))));
    }

    #[test]
    fn it_never_stands_on_another_rooms_floor() {
        let next_door =
            [(0.0, -4.0), (200.0, -4.0), (200.0, -200.0), (0.0, -200.0)].map(|(x, y)| Spot::new(x, y)).to_vec();
        let name = Patch::level(Spot::new(100.0, 14.0), 200.0, 20.0);
        assert_eq!(place(vec![wall((0.0, 0.0), (200.0, 0.0), "12' 4 1/2\"")], &[next_door], &mut vec![name]), vec![]);
    }

    #[test]
    fn it_never_stands_nearer_to_another_wall_than_to_its_own() {
        // The step of an L: the short wall's length has room only beside the wall before it.
        let walls = || vec![wall((0.0, 0.0), (0.0, 56.0), "8' 0 1/2\""), wall((0.0, 56.0), (42.0, 56.0), "6' 0\"")];
        let number = Patch::level(Spot::new(13.0, 27.0), 18.0, 16.0);
        for dim in place(walls(), &[], &mut vec![number]) {
            let all = walls();
            let far = |text: &str| {
                let of = all.iter().find(|it| it.text == text).unwrap();
                to_side(dim.middle, of.from, of.to)
            };
            let other = all.iter().find(|it| it.text != dim.text).unwrap();
            assert!(far(&dim.text) <= far(&other.text) + 0.5, "{dim:?}");
        }
    }

    #[test]
    fn a_short_wall_is_written_off_the_wall_and_a_tiny_one_is_hidden() {
        let dims = place(vec![wall((0.0, 0.0), (30.0, 0.0), "2' 0\"")], &[], &mut Vec::new());
        assert_eq!((dims[0].middle, dims[0].line), (Spot::new(15.0, -32.0), None));
        assert_eq!(place(vec![wall((0.0, 0.0), (9.0, 0.0), "6 1/2\"")], &[], &mut Vec::new()), vec![]);
    }

    #[test]
    fn no_two_dimensions_overlap_and_the_longer_wall_wins() {
        let walls = vec![
            wall((0.0, 0.0), (70.0, 0.0), "5' 0\""),
            wall((0.0, 26.0), (90.0, 26.0), "6' 0\""),
            wall((100.0, 30.0), (0.0, 30.0), "7' 0\""),
        ];
        let mut taken = Vec::new();
        let dims = place(walls, &[], &mut taken);
        assert_eq!(dims[0].text, "7' 0\"");
        for (n, one) in taken.iter().enumerate() {
            assert!(!taken[n + 1..].iter().any(|it| it.overlaps(one)));
        }
    }
}
