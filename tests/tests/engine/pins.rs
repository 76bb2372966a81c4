//! What the crew decides about a layout: pins that every layout keeps, pieces left out, and a chosen plan that stays chosen.

use napline_tests::checker::sound;
use napline_tests::demo::house;
use napline_tests::rooms::{decide, goods_id, job, long, plain_goods, room, room_id, square, wall_id};
use shared_model::ids::ReadingId;
use shared_model::job::{Decision, Job, PileDirection, Pin, Reading};
use shared_model::layout::{Layout, Part, SeamKind};
use shared_model::length::Length;
use shared_model::problem::{Place, ProblemKind};
use shared_model::takeoff::{GoodsTakeoff, Takeoff, takeoff};
use uuid::Uuid;

fn pin(job: &mut Job, room: u64, pin: Pin) {
    decide(job, Decision::Pin { room: room_id(room), pin });
}

/// 20' by 14', so that a 12 ft roll needs a seam either way; beside it a small den of its own.
fn two_rooms() -> Job {
    let great = room(1, "Great room", &[("14'", "r"), ("20'", "r"), ("14'", "r"), ("20'", "r")]);
    let den = room(2, "Den", &[("9'", "r"), ("10'", "r"), ("9'", "r"), ("10'", "r")]);
    job(vec![great, den], vec![plain_goods(1)])
}

fn only(taken: &Takeoff) -> &GoodsTakeoff {
    &taken.goods[0]
}

fn told(taken: &Takeoff, kind: ProblemKind) -> Vec<(Place, &str)> {
    taken.problems.iter().filter(|it| it.kind == kind).map(|it| (it.place, it.text.as_str())).collect()
}

/// The other way to write the seams of one room: their distances from its west wall.
fn side_seams(layout: &Layout, room: u64) -> Vec<Length> {
    let seams = layout.seams.iter().filter(|it| it.room == room_id(room) && it.kind == SeamKind::Side);
    seams.map(|it| it.from.x).collect()
}

#[test]
fn every_layout_has_its_seam_where_it_is_pinned() {
    let mut job = two_rooms();
    pin(&mut job, 1, Pin::Seam { wall: wall_id(1, 0), distance: Length::feet(9) });
    let taken = sound(&job);
    let west = taken.floor.rooms[0].ring.0[0].x;
    assert!(!only(&taken).layouts.is_empty());
    for layout in &only(&taken).layouts {
        assert!(side_seams(layout, 1).contains(&(west + Length::feet(9))), "{}", layout.name);
        assert!(layout.groups.iter().any(|it| it.pile == PileDirection::North), "the seam runs with the pile");
    }
    assert_eq!(told(&taken, ProblemKind::PinImpossible), []);
}

/// From the east wall, which runs south, the distance is measured to the west.
#[test]
fn a_seam_is_pinned_from_any_wall() {
    let mut job = two_rooms();
    pin(&mut job, 1, Pin::Seam { wall: wall_id(1, 2), distance: Length::feet(9) });
    let taken = sound(&job);
    let east = taken.floor.rooms[0].ring.0[2].x;
    for layout in &only(&taken).layouts {
        assert!(side_seams(layout, 1).contains(&(east - Length::feet(9))), "{}", layout.name);
    }
}

#[test]
fn two_pinned_seams_are_both_kept() {
    let mut job = two_rooms();
    for distance in [7, 13] {
        pin(&mut job, 1, Pin::Seam { wall: wall_id(1, 0), distance: Length::feet(distance) });
    }
    let taken = sound(&job);
    let west = taken.floor.rooms[0].ring.0[0].x;
    for layout in &only(&taken).layouts {
        assert_eq!(side_seams(layout, 1), [west + Length::feet(7), west + Length::feet(13)]);
    }
}

#[test]
fn breadths_start_along_the_pinned_wall() {
    for (wall, at) in [(0, Length::feet(12)), (2, Length::feet(8))] {
        let mut job = two_rooms();
        pin(&mut job, 1, Pin::Along { wall: wall_id(1, wall) });
        let taken = sound(&job);
        let west = taken.floor.rooms[0].ring.0[0].x;
        for layout in &only(&taken).layouts {
            // A full breadth along a wall covers the roll less its allowance there (3 in) and the seam's trim (1 in).
            let lost = Length::inches(4);
            let seam = west + if wall == 0 { at - lost } else { at + lost };
            assert_eq!(side_seams(layout, 1), [seam], "{}", layout.name);
        }
    }
}

#[test]
fn the_pile_runs_as_pinned() {
    for pile in [PileDirection::North, PileDirection::East, PileDirection::South, PileDirection::West] {
        let mut job = two_rooms();
        pin(&mut job, 1, Pin::Pile(pile));
        let taken = sound(&job);
        let group = taken.floor.groups.iter().position(|it| it.rooms.contains(&room_id(1)));
        for layout in &only(&taken).layouts {
            let of = layout.groups.iter().find(|it| Some(it.group) == group);
            assert_eq!(of.map(|it| it.pile), Some(pile));
        }
    }
}

#[test]
fn a_room_that_fits_one_breadth_is_laid_without_a_seam() {
    let mut job = two_rooms();
    pin(&mut job, 2, Pin::NoSeam);
    let taken = sound(&job);
    assert!(only(&taken).layouts.iter().all(|it| it.seams.iter().all(|it| it.room != room_id(2))));
    assert_eq!(told(&taken, ProblemKind::PinImpossible), []);
}

/// What cannot be is said with its reason, and everything else is still planned.
#[test]
fn an_impossible_pin_is_explained() {
    let impossible = [
        (Pin::NoSeam, "cannot be laid without a seam: the floor is 20' 0\" by 14' 0\", but one breadth covers 11' 6\""),
        (Pin::Seam { wall: wall_id(1, 0), distance: Length::inches(3) }, "no seam can lie 3\" from that wall"),
        (Pin::Seam { wall: wall_id(1, 0), distance: Length::feet(30) }, "no seam can lie 30' 0\" from that wall"),
        (Pin::Along { wall: wall_id(9, 9) }, "no full breadth can start along that wall"),
    ];
    for (asked, reason) in impossible {
        let mut job = two_rooms();
        pin(&mut job, 1, asked);
        let taken = sound(&job);
        let told = told(&taken, ProblemKind::PinImpossible);
        assert_eq!(told.len(), 1, "{told:?}");
        assert_eq!(told[0].0, Place::Room(room_id(1)));
        assert!(told[0].1.starts_with("Great room: ") && told[0].1.contains(reason), "{}", told[0].1);
        assert!(!only(&taken).layouts.is_empty());
    }
}

/// 12' 0" roll: a seam pinned with the pile to the north cannot be kept with the pile to the east.
#[test]
fn pins_that_contradict_each_other_are_explained() {
    let mut job = two_rooms();
    pin(&mut job, 1, Pin::Seam { wall: wall_id(1, 0), distance: Length::feet(9) });
    pin(&mut job, 1, Pin::Seam { wall: wall_id(1, 1), distance: Length::feet(7) });
    let taken = sound(&job);
    assert_eq!(told(&taken, ProblemKind::PinImpossible).len(), 1);
    assert!(!only(&taken).layouts.is_empty());
}

#[test]
fn a_piece_left_out_is_not_on_the_roll() {
    let job = two_rooms();
    let before = takeoff(&job);
    let layout = only(&before).layout().unwrap();
    let den =
        layout.pieces.iter().find(|it| matches!(it.part, Part::Breadth { room, .. } if room == room_id(2))).unwrap();
    let mut less = job;
    decide(&mut less, Decision::LeaveOut { piece: den.id.clone() });
    let after = takeoff(&less);
    let same = only(&after).layouts.iter().find(|it| it.ways == layout.ways).unwrap();
    assert!(same.pieces.iter().all(|it| it.id != den.id));
    assert_eq!(same.left_out.iter().map(|it| &it.id).collect::<Vec<_>>(), [&den.id]);
    assert!(same.order < layout.order);
    assert_eq!(same.net, layout.net, "the floor is covered all the same");
}

/// Choosing every layout of a house in turn: it is found again, and fits.
#[test]
fn a_chosen_plan_is_found_again() {
    let job = house();
    let before = takeoff(&job);
    for goods in &before.goods {
        for layout in &goods.layouts {
            let mut chosen = job.clone();
            decide(&mut chosen, Decision::Plan(layout.chosen(goods.goods)));
            let after = takeoff(&chosen);
            let now = after.goods.iter().find(|it| it.goods == goods.goods).unwrap();
            assert_eq!(now.layout(), Some(layout));
            let standing = now.standing.as_ref().unwrap();
            assert!(standing.fits());
            assert_eq!(standing.words(job.units), "Still fits today's readings.");
        }
    }
}

fn read_again(job: &mut Job, room: usize, wall: usize, value: Length) {
    let old = job.rooms[room].walls[wall].readings[0].clone();
    job.rooms[room].walls[wall].readings.push(Reading {
        id: ReadingId(Uuid::from_u64_pair(5, (100 * room + wall) as u64)),
        value,
        supersedes: vec![old.id],
        ..old
    });
}

/// The great room turns out 2 1/4 in longer: its breadths are short by that along the pile, the den's is not.
#[test]
fn a_chosen_plan_says_by_how_much_a_piece_is_short() {
    let mut job = two_rooms();
    pin(&mut job, 1, Pin::Pile(PileDirection::East));
    let before = takeoff(&job);
    let layout = only(&before).layout().unwrap().clone();
    decide(&mut job, Decision::Plan(layout.chosen(only(&before).goods)));
    let longer = Length::feet(20) + Length::sixty_fourths(144);
    for wall in [1, 3] {
        read_again(&mut job, 0, wall, longer);
    }
    let after = sound(&job);
    let standing = only(&after).standing.as_ref().unwrap();
    assert_eq!(only(&after).layout().unwrap().ways, layout.ways);
    assert!(standing.anew.is_empty() && !standing.short.is_empty());
    for short in &standing.short {
        assert!(short.label.starts_with("Great room"), "{}", short.label);
        assert_eq!((short.width, short.length), (Length::ZERO, Length::sixty_fourths(144)));
    }
    let words = standing.words(job.units);
    assert!(words.contains("Short by 2 1/4\" along the roll in Great room, breadth 1."), "{words}");
    assert_eq!(told(&after, ProblemKind::StalePlan).len(), 1);
}

/// A room measured later does not change how the others are laid.
#[test]
fn a_room_more_leaves_the_chosen_rooms_as_they_are() {
    let job = house();
    let before = takeoff(&job);
    for goods in &before.goods {
        let layout = goods.layouts.last().unwrap();
        let mut more = job.clone();
        decide(&mut more, Decision::Plan(layout.chosen(goods.goods)));
        let mut attic = room(40, "Attic", &[("13'", "r"), ("17'", "r"), ("13'", "r"), ("17'", "r")]);
        attic.goods = Some(goods.goods);
        more.rooms.push(attic);
        let after = sound(&more);
        let now = after.goods.iter().find(|it| it.goods == goods.goods).unwrap();
        let today = now.layout().unwrap();
        for (of, way) in &layout.ways {
            assert_eq!(today.ways.get(of), Some(way));
        }
        assert_eq!(now.standing.as_ref().unwrap().anew, ["Attic"]);
    }
}

/// By hand: a room of 15' takes a seam; pinned elsewhere after a layout was chosen, it goes there, and the plan says that the room is laid
/// anew.
#[test]
fn a_pin_after_the_choice_moves_the_chosen_layout() {
    let mut job = job(vec![square(1, "Den", "15'", "20'")], vec![plain_goods(1)]);
    let plan = sound(&job).goods[0].layout().unwrap().clone();
    decide(&mut job, Decision::Plan(plan.chosen(goods_id(1))));
    pin(&mut job, 1, Pin::Pile(plan.groups[0].pile));
    assert!(only(&sound(&job)).standing.as_ref().unwrap().fits(), "it keeps this pin");
    let east = plan.groups[0].pile == PileDirection::East;
    let distance = long("6'");
    let wall = job.rooms[0].walls[usize::from(east)].id;
    pin(&mut job, 1, Pin::Seam { wall, distance });
    let taken = sound(&job);
    let layout = only(&taken).layout().unwrap();
    assert_ne!(layout.seams, plan.seams);
    assert_eq!(only(&taken).standing.as_ref().unwrap().anew, ["Den"]);
}
