//! What stands on the floor and walls that bend: areas, perimeters and strip by hand, and what cannot be.

use napline_tests::checker::faults;
use napline_tests::rooms::{doorway, flight, job, long, plain_goods, room, wall_id};
use shared_model::ids::{FixtureId, ReadingId};
use shared_model::job::{Fixture, FixtureKind, Flight, Foot, Job, Opening, Reading, Rise, Room};
use shared_model::length::Length;
use shared_model::polygon::Area;
use shared_model::problem::{Place, Problem, ProblemKind};
use shared_model::takeoff::{Takeoff, takeoff};
use uuid::Uuid;

/// 12 ft to the north, 15 ft to the east.
fn den() -> Room {
    room(1, "Den", &[("12'", "r"), ("15'", "r"), ("12'", "r"), ("15'", "r")])
}

pub fn fixture(n: u64, kind: FixtureKind, wall: usize, [offset, clear, width, depth]: [&str; 4]) -> Fixture {
    Fixture {
        id: FixtureId(Uuid::from_u64_pair(9, n)),
        kind,
        wall: wall_id(1, wall),
        offset: long(offset),
        clear: long(clear),
        width: long(width),
        depth: long(depth),
    }
}

fn with(fixtures: Vec<Fixture>) -> (Job, Takeoff) {
    let job = job(vec![Room { fixtures, ..den() }], vec![plain_goods(1)]);
    let takeoff = takeoff(&job);
    (job, takeoff)
}

pub fn square_feet(area: Area) -> f64 {
    area.0 as f64 / (Length::FOOT * Length::FOOT).0 as f64
}

/// Area, perimeter and strip.
#[track_caller]
fn expect(fixtures: Vec<Fixture>, area: f64, perimeter: &str, strip: &str) -> Takeoff {
    let (job, takeoff) = with(fixtures);
    assert_eq!(takeoff.problems, Vec::<Problem>::new());
    let outline = &takeoff.floor.rooms[0].outline;
    assert!((square_feet(outline.area) - area).abs() < 1e-6, "{}", square_feet(outline.area));
    assert_eq!(outline.perimeter, long(perimeter));
    assert_eq!(takeoff.materials.strip, long(strip));
    assert_eq!(faults(&job, &takeoff), Vec::<String>::new());
    takeoff
}

#[test]
fn a_hearth_is_a_notch_with_strip_around_it() {
    let hearth = fixture(1, FixtureKind::Hearth, 1, ["5'", "0", "5'", "2'"]);
    let takeoff = expect(vec![hearth], 170.0, "58'", "58'");
    assert_eq!(takeoff.floor.rooms[0].face.0.len(), 8);
}

#[test]
fn a_column_is_a_hole_with_strip_around_it() {
    let column = fixture(1, FixtureKind::Column, 0, ["3'", "4'", "1'", "1'"]);
    let takeoff = expect(vec![column], 179.0, "54'", "58'");
    assert_eq!(takeoff.floor.rooms[0].holes.len(), 1);
}

/// Carpet is laid over it and cut out: common practice.
#[test]
fn a_register_takes_no_carpet_off() {
    for clear in ["0", "6\""] {
        let register = fixture(1, FixtureKind::Register, 2, ["3'", clear, "1'", "4\""]);
        let takeoff = expect(vec![register], 180.0, "54'", "54'");
        assert!(takeoff.floor.rooms[0].holes.is_empty());
    }
}

/// In the corner of walls 1 and 2: 10 ft along wall 2, 3 ft into the room. Its two inner sides are no wall.
#[test]
fn a_stair_well_in_a_corner_has_two_edges() {
    let well = fixture(1, FixtureKind::StairWell, 1, ["0", "0", "10'", "3'"]);
    let takeoff = expect(vec![well], 150.0, "54'", "41'");
    assert_eq!(takeoff.materials.well_edges, long("13'"));
    let free = fixture(1, FixtureKind::StairWell, 1, ["2'", "4'", "8'", "3'"]);
    assert_eq!(expect(vec![free], 156.0, "54'", "54'").materials.well_edges, long("22'"));
}

/// A built-in that fills a corner: the ring goes around it, and no spike is left.
#[test]
fn a_built_in_may_fill_a_corner() {
    let shelf = fixture(1, FixtureKind::BuiltIn, 3, ["13'", "0", "2'", "12'"]);
    let takeoff = expect(vec![shelf], 156.0, "50'", "50'");
    assert_eq!(takeoff.floor.rooms[0].face.0.len(), 4);
}

#[track_caller]
fn refused(fixtures: Vec<Fixture>, openings: Vec<Opening>, says: &str) {
    let place = Place::Fixture(den().id, fixtures.last().unwrap().id);
    let job = job(vec![Room { fixtures, openings, ..den() }], vec![plain_goods(1)]);
    let takeoff = takeoff(&job);
    let found: Vec<&Problem> = takeoff.problems.iter().filter(|it| it.kind == ProblemKind::BadFixture).collect();
    let [problem] = found[..] else { panic!("{:?}", takeoff.problems) };
    assert_eq!(problem.place, place);
    assert!(problem.text.contains(says), "{}", problem.text);
    assert_eq!(faults(&job, &takeoff), Vec::<String>::new());
}

#[test]
fn what_cannot_stand_is_said_and_left_out() {
    let hearth = |at: [&str; 4]| fixture(1, FixtureKind::Hearth, 1, at);
    refused(vec![hearth(["12'", "0", "5'", "2'"])], vec![], "ends 2' 0\" beyond the end of wall 2");
    refused(vec![hearth(["5'", "0", "5'", "13'"])], vec![], "reaches out of the room");
    let column = fixture(2, FixtureKind::Column, 1, ["6'", "1'", "1'", "2'"]);
    refused(vec![hearth(["5'", "0", "5'", "2'"]), column], vec![], "a hearth and a column stand in one place");
    let door = doorway(1, 1, long("6'"), long("30\""), None);
    refused(vec![hearth(["5'", "0", "5'", "2'"])], vec![door], "stands in front of the doorway");
    let gone = Fixture { wall: wall_id(1, 7), ..hearth(["5'", "0", "5'", "2'"]) };
    refused(vec![gone], vec![], "a wall that was removed");
    let through = fixture(3, FixtureKind::BuiltIn, 1, ["5'", "0", "2'", "12'"]);
    let job = job(vec![Room { fixtures: vec![through], ..den() }], vec![plain_goods(1)]);
    let takeoff = takeoff(&job);
    assert!(takeoff.problems.iter().any(|it| it.text.contains("leaves no floor between")), "{:?}", takeoff.problems);
    assert_eq!(square_feet(takeoff.floor.rooms[0].outline.area), 180.0);
}

fn bent(rise: &str, inward: bool) -> Room {
    let mut den = den();
    den.walls[1].rises = vec![Rise { reading: rise_reading(&den, rise), inward }];
    den
}

pub fn rise_reading(room: &Room, rise: &str) -> Reading {
    let reading = room.walls[1].readings[0].clone();
    Reading { id: ReadingId(Uuid::from_u128(77)), value: long(rise), typed: rise.to_owned(), ..reading }
}

/// Over the chord of 15 ft a rise of 2 1/2 ft: r = (7.5² + 2.5²) ÷ 5 = 12.5 ft, half the angle has the sine 0.6. The arc is
/// 2 · 12.5 · asin 0.6 = 16.0876 ft, its segment 12.5² · (asin 0.6 − 0.6 · 0.8) = 25.5471 sq ft (plane geometry).
#[test]
fn a_bow_adds_its_segment_and_an_inward_arc_takes_it_off() {
    for (inward, area) in [(false, 180.0 + 25.5471), (true, 180.0 - 25.5471)] {
        let job = job(vec![bent("2' 6\"", inward)], vec![plain_goods(1)]);
        let takeoff = takeoff(&job);
        assert_eq!(takeoff.problems, Vec::<Problem>::new());
        let outline = &takeoff.floor.rooms[0].outline;
        let off = square_feet(outline.area) - area;
        assert!((0.0..0.15).contains(&off), "{off}: never less than the floor");
        let arc = outline.perimeter - long("39'");
        assert!((arc.as_mm() / 304.8 - 16.0876).abs() < 0.02, "{}", arc.exact_text());
        assert_eq!(faults(&job, &takeoff), Vec::<String>::new());
    }
}

#[test]
fn an_arc_that_cannot_be_is_said_and_taken_as_straight() {
    let steep = job(vec![bent("8'", false)], vec![plain_goods(1)]);
    let takeoff_of = takeoff(&steep);
    assert!(
        takeoff_of.problems[0].text.contains("wall 2 rises 8' 0\" over a chord of 15' 0\""),
        "{:?}",
        takeoff_of.problems
    );
    assert_eq!(square_feet(takeoff_of.floor.rooms[0].outline.area), 180.0);
    let door = doorway(1, 1, long("6'"), long("30\""), None);
    let in_arc = job(vec![Room { openings: vec![door], ..bent("1'", false) }], vec![plain_goods(1)]);
    let found = takeoff(&in_arc).problems;
    assert!(
        found.iter().any(|it| it.kind == ProblemKind::BadOpening && it.text.contains("lies in an arc")),
        "{found:?}"
    );
}

/// The newest reading says to which side; those to the same side are averaged.
#[test]
fn rises_are_read_like_walls() {
    let mut den = bent("2' 6\"", false);
    let again = Reading { id: ReadingId(Uuid::from_u128(78)), value: long("2' 7\""), ..rise_reading(&den, "2' 6\"") };
    den.walls[1].rises.push(Rise { reading: again, inward: false });
    let bend = |den: &Room| takeoff(&job(vec![den.clone()], vec![])).floor.rooms[0].outline.bends[1];
    assert_eq!(bend(&den), long("2' 6 1/2\""));
    let inward = Reading { id: ReadingId(Uuid::from_u128(79)), value: long("1'"), ..rise_reading(&den, "1'") };
    den.walls[1].rises.push(Rise { reading: inward, inward: true });
    assert_eq!(bend(&den), -Length::FOOT);
    den.walls[1].rises.iter_mut().for_each(|it| it.reading.withdrawn = true);
    assert_eq!(bend(&den), Length::ZERO);
}

/// Where a flight starts there is no wall to strip; it stands on the plan as far along its wall as was read.
#[test]
fn a_flight_starts_at_the_edge_of_the_floor() {
    let foot = Foot { room: den().id, wall: wall_id(1, 1), offset: long("4'"), up: false };
    let with = |foot| Job {
        flights: vec![Flight { foot: Some(foot), ..flight(1) }],
        ..job(vec![den()], vec![plain_goods(1)])
    };
    let found = takeoff(&with(foot));
    assert_eq!(found.problems, Vec::<Problem>::new());
    assert_eq!(found.materials.strip, long("51'"));
    let (from, to) = found.floor.rooms[0].foot(&with(foot).flights[0]).unwrap();
    assert_eq!((from.x, to.x, from.y), (long("4'"), long("7'"), long("12'")));

    let beyond = takeoff(&with(Foot { offset: long("13'"), ..foot }));
    assert_eq!(beyond.problems[0].place, Place::Flight(flight(1).id));
    assert!(beyond.problems[0].text.contains("shorter than 16' 0\""), "{}", beyond.problems[0].text);
    let gone = takeoff(&with(Foot { wall: wall_id(1, 9), ..foot }));
    assert!(gone.problems[0].text.contains("was removed"), "{}", gone.problems[0].text);
}

/// A room whose fourth wall is slanted (5-12-13 triangle): 12 ft by 15 ft less 30 sq ft.
fn slanted() -> Room {
    room(1, "Den", &[("15'", "r"), ("12'", "r"), ("10'", "r67-22-48.494"), ("13'", "r112-37-11.506")])
}

/// Their corners on such a wall are rounded: that is no reason to refuse one.
#[test]
fn fixtures_stand_at_slanted_walls() {
    for step in 0..20 {
        let hearth = Fixture {
            offset: Length::inches(36) + Length::sixty_fourths(97 * step),
            ..fixture(1, FixtureKind::Hearth, 3, ["0", "0", "5'", "2'"])
        };
        let job = job(vec![Room { fixtures: vec![hearth], ..slanted() }], vec![plain_goods(1)]);
        let takeoff = takeoff(&job);
        assert_eq!(takeoff.problems, Vec::<Problem>::new(), "{step}");
        assert!((square_feet(takeoff.floor.rooms[0].outline.area) - 140.0).abs() < 1e-5);
        assert_eq!(takeoff.floor.rooms[0].face.0.len(), 8);
        assert_eq!(faults(&job, &takeoff), Vec::<String>::new());
    }
}

/// Walls 5 and 6 meet square, but lie at 45° to most others, so what stands in their corner is rounded. It has two sides on the
/// floor and leaves no slit to strip.
#[test]
fn a_corner_off_the_axes_is_filled_like_any_other() {
    let walls = [("20'", "r"), ("20'", "r"), ("10'", "r45"), ("5'", "l"), ("4'", "r"), ("", "r45"), ("", "r")];
    let outline = |fixtures| {
        let job = job(vec![Room { fixtures, ..room(1, "Den", &walls) }], vec![plain_goods(1)]);
        let takeoff = takeoff(&job);
        assert!(takeoff.problems.iter().all(|it| it.kind == ProblemKind::Unchecked), "{:?}", takeoff.problems);
        assert_eq!(faults(&job, &takeoff), Vec::<String>::new());
        takeoff.floor.rooms[0].outline.clone()
    };
    let bare = outline(vec![]);
    for (wall, offset) in [(4, "2'"), (5, "0")] {
        let filled = outline(vec![fixture(1, FixtureKind::Hearth, wall, [offset, "0", "2'", "1'"])]);
        assert!((square_feet(bare.area) - square_feet(filled.area) - 2.0).abs() < 1e-5);
        assert!((bare.perimeter - filled.perimeter).abs() <= Length(8), "{}", filled.perimeter.exact_text());
        assert_eq!(filled.face.0.len(), bare.ring.0.len() + 2);
    }
}

/// Its far corner all but touches the slanted wall, 21 in along: behind it is floor, however narrow the way to it.
#[test]
fn only_what_stands_in_a_corner_fills_it() {
    let pier = fixture(1, FixtureKind::BuiltIn, 0, ["21\"", "0", "1\"", "50\""]);
    let found = takeoff(&job(vec![Room { fixtures: vec![pier], ..slanted() }], vec![plain_goods(1)]));
    assert_eq!(found.problems, Vec::<Problem>::new());
    assert!((square_feet(found.floor.rooms[0].outline.area) - (150.0 - 50.0 / 144.0)).abs() < 1e-5);
}

/// Around a court: its two arms are floor, what lies between them is not.
#[test]
fn nothing_stands_across_a_wall() {
    let walls =
        [("12'", "r"), ("5'", "r"), ("8'", "l"), ("5'", "l"), ("8'", "r"), ("5'", "r"), ("12'", "r"), ("15'", "r")];
    let court = room(1, "Den", &walls);
    let across = fixture(1, FixtureKind::Column, 7, ["1'", "9'", "13'", "1'"]);
    let found = takeoff(&job(vec![Room { fixtures: vec![across], ..court }], vec![plain_goods(1)]));
    assert!(found.problems.iter().any(|it| it.text.contains("reaches out of the room")), "{:?}", found.problems);
    assert_eq!(square_feet(found.floor.rooms[0].outline.area), 12.0 * 15.0 - 40.0);
}

/// From the corner of walls 1 and 2 it reaches 3 ft along wall 1, where a door is.
#[test]
fn a_door_in_the_next_wall_is_blocked_too() {
    let shelf = fixture(1, FixtureKind::BuiltIn, 1, ["0", "0", "2'", "3'"]);
    let door = doorway(1, 0, long("8'"), long("30\""), None);
    refused(vec![shelf.clone()], vec![door], "the built-in stands in front of the doorway in wall 1");
    let beside = doorway(1, 0, long("6' 6\""), long("30\""), None);
    let job = job(vec![Room { fixtures: vec![shelf], openings: vec![beside], ..den() }], vec![plain_goods(1)]);
    assert_eq!(takeoff(&job).problems, Vec::<Problem>::new());
}

/// Walls 2 and 4 differ by 1/4 in, so one is adjusted to be longer than it was read and the other shorter. What was read to fill
/// them fills them.
#[test]
fn what_fills_a_wall_fills_the_adjusted_one() {
    for wall in [1, 3] {
        let uneven = room(1, "Den", &[("12'", "r"), ("15' 1/4\"", "r"), ("12'", "r"), ("15'", "r")]);
        let read = ["13' 1/4\"", "13'"][wall / 2];
        let shelf = fixture(1, FixtureKind::BuiltIn, wall, [read, "0", "2'", "1'"]);
        let job = job(vec![Room { fixtures: vec![shelf], ..uneven }], vec![plain_goods(1)]);
        let takeoff = takeoff(&job);
        assert_eq!(takeoff.problems, Vec::<Problem>::new());
        let outline = &takeoff.floor.rooms[0].outline;
        assert_eq!(outline.face.0.len(), 6, "no slit is left beside it: {:?}", outline.face);
        assert_eq!(outline.perimeter, outline.ring.perimeter());
    }
}

/// Of two that leave no floor between them only the later is left out, and a third stays.
#[test]
fn one_that_is_wrong_takes_no_other_with_it() {
    let shelf = |n, wall, depth| fixture(n, FixtureKind::BuiltIn, wall, ["5'", "0", "2'", depth]);
    let hearth = fixture(3, FixtureKind::Hearth, 0, ["5'", "0", "2'", "1'"]);
    let facing = Fixture { offset: long("8'"), ..shelf(2, 3, "7'") };
    let job = job(vec![Room { fixtures: vec![hearth, shelf(1, 1, "5'"), facing], ..den() }], vec![plain_goods(1)]);
    let found = takeoff(&job);
    let [problem] = &found.problems[..] else { panic!("{:?}", found.problems) };
    assert!(problem.text.contains("leaves no floor between"), "{}", problem.text);
    assert_eq!(square_feet(found.floor.rooms[0].outline.area), 180.0 - 2.0 - 10.0);
}

/// A flight of 36 in behind an opening of 40 in, and another that goes on from the first one's place: one gap in the strip.
#[test]
fn a_gap_in_the_strip_counts_once() {
    let opening = doorway(1, 1, long("4'"), long("40\""), None);
    let foot = |offset| Some(Foot { room: den().id, wall: wall_id(1, 1), offset: long(offset), up: false });
    let flights = vec![Flight { foot: foot("50\""), ..flight(1) }, Flight { foot: foot("48\""), ..flight(2) }];
    let den = Room { openings: vec![opening], ..den() };
    let found = takeoff(&Job { flights, ..job(vec![den], vec![plain_goods(1)]) });
    assert_eq!(found.materials.strip, long("54'") - long("40\""));
}

/// A well of 10 by 3 ft in the corner, and a hearth of 2 by 1 ft at its end: between them 1 ft of the well's edge is no floor's.
/// The flight starts in the well, where no wall is left.
#[test]
fn a_well_beside_a_hearth_shares_no_edge_with_the_floor() {
    let well = fixture(1, FixtureKind::StairWell, 1, ["0", "0", "10'", "3'"]);
    let hearth = fixture(2, FixtureKind::Hearth, 1, ["10'", "0", "2'", "1'"]);
    let takeoff = expect(vec![well.clone(), hearth.clone()], 148.0, "54'", "42'");
    assert_eq!(takeoff.materials.well_edges, long("12'"));
    let foot = Some(Foot { room: den().id, wall: wall_id(1, 1), offset: long("2'"), up: false });
    let den = Room { fixtures: vec![well, hearth], ..den() };
    let job = Job { flights: vec![Flight { foot, ..flight(1) }], ..job(vec![den], vec![plain_goods(1)]) };
    assert_eq!(shared_model::takeoff::takeoff(&job).materials.strip, long("42'"));
}
