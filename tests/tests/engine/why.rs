//! Why a seam lies where it does, and why not beside it.

use napline_tests::checker::faults;
use napline_tests::demo::house;
use napline_tests::rooms::{decide, doorway, goods_id, job, long, plain_goods, room, room_id, wall_id};
use shared_model::job::{Decision, Job, PileDirection, Pin};
use shared_model::layout::{Layout, SeamKind, Ways, Why};
use shared_model::length::Length;
use shared_model::takeoff::{Takeoff, moved, takeoff};

/// The answers for every seam of every layout.
fn answers(job: &Job, taken: &Takeoff) -> Vec<(SeamKind, Layout, Why)> {
    let mut all = Vec::new();
    for goods in &taken.goods {
        let (ways, _) = Ways::of(job, &taken.floor, goods.goods, None);
        let Some(ways) = ways else { continue };
        for layout in &goods.layouts {
            for (i, seam) in layout.seams.iter().enumerate() {
                let why = ways.why(layout, i).unwrap_or_else(|| panic!("no answer for {seam:?}"));
                all.push((seam.kind, layout.clone(), why));
            }
            assert_eq!(ways.why(layout, layout.seams.len()), None);
        }
    }
    all
}

#[test]
fn every_seam_of_a_house_answers() {
    let job = house();
    let all = answers(&job, &takeoff(&job));
    assert!(
        all.iter().any(|(kind, ..)| *kind == SeamKind::Opening)
            && all.iter().any(|(_, _, it)| !it.not_there.is_empty())
    );
    for (_, _, why) in &all {
        assert!(why.here.ends_with('.'), "{}", why.here);
        for other in &why.not_there {
            assert!(other.reason.ends_with('.'), "{}", other.reason);
            assert_ne!(other.from, other.to);
        }
    }
}

/// 14 by 20 ft on a 12 ft roll, alone in the house. By hand, with the pile along the 14 ft: one breadth covers
/// 12' less 3 in and 1 in, 11' 8", so the seam lies at 11' 8" from either wall, or midway; each way two full drops.
#[test]
fn the_answer_names_the_other_places() {
    let great = room(1, "Great room", &[("14'", "r"), ("20'", "r"), ("14'", "r"), ("20'", "r")]);
    let job = job(vec![great], vec![plain_goods(1)]);
    let taken = takeoff(&job);
    let found = answers(&job, &taken);
    let (_, _, why) = found.iter().find(|(kind, ..)| *kind == SeamKind::Side).unwrap();
    assert!(!why.not_there.is_empty());
    let places: Vec<&str> = why.not_there.iter().map(|it| it.place.as_str()).collect();
    assert!(places.iter().all(|it| it.contains("farther") && it.contains("on the plan")), "{places:?}");
}

#[test]
fn a_pinned_seam_says_so() {
    let great = room(1, "Great room", &[("14'", "r"), ("20'", "r"), ("14'", "r"), ("20'", "r")]);
    let mut job = job(vec![great], vec![plain_goods(1)]);
    let pin = Pin::Seam { wall: wall_id(1, 0), distance: Length::feet(9) };
    decide(&mut job, Decision::Pin { room: room_id(1), pin });
    let taken = takeoff(&job);
    let found = answers(&job, &taken);
    assert!(!found.is_empty());
    for (kind, _, why) in found {
        if kind == SeamKind::Side {
            assert!(why.here.starts_with("The crew pinned a seam of this room"), "{}", why.here);
        }
    }
}

/// Pile either way and from any side: where a seam is dragged to, it lies in every layout once it is pinned there.
#[test]
fn a_seam_lies_where_it_is_moved_to() {
    for by in [Length::feet(1), Length::feet(-2), Length::inches(5)] {
        let mut job = house();
        let taken = takeoff(&job);
        let goods = &taken.goods[0];
        let layout = &goods.layouts[goods.chosen];
        let (index, seam) = layout.seams.iter().enumerate().find(|(_, it)| it.kind == SeamKind::Side).unwrap();
        let moved = moved(&job, &taken, goods.goods, layout, index, by).unwrap();
        let Some(difference) = moved.difference else { panic!("{by:?} is in the room") };
        assert!(difference.ends_with('.'), "{difference}");
        let upright = seam.from.x == seam.to.x;
        let wanted = if upright { seam.from.x } else { seam.from.y } + by;
        decide(&mut job, Decision::Pin { room: seam.room, pin: moved.pin });
        let again = takeoff(&job);
        assert_eq!(faults(&job, &again), Vec::<String>::new());
        for layout in &again.goods[0].layouts {
            let sides = layout.seams.iter().filter(|it| it.room == seam.room && it.kind == SeamKind::Side);
            let mut places = sides.map(|it| if upright { it.from.x } else { it.from.y });
            assert!(places.any(|it| it == wanted), "{}: no seam at {wanted:?}", layout.name);
        }
    }
}

#[test]
fn no_seam_lies_outside_the_room() {
    let job = house();
    let taken = takeoff(&job);
    let goods = &taken.goods[0];
    let layout = &goods.layouts[goods.chosen];
    let index = layout.seams.iter().position(|it| it.kind == SeamKind::Side).unwrap();
    let far = moved(&job, &taken, goods.goods, layout, index, Length::feet(90));
    assert_eq!(far.and_then(|it| it.difference), None);
}

/// 15 by 20 ft on a 12 ft roll, the pile along the 15 ft: the seam lies between 8' 4" and 11' 8" from the west. People turn within 3 ft of
/// the middle of a door: of one at 7' 6" in the north up to 10' 6", of one at 14' 3" in the south from 11' 3" on.
fn between_two_doors() -> Job {
    let mut great = room(1, "Great room", &[("15'", "r"), ("20'", "r"), ("15'", "r"), ("20'", "r")]);
    let wide = long("2' 6\"");
    great.openings.push(doorway(1, 1, long("6' 3\""), wide, None));
    great.openings.push(doorway(1, 3, long("4' 6\""), wide, None));
    let mut job = job(vec![great], vec![plain_goods(1)]);
    decide(&mut job, Decision::Pin { room: room_id(1), pin: Pin::Pile(PileDirection::North) });
    job
}

/// Nobody turns on its only seam.
fn is_clear(layout: &&Layout) -> bool {
    layout.seams.len() == 1 && layout.seams[0].costs.iter().all(|it| !it.reason.contains("turn"))
}

#[test]
fn a_seam_finds_the_gap_between_two_doors() {
    let job = between_two_doors();
    let taken = takeoff(&job);
    assert_eq!(faults(&job, &taken), Vec::<String>::new());
    let west = taken.floor.rooms[0].ring.0[0].x;
    let places: Vec<Length> =
        taken.goods[0].layouts.iter().filter(is_clear).map(|it| it.seams[0].from.x - west).collect();
    assert!(
        !places.is_empty() && places.iter().all(|it| (long("10' 6\"")..=long("11' 3\"")).contains(it)),
        "{places:?}"
    );
}

/// The crew chose where the seam goes, not why.
#[test]
fn a_chosen_seam_stays_when_the_door_beside_it_moves() {
    let mut job = between_two_doors();
    let taken = takeoff(&job);
    let layout = taken.goods[0].layouts.iter().find(is_clear).expect("a seam between the doors").clone();
    decide(&mut job, Decision::Plan(layout.chosen(goods_id(1))));
    for moved in [long("3' 0\""), long("1' 0\"")] {
        job.rooms[0].openings[1].offset = moved;
        let taken = takeoff(&job);
        let today = taken.goods[0].layout().expect("a layout");
        assert_eq!((today.seams[0].from, today.seams[0].to), (layout.seams[0].from, layout.seams[0].to));
        let standing = taken.goods[0].standing.as_ref().expect("a chosen plan");
        assert!(standing.fits() && standing.anew.is_empty(), "{standing:?}");
    }
    job.rooms[0].openings.clear();
    assert!(takeoff(&job).goods[0].standing.as_ref().is_some_and(|it| it.fits()), "no door at all");
}
