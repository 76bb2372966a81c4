//! Random rooms and houses: whatever is laid covers the floor, fits the roll and keeps the rules.

use napline_tests::checker::faults;
use napline_tests::rooms::{doorway, flight, job, long, measured_room, plain_goods, room, turn, wall_id};
use proptest::prelude::*;
use shared_model::ids::{FixtureId, ReadingId};
use shared_model::job::{
    Fixture, FixtureKind, Flight, FloorAtOpening, Goods, Job, Match, Opening, OpeningKind, Reading, Rise, Room, Rules,
    Turn,
};
use shared_model::layout::Part;
use shared_model::length::{Length, Units};
use shared_model::takeoff::{file, takeoff};
use uuid::Uuid;

fn eighths(n: i64) -> Length {
    Length::sixty_fourths(8 * n)
}

/// Walls in eighths of an inch with the turn at the end of each; the first runs north.
type Walls = Vec<(i64, &'static str)>;

/// 2 to 30 ft.
fn side() -> impl Strategy<Value = i64> {
    192_i64..2_880
}

fn rectangle() -> impl Strategy<Value = Walls> {
    (side(), side()).prop_map(|(n, e)| vec![(n, "r"), (e, "r"), (n, "r"), (e, "r")])
}

fn l_shape() -> impl Strategy<Value = Walls> {
    (side(), side(), side(), side())
        .prop_map(|(a, b, c, d)| vec![(a + b, "r"), (c, "r"), (b, "l"), (d, "r"), (a, "r"), (c + d, "r")])
}

/// A stem between two shoulders, which may lie at different depths.
fn t_shape() -> impl Strategy<Value = Walls> {
    (side(), side(), side(), side(), side(), side())
        .prop_map(|(low, high, one, stem, west, east)| {
            vec![
                (low, "r"),
                (west, "l"),
                (high, "r"),
                (stem, "r"),
                (high + one, "l"),
                (east, "r"),
                (low, "r"),
                (west + stem + east, "l"),
            ]
        })
        .prop_map(|mut walls| {
            // The east shoulder lies deeper than the west one by the difference of the two depths.
            let (low, deeper) = (walls[0].0, walls[4].0 - walls[2].0);
            walls[0].0 = low + deeper;
            walls[7].1 = "r";
            walls
        })
}

/// Two arms around a court that opens to the north.
fn u_shape() -> impl Strategy<Value = Walls> {
    (side(), side(), side(), side(), side(), side()).prop_map(|(base, one, two, west, court, east)| {
        vec![
            (base + one, "r"),
            (west, "r"),
            (one, "l"),
            (court, "l"),
            (two, "r"),
            (east, "r"),
            (base + two, "r"),
            (west + court + east, "r"),
        ]
    })
}

/// A bay with slanted cheeks in the north wall.
fn bay() -> impl Strategy<Value = Walls> {
    (side(), side(), side(), side(), 96_i64..600).prop_map(|(north, west, front, east, deep)| {
        let cheek = (deep as f64 * std::f64::consts::SQRT_2).round() as i64;
        let across = west + front + east + 2 * deep;
        vec![
            (north, "r"),
            (west, "l45"),
            (cheek, "r45"),
            (front, "r45"),
            (cheek, "l45"),
            (east, "r"),
            (north, "r"),
            (across, "r"),
        ]
    })
}

/// A corner cut off at a stated angle.
fn cut_corner() -> impl Strategy<Value = Walls> {
    (side(), side(), 96_i64..1_000).prop_map(|(north, east, off)| {
        let slant = (off as f64 * std::f64::consts::SQRT_2).round() as i64;
        vec![(north, "r45"), (slant, "r45"), (east, "r"), (north + off, "r"), (east + off, "r")]
    })
}

fn shape() -> impl Strategy<Value = Walls> {
    prop_oneof![rectangle(), l_shape(), t_shape(), u_shape(), bay(), cut_corner()]
}

/// Walked with the room to the left instead.
fn walked_backward(walls: &Walls) -> Vec<(i64, Turn)> {
    let count = walls.len();
    let back = |i: usize| (walls[count - 1 - i].0, walls[(2 * count - 2 - i) % count].1);
    let mirrored = |it: &str| {
        turn(&if let Some(rest) = it.strip_prefix('r') { format!("l{rest}") } else { format!("r{}", &it[1..]) })
    };
    (0..count).map(back).map(|(length, turn)| (length, mirrored(turn))).collect()
}

fn room_of(n: u64, walls: &Walls, backward: bool) -> Room {
    let forward = || walls.iter().map(|(length, at_end)| (*length, turn(at_end))).collect();
    let walls: Vec<(i64, Turn)> = if backward { walked_backward(walls) } else { forward() };
    let walls: Vec<_> = walls.into_iter().map(|(length, turn)| (vec![eighths(length)], turn)).collect();
    measured_room(n, &format!("Room {n}"), &walls)
}

fn goods() -> impl Strategy<Value = Goods> {
    let widths = prop::sample::select(vec!["12'", "13' 6\"", "15'", "4 m", "27\"", "5' 1/2\""]);
    let half = Match::Drop { numerator: 1, denominator: 2 };
    let third = Match::Drop { numerator: 1, denominator: 3 };
    let pattern = prop::sample::select(vec![Match::None, Match::None, Match::None, Match::Set, half, third]);
    let repeat = (60_i64..300, prop_oneof![Just(0_i64), 40_i64..160]);
    let increment = prop::sample::select(vec!["1\"", "1'", "6\"", "0\"", "0.5 m"]);
    (widths, pattern, repeat, increment, 0_i64..40).prop_map(|(width, pattern, (along, across), increment, minimum)| {
        Goods {
            roll_width: long(width),
            pattern,
            repeat_length: eighths(along),
            repeat_width: eighths(across),
            increment: long(increment),
            minimum: Length::feet(minimum),
            longest: Length::ZERO,
            ..plain_goods(1)
        }
    })
}

fn rules() -> impl Strategy<Value = Rules> {
    let some = |most: i64| (0..=most).prop_map(eighths);
    let step = prop::sample::select(vec![long("1/8\""), long("5 mm"), long("1/2\""), Length::ZERO]);
    (some(16), some(32), step, (0_i64..600).prop_map(eighths), 0_i64..5, any::<bool>()).prop_map(
        |(seam_trim, wall_allowance, cut_step, least_piece, most_cross_seams, usual)| {
            if usual {
                Rules::default()
            } else {
                Rules { seam_trim, wall_allowance, cut_step, least_piece, most_cross_seams, ..Rules::default() }
            }
        },
    )
}

/// Openings of every kind on random walls.
fn openings(n: u64, walls: Walls) -> impl Strategy<Value = Vec<Opening>> {
    let kinds = prop::sample::select(vec![OpeningKind::Doorway, OpeningKind::CasedOpening, OpeningKind::Window]);
    let floors = prop::sample::select(vec![
        FloorAtOpening::RunsThrough,
        FloorAtOpening::SeamUnderDoor,
        FloorAtOpening::OtherFloor,
    ]);
    let one = (0..walls.len(), 0.0..1.0_f64, 20_i64..60, kinds, floors);
    prop::collection::vec(one, 0..3).prop_map(move |all| {
        let mut made: Vec<Opening> = Vec::new();
        for (i, share, wide, kind, floor) in all {
            let (length, width) = (walls[i].0, wide * 8);
            let spare = length - width - 64;
            if spare > 0 && made.iter().all(|it| it.wall != doorway(n, i, Length::ZERO, Length::FOOT, None).wall) {
                let offset = eighths(32 + (spare as f64 * share) as i64);
                made.push(Opening { kind, floor, ..doorway(n, i, offset, eighths(width), None) });
            }
        }
        made
    })
}

/// Fixtures anywhere along the walls, some of which cannot stand.
fn fixtures(n: u64, walls: Walls) -> impl Strategy<Value = Vec<Fixture>> {
    let kinds = [FixtureKind::Hearth, FixtureKind::Column, FixtureKind::Register, FixtureKind::StairWell];
    let clear = prop_oneof![Just(0_i64), 1_i64..400];
    let one = (0..walls.len(), 0.0..1.0_f64, clear, 40_i64..500, 40_i64..300, prop::sample::select(kinds.to_vec()));
    prop::collection::vec(one, 0..3).prop_map(move |all| {
        let made = all.into_iter().zip(0..).map(|((wall, share, clear, width, depth, kind), i)| Fixture {
            id: FixtureId(Uuid::from_u64_pair(n, i)),
            kind,
            wall: wall_id(n, wall),
            offset: eighths((walls[wall].0 as f64 * share) as i64),
            clear: eighths(clear),
            width: eighths(width),
            depth: eighths(depth),
        });
        made.collect()
    })
}

/// One wall may be an arc.
fn bend(walls: usize) -> impl Strategy<Value = Option<(usize, i64, bool)>> {
    prop::option::weighted(0.3, (0..walls, 8_i64..300, any::<bool>()))
}

fn bent(room: &mut Room, (wall, rise, inward): (usize, i64, bool)) {
    let wall = &mut room.walls[wall];
    let reading = Reading { id: ReadingId(Uuid::from_u128(1)), value: eighths(rise), ..wall.readings[0].clone() };
    wall.rises.push(Rise { reading, inward });
}

/// A job that prints in a few lines when it fails.
struct Case(Job);

impl std::fmt::Debug for Case {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        for room in &self.0.rooms {
            let walls = room.walls.iter().map(|it| {
                let read = it.readings.first().map(|it| it.value.exact_text()).unwrap_or_default();
                format!("{read} {}", it.turn().show())
            });
            write!(f, "\n{}: {}", room.name, walls.collect::<Vec<_>>().join(", "))?;
            let fixtures = room.fixtures.iter().map(|it| {
                let [offset, clear] = [it.offset, it.clear].map(Length::exact_text);
                format!(
                    "{:?} {offset} along {}, {clear} off, {} × {}",
                    it.kind,
                    it.wall,
                    it.width.exact_text(),
                    it.depth.exact_text()
                )
            });
            write!(f, "\n  {}", fixtures.collect::<Vec<_>>().join("; "))?;
            for (i, wall) in room.walls.iter().enumerate() {
                for it in &wall.rises {
                    write!(f, "\n  wall {i} bends {} inward {}", it.reading.value.exact_text(), it.inward)?;
                }
            }
            for it in &room.openings {
                let (at, width) = (it.offset.exact_text(), it.width.exact_text());
                write!(
                    f,
                    "\n  {:?} {:?} {at} along wall {}, {width} wide, to {:?}",
                    it.kind, it.floor, it.wall, it.leads_to
                )?;
            }
        }
        write!(f, "\n{:?}\n{:?}\n{:?}", self.0.goods, self.0.rules, self.0.flights)
    }
}

fn one_room() -> impl Strategy<Value = Case> {
    let room = shape().prop_flat_map(|walls| {
        let bend = bend(walls.len());
        (Just(walls.clone()), openings(1, walls.clone()), fixtures(1, walls), bend, any::<bool>())
    });
    (room, goods(), rules()).prop_map(|((walls, openings, fixtures, bend, backward), goods, rules)| {
        let mut room = room_of(1, &walls, backward);
        room.fixtures = fixtures;
        bend.into_iter().for_each(|it| bent(&mut room, it));
        if !backward {
            room.openings = openings;
        }
        Case(Job { rules, ..job(vec![room], vec![goods]) })
    })
}

/// Rooms in a row, each joined to the next by a doorway in its east wall; and a stair.
fn house() -> impl Strategy<Value = Case> {
    let floors = prop::sample::select(vec![
        FloorAtOpening::RunsThrough,
        FloorAtOpening::SeamUnderDoor,
        FloorAtOpening::OtherFloor,
    ]);
    let room = prop_oneof![rectangle(), l_shape(), u_shape()];
    let rooms = prop::collection::vec((room, floors, 0.0..1.0_f64), 2..5);
    let bends = (0_u32..4, prop_oneof![Just(0_i64), 200_i64..500]);
    (rooms, goods(), rules(), 1_u32..16, bends, any::<bool>()).prop_map(|(rooms, goods, rules, steps, bends, stair)| {
        let mut made: Vec<Room> = rooms.iter().zip(1..).map(|((walls, ..), n)| room_of(n, walls, false)).collect();
        for (i, pair) in rooms.windows(2).enumerate() {
            let ((left, floor, share), (right, ..)) = (&pair[0], &pair[1]);
            // The longest wall that runs south is the east wall or an arm's; the first wall of the next runs north.
            let Some(east) = left.iter().enumerate().rev().nth(1).map(|(i, _)| i) else { continue };
            let (width, n) = (240_i64, i as u64 + 1);
            let spare = left[east].0.min(right[0].0) - width - 64;
            if spare <= 0 {
                continue;
            }
            let offset = 32 + (spare as f64 * share) as i64;
            let there = right[0].0 - offset - width;
            let side = |room, wall, offset, to| Opening {
                floor: *floor,
                ..doorway(room, wall, eighths(offset), eighths(width), Some(to))
            };
            made[i].openings.push(side(n, east, offset, n + 1));
            if there > 0 {
                made[i + 1].openings.push(side(n + 1, 0, there, n));
            }
        }
        let (winders, winder_reach, landing) = (bends.0.min(steps), eighths(160), eighths(bends.1));
        let made_flight = Flight { steps, winders, winder_reach, landing, ..flight(1) };
        let flights = if stair { vec![made_flight] } else { Vec::new() };
        Case(Job { rules, flights, ..job(made, vec![goods]) })
    })
}

#[track_caller]
fn check(Case(job): &Case) -> Result<(), TestCaseError> {
    let takeoff = takeoff(job);
    let found = faults(job, &takeoff);
    prop_assert!(found.is_empty(), "{found:#?}\n{:#?}", takeoff.problems);
    let laid = takeoff.goods[0].layouts.is_empty();
    prop_assert!(!laid || !takeoff.problems.is_empty(), "nothing is laid, and nobody says why");
    Ok(())
}

/// `HOUSES=100` tries a hundred times as many rooms and houses.
fn times(usual: u32) -> u32 {
    std::env::var("HOUSES").ok().and_then(|it| it.parse().ok()).map_or(usual, |it: u32| usual.saturating_mul(it))
}

proptest! {
    #![proptest_config(ProptestConfig { max_shrink_iters: 200, ..ProptestConfig::with_cases(times(300)) })]

    #[test]
    fn any_room_is_covered(case in one_room()) {
        check(&case)?;
    }
}

proptest! {
    #![proptest_config(ProptestConfig { max_shrink_iters: 60, ..ProptestConfig::with_cases(times(60)) })]

    #[test]
    fn any_house_is_covered(case in house()) {
        check(&case)?;
    }
}

/// Where such a wall passes a seam line, the breadth that ends there lies beside it for a long way, and the next one's end
/// allowance does not help.
#[test]
fn a_wall_a_little_out_of_the_pile_keeps_its_allowance_where_it_passes_a_seam() {
    let walls = [("r80", "r100"), ("r75", "r105"), ("r67.5", "r112.5"), ("r60", "r120"), ("r45", "r135")];
    for (there, back) in walls {
        for north in ["11' 3\"", "11' 6\"", "11' 8\"", "11' 9\"", "23' 2\""] {
            let slanted = room(1, "Den", &[("20'", "r"), (north, there), ("", back), ("", "r")]);
            let job = job(vec![slanted], vec![plain_goods(1)]);
            let found = faults(&job, &takeoff(&job));
            assert!(found.is_empty(), "{there}, {north}: {found:#?}");
        }
    }
}

/// 2.5 m and 6 in are cut at 104 1/2 in, which is 2.6543 m; 3 m and 6 in at 124 1/8 in, which is 3.1528 m.
#[test]
fn what_is_read_aloud_is_never_short() {
    let den = room(1, "Den", &[("2.5 m", "r"), ("3 m", "r"), ("2.5 m", "r"), ("3 m", "r")]);
    let goods = Goods { roll_width: long("4 m"), increment: Length::ZERO, ..plain_goods(1) };
    let metric = Job { units: Units::Metric, ..job(vec![den], vec![goods]) };
    let text = file::run(&serde_json::to_string(&metric).unwrap()).unwrap().text();
    assert!(text.contains("order 2.655 m") && text.contains("3.153 m × 2.655 m"), "{text}");
}

/// A full breadth of 13 ft 6 in goods leaves a hair of this room's width, which no stretcher can lay.
#[test]
fn no_seam_runs_beside_a_wall_where_a_stretcher_cannot_stand() {
    let walls =
        [("13' 5 5/8\"", "r45"), ("2' 8\"", "r45"), ("11' 3 3/8\"", "r"), ("15' 4 1/4\"", "r"), ("13' 2\"", "r")];
    let (seam_trim, wall_allowance) = (long("1 1/8\""), long("2 7/8\""));
    let goods = Goods { roll_width: long("13' 6\""), ..plain_goods(1) };
    let rules = Rules { seam_trim, wall_allowance, ..Rules::default() };
    let job = Job { rules, ..job(vec![room(1, "Den", &walls)], vec![goods]) };
    let takeoff = takeoff(&job);
    assert_eq!(faults(&job, &takeoff), Vec::<String>::new());
    let pieces: Vec<_> = takeoff.goods[0].layouts.iter().flat_map(|it| &it.pieces).collect();
    assert!(pieces.iter().any(|it| matches!(it.part, Part::Breadth { breadth: 2, .. })), "seamed");
    let narrowest = pieces.iter().map(|it| it.width.min(it.length)).min();
    assert!(narrowest > Some(Length::inches(6)), "{narrowest:?}");
}
