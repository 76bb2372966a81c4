//! The lay of the pile as a sparse field of short chevrons, and seams as stitched lines.

use shared_model::layout::PileDirection;

use super::space::{Patch, Spot, clearance, inside};

/// Which way the pile leans, on the screen.
pub const fn lay(pile: PileDirection) -> Spot {
    match pile {
        PileDirection::North => Spot::new(0.0, -1.0),
        PileDirection::East => Spot::new(1.0, 0.0),
        PileDirection::South => Spot::new(0.0, 1.0),
        PileDirection::West => Spot::new(-1.0, 0.0),
    }
}

/// Half the breadth of a chevron; it is as long as half of this.
const HALF: f64 = 5.0;

/// One chevron that points with the lay, as SVG path data.
pub fn chevron(tip: Spot, pile: PileDirection) -> String {
    let along = lay(pile);
    let tail = tip.shifted(along, -HALF);
    let (left, right) = (tail.shifted(along.right(), -HALF), tail.shifted(along.right(), HALF));
    format!("M{:.1} {:.1}L{:.1} {:.1}L{:.1} {:.1}", left.x, left.y, tip.x, tip.y, right.x, right.y)
}

/// Chevrons in staggered rows all over a ring, `spacing` pixels apart, clear of its sides and of what is written on it.
pub fn field(ring: &[Spot], pile: PileDirection, spacing: f64, taken: &[Patch]) -> String {
    let Some((low, high)) = super::space::extent(ring) else { return String::new() };
    let (first, last) = ((low.y / spacing).floor() as i64, (high.y / spacing).ceil() as i64);
    let rows = first..=last;
    let spots = rows.flat_map(|row| {
        let stagger = if row.rem_euclid(2) == 0 { 0.0 } else { 0.5 };
        let columns = (low.x / spacing).floor() as i64..=(high.x / spacing).ceil() as i64;
        columns.map(move |column| Spot::new((column as f64 + stagger) * spacing, row as f64 * spacing))
    });
    let clear = spots.filter(|&at| {
        inside(at, ring) && clearance(at, ring) > HALF + 4.0 && Patch::level(at, 3.0 * HALF, 3.0 * HALF).is_free(taken)
    });
    clear.map(|at| chevron(at.shifted(lay(pile), HALF / 2.0), pile)).collect()
}

/// A stitched line: the seam with short ticks across it, as SVG path data.
pub fn stitches(from: Spot, to: Spot) -> String {
    const STEP: f64 = 10.0;
    const HALF_TICK: f64 = 4.0;
    let (along, long) = (from.toward(to), from.distance(to));
    let count = (long / STEP).round().max(1.0);
    let mut path = format!("M{:.1} {:.1}L{:.1} {:.1}", from.x, from.y, to.x, to.y);
    for tick in 0..count as u32 {
        let at = from.shifted(along, (f64::from(tick) + 0.5) * long / count);
        let (a, b) = (at.shifted(along.right(), -HALF_TICK), at.shifted(along.right(), HALF_TICK));
        path += &format!("M{:.1} {:.1}L{:.1} {:.1}", a.x, a.y, b.x, b.y);
    }
    path
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn chevrons_point_with_the_lay() {
        assert_eq!(chevron(Spot::new(0.0, 0.0), PileDirection::North), "M-5.0 5.0L0.0 0.0L5.0 5.0");
        assert_eq!(chevron(Spot::new(0.0, 0.0), PileDirection::East), "M-5.0 -5.0L0.0 0.0L-5.0 5.0");
    }

    #[test]
    fn the_field_is_denser_at_closer_spacing_and_leaves_the_writing_free() {
        let square = [(0.0, 0.0), (200.0, 0.0), (200.0, 200.0), (0.0, 200.0)].map(|(x, y)| Spot::new(x, y));
        let count =
            |spacing, taken: &[Patch]| field(&square, PileDirection::South, spacing, taken).matches('M').count();
        let everywhere = count(30.0, &[]);
        assert!(everywhere > 2 * count(46.0, &[]));
        assert!(count(30.0, &[Patch::level(Spot::new(100.0, 100.0), 100.0, 60.0)]) < everywhere);
        assert_eq!(field(&[], PileDirection::South, 30.0, &[]), "");
    }

    #[test]
    fn a_seam_has_a_tick_every_ten_pixels() {
        let path = stitches(Spot::new(0.0, 0.0), Spot::new(100.0, 0.0));
        assert_eq!(path.matches('M').count(), 1 + 10);
        assert!(path.contains("M5.0 -4.0L5.0 4.0"));
    }
}
