//! Rooms whose corners nobody measured: lengths and diagonals decide how they turn.

use napline_tests::checker::faults;
use napline_tests::random::Random;
use napline_tests::rooms::{job, long, measured_room, plain_goods, room, wall_id};
use proptest::prelude::*;
use shared_model::ids::ReadingId;
use shared_model::job::{Across, Angle, Check, Reading, Room, Rules, Turn};
use shared_model::length::{Length, Units};
use shared_model::outline::{Outline, close, sketch};
use shared_model::polygon::{Area, Point, Ring};
use shared_model::problem::{Problem, ProblemKind};
use shared_model::takeoff::takeoff;
use uuid::Uuid;

/// A room whose corners turn freely, but for those (counted by the wall before them) that are `known`.
fn freely(walls: &[(&str, &str)], known: &[usize]) -> Room {
    let mut room = room(1, "Den", walls);
    for (i, wall) in room.walls.iter_mut().enumerate() {
        wall.turns[0].free = !known.contains(&i);
    }
    room
}

fn diagonal(room: &mut Room, from: usize, to: usize, reads: &str) {
    let (from, to) = (wall_id(1, from), wall_id(1, to));
    let id = ReadingId(Uuid::from_u64_pair(8, room.checks.len() as u64));
    let reading = Reading { id, value: long(reads), typed: reads.to_owned(), ..room.walls[0].readings[0].clone() };
    room.checks.push(Check { of: Across::Corners { from, to }, reading });
}

fn closed(room: &Room) -> (Option<Outline>, Vec<Problem>) {
    close(room, &Rules::default(), Units::Imperial)
}

#[track_caller]
fn square_feet(room: &Room, area: f64) -> Outline {
    let (outline, problems) = closed(room);
    let outline = outline.unwrap_or_else(|| panic!("{problems:?}"));
    let found = outline.area.0 as f64 / (Length::FOOT * Length::FOOT).0 as f64;
    assert!((found - area).abs() < 0.001 * area, "{found}, but should be {area}");
    outline
}

/// Three sides make a triangle: 9, 12 and 15 ft hold 54 sq ft, with a right angle between the shorter two (Pythagoras).
#[test]
fn three_walls_need_no_corner() {
    let den = freely(&[("9'", "r"), ("12'", "r100"), ("15'", "r120")], &[]);
    let outline = square_feet(&den, 54.0);
    assert!(!outline.reversed);
    let drawn = sketch(&den, &Rules::default());
    assert!(drawn.closes, "the sketch shows it as it is: {:?}", drawn.gap);
    let turned = (outline.headings[1].0 - outline.headings[0].0) as f64 / 3_600_000.0;
    assert!((turned - 90.0).abs() < 0.01, "{turned}");
}

/// Walked with the room to the left, the same lengths are its mirror image.
#[test]
fn what_corners_look_like_tells_the_side() {
    let den = freely(&[("9'", "l"), ("12'", "l120"), ("15'", "l120")], &[]);
    assert!(square_feet(&den, 54.0).reversed);
}

#[test]
fn four_free_corners_ask_for_a_diagonal_and_take_it() {
    let mut den = freely(&[("10'", "r"), ("13'", "r"), ("12'", "r"), ("11'", "r")], &[]);
    let (outline, problems) = closed(&den);
    assert_eq!(outline, None);
    assert_eq!(problems[0].kind, ProblemKind::OpenRing);
    assert!(problems[0].text.contains("Measure a diagonal"), "{}", problems[0].text);
    // Two triangles by Heron's formula: 10, 13, 15 and 12, 11, 15.
    diagonal(&mut den, 0, 2, "15'");
    let heron = |a: f64, b: f64, c: f64| {
        let s = (a + b + c) / 2.0;
        (s * (s - a) * (s - b) * (s - c)).sqrt()
    };
    let outline = square_feet(&den, heron(10.0, 13.0, 15.0) + heron(12.0, 11.0, 15.0));
    assert_eq!(outline.walls.len(), 4);
    let job = job(vec![den], vec![plain_goods(1)]);
    assert_eq!(faults(&job, &takeoff(&job)), Vec::<String>::new());
}

/// A slanted wall between walls that are square to the rest: its two corners follow from the lengths.
#[test]
fn a_slanted_wall_needs_no_angle() {
    let den = freely(&[("12'", "r"), ("15'", "r60"), ("5'", "r30"), ("8'", "r"), ("18'", "r")], &[0, 3, 4]);
    let outline = square_feet(&den, 12.0 * 18.0 - 3.0 * 4.0 / 2.0);
    assert_eq!(outline.headings[0].0 % 324_000_000, 0, "square walls run along the axes");
}

#[test]
fn lengths_that_no_room_has_are_refused() {
    let den = freely(&[("3'", "r"), ("4'", "r100"), ("15'", "r120")], &[]);
    let (outline, problems) = closed(&den);
    assert_eq!(outline, None);
    assert!(!problems.is_empty());
}

/// A dent and a bay have the same lengths: a V of 5 and 5 ft over 6 ft of the north side, 4 ft deep, 12 sq ft either way.
#[test]
fn how_a_corner_looks_tells_a_dent_from_a_bay() {
    let walls = |first, second| {
        [("12'", "r"), ("7'", first), ("5'", second), ("5'", first), ("7'", "r"), ("12'", "r"), ("20'", "r")]
    };
    let bay = freely(&walls("l50", "r100"), &[0, 4, 5, 6]);
    square_feet(&bay, 252.0);
    let dent = freely(&walls("r50", "l100"), &[0, 4, 5, 6]);
    square_feet(&dent, 228.0);
}

/// A room around its middle, walked either way, with free corners that look right or left as they do, to the nearest 45°, and diagonals
/// from some corners to all others; with what it holds.
fn around(left: bool, far: &[i64], from: &[usize]) -> (Room, Area) {
    let count = far.len() as i64;
    let corner = |(i, &far): (i64, &i64)| Point::toward(Angle(Angle::FULL.0 * i / count), Length::sixty_fourths(far));
    let mut corners: Vec<Point> = (0..).zip(far).map(corner).collect();
    let area = Ring(corners.clone()).area();
    if left {
        corners.reverse();
    }
    let count = corners.len();
    let step = |i: usize| corners[(i + 1) % count] - corners[i % count];
    let degrees = |it: Point| (it.x.0 as f64).atan2(it.y.0 as f64).to_degrees();
    let walls: Vec<_> = (0..count)
        .map(|i| {
            let turn = (degrees(step(i + 1)) - degrees(step(i)) + 540.0).rem_euclid(360.0) - 180.0;
            let look = (turn / 45.0).round().abs().clamp(1.0, 3.0) * 45.0_f64.copysign(turn);
            (vec![Point::ORIGIN.distance(step(i))], Turn(Angle::degrees(look as i64)))
        })
        .collect();
    let mut den = measured_room(1, "Den", &walls);
    den.walls.iter_mut().for_each(|it| it.turns[0].free = true);
    for &from in from {
        for to in (0..count).filter(|to| !from.abs_diff(*to).is_multiple_of(count - 1) && from.abs_diff(*to) > 1) {
            diagonal(&mut den, from, to, &corners[from].distance(corners[to]).exact_text());
        }
    }
    (den, area)
}

fn is_right(outline: &Outline, area: Area) -> bool {
    (outline.area.0 - area.0).abs() * 1_000 < area.0
}

proptest! {
    /// With diagonals that check each other it comes out as it is, or it is refused: never as another room.
    #[test]
    fn diagonals_give_the_room_that_is_meant(left in any::<bool>(), far in prop::collection::vec(6_000..14_000_i64, 5..9)) {
        let (den, area) = around(left, &far, &[0, 2]);
        let (outline, problems) = closed(&den);
        match outline {
            Some(outline) => prop_assert!(is_right(&outline, area) && outline.reversed == left),
            None => prop_assert!(!problems.is_empty()),
        }
    }
}

/// With no more diagonals than it needs a room may bulge or dent unseen where its corners hardly look like either: that is said.
#[test]
fn just_enough_diagonals_are_told_as_unchecked() {
    let mut random = Random(7);
    let mut right = 0;
    for _ in 0..500 {
        let far: Vec<i64> = (0..4 + random.below(5)).map(|_| 6_000 + random.below(8_000) as i64).collect();
        let (den, area) = around(random.below(2) == 0, &far, &[0]);
        let (outline, problems) = closed(&den);
        right += u32::from(outline.as_ref().is_some_and(|it| is_right(it, area)));
        let told = problems.iter().any(|it| it.kind == ProblemKind::Unchecked && it.text.contains("another diagonal"));
        assert_eq!(told, outline.is_some(), "{problems:?}");
    }
    assert!(right >= 490, "{right} of 500");
}

/// A dent whose diagonal is that of a bay: 10 ft east and 16 ft north are 18 ft 10 7/16 in, to the tape's mark.
#[test]
fn a_look_that_the_diagonals_deny_is_told() {
    let walls = [("12'", "r"), ("7'", "r50"), ("5'", "l100"), ("5'", "r50"), ("7'", "r"), ("12'", "r"), ("20'", "r")];
    let mut den = freely(&walls, &[0, 4, 5, 6]);
    diagonal(&mut den, 0, 3, "18' 10 7/16\"");
    let (outline, problems) = closed(&den);
    assert_eq!(outline, None);
    assert!(problems.iter().any(|it| it.text.contains("looks as if it turned")), "{problems:?}");
}
