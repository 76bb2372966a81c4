//! Rooms on the plan: joined through their openings, apart otherwise; what the carpet covers; pile groups.

use napline_tests::grid::Grid;
use napline_tests::rooms::{doorway, flight, goods_id, job, long, plain_goods, room, room_id};
use proptest::prelude::*;
use shared_model::floor::{Floor, place};
use shared_model::ids::OpeningId;
use shared_model::job::{FloorAtOpening, Job, Opening, OpeningKind, Room};
use shared_model::length::{Length, Units};
use shared_model::outline::close;
use shared_model::polygon::{Area, Axis, Bounds, Point, Ring};
use shared_model::problem::{Place, Problem, ProblemKind};

fn placed(job: &Job) -> (Floor, Vec<Problem>) {
    let outlines =
        job.rooms.iter().map(|room| (room.id, close(room, &job.rules, Units::Imperial).0.unwrap())).collect();
    place(job, outlines)
}

fn soundly_placed(job: &Job) -> Floor {
    let (floor, problems) = placed(job);
    assert_eq!(problems, []);
    floor
}

fn at(x: &str, y: &str) -> Point {
    Point::new(long(x), long(y))
}

/// North, east, south and west walls from the south-west corner.
fn rectangle(n: u64, name: &str, east: &str, north: &str) -> Room {
    room(n, name, &[(north, "r"), (east, "r"), (north, "r"), (east, "r")])
}

/// A hall, 4 by 20 ft, with a bedroom to its west: both have the doorway between them.
fn hall_and_bedroom() -> Vec<Room> {
    let mut hall = rectangle(1, "Hall", "4'", "20'");
    let mut bedroom = rectangle(2, "Bedroom", "10'", "12'");
    hall.openings = vec![doorway(1, 0, long("5'"), long("32\""), Some(2))];
    bedroom.openings = vec![doorway(2, 2, long("3'"), long("32\""), Some(1))];
    vec![hall, bedroom]
}

/// Hand-worked: the hall's doorway is centred 6' 4" from its south end, the bedroom's 7' 8" from its own.
#[test]
fn a_doorway_joins_two_rooms_with_the_wall_between() {
    let floor = soundly_placed(&job(hall_and_bedroom(), vec![plain_goods(1)]));
    let [hall, bedroom] = &floor.rooms[..] else { panic!("{floor:?}") };
    assert!(hall.joined && bedroom.joined);
    assert_eq!(bedroom.ring, Ring::rectangle(Point::ORIGIN, at("10'", "12'")));
    let corner = at("10' 4 1/2\"", "1' 4\"");
    assert_eq!(hall.ring, Ring::rectangle(corner, corner + at("4'", "20'")));
}

/// The bedroom was walked from another corner and the other way round.
#[test]
fn it_does_not_matter_how_a_room_was_walked() {
    let mut rooms = hall_and_bedroom();
    rooms[1] = room(2, "Bedroom", &[("10'", "l"), ("12'", "l"), ("10'", "l"), ("12'", "l")]);
    // West along the north wall, south, east, and north along the east wall: 12' − 3' − 32" from its south end.
    rooms[1].openings = vec![doorway(2, 3, long("6' 4\""), long("32\""), Some(1))];
    let turned = soundly_placed(&job(rooms, vec![plain_goods(1)]));
    let plain = soundly_placed(&job(hall_and_bedroom(), vec![plain_goods(1)]));
    assert_eq!(turned.rooms[1].ring.bounds(), plain.rooms[1].ring.bounds());
    assert_eq!(turned.rooms[0].ring, plain.rooms[0].ring);
}

/// Wall to wall is taken half way into the doorway.
#[test]
fn the_carpet_goes_half_way_into_its_doorways() {
    let floor = soundly_placed(&job(hall_and_bedroom(), vec![plain_goods(1)]));
    for placed in &floor.rooms {
        assert_eq!(placed.covered.area() - placed.ring.area(), long("32\"") * long("2 1/4\""), "{}", placed.name);
    }
    let [hall, bedroom] = &floor.rooms[..] else { panic!("{floor:?}") };
    let middle = long("10' 2 1/4\"");
    assert_eq!(bedroom.covered.bounds().unwrap().max.x, middle);
    assert_eq!(hall.covered.bounds().unwrap().min.x, middle);

    let mut rooms = hall_and_bedroom();
    rooms[0].openings[0].floor = FloorAtOpening::OtherFloor;
    rooms[1].openings[0].floor = FloorAtOpening::OtherFloor;
    rooms[1].openings.push(Opening { kind: OpeningKind::Window, ..doorway(2, 0, long("2'"), long("5'"), None) });
    let floor = soundly_placed(&job(rooms, vec![plain_goods(1)]));
    assert!(floor.rooms.iter().all(|it| it.covered.area() == it.ring.area()));
}

/// An opening up to a corner, and two that follow each other.
#[test]
fn doorways_may_lie_side_by_side_and_in_corners() {
    let mut den = rectangle(1, "Den", "9'", "12'");
    den.openings = vec![
        doorway(1, 0, long("32\""), long("32\""), None),
        doorway(1, 0, Length::ZERO, long("32\""), None),
        doorway(1, 2, long("12'") - long("32\""), long("32\""), None),
    ];
    let floor = soundly_placed(&job(vec![den], vec![plain_goods(1)]));
    let covered = &floor.rooms[0].covered;
    assert_eq!(covered.area() - floor.rooms[0].ring.area(), long("96\"") * long("2 1/4\""));
    assert_eq!(covered.crossing(), None);
}

#[test]
fn rooms_that_nothing_joins_stand_apart_and_levels_too() {
    let mut rooms =
        vec![rectangle(1, "Den", "9'", "12'"), rectangle(2, "Attic", "20'", "8'"), rectangle(3, "Study", "7'", "10'")];
    rooms[1].level = 1;
    let floor = soundly_placed(&job(rooms, vec![plain_goods(1)]));
    let corner = |n: usize| floor.rooms[n].ring.bounds().unwrap().min;
    assert_eq!([corner(0), corner(1), corner(2)], [at("0", "0"), at("0", "16'"), at("13'", "0")]);
    assert!(floor.rooms.iter().all(|it| !it.joined));
}

#[test]
fn an_opening_without_a_counterpart_is_told() {
    let mut rooms = hall_and_bedroom();
    rooms[1].openings.clear();
    let (floor, problems) = placed(&job(rooms, vec![plain_goods(1)]));
    assert_eq!(problems.len(), 1);
    assert_eq!(
        (problems[0].kind, problems[0].place),
        (ProblemKind::BadFloor, Place::Opening(room_id(1), doorway(1, 0, long("5'"), long("1'"), None).id))
    );
    assert_eq!(
        problems[0].text,
        "Hall: the doorway leads to Bedroom, but Bedroom has none that leads back. Add it there, so that both rooms can stand side by side."
    );
    assert!(floor.rooms.iter().all(|it| !it.joined));
    assert_eq!(floor.groups.len(), 2, "their directions say nothing about each other");
}

/// The bedroom's only doorway of that width that says nothing is the other side.
#[test]
fn a_silent_doorway_may_be_the_counterpart() {
    let mut rooms = hall_and_bedroom();
    rooms[1].openings[0].leads_to = None;
    rooms[1].openings.push(doorway(2, 0, long("3'"), long("60\""), None));
    assert!(soundly_placed(&job(rooms.clone(), vec![plain_goods(1)])).rooms.iter().all(|it| it.joined));
    rooms[1].openings.push(doorway(2, 1, long("3'"), long("32\""), None));
    assert_eq!(placed(&job(rooms, vec![plain_goods(1)])).1.len(), 1, "two may be meant");
}

/// Two doorways between the same rooms are paired so that both meet.
#[test]
fn two_doorways_between_the_same_rooms_meet() {
    let mut rooms = hall_and_bedroom();
    rooms[0].openings.push(doorway(1, 0, long("1'"), long("32\""), Some(2)));
    rooms[1].openings.push(doorway(2, 2, long("7'"), long("32\""), Some(1)));
    soundly_placed(&job(rooms.clone(), vec![plain_goods(1)]));
    rooms[1].openings.reverse();
    soundly_placed(&job(rooms, vec![plain_goods(1)]));
}

/// A loop, hand-worked: a study, 10 by 6 ft, stands north of the bedroom, 12' 4 1/2" up the plan, with a doorway to the hall and
/// one to the bedroom. First all agree, then one is a foot off.
#[test]
fn doors_that_disagree_around_a_loop_are_told_by_how_much() {
    let mut rooms = hall_and_bedroom();
    let mut study = rectangle(3, "Study", "10'", "6'");
    let wide = long("32\"");
    rooms[0].openings.push(doorway(1, 0, long("13'"), wide, Some(3)));
    study.openings =
        vec![doorway(3, 2, long("1' 4 1/2\""), wide, Some(1)), doorway(3, 3, long("4' 4\""), wide, Some(2))];
    rooms[1].openings.push(doorway(2, 1, long("3'"), wide, Some(3)));
    rooms.push(study);
    let floor = soundly_placed(&job(rooms.clone(), vec![plain_goods(1)]));
    assert_eq!(floor.rooms[2].ring.bounds().unwrap().min, at("0", "12' 4 1/2\""));

    rooms[2].openings[1].offset += Length::feet(1);
    let (floor, problems) = placed(&job(rooms, vec![plain_goods(1)]));
    assert!(floor.rooms.iter().all(|it| it.joined));
    assert_eq!(problems.len(), 1);
    assert_eq!(
        (problems[0].kind, problems[0].place),
        (ProblemKind::BadFloor, Place::Opening(room_id(2), bedroom_to_study()))
    );
    assert_eq!(
        problems[0].text,
        "Going round through Hall, Bedroom and Study, the rooms miss each other by 1' 0\". Measure one of these again: \
         the place of the doorway in wall 2 of Bedroom, 3' 0\" (2' 0\" would fit: a foot off?); \
         the place of the doorway in wall 4 of Study, 5' 4\" (4' 4\" would fit: a foot off?)."
    );
}

fn bedroom_to_study() -> OpeningId {
    doorway(2, 1, long("3'"), long("32\""), None).id
}

#[test]
fn joined_rooms_that_reach_into_each_other_are_told() {
    let mut rooms = hall_and_bedroom();
    // A closet on the hall's west wall, where the bedroom is.
    let mut closet = rectangle(3, "Closet", "2'", "3'");
    closet.openings = vec![doorway(3, 2, long("2\""), long("32\""), Some(1))];
    rooms[0].openings.push(doorway(1, 0, long("2'"), long("32\""), Some(3)));
    rooms.push(closet);
    let (_, problems) = placed(&job(rooms, vec![plain_goods(1)]));
    assert_eq!(problems.len(), 1, "{problems:?}");
    assert_eq!((problems[0].kind, problems[0].place), (ProblemKind::BadFloor, Place::Room(room_id(3))));
    assert!(
        problems[0].text.starts_with("Bedroom and Closet reach 2' 0\" into each other on the plan."),
        "{}",
        problems[0].text
    );
}

#[test]
fn rooms_joined_by_carpet_of_one_goods_share_a_pile_direction() {
    let groups = |change: &dyn Fn(&mut Job)| {
        let mut job = job(hall_and_bedroom(), vec![plain_goods(1), plain_goods(2)]);
        job.flights = vec![flight(7)];
        change(&mut job);
        let groups = placed(&job).0.groups;
        groups.into_iter().map(|it| (it.goods, it.rooms, it.flights.len())).collect::<Vec<_>>()
    };
    let (one, two) = (goods_id(1), goods_id(2));
    assert_eq!(groups(&|_| {}), [(one, vec![room_id(1), room_id(2)], 0), (one, vec![], 1)]);
    assert_eq!(
        groups(&|job| job.rooms[1].goods = Some(two)),
        [(one, vec![room_id(1)], 0), (one, vec![], 1), (two, vec![room_id(2)], 0)]
    );
    let other = |job: &mut Job| job.rooms[0].openings[0].floor = FloorAtOpening::OtherFloor;
    assert_eq!(groups(&other), [(one, vec![room_id(1)], 0), (one, vec![room_id(2)], 0), (one, vec![], 1)]);
}

#[test]
fn both_sides_must_agree_on_the_floor_between() {
    let mut rooms = hall_and_bedroom();
    rooms[0].openings[0].floor = FloorAtOpening::OtherFloor;
    let (_, problems) = placed(&job(rooms, vec![plain_goods(1)]));
    assert_eq!(problems.len(), 1);
    assert_eq!(problems[0].kind, ProblemKind::Disputed);
    assert_eq!(
        problems[0].text,
        "The opening between Hall and Bedroom: seen from Hall another floor begins there, seen from Bedroom the carpet goes on. Settle which."
    );
}

fn grids() -> impl Strategy<Value = Grid> {
    let sizes = || prop::collection::vec((60..200_i64).prop_map(Length::inches), 1..4);
    (sizes(), sizes(), prop::collection::vec((0..4_usize, any::<bool>()), 9)).prop_map(|(columns, rows, walks)| Grid {
        columns,
        rows,
        walks,
    })
}

fn middle(bounds: Bounds) -> Point {
    bounds.min + Point::new(bounds.size(Axis::X) / 2, bounds.size(Axis::Y) / 2)
}

proptest! {
    #[test]
    fn a_real_floor_comes_out_as_it_is(grid in grids()) {
        let count = grid.count();
        let job = job((0..count).map(|n| grid.room(n)).collect(), vec![plain_goods(1)]);
        let (floor, problems) = placed(&job);
        prop_assert_eq!(problems, []);
        prop_assert!(count == 1 || floor.rooms.iter().all(|it| it.joined));
        prop_assert_eq!(floor.groups.len(), 1);
        let found: Vec<Point> = floor.rooms.iter().map(|it| middle(it.ring.bounds().unwrap())).collect();
        for one in 0..count {
            for two in 0..one {
                prop_assert_eq!(found[one].distance(found[two]), grid.middle(one).distance(grid.middle(two)));
                prop_assert_eq!(floor.rooms[one].covered.overlap(&floor.rooms[two].covered), []);
            }
        }
        let covered: Area = floor.rooms.iter().map(|it| it.covered.area()).sum();
        let doors = job.rooms.iter().map(|it| it.openings.len()).sum::<usize>();
        let doors: Area = (0..doors).map(|_| Length::inches(30) * long("2 1/4\"")).sum();
        prop_assert_eq!(covered - floor.rooms.iter().map(|it| it.ring.area()).sum(), doors);
    }

    /// Whatever openings say, every closed room is on the plan once and apart from what it is not joined to.
    #[test]
    fn no_opening_brings_it_down(
        grid in grids(),
        doors in prop::collection::vec((0..9_u64, 0..9_usize, -300_000..60_000_000_i64, prop_oneof![Just(i64::MAX), 0..10_000_000_i64], prop::option::of(0..9_u64)), 0..12),
    ) {
        let count = grid.count();
        let mut job = job((0..count).map(|n| grid.room(n)).collect(), vec![plain_goods(1)]);
        for (n, wall, offset, width, leads_to) in doors {
            if let Some(room) = job.rooms.get_mut(usize::try_from(n).unwrap()) {
                room.openings.push(doorway(n, wall, Length(offset), Length(width), leads_to));
            }
        }
        let (floor, _) = placed(&job);
        prop_assert_eq!(floor.rooms.len(), count);
        prop_assert_eq!(floor.groups.iter().map(|it| it.rooms.len()).sum::<usize>(), count);
        for placed in &floor.rooms {
            prop_assert_eq!(placed.covered.crossing(), None);
            prop_assert!(placed.covered.area() >= placed.ring.area());
            let alone = floor.rooms.iter().filter(|it| !placed.joined && it.room != placed.room);
            for other in alone {
                prop_assert_eq!(placed.ring.overlap(&other.ring), []);
            }
        }
    }
}

/// A doorway in a wall that runs at 45° turns the room beyond by 45°: a square closet behind the cut corner of a den.
#[test]
fn a_doorway_in_a_slanted_wall_turns_the_room_beyond() {
    // The den is 12 by 12 ft, its north-east corner cut off 4 ft along both walls.
    let mut den = room(1, "Den", &[("12'", "r"), ("8'", "r45"), ("67.8823\"", "r45"), ("8'", "r"), ("12'", "r")]);
    let mut closet = rectangle(2, "Closet", "5'", "5'");
    let wide = long("32\"");
    den.openings = vec![doorway(1, 2, (long("67.8823\"") - wide) / 2, wide, Some(2))];
    closet.openings = vec![doorway(2, 3, long("14\""), wide, Some(1))];
    let floor = soundly_placed(&job(vec![den, closet], vec![plain_goods(1)]));
    let [den, closet] = &floor.rooms[..] else { panic!("{floor:?}") };
    assert_eq!(closet.turned.show(), "45°");
    assert_eq!(closet.ring.overlap(&den.ring), []);
    // The closet's corners lie 4 1/2 in and 5 ft 4 1/2 in beyond the cut, which runs where east plus north is 20 ft.
    let beyond = |it: &Point| Length(((it.x + it.y - Length::feet(20)).0 as f64 / 2_f64.sqrt()).round() as i64);
    let mut far: Vec<Length> = closet.ring.0.iter().map(beyond).collect();
    far.sort_unstable();
    for (found, worked) in far.iter().zip(["4 1/2\"", "4 1/2\"", "5' 4 1/2\"", "5' 4 1/2\""]) {
        assert!((*found - long(worked)).abs() < Length::sixty_fourths(1), "{}", found.exact_text());
    }
}
