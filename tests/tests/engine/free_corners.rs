//! Rooms whose corners nobody measured: lengths and diagonals decide how they turn.

use napline_tests::checker::faults;
use napline_tests::rooms::{job, long, plain_goods, room, wall_id};
use shared_model::ids::ReadingId;
use shared_model::job::{Across, Check, Reading, Room, Rules};
use shared_model::length::{Length, Units};
use shared_model::outline::{Outline, close, sketch};
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
