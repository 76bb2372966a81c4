//! Carpet that runs through an opening: two rooms are covered as one floor, where that is better than a seam between them.

use napline_tests::checker::faults;
use napline_tests::rooms::{doorway, goods_id, job, long, plain_goods, room, room_id, wall_id};
use shared_model::ids::{ChoiceId, DeviceId};
use shared_model::job::{Choice, Decision, FloorAtOpening, Job, Opening, OpeningKind, Pin, Stamp, Timestamp};
use shared_model::layout::{Layout, SeamKind};
use shared_model::length::Length;
use shared_model::takeoff::{Takeoff, moved, takeoff, why};
use uuid::Uuid;

/// A living room 12' by 14', and a dining room 10' by 14' to the east of it. Between them the wall is open for 6'.
fn open_plan(roll: &str, floor: FloorAtOpening) -> Job {
    let mut living = room(1, "Living room", &[("14'", "r"), ("12'", "r"), ("14'", "r"), ("12'", "r")]);
    let mut dining = room(2, "Dining room", &[("14'", "r"), ("10'", "r"), ("14'", "r"), ("10'", "r")]);
    let side = |room, wall, to| Opening {
        kind: OpeningKind::CasedOpening,
        floor,
        ..doorway(room, wall, Length::feet(4), Length::feet(6), Some(to))
    };
    living.openings.push(side(1, 2, 2));
    dining.openings.push(side(2, 0, 1));
    let mut goods = plain_goods(1);
    goods.roll_width = long(roll);
    job(vec![living, dining], vec![goods])
}

#[track_caller]
fn sound(job: &Job) -> Takeoff {
    let taken = takeoff(job);
    assert_eq!(faults(job, &taken), Vec::<String>::new());
    assert_eq!(taken.problems, []);
    taken
}

fn decide(job: &mut Job, decision: Decision) {
    let n = job.choices.len() as u64;
    let stamp = Stamp { by: DeviceId(Uuid::nil()), at: Timestamp(n as i64) };
    job.choices.push(Choice { id: ChoiceId(Uuid::from_u64_pair(77, n)), decision, stamp, supersedes: Vec::new() });
}

fn as_one(taken: &Takeoff) -> impl Iterator<Item = &Layout> {
    taken.goods[0].layouts.iter().filter(|it| !it.areas.is_empty())
}

#[test]
fn one_breadth_covers_both_rooms() {
    let taken = sound(&open_plan("15'", FloorAtOpening::RunsThrough));
    let [layout] = taken.goods[0].layouts.as_slice() else { panic!("the breadth beats every other layout") };
    assert_eq!(layout.areas, [[room_id(1), room_id(2)]]);
    assert_eq!(layout.seams, []);
    let [piece] = layout.pieces.as_slice() else { panic!("one piece") };
    // 12' and 10' and the wall's 4 1/2 in, with 3 in of wall allowance all round.
    assert_eq!((piece.width, piece.length), (long("14' 6\""), long("22' 10 1/2\"")));
    assert_eq!(piece.label, "Living room and Dining room");
    assert_eq!(layout.name, "Pile east, 0 seams, Living room and Dining room as one");
}

#[test]
fn a_seam_under_a_door_keeps_the_rooms_apart() {
    let taken = sound(&open_plan("15'", FloorAtOpening::SeamUnderDoor));
    assert_eq!(as_one(&taken).count(), 0);
    assert!(taken.goods[0].layouts.iter().all(|it| it.seams.iter().any(|it| it.kind == SeamKind::Opening)));
}

#[test]
fn rooms_whose_floors_do_not_meet_are_not_one() {
    let mut job = open_plan("15'", FloorAtOpening::RunsThrough);
    // Another floor begins there, seen from one side.
    job.rooms[1].openings[0].floor = FloorAtOpening::OtherFloor;
    let taken = takeoff(&job);
    assert_eq!(faults(&job, &taken), Vec::<String>::new());
    assert_eq!(as_one(&taken).count(), 0);
}

#[test]
fn a_seam_of_both_rooms_says_why_and_moves_and_is_pinned() {
    let mut job = open_plan("12'", FloorAtOpening::RunsThrough);
    let taken = sound(&job);
    let seam_of = |it: &Layout| it.seams.iter().position(|it| it.kind == SeamKind::Side);
    let (layout, seam) = as_one(&taken).find_map(|it| Some((it, seam_of(it)?))).expect("a seam in the open plan");
    assert!(why(&job, &taken, goods_id(1), layout, seam).is_some());
    let shifted = [6, -6].iter().find_map(|by| {
        moved(&job, &taken, goods_id(1), layout, seam, Length::inches(*by)).filter(|it| it.difference.is_some())
    });
    let shifted = shifted.expect("half a foot farther one way or the other");
    decide(&mut job, Decision::Pin { room: layout.seams[seam].room, pin: shifted.pin });
    assert!(as_one(&sound(&job)).count() > 0, "a pin does not part the rooms");

    // Without a seam in the living room the two cannot be one: 14' and the allowances are more than the roll.
    decide(&mut job, Decision::Pin { room: room_id(2), pin: Pin::NoSeam });
    let taken = sound(&job);
    let in_dining = |it: &Layout| it.seams.iter().any(|it| it.room == room_id(2) && it.kind != SeamKind::Opening);
    assert!(!taken.goods[0].layouts.iter().any(in_dining));
}

#[test]
fn a_plan_with_rooms_as_one_stays_chosen_until_the_opening_changes() {
    let mut job = open_plan("12'", FloorAtOpening::RunsThrough);
    let taken = sound(&job);
    let layout = as_one(&taken).last().expect("a layout with both rooms as one");
    decide(&mut job, Decision::Plan(layout.chosen(goods_id(1))));
    let taken = sound(&job);
    assert_eq!(taken.goods[0].layout().map(|it| &it.key), Some(&layout.key));
    assert!(taken.goods[0].standing.as_ref().is_some_and(|it| it.fits()));

    for (room, opening) in job.rooms.iter_mut().map(|it| (it.id, &mut it.openings[0])) {
        assert!(room == room_id(1) || room == room_id(2));
        opening.floor = FloorAtOpening::SeamUnderDoor;
    }
    let taken = takeoff(&job);
    assert_eq!(faults(&job, &taken), Vec::<String>::new());
    let standing = taken.goods[0].standing.as_ref().expect("a chosen plan");
    assert_eq!(standing.anew, ["Living room", "Dining room"]);
}

#[test]
fn a_second_opening_between_them_stays_seamed() {
    let mut job = open_plan("15'", FloorAtOpening::RunsThrough);
    let narrow = |room, wall, to| Opening {
        floor: FloorAtOpening::RunsThrough,
        ..doorway(room, wall, Length::inches(if room == 1 { 132 } else { 12 }), long("2' 0\""), Some(to))
    };
    job.rooms[0].openings.push(narrow(1, 2, 2));
    job.rooms[1].openings.push(narrow(2, 0, 1));
    assert_eq!(job.rooms[0].openings[1].wall, wall_id(1, 2));
    let taken = sound(&job);
    for layout in as_one(&taken) {
        assert_eq!(layout.seams.iter().filter(|it| it.kind == SeamKind::Opening).count(), 1, "{}", layout.name);
    }
}
