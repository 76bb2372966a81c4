//! Carpet that runs through an opening: two rooms are covered as one floor, where that is better than a seam between them.

use napline_tests::checker::{self, faults};
use napline_tests::rooms::{decide, doorway, goods_id, job, long, plain_goods, room, room_id, wall_id};
use shared_model::job::{Decision, FloorAtOpening, Job, Opening, OpeningKind, Pin, Room};
use shared_model::layout::{Layout, PileDirection, SeamKind};
use shared_model::length::Length;
use shared_model::takeoff::{Takeoff, moved, takeoff, why};

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
    let taken = checker::sound(job);
    assert_eq!(taken.problems, []);
    taken
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
    assert_eq!(layout.name, "Pile right, 0 seams, Living room and Dining room as one");
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

    // Without a seam in the dining room the two cannot be one: 14' and the allowances are more than the roll.
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

    job.rooms.iter_mut().for_each(|it| it.openings[0].floor = FloorAtOpening::SeamUnderDoor);
    let taken = takeoff(&job);
    assert_eq!(faults(&job, &taken), Vec::<String>::new());
    let standing = taken.goods[0].standing.as_ref().expect("a chosen plan");
    assert_eq!(standing.anew, ["Living room", "Dining room"]);
}

/// A breadth that lies in both rooms lies in every opening between them; the wall between two openings is no part of the floor.
#[test]
fn carpet_runs_through_a_second_opening_too() {
    for floor in [FloorAtOpening::RunsThrough, FloorAtOpening::SeamUnderDoor] {
        for roll in ["15'", "12'"] {
            let mut job = open_plan(roll, FloorAtOpening::RunsThrough);
            let narrow = |room, wall, to| Opening {
                floor,
                ..doorway(room, wall, Length::inches(if room == 1 { 132 } else { 12 }), long("2' 0\""), Some(to))
            };
            job.rooms[0].openings.push(narrow(1, 2, 2));
            job.rooms[1].openings.push(narrow(2, 0, 1));
            let taken = sound(&job);
            assert!(as_one(&taken).count() > 0, "{roll} {floor:?}");
            for layout in as_one(&taken) {
                assert!(layout.seams.iter().all(|it| it.kind != SeamKind::Opening), "{}", layout.name);
            }
        }
    }
}

/// The second opening lies from 1' to 3' beyond the south wall. A breadth that ends 2' beyond it lies in both rooms through half of it.
#[test]
fn a_breadth_runs_through_a_part_of_an_opening() {
    let mut job = open_plan("15'", FloorAtOpening::RunsThrough);
    for (room, wall, to, offset) in [(1, 2, 2, "11'"), (2, 0, 1, "1'")] {
        let narrow = doorway(room, wall, long(offset), long("2'"), Some(to));
        job.rooms[room as usize - 1].openings.push(Opening { floor: FloorAtOpening::RunsThrough, ..narrow });
    }
    decide(&mut job, Decision::Pin { room: room_id(1), pin: Pin::Pile(PileDirection::East) });
    let seam = Pin::Seam { wall: wall_id(1, 1), distance: long("12'") };
    decide(&mut job, Decision::Pin { room: room_id(1), pin: seam });
    let taken = sound(&job);
    let layout = as_one(&taken).next().expect("both rooms as one");
    assert_eq!(layout.pieces.len(), 2, "{:#?}", layout.pieces);
    // 12' and 10' and the wall's 4 1/2 in, with the allowance at both ends.
    assert!(layout.pieces.iter().all(|it| it.length == long("22' 10 1/2\"")), "{:#?}", layout.pieces);
}

/// Round the stairs in the middle of a house the floor closes on itself.
#[test]
fn a_ring_of_rooms_is_carpeted_as_one() {
    let through = |room, wall, to| Opening {
        kind: OpeningKind::CasedOpening,
        floor: FloorAtOpening::RunsThrough,
        ..doorway(room, wall, Length::feet(3), Length::feet(3), Some(to))
    };
    let mut rooms: Vec<_> = (1..=4).map(|n| square(n, "9'")).collect();
    // 1 is west of 2 and south of 4, 3 is north of 2 and east of 4. Walls from the south-west corner: west, north, east, south.
    for (one, wall, other, back) in [(1, 2, 2, 0), (2, 1, 3, 3), (3, 0, 4, 2), (4, 3, 1, 1)] {
        rooms[one - 1].openings.push(through(one as u64, wall, other as u64));
        rooms[other - 1].openings.push(through(other as u64, back, one as u64));
    }
    let mut goods = plain_goods(1);
    goods.roll_width = long("20'");
    let taken = sound(&job(rooms, vec![goods]));
    let [layout] = taken.goods[0].layouts.as_slice() else { panic!("one breadth beats every other layout") };
    assert_eq!((layout.pieces.len(), layout.seams.len()), (1, 0));
    // Twice 9' and the wall's 4 1/2 in, with 3 in of wall allowance all round.
    assert_eq!((layout.pieces[0].width, layout.pieces[0].length), (long("18' 10 1/2\""), long("18' 10 1/2\"")));
}

fn square(n: u64, side: &str) -> Room {
    room(n, &format!("Room {n}"), &[(side, "r"), (side, "r"), (side, "r"), (side, "r")])
}
