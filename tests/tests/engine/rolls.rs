//! Several rolls, where the order is longer than any that the supplier has. The sizes are worked out by hand: a room 11' 6" wide
//! takes the whole width of the roll, and 6" more than its length.

use napline_tests::checker::sound;
use napline_tests::rooms::{decide, doorway, goods_id, job, long, plain_goods, square};
use proptest::prelude::*;
use shared_model::ids::ChoiceId;
use shared_model::job::{CutPiece, CutPlace, Decision, Goods, Job, Match, Reading, Remnant, Source};
use shared_model::layout::{Layout, Piece};
use shared_model::length::Length;
use shared_model::takeoff::Takeoff;
use uuid::Uuid;

/// Rooms 11' 6" wide with other floor between them, from rolls of at most so much.
fn house(lengths: &[&str], longest: &str) -> Job {
    let rooms = lengths.iter().zip(1..).map(|(along, n)| square(n, &format!("Room {n}"), "11' 6\"", along));
    job(rooms.collect(), vec![Goods { longest: long(longest), ..plain_goods(1) }])
}

fn join(job: &mut Job) {
    job.rooms[0].openings.push(doorway(1, 1, long("4'"), long("2' 6\""), Some(2)));
    job.rooms[1].openings.push(doorway(2, 3, long("4'"), long("2' 6\""), Some(1)));
}

fn laid(taken: &Takeoff) -> &Layout {
    taken.goods[0].layout().unwrap_or_else(|| panic!("{:?}", taken.problems))
}

fn lengths(layout: &Layout) -> Vec<Length> {
    let mut all: Vec<Length> = layout.rolls().into_iter().map(|it| it.1).collect();
    all.sort_unstable();
    all
}

fn source(layout: &Layout, room: &str) -> Source {
    layout.placed().find(|(it, _)| it.label.starts_with(room)).map(|(_, at)| at.source).unwrap()
}

#[test]
fn an_order_longer_than_a_roll_comes_in_several() {
    let whole = sound(&house(&["30'", "40'", "20'"], "0'"));
    assert_eq!((laid(&whole).order, lengths(laid(&whole)).len()), (long("91' 6\""), 1));
    let taken = sound(&house(&["30'", "40'", "20'"], "60'"));
    let layout = laid(&taken);
    assert_eq!(layout.order, long("91' 6\""));
    assert!([[long("40' 6\""), long("51'")], [long("30' 6\""), long("61'")]].iter().any(|it| lengths(layout) == *it));
    assert!(!layout.parted && !layout.optimal());
}

/// 91' 6" in all: as long as a roll to the inch, and an inch longer.
#[test]
fn what_fits_on_one_roll_comes_in_one() {
    for (longest, rolls) in [("91' 6\"", 1), ("91' 5\"", 2)] {
        let taken = sound(&house(&["30'", "40'", "20'"], longest));
        assert_eq!(lengths(laid(&taken)).len(), rolls, "{longest}");
    }
}

/// Two rooms that meet in a doorway take 71' and at each side of it half its depth of 4 1/2", so they come from one roll where there is one as long, whatever else is cut from it.
#[test]
fn carpet_that_meets_comes_from_one_roll() {
    for (longest, parted) in [("75'", false), ("71' 4 1/2\"", false), ("71' 4 3/8\"", true)] {
        let mut job = house(&["30'", "40'", "20'"], longest);
        join(&mut job);
        let taken = sound(&job);
        let layout = laid(&taken);
        let meet = source(layout, "Room 1") == source(layout, "Room 2");
        assert_eq!((meet, layout.parted), (!parted, parted), "{longest}");
    }
}

/// Sold by 12 feet: 40' 6" takes 48', 51' a whole roll of 60', and no more than that.
#[test]
fn each_roll_is_sold_in_steps_but_no_longer_than_it_is() {
    let mut job = house(&["30'", "40'", "20'"], "55'");
    job.goods[0].increment = long("12'");
    let taken = sound(&job);
    assert_eq!(lengths(laid(&taken)), [long("48'"), long("55'")]);
}

#[test]
fn a_piece_longer_than_any_roll_is_told() {
    let taken = sound(&house(&["30'", "40'"], "35'"));
    // The longer room can be laid across.
    assert!(taken.goods[0].layouts.iter().all(|it| it.placed().all(|(it, _)| it.length <= long("35'"))));
    let taken = sound(&house(&["30'"], "9'"));
    assert_eq!(taken.goods[0].layouts, []);
    assert!(taken.problems.iter().any(|it| it.text.contains("no roll is longer than 9' 0\"")), "{:?}", taken.problems);
}

#[test]
fn nobody_orders_forty_rolls() {
    let all: Vec<&str> = std::iter::repeat_n("14'", 40).collect();
    let taken = sound(&house(&all, "15'"));
    assert_eq!(taken.goods[0].layouts, []);
    assert!(taken.problems.iter().any(|it| it.text.contains("more than 32 rolls of 15' 0\"")), "{:?}", taken.problems);
}

fn cut(job: &mut Job, layout: &Layout, piece: &Piece) {
    let (_, place) = layout.placed().find(|(it, _)| it.id == piece.id).unwrap();
    decide(job, Decision::Cut(CutPiece { goods: goods_id(1), piece: piece.id.clone(), place }));
}

fn read(job: &mut Job, room: usize, along: &str) {
    for wall in [0, 2] {
        let value = long(along);
        let first = job.rooms[room].walls[wall].readings[0].clone();
        job.rooms[room].walls[wall].readings = vec![Reading { value, typed: along.to_owned(), ..first }];
    }
}

/// The places of all pieces but one.
fn others(layout: &Layout, but: &str) -> Vec<(String, CutPlace)> {
    layout.placed().filter(|(it, _)| it.label != but).map(|(it, at)| (it.id.clone(), at)).collect()
}

fn fits(taken: &Takeoff) -> bool {
    taken.goods[0].standing.as_ref().is_some_and(|it| it.fits())
}

/// Whichever piece is cut first, the plan stays as it is; and what is cut stays when another room turns out longer. Rooms that lie side by
/// side, a last piece that is cut first, and carpet that meets on two rolls.
#[test]
fn what_is_cut_from_a_roll_stays_there() {
    let narrow = (1..3).map(|n| square(n, &format!("Room {n}"), "5' 6\"", "20'")).collect();
    let beside = job(narrow, vec![Goods { longest: long("30'"), ..plain_goods(1) }]);
    let mut parted = house(&["30'", "40'", "20'"], "71' 4 3/8\"");
    join(&mut parted);
    for before in [house(&["30'", "40'", "20'"], "60'"), house(&["30'", "40'", "20'"], "95'"), beside, parted] {
        let plan = laid(&sound(&before)).clone();
        for (piece, place) in plan.placed() {
            let mut job = before.clone();
            decide(&mut job, Decision::Plan(plan.chosen(goods_id(1))));
            cut(&mut job, &plan, piece);
            let taken = sound(&job);
            assert!(fits(&taken) && laid(&taken).order == plan.order, "{}: {:?}", piece.label, taken.problems);
            assert_eq!(others(laid(&taken), ""), others(&plan, ""), "{}", piece.label);
            let other = usize::from(piece.label == "Room 1");
            read(&mut job, other, "44'");
            let taken = sound(&job);
            let kept = laid(&taken).placed().find(|(it, _)| it.id == piece.id).map(|(_, at)| at);
            assert_eq!(kept, Some(place), "{}", piece.label);
        }
    }
}

/// Read shorter, a room needs no more carpet than was ordered, on the roll where it was planned.
#[test]
fn a_room_stays_on_its_roll_when_it_is_read_anew() {
    for along in ["39' 6\"", "29'", "8'"] {
        let mut job = house(&["30'", "40'", "20'"], "60'");
        let plan = laid(&sound(&job)).clone();
        decide(&mut job, Decision::Plan(plan.chosen(goods_id(1))));
        read(&mut job, 1, along);
        let taken = sound(&job);
        let standing = taken.goods[0].standing.as_ref().unwrap();
        assert_eq!(standing.more, Length::ZERO, "{along}");
        assert_eq!(others(laid(&taken), "Room 2"), others(&plan, "Room 2"), "{along}");
    }
}

/// Set match of 2': where a room goes on with the pattern of a room on another roll, up to 2' of its roll are lost before it; two rooms
/// with other floor between them begin anywhere in the pattern.
#[test]
fn a_pattern_that_goes_on_on_another_roll_costs_a_repeat() {
    for (meet, lead) in [(true, "2'"), (false, "0'")] {
        let mut job = house(&["30'", "40'"], "50'");
        (job.goods[0].pattern, job.goods[0].repeat_length) = (Match::Set, long("2'"));
        if meet {
            join(&mut job);
        }
        let taken = sound(&job);
        let layout = laid(&taken);
        let [second] = layout.others.as_slice() else { panic!("two rolls: {:?}", layout.rolls()) };
        assert_eq!((layout.parted, second.lead), (meet, long(lead)));
        assert_eq!(second.length, job.goods[0].order_for(second.roll.length + second.lead));
    }
}

/// As a device with a false client may write it: from a roll that nobody ordered, of more than a remnant has, and of other goods.
#[test]
fn false_cuts_change_little() {
    let mut job = house(&["30'", "40'"], "0'");
    let width = long("12'");
    let remnant = ChoiceId(Uuid::from_u64_pair(77, 0));
    let small = Remnant {
        goods: goods_id(1),
        lot: "lot 1".to_owned(),
        width: long("4'"),
        length: long("4'"),
        worth: Length::ZERO,
    };
    decide(&mut job, Decision::OnHand(small));
    let plan = laid(&sound(&job)).clone();
    let piece = plan.pieces[0].id.clone();
    let place =
        CutPlace { source: Source::Remnant(remnant), y: Length::ZERO, x: Length::ZERO, width, length: long("90'") };
    decide(&mut job, Decision::Cut(CutPiece { goods: goods_id(1), piece: piece.clone(), place }));
    assert_eq!(laid(&sound(&job)).cut.len(), 0, "more than the remnant has");
    let tiny = CutPlace { source: Source::Roll(31), width: Length(1), length: Length(1), ..place };
    decide(&mut job, Decision::Cut(CutPiece { goods: goods_id(1), piece: "x-1".to_owned(), place: tiny }));
    let taken = sound(&job);
    assert_eq!(laid(&taken).rolls().len(), 2, "an inch of a roll that nobody ordered");
    let other = CutPiece { goods: goods_id(2), piece: piece.clone(), place };
    assert!(!plan.is_cut_by(&piece, &other) && plan.is_cut_by(&piece, &CutPiece { goods: goods_id(1), ..other }));
}

/// The first roll of the two is longer by a foot, and the other would have had the foot.
#[test]
fn a_roll_that_grew_is_not_served_by_what_is_over_of_another() {
    let mut job = house(&["50'", "40'"], "55'");
    let plan = laid(&sound(&job)).clone();
    decide(&mut job, Decision::Plan(plan.chosen(goods_id(1))));
    read(&mut job, 0, "51'");
    read(&mut job, 1, "39'");
    let taken = sound(&job);
    let standing = taken.goods[0].standing.as_ref().unwrap();
    assert_eq!((laid(&taken).order, standing.more), (plan.order, long("1'")));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    /// The checker looks at every roll; besides, all but one of them are half full on average.
    #[test]
    fn any_house_is_cut_from_rolls_as_long_as_they_come(
        rooms in prop::collection::vec((60_i64..240, 60_i64..240), 1..7),
        longest in 300_i64..600,
        meets in any::<bool>(),
        matched in any::<bool>(),
    ) {
        let inches = |it: i64| format!("{it}\"");
        let rooms = rooms.iter().zip(1..).map(|((across, along), n)| square(n, &format!("Room {n}"), &inches(*across), &inches(*along)));
        let pattern = if matched { Match::Set } else { Match::None };
        let goods = Goods { pattern, repeat_length: Length::inches(18), ..plain_goods(1) };
        let mut job = job(rooms.collect(), vec![goods]);
        if meets && job.rooms.len() > 1 {
            job.rooms[0].openings.push(doorway(1, 2, long("1'"), long("2' 6\""), Some(2)));
            job.rooms[1].openings.push(doorway(2, 0, long("1'"), long("2' 6\""), Some(1)));
        }
        job.goods[0].longest = Length::inches(longest);
        let taken = sound(&job);
        let layouts = &taken.goods[0].layouts;
        prop_assert!(!layouts.is_empty(), "{:?}", taken.problems);
        for layout in layouts {
            let begun = layout.rolls().len() as i64;
            let cut: Length = layout.rolls().into_iter().map(|it| it.1).sum();
            prop_assert!(begun == 1 || cut * 2 >= job.goods[0].longest * (begun - 1), "{begun} rolls for {cut:?}");
        }
    }
}
