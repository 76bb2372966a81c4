use napline_tests::rooms::{long, measured_room, room, room_id, wall_id};
use proptest::prelude::*;
use shared_model::ids::ReadingId;
use shared_model::job::{Across, Angle, Check, Reading, Room, Rules, Stamp, Timestamp, Tool, Turn};
use shared_model::length::{Length, Units};
use shared_model::problem::{Place, ProblemKind};
use shared_model::survey::{
    Adjusted, Amount, Network, OUTLIER, Observation, Settings, Slip, Source, Span, Unsolved, Verdict, adjust, survey,
    turned_wrong,
};
use uuid::Uuid;

const SETTINGS: Settings =
    Settings { allowance: Length::inches(3), thickness: Length::inches(5), units: Units::Imperial };

fn wall(of: usize, value: Length, sigma: Length) -> Observation {
    Observation::Length { of: Span::Wall(of), value, sigma, typed: String::new() }
}

fn turn(corner: usize, degrees: i64) -> Observation {
    Observation::Turn { corner, value: Turn(Angle::degrees(degrees)), sigma: Angle::dms(0, 18, 0) }
}

fn check(from: u64, to: u64, value: &str) -> Check {
    let reading = Reading {
        id: ReadingId(Uuid::from_u128(u128::from(100 * from + to))),
        value: long(value),
        typed: value.to_owned(),
        tool: Tool::Tape,
        stamp: Stamp { by: shared_model::ids::DeviceId(Uuid::nil()), at: Timestamp(0) },
        supersedes: Vec::new(),
        withdrawn: false,
        set_aside: None,
    };
    Check { of: Across::Corners { from: wall_id(1, from as usize), to: wall_id(1, to as usize) }, reading }
}

fn surveyed(room: &Room) -> (Adjusted, Vec<Source>) {
    let survey = survey(room, &Rules::default(), Units::Imperial);
    (survey.result.unwrap(), survey.sources)
}

/// The traverses that the trade notes quote, by azimuth and feet, with their published misclosures and closing ratios.
/// (Their corrections by the compass rule weigh directions like lengths; a crew turns square corners instead.)
#[test]
fn misclosures_are_those_in_print() {
    // Purdue University, ASM 215, traverse calculations: re-run unrounded 0.8833 ft, 1:2792.
    let purdue = [
        (26.0 + 10.0 / 60.0, 285.10),
        (104.0 + 35.0 / 60.0, 610.45),
        (195.5, 720.48),
        (358.3, 203.00),
        (306.9, 647.02),
    ];
    // Lecture notes (scribd document 493615208): sums +0.285 and -0.311 ft on 267.5 ft.
    let notes = [(76.0, 80.40), (144.0, 46.30), (241.0, 72.80), (322.0, 68.00)];
    for (legs, gap, ratio) in [(&purdue[..], 0.8833, 2_792), (&notes, 0.4218, 634)] {
        let miss = adjust(&traverse(legs), &SETTINGS).unwrap().misclosure.unwrap();
        assert!((miss.gap.0 as f64 / Length::FOOT.0 as f64 - gap).abs() < 1e-3, "{miss:?}");
        assert!(miss.ratio.is_some_and(|it| (it - ratio).abs() <= 1), "{miss:?}");
    }
}

fn traverse(legs: &[(f64, f64)]) -> Network {
    let mut observations = Vec::new();
    for (i, (azimuth, long)) in legs.iter().enumerate() {
        let value = Length((long * Length::FOOT.0 as f64).round() as i64);
        observations.push(wall(i, value, Length::mm(30)));
        let corner = (i + 1) % legs.len();
        let turned = (legs[corner].0 - azimuth + 540.0).rem_euclid(360.0) - 180.0;
        let value = Turn(Angle((turned * Angle::DEGREE.0 as f64).round() as i64));
        observations.push(Observation::Turn { corner, value, sigma: Angle::dms(0, 1, 0) });
    }
    Network { corners: legs.len(), looks: Vec::new(), observations }
}

/// The 3-4-5 rope: 12 ft, 9 ft and a diagonal of 15 ft agree to the last count.
#[test]
fn a_true_rectangle_has_no_residuals() {
    let mut den = room(1, "Den", &[("12'", "r"), ("9'", "r"), ("12'", "r"), ("9'", "r")]);
    den.checks = vec![check(0, 2, "15'")];
    let (adjusted, _) = surveyed(&den);
    assert!(adjusted.test.fit < 1e-9);
    // 5 lengths and 4 corners for 5 unknown coordinates.
    assert_eq!(adjusted.test.degrees, 4);
    assert_eq!(adjusted.verdict, Verdict::Sound);
    assert!(adjusted.trusted);
    assert_eq!(adjusted.corners[2].x, Length::feet(9));
    assert!(adjusted.cuts.iter().all(|it| it.uncertainty > Length::ZERO && it.uncertainty < Length::inches(1)));
}

/// A foot off in one wall, found by the walls and one diagonal, with what it should have been.
#[test]
fn a_foot_off_is_found_and_named() {
    let mut den = room(1, "Den", &[("12' 4\"", "r"), ("9' 2\"", "r"), ("13' 4\"", "r"), ("9' 2\"", "r")]);
    den.checks = vec![check(0, 2, "15' 4 3/8\""), check(1, 3, "15' 4 3/8\"")];
    let (adjusted, sources) = surveyed(&den);
    assert!(!adjusted.trusted);
    let Verdict::Suspects(suspects) = &adjusted.verdict else { panic!("{:?}", adjusted.verdict) };
    let Source::Wall(id, _) = sources[suspects[0].observation] else { panic!("{:?}", suspects[0]) };
    assert_eq!(id, wall_id(1, 2));
    assert_eq!(suspects[0].proposed, Some((Slip::Foot, Amount::Length(long("12' 4\"")))));
    assert!(suspects[0].standardised.abs() > OUTLIER);
}

/// Opposite walls alone cannot say which of them is wrong, but that one is.
#[test]
fn without_a_further_reading_nobody_is_blamed() {
    let den = room(1, "Den", &[("12' 4\"", "r"), ("9' 2\"", "r"), ("13' 4\"", "r"), ("9' 2\"", "r")]);
    let (adjusted, sources) = surveyed(&den);
    let Verdict::Inseparable(alike) = &adjusted.verdict else { panic!("{:?}", adjusted.verdict) };
    let walls = alike.iter().filter_map(|it| match sources[it.observation] {
        Source::Wall(id, _) => Some(id),
        _ => None,
    });
    let walls: Vec<_> = walls.collect();
    assert!(walls.contains(&wall_id(1, 0)) && walls.contains(&wall_id(1, 2)), "{alike:?}");
    assert!(adjusted.next.is_some(), "a further reading is asked for");
}

#[test]
fn what_is_not_determined_is_named() {
    let den = room(1, "Den", &[("12'", "r"), ("", "r"), ("12'", "r"), ("", "r")]);
    let survey = survey(&den, &Rules::default(), Units::Imperial);
    assert!(
        matches!(&survey.result, Err(Unsolved::Undetermined { walls, .. }) if *walls == [1, 3]),
        "{:?}",
        survey.result
    );
}

#[test]
fn a_left_turn_taken_for_a_right_one_is_named() {
    let l = [("10'", "r"), ("12'", "r"), ("4'", "r"), ("5'", "r"), ("6'", "r"), ("7'", "r")];
    let survey = survey(&room(1, "Den", &l), &Rules::default(), Units::Imperial);
    assert!(matches!(survey.result, Err(Unsolved::NotOnceAround { .. })));
    // The corner at the end of the fourth wall.
    assert_eq!(turned_wrong(&survey.network).first(), Some(&4));
}

/// A triangle with three sides read and no corner stated is determined; it has nothing to check it.
#[test]
fn three_sides_make_a_triangle() {
    let side = |i, ft| wall(i, Length::feet(ft), Length::mm(3));
    let network = Network { corners: 3, looks: Vec::new(), observations: vec![side(0, 3), side(1, 4), side(2, 5)] };
    let adjusted = adjust(&network, &SETTINGS).unwrap();
    assert_eq!((adjusted.test.degrees, &adjusted.verdict), (0, &Verdict::Unchecked));
    assert!(adjusted.judged.iter().all(|it| it.least_blunder.is_none()));
    let far = adjusted.corners[1].distance(adjusted.corners[2]);
    assert!((far - Length::feet(4)).abs() < Length::mm(1));
}

/// Random rings of bars, as walls clockwise with their turns: each bar joins the next.
fn rings() -> impl Strategy<Value = Vec<(i64, i64)>> {
    let bar = (40..200_i64, 40..240_i64);
    prop::collection::vec(bar, 1..40)
}

/// Corners in inches, clockwise from the origin, first wall to the north.
fn ring_of(bars: &[(i64, i64)]) -> Vec<(i64, i64)> {
    let mut corners = vec![(0, 0)];
    let (mut x, mut before) = (0, 0);
    for &(width, high) in bars {
        if high != before {
            corners.push((x, high));
        }
        x += width;
        before = high;
        corners.push((x, high));
    }
    corners.push((x, 0));
    corners
}

fn true_room(bars: &[(i64, i64)]) -> Room {
    let corners = ring_of(bars);
    let count = corners.len();
    let at = |i: usize| corners[i % count];
    let heading = |i: usize| {
        let ((ax, ay), (bx, by)) = (at(i), at(i + 1));
        match ((bx - ax).signum(), (by - ay).signum()) {
            (0, 1) => 0,
            (1, 0) => 90,
            (0, -1) => 180,
            _ => 270,
        }
    };
    let walls: Vec<(Vec<Length>, Turn)> = (0..count)
        .map(|i| {
            let ((ax, ay), (bx, by)) = (at(i), at(i + 1));
            let turned = (heading((i + 1) % count) - heading(i) + 540_i64).rem_euclid(360) - 180;
            (vec![Length::inches((bx - ax).abs() + (by - ay).abs())], Turn(Angle::degrees(turned)))
        })
        .collect();
    measured_room(1, "Ring", &walls)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn exact_readings_give_the_exact_room(bars in rings()) {
        let room = true_room(&bars);
        let (adjusted, _) = surveyed(&room);
        for (corner, &(x, y)) in adjusted.corners.iter().zip(&ring_of(&bars)) {
            prop_assert!((corner.x - Length::inches(x)).abs().0 <= 8 && (corner.y - Length::inches(y)).abs().0 <= 8);
        }
        prop_assert!(matches!(adjusted.verdict, Verdict::Sound), "{:?}", adjusted.verdict);
    }

    /// The redundancy numbers of all readings add up to the degrees of freedom (Ghilani ch. 21).
    #[test]
    fn redundancies_add_up_to_the_degrees_of_freedom(bars in rings()) {
        let (adjusted, _) = surveyed(&true_room(&bars));
        let sum: f64 = adjusted.judged.iter().map(|it| it.redundancy).sum();
        prop_assert!((sum - adjusted.test.degrees as f64).abs() < 1e-6, "{sum} of {}", adjusted.test.degrees);
    }

    #[test]
    fn the_order_of_readings_means_nothing(bars in rings(), by in 1..20_usize) {
        let room = true_room(&bars);
        let mut network = survey(&room, &Rules::default(), Units::Imperial).network;
        let straight = adjust(&network, &SETTINGS).unwrap();
        let by = by % network.observations.len();
        network.observations.rotate_left(by);
        let rotated = adjust(&network, &SETTINGS).unwrap();
        for (a, b) in straight.corners.iter().zip(&rotated.corners) {
            prop_assert!(a.distance(*b).0 <= 8);
        }
    }
}

/// With a check that agrees, a room out of square by more than a tape leaves is taken as it is; square ones stay square.
#[test]
fn a_checked_room_closes_by_all_its_readings() {
    let rules = Rules::default();
    let close = |room: &Room| shared_model::outline::close(room, &rules, Units::Imperial);
    let mut den = room(1, "Den", &[("12'", "r"), ("9' 1/8\"", "r"), ("12'", "r"), ("9'", "r")]);
    den.checks = vec![check(0, 2, "15' 1/16\"")];
    let (outline, problems) = close(&den);
    assert_eq!(problems, []);
    let ring = outline.unwrap().ring;
    assert_eq!((ring.0[0].x, ring.0[1].y), (ring.0[1].x, ring.0[2].y), "square corners stay square");

    // A trapezoid: 2 in longer on one side, by the tape and by both diagonals.
    let mut skew = room(1, "Den", &[("12'", "r"), ("9'", "r"), ("12' 2\"", "r"), ("9'", "r")]);
    assert!(close(&skew).0.is_none(), "too far out for a tape");
    skew.checks = vec![check(0, 2, "15' 1\""), check(1, 3, "15' 7/8\"")];
    let (outline, problems) = close(&skew);
    assert!(outline.is_some(), "{problems:?}");
}

#[test]
fn a_suspect_is_a_problem_with_its_wall_and_what_would_fit() {
    let mut den = room(1, "Den", &[("12' 4\"", "r"), ("9' 2\"", "r"), ("13' 4\"", "r"), ("9' 2\"", "r")]);
    den.checks = vec![check(0, 2, "15' 4 3/8\""), check(1, 3, "15' 4 3/8\"")];
    let (_, problems) = shared_model::outline::close(&den, &Rules::default(), Units::Imperial);
    assert_eq!(problems[0].kind, ProblemKind::Suspect);
    assert_eq!(problems[0].place, Place::Wall(room_id(1), wall_id(1, 2)));
    let text = "Den: wall 3 reads 13' 4\"; 12' 4\" would fit: a foot off? Measure it again.";
    assert_eq!(problems[0].text, text);
}

/// The walls of a room are read in the room's id; the helper numbers it 1.
#[test]
fn surveys_know_their_walls() {
    let den = room(1, "Den", &[("12'", "r"), ("9'", "r"), ("12'", "r"), ("9'", "r")]);
    assert_eq!(den.id, room_id(1));
    let survey = survey(&den, &Rules::default(), Units::Imperial);
    assert_eq!((survey.sources.len(), survey.network.observations.len()), (8, 8));
    assert!(survey.sources.contains(&Source::Turn(wall_id(1, 3))));
    assert!(survey.network.observations.iter().any(|it| *it == turn(0, 90)));
}
