//! Remnants on hand: whole nap groups are cut from them, where that shortens the order.

use napline_tests::checker::sound;
use napline_tests::rooms::{decide, doorway, flight, goods_id, job, long, plain_goods, square};
use proptest::prelude::*;
use shared_model::ids::{ChoiceId, DeviceId};
use shared_model::job::{Choice, Decision, Job, Match, Remnant, Stamp, Timestamp};
use shared_model::layout::Layout;
use shared_model::length::Length;
use shared_model::takeoff::{Takeoff, takeoff};
use uuid::Uuid;

/// A den 11' by 14', and a bedroom 9' by 11' with another floor between them; on a 12' roll each is one piece 11' 6" wide.
fn two_floors() -> Job {
    job(vec![square(1, "Den", "11'", "14'"), square(2, "Bedroom", "9'", "11'")], vec![plain_goods(1)])
}

fn put_on_hand(job: &mut Job, lot: &str, width: &str, length: &str) {
    put_on_hand_if(job, lot, width, length, Length::ZERO);
}

/// Only for an order that is so much shorter.
fn put_on_hand_if(job: &mut Job, lot: &str, width: &str, length: &str, worth: Length) {
    let (width, length) = (long(width), long(length));
    decide(job, Decision::OnHand(Remnant { goods: goods_id(1), lot: lot.to_owned(), width, length, worth }));
}

fn shortest(taken: &Takeoff) -> &Layout {
    &taken.goods[0].layouts[0]
}

/// By hand: the den takes 11' 6" by 14' 6", the bedroom 9' 6" by 11' 6" with the pile along its 11 ft, or 11' 6" by 9' 6" across them.
#[test]
fn a_room_is_cut_from_a_remnant() {
    let mut job = two_floors();
    assert_eq!(shortest(&sound(&job)).order, long("24'"));
    put_on_hand(&mut job, "lot 4711", "12'", "9' 6\"");
    let taken = sound(&job);
    let layout = shortest(&taken);
    assert_eq!(layout.order, long("14' 6\""));
    let [on_hand] = layout.others.as_slice() else { panic!("{:?}", layout.others) };
    assert_eq!(on_hand.name, "lot 4711");
    let [piece] = on_hand.pieces.as_slice() else { panic!("one piece") };
    assert_eq!((piece.width, piece.length), (long("11' 6\""), long("9' 6\"")));
    // 12' by 14' 6" ordered and 12' by 9' 6" used, less 11' by 14' and 9' by 11'.
    assert_eq!(layout.waste(), long("12'") * long("24'") - long("11'") * long("14'") - long("9'") * long("11'"));
}

/// By hand: the remnant of the test above shortens the order by 9' 6".
#[test]
fn a_remnant_is_cut_where_it_saves_what_it_is_worth() {
    for (worth, order) in [("9' 6\"", "14' 6\""), ("9' 6 1/8\"", "24'")] {
        let mut job = two_floors();
        put_on_hand_if(&mut job, "lot 1", "12'", "9' 6\"", long(worth));
        assert_eq!(shortest(&sound(&job)).order, long(order), "worth {worth}");
    }
}

#[test]
fn what_is_too_short_or_too_narrow_stays_in_the_shop() {
    for (width, length) in [("12'", "9' 5 7/8\""), ("2'", "30'")] {
        let mut job = two_floors();
        put_on_hand(&mut job, "lot 1", width, length);
        let taken = sound(&job);
        assert_eq!((shortest(&taken).order, shortest(&taken).others.len()), (long("24'"), 0), "{width} by {length}");
    }
}

#[test]
fn of_two_remnants_that_do_the_smaller_is_cut() {
    let mut job = two_floors();
    put_on_hand(&mut job, "large", "12'", "13'");
    put_on_hand(&mut job, "small", "12'", "10'");
    let taken = sound(&job);
    assert_eq!(shortest(&taken).others.iter().map(|it| it.name.as_str()).collect::<Vec<_>>(), ["small"]);
}

/// By hand: the first two lie side by side on the roll, 6' by 14' 6" each, so neither alone shortens the order.
#[test]
fn two_rooms_that_lie_side_by_side_are_cut_from_one_remnant() {
    let narrow = |n, name: &str| square(n, name, "5' 6\"", "14'");
    let mut job =
        job(vec![narrow(1, "Closet"), narrow(2, "Pantry"), square(3, "Den", "11'", "16'")], vec![plain_goods(1)]);
    assert!(shortest(&sound(&job)).order > long("30'"));
    put_on_hand(&mut job, "lot 1", "12'", "15'");
    assert_eq!(shortest(&sound(&job)).order, long("16' 6\""));
}

/// By hand: sold from 20', so only both together shorten the order.
#[test]
fn rooms_are_cut_from_remnants_together_where_one_alone_saves_nothing() {
    let mut job = job(vec![square(1, "Den", "11'", "9'"), square(2, "Bedroom", "11'", "8'")], vec![plain_goods(1)]);
    job.goods[0].minimum = long("20'");
    put_on_hand(&mut job, "lot 1", "12'", "10'");
    assert_eq!(shortest(&sound(&job)).others, []);
    put_on_hand(&mut job, "lot 2", "12'", "9'");
    assert_eq!(shortest(&sound(&job)).order, Length::ZERO);
}

/// Two rooms that meet in a doorway, one on each of two remnants of the same roll.
#[test]
fn rooms_that_meet_are_cut_from_several_remnants_of_one_lot() {
    for (lots, all) in [(["lot 1", "lot 2"], false), (["lot 1", "lot 1"], true)] {
        let mut job = two_floors();
        job.rooms[0].openings.push(doorway(1, 2, long("4'"), long("2' 6\""), Some(2)));
        job.rooms[1].openings.push(doorway(2, 0, long("4'"), long("2' 6\""), Some(1)));
        let alone = shortest(&sound(&job)).order;
        put_on_hand(&mut job, lots[0], "12'", "15'");
        put_on_hand(&mut job, lots[1], "12'", "12'");
        let order = if all { Length::ZERO } else { alone };
        assert_eq!(shortest(&sound(&job)).order, order, "{lots:?}");
    }
}

/// A part roll from nowhere must not crowd out what is there.
#[test]
fn remnants_of_no_size_are_not_looked_at() {
    let mut job = two_floors();
    for n in 0..20 {
        put_on_hand(&mut job, &format!("forged {n}"), "12'", "90'");
    }
    for it in &mut job.choices {
        if let Decision::OnHand(it) = &mut it.decision {
            (it.width, it.length) = (-it.width, -it.length);
        }
    }
    put_on_hand(&mut job, "lot 1", "12'", "9' 6\"");
    assert_eq!(shortest(&sound(&job)).order, long("14' 6\""));
}

/// Two dye lots never meet in an opening.
#[test]
fn rooms_whose_carpet_meets_come_from_one_lot() {
    let mut job = two_floors();
    job.rooms[0].openings.push(doorway(1, 2, long("4'"), long("2' 6\""), Some(2)));
    job.rooms[1].openings.push(doorway(2, 0, long("4'"), long("2' 6\""), Some(1)));
    let alone = shortest(&sound(&job)).order;
    put_on_hand(&mut job, "lot 1", "12'", "12'");
    let taken = sound(&job);
    assert_eq!((shortest(&taken).order, shortest(&taken).others.len()), (alone, 0));
}

#[test]
fn nothing_is_ordered_when_all_is_on_hand() {
    let mut job = two_floors();
    job.goods[0].minimum = long("20'");
    put_on_hand(&mut job, "part roll", "12'", "24'");
    let taken = sound(&job);
    assert_eq!((shortest(&taken).order, shortest(&taken).pieces.len()), (Length::ZERO, 0));
}

/// Nobody knows where in the pattern a remnant begins. By hand: two breadths 13' 6" long take 14' and 13' 6", and 2' are lost before
/// them.
#[test]
fn a_patterned_remnant_has_to_be_a_repeat_longer() {
    for (length, all) in [("29' 5\"", false), ("29' 6\"", true)] {
        let mut job = job(vec![square(1, "Hall", "20'", "13'")], vec![plain_goods(1)]);
        (job.goods[0].pattern, job.goods[0].repeat_length) = (Match::Set, long("2'"));
        assert_eq!(shortest(&sound(&job)).order, long("27' 6\""));
        put_on_hand(&mut job, "lot 1", "12'", length);
        let order = if all { Length::ZERO } else { long("27' 6\"") };
        assert_eq!(shortest(&sound(&job)).order, order, "{length}");
    }
}

/// A room of one piece begins anywhere in the pattern: by hand 14' 6" and 9' 6", and a remnant as long as its piece.
#[test]
fn one_piece_alone_loses_nothing_to_its_pattern() {
    let mut job = two_floors();
    (job.goods[0].pattern, job.goods[0].repeat_length) = (Match::Set, long("2'"));
    assert_eq!(shortest(&sound(&job)).order, long("24'"));
    put_on_hand(&mut job, "lot 1", "12'", "9' 6\"");
    assert_eq!(shortest(&sound(&job)).order, long("14' 6\""));
}

#[test]
fn a_chosen_plan_stands_while_its_remnant_is_there() {
    let mut job = two_floors();
    put_on_hand(&mut job, "lot 1", "12'", "10'");
    let plan = shortest(&sound(&job)).chosen(goods_id(1));
    let stamp = Stamp { by: DeviceId(Uuid::nil()), at: Timestamp(9) };
    let id = ChoiceId(Uuid::from_u128(9));
    job.choices.push(Choice { id, decision: Decision::Plan(plan), stamp, supersedes: Vec::new() });
    assert!(sound(&job).goods[0].standing.as_ref().is_some_and(|it| it.fits()));
    // Somebody else cut it.
    job.choices.remove(0);
    let taken = takeoff(&job);
    let standing = taken.goods[0].standing.as_ref().expect("a chosen plan");
    assert_eq!(standing.more, long("9' 6\""));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    /// Remnants of any size beside three rooms and a flight: what is cut from them holds, and never costs more than without.
    #[test]
    fn remnants_never_lengthen_the_order(
        sizes in prop::collection::vec((36_i64..200, 36_i64..260), 3),
        remnants in prop::collection::vec((30_i64..145, 30_i64..300), 0..4),
    ) {
        let inches = |it: i64| format!("{it}\"");
        let rooms = sizes.iter().zip(1..);
        let rooms = rooms.map(|((across, along), n)| square(n, &format!("Room {n}"), &inches(*across), &inches(*along)));
        let mut job = job(rooms.collect(), vec![plain_goods(1)]);
        job.flights.push(flight(1));
        let before = shortest(&sound(&job)).order;
        for (n, (width, length)) in remnants.iter().enumerate() {
            put_on_hand(&mut job, &format!("lot {n}"), &inches(*width), &inches(*length));
        }
        prop_assert!(shortest(&sound(&job)).order <= before);
    }
}
