//! Rings of readings: hand-worked rooms, slips and their places.

use napline_tests::rooms::{long, room, room_id, wall_id};
use shared_model::ids::OpeningId;
use shared_model::job::{FloorAtOpening, Opening, OpeningKind, Room, Rules};
use shared_model::length::{Length, Units};
use shared_model::outline::{Certainty, Outline, close, sketch};
use shared_model::polygon::{AreaUnit, Point, Ring};
use shared_model::problem::{Place, Problem, ProblemKind};
use uuid::Uuid;

pub(crate) fn closed(room: &Room) -> Outline {
    let (outline, problems) = close(room, &Rules::default(), Units::Imperial);
    outline.unwrap_or_else(|| panic!("{problems:?}"))
}

/// The problem that keeps a room from closing.
pub(crate) fn refused(room: &Room) -> Problem {
    let (outline, mut problems) = close(room, &Rules::default(), Units::Imperial);
    assert_eq!(outline, None);
    assert_eq!(problems.len(), 1, "{problems:?}");
    problems.remove(0)
}

#[track_caller]
pub(crate) fn assert_problem(problem: &Problem, kind: ProblemKind, place: Place, text: &str) {
    assert_eq!((problem.kind, problem.place, problem.text.as_str()), (kind, place, text));
}

#[test]
fn an_exact_room_stays_as_measured() {
    let room =
        room(1, "Kitchen", &[("14'", "r"), ("10' 6\"", "r"), ("9'", "r"), ("4'", "l"), ("5'", "r"), ("6' 6\"", "r")]);
    let outline = closed(&room);
    let at = |x, y| Point::new(long(x), long(y));
    let ring = [
        at("0", "0"),
        at("0", "14'"),
        at("10' 6\"", "14'"),
        at("10' 6\"", "5'"),
        at("6' 6\"", "5'"),
        at("6' 6\"", "0"),
    ];
    assert_eq!(outline.ring.0, ring);
    assert_eq!(outline.perimeter, Length::feet(49));
    assert_eq!(outline.area.show(AreaUnit::SquareFeet), "127.00 sq ft");
    assert_eq!((outline.misclosure.gap, outline.misclosure.ratio), (Length::ZERO, None));
    assert_eq!(close(&room, &Rules::default(), Units::Imperial).1, []);
}

/// Hand-worked: the north walls measure 12' 0" and 12' 1", the east walls agree. The inch is spread over both in proportion, and every
/// corner stays square.
#[test]
fn a_rectilinear_room_stays_square() {
    let outline = closed(&room(1, "Den", &[("12'", "r"), ("9'", "r"), ("12' 1\"", "r"), ("9'", "r")]));
    assert_eq!((outline.misclosure.north, outline.misclosure.east), (-Length::INCH, Length::ZERO));
    assert_eq!(outline.misclosure.ratio, Some(505), "42' 1\" to 1\"");
    // 12' + 1" · 144 ÷ 289, to the nearest count.
    let height = Length::feet(12) + Length(101_248);
    let ring = Ring::rectangle(Point::ORIGIN, Point::new(Length::feet(9), height));
    assert_eq!(outline.ring, ring);
}

/// A bay of two 45° walls keeps its room's square corners square, and its own walls take up both directions.
#[test]
fn a_room_with_a_bay_keeps_its_square_corners() {
    let bay = room(
        1,
        "Parlour",
        &[
            ("12'", "r"),
            ("4'", "l45"),
            ("34\"", "r45"),
            ("4'", "r45"),
            ("34\"", "l45"),
            ("4'", "r"),
            ("12'", "r"),
            ("16'", "r"),
        ],
    );
    let outline = closed(&bay);
    assert!(outline.misclosure.gap > Length::ZERO);
    let corners = &outline.ring.0;
    assert_eq!(corners[0].x, corners[1].x);
    assert_eq!(corners[1].y, corners[2].y);
    assert_eq!(corners[5].y, corners[6].y);
    assert_eq!(corners[6].x, corners[7].x);
    assert_eq!(corners[7].y, corners[0].y);
    assert_eq!(corners[1].y, corners[6].y, "both ends of the bay's wall agree as the room is as deep on both sides");
}

/// A 10 by 12 ft room with one corner cut off at 45°, 3 ft along both walls; the walk begins on the cut.
#[test]
fn square_walls_run_along_the_axes_even_when_the_walk_begins_on_a_slanted_one() {
    let cut = room(1, "Parlour", &[("50.9117\"", "r45"), ("7'", "r"), ("12'", "r"), ("10'", "r"), ("9'", "r45")]);
    let outline = closed(&cut);
    assert!(outline.misclosure.gap < Length::sixty_fourths(1));
    let degrees: Vec<_> = outline.headings.iter().map(|it| it.show()).collect();
    assert_eq!(degrees, ["315°", "0°", "90°", "180°", "270°"]);
    for ((start, end), heading) in outline.ring.edges().zip(&outline.headings).skip(1) {
        assert_eq!(end - start, Point::toward(*heading, start.distance(end)));
    }
}

#[test]
fn two_unmeasured_walls_follow_from_the_others() {
    let room = room(1, "Closet", &[("5' 2\"", "r"), ("2' 4\"", "r"), ("", "r"), ("", "r")]);
    let (outline, problems) = close(&room, &Rules::default(), Units::Imperial);
    let outline = outline.unwrap();
    assert_eq!(outline.ring, Ring::rectangle(Point::ORIGIN, Point::new(long("2' 4\""), long("5' 2\""))));
    assert_eq!(outline.derived, [wall_id(1, 2), wall_id(1, 3)]);
    assert_eq!(outline.misclosure.ratio, None);
    assert_eq!(problems.len(), 1);
    assert_problem(
        &problems[0],
        ProblemKind::Unchecked,
        Place::Room(room_id(1)),
        "Closet: walls 3 and 4 are not measured; they follow from the others, and nothing checks the room. Measure one of them.",
    );
}

#[test]
fn one_unmeasured_wall_leaves_the_other_axis_checked() {
    let room = room(1, "Den", &[("12'", "r"), ("9'", "r"), ("12' 1\"", "r"), ("", "r")]);
    let (outline, problems) = close(&room, &Rules::default(), Units::Imperial);
    let outline = outline.unwrap();
    assert_eq!((outline.misclosure.gap, outline.misclosure.ratio), (Length::INCH, Some(505)));
    assert_eq!(outline.ring.bounds().unwrap().max.x, Length::feet(9));
    assert_eq!(
        (problems.len(), problems[0].kind, problems[0].place),
        (1, ProblemKind::Unchecked, Place::Wall(room_id(1), wall_id(1, 3)))
    );
}

#[test]
fn what_is_missing_is_named() {
    let three = room(1, "Den", &[("12'", "r"), ("", "r"), ("", "r"), ("", "r")]);
    assert_problem(
        &refused(&three),
        ProblemKind::Unmeasured,
        Place::Room(room_id(1)),
        "Den: measure walls 2, 3 and 4.",
    );
    let parallel = room(1, "Den", &[("12'", "r"), ("", "r"), ("12'", "r"), ("", "r")]);
    assert_problem(
        &refused(&parallel),
        ProblemKind::Unmeasured,
        Place::Room(room_id(1)),
        "Den: measure one of walls 2 and 4; they run the same way, so neither follows from the others.",
    );
    assert_problem(
        &refused(&room(1, "Den", &[])),
        ProblemKind::Unmeasured,
        Place::Room(room_id(1)),
        "Den has no walls yet.",
    );
    let mut open = room(1, "Den", &[("12'", "r"), ("9'", "r"), ("12'", "r"), ("9'", "r")]);
    open.closed = false;
    assert_eq!(refused(&open).kind, ProblemKind::Unmeasured);
    assert!(sketch(&open, &Rules::default()).closes);
}

#[test]
fn an_open_ring_is_refused_with_the_walls_along_its_gap() {
    let foot_off = room(1, "Den", &[("12'", "r"), ("9'", "r"), ("11'", "r"), ("9'", "r")]);
    assert_problem(
        &refused(&foot_off),
        ProblemKind::OpenRing,
        Place::Room(room_id(1)),
        "Den is open by 1' 0\" (1:41); up to 1 1/4\" is what a tape leaves. Measure walls 1 and 3 again: they run along the gap.",
    );
    let (none, problems) = close(&foot_off, &Rules::default(), Units::Metric);
    assert_eq!(none, None);
    assert!(problems[0].text.starts_with("Den is open by 0.305 m (1:41); up to 0.031 m"), "{}", problems[0].text);
}

#[test]
fn turns_must_lead_once_around() {
    let left_for_right = room(1, "Den", &[("12'", "r"), ("9'", "l"), ("12'", "r"), ("9'", "r")]);
    assert_problem(
        &refused(&left_for_right),
        ProblemKind::OpenRing,
        Place::Corner(room_id(1), wall_id(1, 3)),
        "Den: the turns add up to 180°, not to 360°. One left turn may be a right turn.",
    );
    let last = room(1, "Den", &[("12'", "r"), ("9'", "r"), ("12'", "r"), ("9'", "r45")]);
    assert!(refused(&last).text.contains("45° right is missing"), "{}", refused(&last).text);
    let two = room(1, "Den", &[("12'", "r"), ("9'", "r")]);
    assert_eq!(refused(&two).text, "Den has fewer than three walls. Add the others.");
}

#[test]
fn a_walk_to_the_left_gives_the_same_room() {
    let right = closed(&room(1, "Den", &[("5'", "r"), ("8'", "r"), ("5'", "r"), ("8'", "r")]));
    let left = closed(&room(1, "Den", &[("8'", "l"), ("5'", "l"), ("8'", "l"), ("5'", "l")]));
    assert!(left.reversed && left.ring.is_clockwise());
    assert_eq!((left.area, left.perimeter), (right.area, right.perimeter));
    assert_eq!(left.walls, [wall_id(1, 3), wall_id(1, 2), wall_id(1, 1), wall_id(1, 0)]);
    for (i, (start, end)) in left.ring.edges().enumerate() {
        let direction = Point::toward(left.headings[i], start.distance(end));
        assert_eq!(end - start, direction);
        assert_eq!(left.wall(left.walls[i]), Some((end, start)), "as walked");
    }
}

#[test]
fn a_ring_that_crosses_itself_is_refused_with_its_place() {
    // The nook is deeper than the room.
    let crossed = room(
        1,
        "Den",
        &[("12'", "r"), ("3'", "r"), ("13'", "l"), ("3'", "l"), ("13'", "r"), ("3'", "r"), ("12'", "r"), ("9'", "r")],
    );
    let problem = refused(&crossed);
    assert_problem(
        &problem,
        ProblemKind::CrossedRing,
        Place::Wall(room_id(1), wall_id(1, 2)),
        "Den: wall 3 meets wall 8 where it must not. Check the turns and lengths between them.",
    );
}

#[test]
fn impossible_readings_are_refused_with_their_wall() {
    for (value, says) in
        [(0, "not more than zero"), (-1, "not more than zero"), (i64::MAX, "longer than 10 km"), (i64::MIN, "not more")]
    {
        let mut room = room(1, "Den", &[("12'", "r"), ("9'", "r"), ("12'", "r"), ("9'", "r")]);
        room.walls[2].readings[0].value = Length(value);
        let problem = refused(&room);
        assert_eq!((problem.kind, problem.place), (ProblemKind::BadLength, Place::Wall(room_id(1), wall_id(1, 2))));
        assert!(problem.text.contains(says), "{}", problem.text);
        assert!(!sketch(&room, &Rules::default()).closes);
    }
}

#[test]
fn readings_that_agree_are_averaged_and_others_are_disputed() {
    let agreed = room(1, "Den", &[("12'|12' 1/4\"", "r"), ("9'", "r"), ("12'", "r"), ("9'", "r")]);
    let walls = sketch(&agreed, &Rules::default()).walls;
    assert_eq!((walls[0].length, walls[0].certainty), (long("12' 1/8\""), Certainty::Agreed));
    assert_eq!(walls[1].certainty, Certainty::Once);
    assert_eq!(close(&agreed, &Rules::default(), Units::Imperial).1, []);

    let disputed = room(1, "Den", &[("12'|12' 1/2\"", "r"), ("9'", "r"), ("12'", "r"), ("9'", "r")]);
    let (outline, problems) = close(&disputed, &Rules::default(), Units::Imperial);
    assert!(outline.is_some(), "both are used until a person decides");
    assert_problem(
        &problems[0],
        ProblemKind::Disputed,
        Place::Wall(room_id(1), wall_id(1, 0)),
        "Den: wall 1 reads 12' 0\" and 12' 0 1/2\", 1/2\" apart. Measure it again, then take back the wrong one.",
    );
    assert_eq!(sketch(&disputed, &Rules::default()).walls[0].certainty, Certainty::Disputed);
}

#[test]
fn superseded_and_withdrawn_readings_do_not_count() {
    let mut room = room(1, "Den", &[("11'|12'|40'", "r"), ("9'", "r"), ("12'", "r"), ("9'", "r")]);
    let readings = &mut room.walls[0].readings;
    readings[1].supersedes = vec![readings[0].id];
    readings[2].withdrawn = true;
    let walls = sketch(&room, &Rules::default()).walls;
    assert_eq!((walls[0].length, walls[0].certainty), (Length::feet(12), Certainty::Once));
}

#[test]
fn a_sketch_shows_what_is_known() {
    let room = room(1, "Den", &[("12'", "r"), ("9'", "r45"), ("", "r")]);
    let sketch = sketch(&room, &Rules::default());
    assert_eq!(sketch.walls[0].to, Point::new(Length::ZERO, Length::feet(12)));
    assert_eq!(sketch.walls[1].to, Point::new(Length::feet(9), Length::feet(12)));
    assert_eq!(
        (sketch.walls[2].certainty, sketch.walls[2].length),
        (Certainty::Unmeasured, long("10' 6\"")),
        "the mean of the others"
    );
    assert_eq!((sketch.gap, sketch.closes), (None, false));
}

fn opening(n: u64, wall: usize, offset: &str, width: &str) -> Opening {
    Opening {
        id: OpeningId(Uuid::from_u64_pair(n, 0)),
        wall: wall_id(1, wall),
        kind: OpeningKind::Doorway,
        offset: long(offset),
        width: long(width),
        depth: long("4 1/2\""),
        floor: FloorAtOpening::SeamUnderDoor,
        leads_to: None,
    }
}

#[test]
fn openings_that_do_not_fit_are_told() {
    let with = |openings: Vec<Opening>| {
        let mut room = room(1, "Den", &[("12'", "r"), ("2'", "r"), ("12'", "r"), ("2'", "r")]);
        room.openings = openings;
        let (outline, problems) = close(&room, &Rules::default(), Units::Imperial);
        assert!(outline.is_some());
        problems.into_iter().map(|it| (it.kind, it.text)).collect::<Vec<_>>()
    };
    assert_eq!(with(vec![opening(1, 0, "9' 4\"", "32\""), opening(2, 0, "0", "32\"")]), []);
    assert_eq!(
        with(vec![opening(1, 1, "0", "32\"")]),
        [(ProblemKind::BadLength, "Den: the doorway is 2' 8\" wide, but wall 2 is only 2' 0\" long.".to_owned())]
    );
    assert_eq!(
        with(vec![opening(1, 0, "10'", "32\"")]),
        [(
            ProblemKind::BadOpening,
            "Den: the doorway ends 8\" beyond the end of wall 1. Measure its place again.".to_owned()
        )]
    );
    assert_eq!(
        with(vec![opening(1, 0, "1'", "32\""), opening(2, 0, "3'", "32\"")]),
        [(
            ProblemKind::BadOpening,
            "Den: a doorway and a doorway in wall 1 overlap. Measure their places again.".to_owned()
        )]
    );
    assert_eq!(with(vec![opening(1, 9, "1'", "32\"")])[0].0, ProblemKind::BadOpening,);
    let mut absurd = opening(1, 0, "1'", "32\"");
    absurd.offset = Length(i64::MIN);
    absurd.width = Length(i64::MAX);
    assert_eq!(with(vec![absurd])[0].0, ProblemKind::BadLength);
}
