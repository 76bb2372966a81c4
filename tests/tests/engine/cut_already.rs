//! What is cut already stays where it was cut from, whatever is measured anew.

use std::collections::BTreeMap;

use napline_tests::checker::faults;
use napline_tests::demo::house;
use napline_tests::rooms::{decide, goods_id, job, long, plain_goods, room};
use proptest::prelude::*;
use shared_model::ids::GoodsId;
use shared_model::job::{CutPiece, CutPlace, Decision, Goods, Job, Match, Remnant};
use shared_model::layout::Layout;
use shared_model::length::Length;
use shared_model::takeoff::takeoff;

/// That a piece is cut where it lies in this layout.
fn cut_by(goods: GoodsId, layout: &Layout, piece: &str) -> Decision {
    let (_, place) = layout.placed().find(|(it, _)| it.id == piece).unwrap();
    Decision::Cut(CutPiece { goods, piece: piece.to_owned(), place })
}

fn laid(job: &Job, goods: GoodsId) -> Layout {
    if_closed(job, goods).unwrap()
}

fn if_closed(job: &Job, goods: GoodsId) -> Option<Layout> {
    let taken = takeoff(job);
    assert_eq!(faults(job, &taken), Vec::<String>::new());
    taken.goods.iter().find(|it| it.goods == goods)?.layout().cloned()
}

fn places(layout: &Layout) -> BTreeMap<&str, (Length, Length)> {
    layout.roll.placements.iter().map(|it| (it.piece.as_str(), (it.x, it.y))).collect()
}

/// Two rooms with other floor between them.
fn two_rooms(second: &str, goods: Goods) -> Job {
    let square = |n, along: &str| room(n, "Room", &[(along, "r"), ("11'", "r"), (along, "r"), ("11'", "r")]);
    job(vec![square(1, "14'"), square(2, second)], vec![goods])
}

/// Whichever of two pieces is cut, and however the other room changes, it stays; without the cut some of them would have moved.
#[test]
fn a_cut_piece_stays_where_it_was_cut_from() {
    let patterned = Goods { pattern: Match::Set, repeat_length: long("2' 1\""), ..plain_goods(1) };
    for goods in [plain_goods(1), patterned] {
        let mut moved = 0;
        for (before, after) in [("12'", "16'"), ("16'", "12'")] {
            let mut job = two_rooms(before, goods.clone());
            let plan = laid(&job, goods_id(1));
            decide(&mut job, Decision::Plan(plan.chosen(goods_id(1))));
            let then = two_rooms(after, goods.clone());
            let unbound = Job { rooms: then.rooms.clone(), ..job.clone() };
            for cut in &plan.pieces {
                let mut bound = unbound.clone();
                decide(&mut bound, cut_by(goods_id(1), &plan, &cut.id));
                let (was, free, now) = (plan.clone(), laid(&unbound, goods_id(1)), laid(&bound, goods_id(1)));
                let Some(now) = places(&now).get(cut.id.as_str()).copied() else { continue };
                assert_eq!(Some(&now), places(&was).get(cut.id.as_str()));
                moved += usize::from(places(&free).get(cut.id.as_str()) != Some(&now));
            }
        }
        assert!(moved > 0, "the test would hold without the rule");
    }
}

#[test]
fn nothing_moves_while_nothing_changes() {
    let mut job = house();
    let goods = job.goods[0].id;
    let plan = laid(&job, goods);
    decide(&mut job, Decision::Plan(plan.chosen(goods)));
    decide(&mut job, cut_by(goods, &plan, &plan.pieces[1].id));
    let now = laid(&job, goods);
    let cut = &plan.roll.placements[1];
    assert_eq!(places(&now)[cut.piece.as_str()], (cut.x, cut.y));
    assert_eq!(takeoff(&job).goods[0].standing.as_ref().map(|it| it.fits()), Some(true));
}

/// A plan whose pieces lie in each other, as a damaged or forged one may, keeps the first of them.
#[test]
fn pieces_of_a_false_plan_do_not_overlap() {
    let mut job = two_rooms("12'", plain_goods(1));
    let mut plan = laid(&job, goods_id(1)).chosen(goods_id(1));
    plan.cuts.values_mut().for_each(|it| (it.x, it.y) = (Length::inches(1), Length::feet(2)));
    let cut = |(piece, place): (&String, &CutPlace)| {
        Decision::Cut(CutPiece { goods: goods_id(1), piece: piece.clone(), place: *place })
    };
    let pieces: Vec<Decision> = plan.cuts.iter().map(cut).collect();
    decide(&mut job, Decision::Plan(plan));
    pieces.into_iter().for_each(|it| decide(&mut job, it));
    let now = laid(&job, goods_id(1));
    let starts: Vec<Length> = now.roll.placements.iter().map(|it| it.y).collect();
    assert!(starts.contains(&Length::feet(2)), "{starts:?}");
}

/// Both rooms' pieces of the chosen plan, the second of them cut, and the second room read anew.
fn second_cut_and_read_anew(second: &str) -> (Layout, Job) {
    let mut job = two_rooms("16'", plain_goods(1));
    let plan = laid(&job, goods_id(1));
    decide(&mut job, Decision::Plan(plan.chosen(goods_id(1))));
    decide(&mut job, cut_by(goods_id(1), &plan, &plan.pieces[1].id));
    (plan, Job { rooms: two_rooms(second, plain_goods(1)).rooms, ..job })
}

/// By hand: 14' 6" and 16' 6" of the roll. The piece that is cut is longer than it need be now, and trimmed on the floor.
#[test]
fn a_cut_piece_that_is_large_enough_serves() {
    let (plan, job) = second_cut_and_read_anew("15'");
    let now = laid(&job, goods_id(1));
    assert_eq!((plan.order, now.order), (long("31'"), long("31'")));
    assert!(now.is_cut_by(&now.pieces[1].id, job.cut(goods_id(1)).next().unwrap().1));
    assert_eq!(takeoff(&job).goods[0].standing.as_ref().map(|it| it.fits()), Some(true));
}

/// By hand: what is cut too short is lost, and 17' 6" more are needed.
#[test]
fn a_cut_piece_that_is_too_short_is_cut_anew() {
    let (_, job) = second_cut_and_read_anew("17'");
    let now = laid(&job, goods_id(1));
    assert_eq!((now.order, now.cut.len()), (long("31'") + long("17' 6\""), 0));
    let taken = takeoff(&job);
    let standing = taken.goods[0].standing.as_ref().unwrap();
    assert_eq!((standing.more, standing.short.len()), (long("17' 6\""), 1));
}

/// Whatever layout is chosen after the first cut: the carpet is gone from it.
#[test]
fn every_layout_knows_what_is_cut() {
    let (_, job) = second_cut_and_read_anew("17'");
    let floor = (11 * 14 + 11 * 17) / 12;
    for layout in takeoff(&job).goods[0].layouts.iter().filter(|it| it.cut.is_empty()) {
        assert!(layout.roll.length > long("16' 6\"") + Length::feet(floor), "{}", layout.name);
    }
}

/// A remnant that is used up, or that somebody else took after the cut.
#[test]
fn what_was_cut_from_a_remnant_is_not_ordered_when_the_remnant_is_gone() {
    let mut job = two_rooms("16'", plain_goods(1));
    let size = |length| Remnant {
        goods: goods_id(1),
        lot: "lot 1".to_owned(),
        width: long("12'"),
        length: long(length),
        worth: Length::ZERO,
    };
    decide(&mut job, Decision::OnHand(size("17'")));
    let plan = laid(&job, goods_id(1));
    let [on_hand] = plan.others.as_slice() else { panic!("one remnant") };
    decide(&mut job, cut_by(goods_id(1), &plan, &on_hand.pieces[0].id));
    // Of two that do, the smaller is used; but it is cut already.
    decide(&mut job, Decision::OnHand(size("16' 6\"")));
    let now = laid(&job, goods_id(1));
    assert!(now.others.iter().any(|it| it.source == on_hand.source && it.pieces == on_hand.pieces));
    job.choices.retain(|it| !matches!(it.decision, Decision::OnHand(_)));
    let now = laid(&job, goods_id(1));
    assert_eq!((now.order, now.others.len(), now.left_out.len()), (long("14' 6\""), 0, 1));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// The demo house, some pieces cut in the plan's order, and one wall read anew.
    #[test]
    fn the_rest_is_planned_behind_what_is_cut(cut in 1_usize..6, wall in 0_usize..40, by in -9_i64..9) {
        let mut job = house();
        for goods in job.goods.iter().map(|it| it.id).collect::<Vec<_>>() {
            let plan = laid(&job, goods);
            decide(&mut job, Decision::Plan(plan.chosen(goods)));
            let mut order: Vec<_> = plan.roll.placements.iter().collect();
            order.sort_by_key(|it| (it.y, it.x));
            for it in order.into_iter().take(cut) {
                decide(&mut job, cut_by(goods, &plan, &it.piece));
            }
        }
        let planned = job.clone();
        let walls: Vec<_> = job.rooms.iter_mut().flat_map(|it| &mut it.walls).filter(|it| !it.readings.is_empty()).collect();
        let count = walls.len();
        if let Some(wall) = walls.into_iter().nth(wall % count) {
            wall.readings.iter_mut().for_each(|it| it.value += Length::inches(by));
        }
        for goods in planned.goods.iter().map(|it| it.id) {
            let was = laid(&planned, goods);
            let Some(now) = if_closed(&job, goods) else { continue };
            let cut = |id: &str| job.cut(goods).any(|(_, it)| it.piece == id);
            for (id, at) in places(&was) {
                let today = places(&now).get(id).copied();
                prop_assert!(!cut(id) || today.is_none_or(|it| it == at), "{} moved from {:?} to {:?}", id, at, today);
            }
        }
    }
}
