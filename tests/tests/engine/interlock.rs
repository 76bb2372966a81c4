//! Angled pieces that fit into each other on the roll.

use napline_tests::checker::{faults, sound};
use napline_tests::rooms::{decide, goods_id, job, long, plain_goods, room, room_id, square};
use proptest::prelude::*;
use shared_model::job::{CutPiece, Decision, Job, Match, Pin, Room};
use shared_model::layout::{Layout, PileDirection};
use shared_model::takeoff::{Takeoff, takeoff};

/// 8' along the west wall, 1' at its far end and 9' at its near one.
fn slanted(n: u64, name: &str) -> Room {
    room(n, name, &[("8'", "r"), ("1'", "r45"), ("", "r135"), ("9'", "r")])
}

/// Two such rooms, carpeted with the pile leaning these ways, each in one piece.
fn two(piles: [PileDirection; 2]) -> Job {
    let mut job = job(vec![slanted(1, "Den"), slanted(2, "Loft")], vec![plain_goods(1)]);
    for (n, pile) in (1..).zip(piles) {
        decide(&mut job, Decision::Pin { room: room_id(n), pin: Pin::Pile(pile) });
        decide(&mut job, Decision::Pin { room: room_id(n), pin: Pin::NoSeam });
    }
    job
}

fn chosen(taken: &Takeoff) -> &Layout {
    taken.goods[0].layout().unwrap()
}

/// By hand: each piece is 9' 6" by 8' 6", so on a 12' roll their rectangles take 17'. Turned round, one has its long side where the other
/// has its short one: 10' of floor across, with 3 in around both and 6 in for each at 45°, in 8' 6".
#[test]
fn two_slanted_pieces_lie_side_by_side() {
    use PileDirection::{North, South};
    let apart = two([North, North]);
    let taken = sound(&apart);
    assert_eq!(chosen(&taken).order, long("17'"));
    let taken = sound(&two([North, South]));
    let layout = chosen(&taken);
    assert_eq!(layout.order, long("8' 6\""));
    assert!(layout.cuts.as_ref().is_some_and(|it| it.cuts.len() == 2), "one rectangle: {:?}", layout.cuts);
    assert!(layout.roll.lower_bound <= layout.roll.length);
    assert_eq!(layout.freehand, None);
}

/// 11' 6" is the narrowest roll that holds both side by side; on a narrower one, one of them lies farther along.
#[test]
fn they_need_their_allowance_between_them() {
    use PileDirection::{North, South};
    for (roll, side_by_side) in [("11' 6\"", true), ("11' 5\"", false)] {
        let mut job = two([North, South]);
        job.goods[0].roll_width = long(roll);
        assert_eq!(chosen(&sound(&job)).order == long("8' 6\""), side_by_side, "{roll}");
    }
}

/// Each stays where it was cut from, also when the other is not cut yet.
#[test]
fn either_is_cut_first() {
    let goods = goods_id(1);
    for first in 0..2 {
        let mut job = two([PileDirection::North, PileDirection::South]);
        let plan = chosen(&sound(&job)).clone();
        decide(&mut job, Decision::Plan(plan.chosen(goods)));
        let cuts: Vec<_> = plan.placed().map(|(it, place)| CutPiece { goods, piece: it.id.clone(), place }).collect();
        for it in [&cuts[first], &cuts[1 - first]] {
            decide(&mut job, Decision::Cut(it.clone()));
            let taken = sound(&job);
            assert_eq!(chosen(&taken).roll.placements, plan.roll.placements);
            assert_eq!(taken.goods[0].standing.as_ref().map(|it| it.fits()), Some(true));
        }
        assert_eq!(chosen(&sound(&job)).cut.len(), 2);
    }
}

/// What is cut to fit into each other serves when one room turns out an eighth of an inch shorter.
#[test]
fn both_are_cut_and_one_room_is_read_anew() {
    let goods = goods_id(1);
    let mut job = two([PileDirection::North, PileDirection::South]);
    let plan = chosen(&sound(&job)).clone();
    decide(&mut job, Decision::Plan(plan.chosen(goods)));
    for (it, place) in plan.placed() {
        decide(&mut job, Decision::Cut(CutPiece { goods, piece: it.id.clone(), place }));
    }
    let Room { walls, .. } = room(1, "Den", &[("7' 11 7/8\"", "r"), ("1'", "r45"), ("", "r135"), ("9'", "r")]);
    job.rooms[0].walls = walls;
    let taken = sound(&job);
    assert_eq!((chosen(&taken).cut.len(), chosen(&taken).order), (2, plan.order));
}

/// By hand: a room of 11' by 14' without its last 6' by 6' takes a piece of 11' 6" by 14' 6", which leaves 6' by 6' of itself and 6" of the
/// roll. Two closets of 2' 4" by 5' take 2' 10" by 5' 6" each: where the crew cuts around corners, both lie in the corner that is left.
#[test]
fn closets_are_cut_from_the_corner_of_an_l() {
    for (freehand, order) in [(true, "14' 6\""), (false, "20'")] {
        let walls = [("14'", "r"), ("5'", "r"), ("6'", "l"), ("6'", "r"), ("8'", "r"), ("11'", "r")];
        let mut job = job(
            vec![room(1, "Den", &walls), square(2, "Closet", "2' 4\"", "5'"), square(3, "Pantry", "2' 4\"", "5'")],
            vec![plain_goods(1)],
        );
        job.rules.freehand = freehand;
        for n in 1..=3 {
            decide(&mut job, Decision::Pin { room: room_id(n), pin: Pin::Pile(PileDirection::North) });
            decide(&mut job, Decision::Pin { room: room_id(n), pin: Pin::NoSeam });
        }
        let taken = sound(&job);
        assert_eq!(chosen(&taken).order, long(order), "{:?}", taken.problems);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Slanted rooms of any size beside square ones, plain or with a pattern: no piece lies in what another needs.
    #[test]
    fn slanted_rooms_are_planned_soundly(
        rooms in prop::collection::vec((60_i64..200, 8_i64..120, prop::sample::select(vec![30.0, 45.0, 52.5, 67.5]), 0_usize..4), 2..5),
        other in (40_i64..140, 40_i64..140),
        patterned in any::<bool>(),
        freehand in any::<bool>(),
    ) {
        let mut all = Vec::new();
        for ((west, north, turn, _), n) in rooms.iter().zip(1..) {
            let walls = [(format!("{west}\""), "r".to_owned()), (format!("{north}\""), format!("r{turn}")), (String::new(), format!("r{}", 180.0 - turn)), (String::new(), "r".to_owned())];
            let walls: Vec<(&str, &str)> = walls.iter().map(|(length, turn)| (length.as_str(), turn.as_str())).collect();
            all.push(room(n, &format!("Room {n}"), &walls));
        }
        let (across, along) = (format!("{}\"", other.0), format!("{}\"", other.1));
        all.push(room(9, "Square", &[(&along, "r"), (&across, "r"), (&along, "r"), (&across, "r")]));
        let mut job = job(all, vec![plain_goods(1)]);
        job.rules.freehand = freehand;
        if patterned {
            (job.goods[0].pattern, job.goods[0].repeat_length) = (Match::Set, long("1' 6\""));
        }
        let piles = [PileDirection::North, PileDirection::East, PileDirection::South, PileDirection::West];
        for ((.., pile), n) in rooms.iter().zip(1..) {
            decide(&mut job, Decision::Pin { room: room_id(n), pin: Pin::Pile(piles[*pile]) });
        }
        let taken = takeoff(&job);
        prop_assert_eq!(faults(&job, &taken), Vec::<String>::new());
    }
}
