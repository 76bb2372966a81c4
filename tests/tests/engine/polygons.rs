//! Plane geometry: exact areas, crossings, containment, turns, and cuts along the axes.

use proptest::prelude::*;
use shared_model::job::Angle;
use shared_model::length::Length;
use shared_model::polygon::{Area, AreaUnit, Axis, Point, Ring};

fn at(x: i64, y: i64) -> Point {
    Point::new(Length(x), Length(y))
}

fn ring(corners: &[(i64, i64)]) -> Ring {
    Ring(corners.iter().map(|&(x, y)| at(x, y)).collect())
}

/// A 10 by 8 rectangle without its north-east 4 by 3.
fn l_shape() -> Ring {
    ring(&[(0, 0), (0, 8), (6, 8), (6, 5), (10, 5), (10, 0)])
}

/// Two legs 3 wide and a bar: open to the north.
fn u_shape() -> Ring {
    ring(&[(0, 0), (0, 9), (3, 9), (3, 2), (7, 2), (7, 6), (10, 6), (10, 0)])
}

#[test]
fn areas_and_perimeters_are_exact() {
    assert_eq!(l_shape().area(), Area(68));
    assert_eq!(l_shape().perimeter(), Length(36));
    assert!(l_shape().is_clockwise());
    assert_eq!(ring(&[(0, 0), (4, 0), (4, 3)]).area(), Area(6));
    assert_eq!(ring(&[(0, 0), (4, 0), (4, 3)]).perimeter(), Length(12));
}

/// 1 yd² = 9 ft² = 0.836 127 36 m² (NIST SP 811, appendix B.8).
#[test]
fn areas_are_shown_in_the_units_of_the_trade() {
    let roll = Length::feet(12) * Length::feet(28);
    assert_eq!(roll.show(AreaUnit::SquareFeet), "336.00 sq ft");
    assert_eq!(roll.show(AreaUnit::SquareYards), "37.33 sq yd");
    assert_eq!(Area(100_000_000 * Area::SQUARE_YARD.0).show(AreaUnit::SquareMetres), "83612736.00 m²");
}

#[test]
fn crossings_are_found_with_their_place() {
    assert_eq!(l_shape().crossing(), None);
    assert_eq!(ring(&[(0, 0), (4, 4), (4, 0), (0, 4)]).crossing(), Some((0, 2)), "a bow tie");
    assert_eq!(ring(&[(0, 0), (0, 8), (0, 3), (4, 3)]).crossing(), Some((0, 1)), "folds back");
    assert_eq!(ring(&[(0, 0), (0, 8), (0, 8), (4, 3)]).crossing(), Some((0, 1)), "an edge without length");
    assert_eq!(ring(&[(0, 0), (0, 8), (8, 8), (8, 4), (0, 4), (8, 0)]).crossing(), Some((0, 3)), "touches");
    assert_eq!(ring(&[(0, 0), (0, 4), (0, 8), (4, 8), (4, 0)]).crossing(), None, "straight on is allowed");
}

#[test]
fn the_border_belongs_to_the_ring() {
    for (x, y, inside) in
        [(1, 1, true), (6, 6, true), (0, 8, true), (8, 5, true), (7, 6, false), (-1, 0, false), (11, 5, false)]
    {
        assert_eq!(l_shape().contains(at(x, y)), inside, "({x}, {y})");
    }
}

#[test]
fn quarter_turns_are_exact_and_others_round() {
    assert_eq!(at(1, 5).turned(Angle::degrees(90)), at(5, -1));
    assert_eq!(at(1, 5).turned(Angle::degrees(-90)), at(-5, 1));
    assert_eq!(at(1, 5).turned(Angle::degrees(180)), at(-1, -5));
    assert_eq!(Point::toward(Angle::degrees(30), Length(2_000_000)), at(1_000_000, 1_732_051));
    assert_eq!(at(0, 0).distance(at(1, 1)), Length(1));
    assert_eq!(at(0, 0).distance(at(2, 2)), Length(3), "2.83 rounds up");
}

#[test]
fn a_strip_may_fall_into_parts() {
    let parts = u_shape().clipped(Axis::Y, Length(3), Length(7));
    assert_eq!(parts.len(), 2);
    assert_eq!(parts.iter().map(Ring::area).sum::<Area>(), Area(3 * 4 + 3 * 3));
    assert_eq!(u_shape().clipped(Axis::X, Length(3), Length(7)), [ring(&[(3, 0), (3, 2), (7, 2), (7, 0)])]);
    assert_eq!(u_shape().clipped(Axis::X, Length(10), Length(12)), []);
}

#[test]
fn tidying_keeps_only_real_corners() {
    let busy = ring(&[(0, 3), (0, 8), (0, 8), (0, 12), (0, 8), (6, 8), (6, 0), (0, 0)]);
    assert_eq!(busy.tidied(), ring(&[(0, 8), (6, 8), (6, 0), (0, 0)]));
    assert_eq!(ring(&[(0, 0), (0, 8), (0, 3)]).tidied(), Ring::default());
}

#[test]
fn overlaps_are_found() {
    let other = Ring::rectangle(at(5, 4), at(20, 20));
    let area: Area = l_shape().overlap(&other).iter().map(Ring::area).sum();
    assert_eq!(area, Area(4 + 4));
    assert_eq!(l_shape().overlap(&Ring::rectangle(at(6, 5), at(20, 20))), []);
    assert_eq!(l_shape().overlap(&Ring::rectangle(at(7, 6), at(9, 7))), []);
}

/// Random rings that are simple by construction: bars side by side, each touching its neighbours.
fn skylines() -> impl Strategy<Value = Ring> {
    let bar = (1..50_i64, 1..60_i64, -60..-1_i64);
    prop::collection::vec(bar, 1..12).prop_map(|bars| {
        let (mut top, mut bottom, mut x) = (Vec::new(), Vec::new(), 0);
        for (width, high, low) in bars {
            top.extend([at(x, high), at(x + width, high)]);
            bottom.extend([at(x, low), at(x + width, low)]);
            x += width;
        }
        top.extend(bottom.into_iter().rev());
        Ring(top).tidied()
    })
}

/// Random rings with slanted walls, seen from the origin all around.
fn stars() -> impl Strategy<Value = Ring> {
    prop::collection::vec(1_000_000..9_000_000_i64, 5..16).prop_map(|rays| {
        let step = Angle(Angle::FULL.0 / i64::try_from(rays.len()).unwrap());
        let heading = |i: usize| Angle(step.0 * i64::try_from(i).unwrap());
        Ring(rays.iter().enumerate().map(|(i, &far)| Point::toward(heading(i), Length(far))).collect())
    })
}

proptest! {
    #[test]
    fn the_parts_of_a_cut_make_up_the_whole(ring in skylines(), cut in -60..300_i64, across in prop_oneof![Just(Axis::X), Just(Axis::Y)]) {
        prop_assert_eq!(ring.crossing(), None);
        let far = Length(1_000);
        let before = ring.clipped(across, -far, Length(cut));
        let after = ring.clipped(across, Length(cut), far);
        for part in before.iter().chain(&after) {
            prop_assert_eq!(part.crossing(), None);
            prop_assert!(part.is_clockwise());
            prop_assert_eq!(part, &part.tidied());
        }
        prop_assert_eq!(before.iter().chain(&after).map(Ring::area).sum::<Area>(), ring.area());
    }

    #[test]
    fn cutting_slanted_walls_loses_no_more_than_the_rounding(ring in stars(), cut in -9_000_000..9_000_000_i64) {
        prop_assert_eq!(ring.crossing(), None);
        let far = Length(20_000_000);
        for across in [Axis::X, Axis::Y] {
            let parts = [ring.clipped(across, -far, Length(cut)), ring.clipped(across, Length(cut), far)].concat();
            let area = parts.iter().map(Ring::area).sum::<Area>();
            prop_assert!((area - ring.area()).0.abs() <= i128::from(ring.perimeter().0), "{} of {}", area.0, ring.area().0);
        }
    }

    #[test]
    fn four_quarter_turns_are_none(ring in stars()) {
        let quarter = Angle::QUARTER;
        prop_assert_eq!(ring.turned(quarter).area(), ring.area());
        prop_assert_eq!(ring.turned(quarter).turned(quarter).turned(quarter).turned(quarter), ring);
    }
}
