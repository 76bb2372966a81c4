//! The takeoff against printed worked examples. The source stands beside each; the rules are set to what it assumes.

use napline_tests::checker::faults;
use napline_tests::rooms::{doorway, flight, goods_id, job, long, plain_goods, room};
use shared_model::ids::RoomId;
use shared_model::job::{Flight, Goods, Job, Match, Rules};
use shared_model::layout::{FlightPart, Layout, Part, Piece, PileDirection, SeamKind};
use shared_model::length::Length;
use shared_model::polygon::Area;
use shared_model::takeoff::takeoff;

/// A room `east` by `north`, walked clockwise from its south-west corner, to be carpeted from a roll.
fn rectangle(east: &str, north: &str, roll_width: &str) -> Job {
    let walls = [(north, "r"), (east, "r"), (north, "r"), (east, "r")];
    job(vec![room(1, "Room", &walls)], vec![Goods { roll_width: long(roll_width), ..plain_goods(1) }])
}

/// Neither trims nor allowances: what a plain sum assumes.
fn bare() -> Rules {
    Rules { seam_trim: Length::ZERO, wall_allowance: Length::ZERO, ..Rules::default() }
}

/// The layouts of the job's first goods; the checker has found nothing wrong with any.
#[track_caller]
fn layouts(job: &Job) -> Vec<Layout> {
    let takeoff = takeoff(job);
    assert_eq!(faults(job, &takeoff), Vec::<String>::new());
    assert!(!takeoff.goods[0].layouts.is_empty(), "{:?}", takeoff.problems);
    takeoff.goods[0].layouts.clone()
}

#[track_caller]
fn shortest(job: &Job) -> Layout {
    layouts(job).swap_remove(0)
}

fn cross_seams(layout: &Layout) -> usize {
    layout.seams.iter().filter(|it| it.kind == SeamKind::Cross).count()
}

/// ehow.com, how_6737804: a room of 14 × 16 ft from a 12 ft roll takes 32 running feet with the pile along the 16 ft, 28
/// along the 14 ft, and 21 when a 7 ft length is split to fill the side, with a seam more.
#[test]
fn a_14_by_16_ft_room_takes_32_28_or_21_running_feet() {
    let mut job = rectangle("16'", "14'", "12'");
    job.rules = Rules { most_cross_seams: 0, ..bare() };
    let whole = layouts(&job);
    let along = |pile| whole.iter().find(|it| it.groups[0].pile == pile).map(|it| it.order);
    assert_eq!(along(PileDirection::North), Some(Length::feet(28)));
    // Along the 16 ft the breadth runs the length of the area, so it is offered too.
    assert_eq!(along(PileDirection::East), Some(Length::feet(32)));

    job.rules.most_cross_seams = 1;
    let pieced = shortest(&job);
    assert_eq!((pieced.order, cross_seams(&pieced)), (Length::feet(21), 1));
    // 28 sq yd, worked out from the 21 ft.
    assert_eq!(pieced.ordered, Area(28 * Area::SQUARE_YARD.0));
}

/// Where the repeat across is not known, a pattern could not be matched over a cross seam (common practice).
#[test]
fn a_pattern_without_a_repeat_across_is_not_pieced() {
    let mut job = rectangle("16'", "14'", "12'");
    job.rules = Rules { most_cross_seams: 1, ..bare() };
    assert!(layouts(&job).iter().any(|it| cross_seams(it) > 0));
    job.goods[0] = Goods { repeat_length: long("18\""), pattern: Match::Set, ..job.goods[0].clone() };
    let patterned = layouts(&job);
    assert!(!patterned.is_empty() && patterned.iter().all(|it| cross_seams(it) == 0));
}

/// jiskha.com, 1326255360: 15 × 21 ft from a 12 ft roll with the fill widened to 4 ft to pass under the doorway: 12 × 28 ft,
/// 37.33 sq yd, three fills of 7 ft side by side.
#[test]
fn a_fill_that_passes_under_the_doorway() {
    let mut job = rectangle("15'", "21'", "12'");
    let door = doorway(1, 2, long("9'"), long("3'"), None);
    job.rooms[0].openings.push(shared_model::job::Opening { depth: long("2'"), ..door });
    job.rules = bare();
    let layouts = layouts(&job);
    let as_printed = layouts.iter().find(|it| it.order == Length::feet(28)).expect("the printed plan is offered");
    assert_eq!(as_printed.ordered, Length::feet(28) * Length::feet(12));
    // Only the middle fill reaches into the doorway; the other two need no more than 3 ft.
    let fills = as_printed.pieces.iter().filter(|it| it.width <= Length::feet(4));
    let fills: Vec<_> = fills.map(|it| (it.width, it.length)).collect();
    let seven = Length::feet(7);
    assert_eq!(fills, [(Length::feet(3), seven), (Length::feet(4), seven), (Length::feet(3), seven)]);
    assert!(layouts[0].order <= Length::feet(28));
}

/// Written arithmetic, 19th century, art. 483 "Carpeting, lining", p. 225 (books.google 15sXAAAAIAAJ): 24 ft 9 in × 18 ft in
/// 27 in carpet takes 8 strips, 66 yards.
#[test]
fn eight_strips_of_27_inch_carpet() {
    let mut job = rectangle("18'", "24' 9\"", "27\"");
    job.rules = bare();
    let layouts = layouts(&job);
    let lengthwise = layouts.iter().find(|it| it.groups[0].pile == PileDirection::North).expect("strips lengthwise");
    assert_eq!(lengthwise.pieces.len(), 8);
    assert_eq!(lengthwise.order, Length::feet(66 * 3));
}

/// *Household management*, chestofbooks.com, Carpets part 4, says 26 2/3 yards for 12 × 15 ft in 27 in carpet: that is the
/// area only. Whole strips are six of 5 yd, 30 yd.
#[test]
fn area_is_not_what_whole_strips_take() {
    let mut job = rectangle("12'", "15'", "27\"");
    job.rules = Rules { most_cross_seams: 0, ..bare() };
    let layouts = layouts(&job);
    let lengthwise = layouts.iter().find(|it| it.groups[0].pile == PileDirection::North).expect("strips lengthwise");
    assert_eq!(lengthwise.pieces.len(), 6);
    assert_eq!(lengthwise.order, Length::feet(30 * 3));
    assert!(layouts.iter().all(|it| it.order > Length::feet(80)), "nothing whole is as short as the area says");
}

/// daltoncarpet.com/news prices 9 ft 8 in × 11 ft 2 in by 14.7 sq yd, which is 132 sq ft rounded. Nothing is rounded here.
#[test]
fn areas_are_not_rounded() {
    let mut job = rectangle("11' 2\"", "9' 8\"", "12'");
    job.goods[0].increment = Length::feet(1);
    let layout = shortest(&job);
    assert_eq!(layout.order, Length::feet(11));
    assert_eq!(layout.ordered, Area(132 * Area::SQUARE_FOOT.0));
    assert_eq!(layout.ordered.0 * 3, 44 * Area::SQUARE_YARD.0);
}

/// homeinsuranceredding.com: a 30 in gap along a 10 ft wall takes 4 fill pieces 33 in wide out of some 3 ft of a 12 ft roll; the
/// room is cut 10 ft 4 in. So 3 in are added to the width, and 2 in at each end.
#[test]
fn four_fills_side_by_side_out_of_three_feet() {
    let mut job = rectangle("14' 3\"", "10'", "12'");
    job.rules = Rules {
        seam_trim: Length::inches(1),
        wall_allowance: Length::inches(2),
        least_piece: long("2'"),
        ..Rules::default()
    };
    let pieced = layouts(&job).into_iter().find(|it| cross_seams(it) == 3).expect("four fills");
    let fills: Vec<_> = pieced.pieces.iter().filter(|it| it.width < Length::feet(4)).collect();
    assert_eq!(fills.len(), 4);
    assert!(fills.iter().all(|it| it.width == Length::inches(33) && it.length < Length::feet(3)));
    assert!(pieced.order - long("10' 4\"") <= Length::feet(3));
}

/// `domain.md` of the project, from the rules: two breadths of a 12 ft roll cover 24 ft less two trims of 1 in and two
/// allowances of 3 in. A rule of thumb (span over roll width) says two up to 24 ft.
#[test]
fn two_breadths_cover_23_ft_4_in_and_not_an_eighth_more() {
    let breadths = |east: &str| {
        let mut job = rectangle(east, "60'", "12'");
        job.rules.most_cross_seams = 0;
        let layouts = layouts(&job);
        let lengthwise = layouts.iter().filter(|it| it.groups[0].pile == PileDirection::North);
        lengthwise.map(|it| it.pieces.len()).min()
    };
    assert_eq!(breadths("23' 4\""), Some(2));
    assert_eq!(breadths("23' 4 1/8\""), Some(3));
}

/// Room widths that take exactly `n` whole breadths.
fn patterned(breadths: i64, length: Length, repeat: Length, pattern: Match) -> Job {
    let mut job = rectangle(&(Length::feet(12) * breadths).exact_text(), &length.exact_text(), "12'");
    job.goods[0] = Goods { repeat_length: repeat, pattern, ..job.goods[0].clone() };
    job.rules = Rules { most_cross_seams: 0, ..bare() };
    job
}

fn lengthwise(job: &Job) -> Layout {
    let layouts = layouts(job);
    let along = |it: &&Layout| matches!(it.groups[0].pile, PileDirection::North | PileDirection::South);
    layouts.iter().find(along).cloned().unwrap_or_else(|| unreachable!("a layout lengthwise is always offered"))
}

/// US arithmetic, "Carpeting", p. 242 (books.google 2NpEAAAAIAAJ): no allowance is ever necessary for the first strip, so n
/// strips take (n − 1)·⌈L/R⌉·R + L, not n·⌈L/R⌉·R. With an 18 in pattern strips of 15 ft lose nothing and strips of 14 ft
/// lose 12 in each.
#[test]
fn set_match_loses_nothing_at_the_last_strip() {
    let repeat = Length::inches(18);
    for (feet, lost) in [(15, 0), (14, 12)] {
        for breadths in 1..=4 {
            let layout = lengthwise(&patterned(breadths, Length::feet(feet), repeat, Match::Set));
            let length = Length::feet(feet);
            let pitch = length + Length::inches(lost);
            assert_eq!(layout.order, pitch * (breadths - 1) + length, "{breadths} of {feet} ft");
            assert!(layout.roll.optimal());
        }
    }
}

/// Half-drop by hand (derived from the printed rule of half repeats, rembud.info): with L the strip and R the repeat, strips
/// of one phase follow each other at p = R·⌈L/R⌉, strips of the other at q = R/2 + R·⌈(L − R/2)/R⌉. Where ⌈2L/R⌉ is odd they
/// are cut A, B, A, B, in (n − 1)·q + L; where it is even all A then all B, in (n − 2)·p + q + L.
#[test]
fn half_drop_is_cut_alternately_or_one_phase_after_the_other() {
    let up = |length: Length, step: Length| step * ((length.0 + step.0 - 1) / step.0);
    let half = Match::Drop { numerator: 1, denominator: 2 };
    for repeat in [Length::inches(18), Length::inches(24), Length::inches(36)] {
        for inches in [170, 181, 190, 200] {
            let length = Length::inches(inches);
            let pitch = up(length, repeat);
            let other = repeat / 2 + up(length - repeat / 2, repeat);
            let odd = (length.0 * 2 + repeat.0 - 1) / repeat.0 % 2 == 1;
            for breadths in 2..=4 {
                let layout = lengthwise(&patterned(breadths, length, repeat, half));
                let wanted = if odd { other * (breadths - 1) } else { pitch * (breadths - 2) + other };
                assert_eq!(layout.roll.length, wanted + length, "{breadths} of {inches} in, repeat {repeat:?}");
            }
        }
    }
}

/// fcimag.com 84561 and 84819: a 144 in width holds 8 repeats of 18 in; a width of 142 in only 7, so a whole pattern is
/// lost; 12 ft 2 in with a 1 ft repeat leaves 1 in of selvage at each side to trim.
#[test]
fn whole_repeats_across_bound_the_breadth() {
    let usable = |roll: &str, repeat: i64, trim: i64| {
        let mut job = rectangle("50'", "60'", roll);
        let repeats = (Length::inches(repeat), Length::inches(repeat));
        job.goods[0] =
            Goods { repeat_length: repeats.0, repeat_width: repeats.1, pattern: Match::Set, ..job.goods[0].clone() };
        job.rules = Rules { seam_trim: Length::inches(trim), most_cross_seams: 0, ..bare() };
        let layout = lengthwise(&job);
        let last = layout.pieces.len() as u32;
        let between = |it: &&Piece| matches!(it.part, Part::Breadth { breadth, .. } if breadth > 1 && breadth < last);
        layout.pieces.iter().filter(between).map(|it| it.width - it.extra.left - it.extra.right).max()
    };
    assert_eq!(usable("144\"", 18, 0), Some(Length::inches(144)));
    assert_eq!(usable("142\"", 18, 0), Some(Length::inches(7 * 18)));
    assert_eq!(usable("12' 2\"", 12, 1), Some(Length::inches(144)));
}

/// fcimag.com 84561: with nothing left for trimming the crew must know.
#[test]
fn trims_that_take_a_whole_repeat_are_told() {
    let mut job = rectangle("20'", "20'", "144\"");
    job.goods[0] =
        Goods { repeat_length: long("18\""), repeat_width: long("18\""), pattern: Match::Set, ..job.goods[0].clone() };
    let problems = takeoff(&job).problems;
    assert!(problems.iter().any(|it| it.text.contains("leaves whole repeats for 10' 6\" only")), "{problems:?}");
}

/// *Renovation*, 3rd ed., carpeting stairs (boulderlibrary.net): per step the tread from its nosing's edge, the riser and 1 in
/// for the pad, times the steps, and 6 in over all; the stair's width and 2 1/2 in; three runs of a 36 in stair lie side by
/// side on a 12 ft roll.
#[test]
fn stairs_as_printed() {
    let mut job = job(vec![], vec![plain_goods(1)]);
    job.flights.push(flight(1));
    let layouts = layouts(&job);
    // 13 steps of 10 + 1 + 7 1/2 + 1 in, and 6 in.
    let whole = Length::sixty_fourths(13 * (39 * 32)) + Length::inches(6);
    let pieces: Vec<_> = layouts.iter().flat_map(|it| &it.pieces).collect();
    assert!(pieces.iter().all(|it| it.width == long("38 1/2\"")));
    assert!(layouts.iter().all(|it| it.pieces.iter().map(|it| it.length).sum::<Length>() == whole));
    // 5 + 4 + 4 steps side by side; the top run carries the 6 in.
    let runs: Vec<Length> = layouts[0].pieces.iter().map(|it| it.length).collect();
    assert_eq!(runs, [long("103 1/2\""), long("78\""), long("78\"")]);
    assert_eq!(layouts[0].order, long("104\""));
    assert!(matches!(layouts[0].pieces[0].part, Part::Flight { part: FlightPart::Run(1), .. }));
}

/// Nobody lays what is not closed; it is said instead.
#[test]
fn nothing_closed_nothing_laid() {
    let mut job = rectangle("12'", "12'", "12'");
    job.rooms[0].walls[0].readings.clear();
    job.rooms[0].walls[1].readings.clear();
    job.rooms[0].walls[2].readings.clear();
    let takeoff = takeoff(&job);
    assert_eq!(takeoff.goods[0].goods, goods_id(1));
    assert!(takeoff.goods[0].layouts.is_empty() && !takeoff.problems.is_empty());
    assert!(!takeoff.floor.rooms.iter().any(|it| it.room == RoomId(uuid::Uuid::from_u64_pair(1, 0))));
}

/// A winder takes one piece by itself, tread and riser below it, cut by its template; the longest line over the kite in a quarter turn
/// of 36 in stairs is its diagonal, 36 · √2 = 50.9 in. A landing takes one piece too (*Renovation*, 3rd ed., carpeting stairs).
#[test]
fn winders_and_a_landing_are_cut_singly() {
    let mut job = job(vec![], vec![plain_goods(1)]);
    let (winder_reach, landing) = (long("51\""), long("36\""));
    job.flights.push(Flight { winders: 3, winder_reach, landing, ..flight(1) });
    let takeoff = takeoff(&job);
    assert_eq!(faults(&job, &takeoff), Vec::<String>::new());
    let layout = &takeoff.goods[0].layouts[0];
    let length = |of: FlightPart| {
        let part = |it: &&Piece| matches!(it.part, Part::Flight { part, .. } if part == of);
        layout.pieces.iter().find(part).map(|it| it.length)
    };
    // 51 + 1 + 7 1/2 + 1 in, and 36 + 1 + 7 1/2 + 1 in.
    for n in 1..=3 {
        assert_eq!(length(FlightPart::Winder(n)), Some(long("60 1/2\"")));
    }
    assert_eq!(length(FlightPart::Winder(4)), None);
    assert_eq!(length(FlightPart::Landing), Some(long("45 1/2\"")));
    // 51 in and 1 1/4 in tucked at both sides.
    let wide = |it: &&Piece| {
        matches!(it.part, Part::Flight { part: FlightPart::Winder(_), .. }) && it.width == long("53 1/2\"")
    };
    assert_eq!(layout.pieces.iter().filter(wide).count(), 3);
    // Ten straight steps of 18 1/2 in and the landing of 44 1/2 in, 36 in wide; three winders of 59 1/2 in, 51 in wide.
    let straight = Length::sixty_fourths(32 * (10 * 37 + 89)) * long("36\"");
    let winders = Length::sixty_fourths(32 * 3 * 119) * long("51\"");
    assert_eq!(takeoff.materials.pad.0, straight.0 + winders.0);
}
