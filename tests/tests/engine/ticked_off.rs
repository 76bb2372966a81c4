//! Whoever ticks the pieces of a chosen plan off, in any order, changes nothing of it.

use napline_tests::checker::sound;
use napline_tests::demo::house;
use napline_tests::rooms::{decide, job, long, plain_goods, square};
use proptest::prelude::*;
use shared_model::ids::GoodsId;
use shared_model::job::{CutPiece, CutPlace, Decision, Goods, Job, Match, Remnant};
use shared_model::layout::Layout;
use shared_model::length::Length;

fn laid(job: &Job, goods: GoodsId) -> Layout {
    let taken = sound(job);
    let of = taken.goods.iter().find(|it| it.goods == goods);
    of.and_then(|it| it.layout()).cloned().unwrap_or_else(|| panic!("{:?}", taken.problems))
}

fn places(layout: &Layout) -> Vec<(String, CutPlace)> {
    let mut all: Vec<_> = layout.placed().map(|(it, at)| (it.id.clone(), at)).collect();
    all.sort();
    all
}

/// Chooses the usual layout of some goods and cuts its pieces in an order that `turn` picks from.
fn ticked_off(mut job: Job, goods: GoodsId, mut turn: impl FnMut(usize) -> usize) {
    let plan = laid(&job, goods);
    decide(&mut job, Decision::Plan(plan.chosen(goods)));
    let mut open = places(&plan);
    while !open.is_empty() {
        let (piece, place) = open.remove(turn(open.len()));
        decide(&mut job, Decision::Cut(CutPiece { goods, piece: piece.clone(), place }));
        let now = laid(&job, goods);
        assert_eq!(places(&now), places(&plan), "after {piece}");
        assert_eq!((now.order, now.left_out.len()), (plan.order, plan.left_out.len()), "after {piece}");
    }
}

fn put_on_hand(job: &mut Job, lot: &str, width: &str, length: &str) {
    let goods = job.goods[0].id;
    let (width, length) = (long(width), long(length));
    decide(job, Decision::OnHand(Remnant { goods, lot: lot.to_owned(), width, length, worth: Length::ZERO }));
}

/// The demo house from one roll, from several, and from a part roll that has all, or not quite.
#[test]
fn the_demo_house_is_cut_as_it_was_chosen() {
    let setups: [&dyn Fn(&mut Job); 6] = [
        &|_| {},
        &|job| job.goods[0].longest = long("60'"),
        &|job| job.goods[0].longest = long("30'"),
        &|job| put_on_hand(job, "B2", "12'", "115'"),
        &|job| put_on_hand(job, "B2", "12'", "92'"),
        &|job| {
            put_on_hand(job, "B2", "12'", "30'");
            put_on_hand(job, "B2", "12'", "28'");
        },
    ];
    for setup in setups {
        let mut job = house();
        setup(&mut job);
        let goods = job.goods[0].id;
        ticked_off(job.clone(), goods, |_| 0);
        ticked_off(job.clone(), goods, |left| left - 1);
        ticked_off(job, goods, |left| left / 2);
    }
}

/// The usual layout takes 92' 6" of the roll by its pieces' rectangles.
#[test]
fn a_part_roll_that_has_all_leaves_nothing_to_order() {
    for length in ["93'", "95'", "115'"] {
        let mut job = house();
        put_on_hand(&mut job, "B2", "12'", length);
        assert_eq!(laid(&job, job.goods[0].id).order, Length::ZERO, "{length}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    /// Any house, plain or patterned, from rolls of any length and with any remnants on hand.
    #[test]
    fn any_house_is_cut_as_it_was_chosen(
        rooms in prop::collection::vec((60_i64..240, 60_i64..240), 1..5),
        longest in prop::option::of(300_i64..600),
        remnants in prop::collection::vec((60_i64..145, 60_i64..300, any::<bool>()), 0..3),
        matched in any::<bool>(),
        turns in prop::collection::vec(any::<prop::sample::Index>(), 40),
    ) {
        let inches = |it: i64| format!("{it}\"");
        let rooms = rooms.iter().zip(1..).map(|((across, along), n)| square(n, &format!("Room {n}"), &inches(*across), &inches(*along)));
        let pattern = if matched { Match::Set } else { Match::None };
        let longest = Length::inches(longest.unwrap_or_default());
        let goods = Goods { pattern, repeat_length: Length::inches(18), longest, ..plain_goods(1) };
        let mut job = job(rooms.collect(), vec![goods]);
        for (width, length, same) in remnants {
            put_on_hand(&mut job, if same { "lot 1" } else { "lot 2" }, &inches(width), &inches(length));
        }
        let mut turns = turns.into_iter();
        let goods = job.goods[0].id;
        ticked_off(job, goods, |left| turns.next().map_or(0, |it| it.index(left)));
    }
}
