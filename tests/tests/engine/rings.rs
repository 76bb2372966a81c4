//! Properties of closing: exact, noisy and impossible rings.

use napline_tests::rooms::{doorway, measured_room, turn};
use proptest::prelude::*;
use shared_model::job::{Angle, Opening, Room, Rules, Turn};
use shared_model::length::{Length, Units};
use shared_model::outline::{close, sketch};
use shared_model::polygon::Point;

/// Rings that close exactly: a rectangle with nooks of random depth cut into its north side.
fn exact_rooms() -> impl Strategy<Value = Vec<(Length, Turn)>> {
    let eighths = |range: std::ops::Range<i64>| range.prop_map(|n| Length::sixty_fourths(8 * n));
    let nook = (eighths(100..400), eighths(100..600), eighths(100..400));
    (eighths(700..2_000), prop::collection::vec(nook, 0..5), eighths(100..400)).prop_map(|(deep, nooks, last)| {
        let mut walls = vec![(deep, Turn::RIGHT)];
        let mut wide = last;
        for (before, depth, across) in nooks {
            walls.extend([(before, Turn::RIGHT), (depth, Turn::LEFT), (across, Turn::LEFT), (depth, Turn::RIGHT)]);
            wide += before + across;
        }
        walls.extend([(last, Turn::RIGHT), (deep, Turn::RIGHT), (wide, Turn::RIGHT)]);
        walls
    })
}

/// Convex rings of any angles that close to a count or two.
fn angled_rooms() -> impl Strategy<Value = Vec<(Length, Turn)>> {
    (prop::collection::vec(1..100_i64, 4..9), 5_000..60_000_i64).prop_map(|(shares, radius)| {
        // Corners on a circle: a chord of angle 2α is 2 r sin α long and turns by half of both angles at its end.
        let total: i64 = shares.iter().sum();
        let angles: Vec<i64> = shares.iter().map(|it| it * Angle::FULL.0 / total / 2 * 2).collect();
        let spare = Angle::FULL.0 - angles.iter().sum::<i64>();
        let angles: Vec<i64> = angles.iter().enumerate().map(|(i, it)| if i == 0 { it + spare } else { *it }).collect();
        let chord = |angle: i64| Length((2.0 * radius as f64 * 8_000.0 * Angle(angle / 2).unit().0).round() as i64);
        let turn = |i: usize| Turn(Angle(angles[i] / 2 + angles[(i + 1) % angles.len()] / 2));
        (0..angles.len()).map(|i| (chord(angles[i]), turn(i))).collect()
    })
}

fn with_noise(walls: &[(Length, Turn)], noise: &[i64]) -> Room {
    let walls: Vec<_> = walls
        .iter()
        .zip(noise.iter().cycle())
        .map(|(&(length, turn), &off)| (vec![length + Length::sixty_fourths(off)], turn))
        .collect();
    measured_room(1, "Room", &walls)
}

proptest! {
    #[test]
    fn an_exact_ring_is_not_changed(walls in exact_rooms()) {
        let (outline, problems) = close(&with_noise(&walls, &[0]), &Rules::default(), Units::Imperial);
        prop_assert_eq!(problems, []);
        let outline = outline.unwrap();
        prop_assert_eq!(outline.misclosure.gap, Length::ZERO);
        for ((start, end), (length, _)) in outline.ring.edges().zip(&walls) {
            prop_assert_eq!(start.distance(end), *length);
        }
    }

    #[test]
    fn a_noisy_rectilinear_ring_closes_exactly_and_stays_square(walls in exact_rooms(), noise in prop::collection::vec(-16..=16_i64, 1..12)) {
        let room = with_noise(&walls, &noise);
        let rules = Rules { closure_least: Length::feet(2), ..Rules::default() };
        let outline = close(&room, &rules, Units::Imperial).0.unwrap();
        for ((start, end), heading) in outline.ring.edges().zip(&outline.headings) {
            prop_assert_eq!(end - start, Point::toward(*heading, start.distance(end)));
        }
        // No wall takes up more than the whole gap.
        let read = sketch(&room, &rules).walls;
        for ((start, end), wall) in outline.ring.edges().zip(&read) {
            prop_assert!((start.distance(end) - wall.length).abs() <= outline.misclosure.gap + Length(1));
        }
    }

    #[test]
    fn a_noisy_angled_ring_is_moved_no_more_than_its_gap(walls in angled_rooms(), noise in prop::collection::vec(-8..=8_i64, 1..9)) {
        for (exact, off) in [(true, &[0][..]), (false, &noise)] {
            let room = with_noise(&walls, off);
            let sketched = sketch(&room, &Rules::default());
            if let (Some(outline), _) = close(&room, &Rules::default(), Units::Imperial) {
                prop_assert!(outline.ring.is_clockwise());
                let gap = outline.misclosure.gap + Length(2);
                prop_assert!(!exact || gap < Length(20));
                for ((start, end), wall) in outline.ring.edges().zip(&sketched.walls) {
                    prop_assert!((start.distance(end) - wall.length).abs() <= gap);
                }
            } else {
                prop_assert!(!sketched.closes || !exact);
            }
        }
    }

    /// Whatever a document may hold gives an outline that is simple and clockwise, or a problem, and a sketch.
    #[test]
    fn no_reading_or_turn_brings_it_down(
        walls in prop::collection::vec((prop::collection::vec(lengths(), 0..3), turns()), 0..9),
        offset in lengths(), width in lengths(), on in 0..9_usize, ratio in any::<i64>(), least in lengths(),
    ) {
        let mut room = measured_room(1, "Room", &walls);
        let door = doorway(1, on, Length::FOOT, Length::FOOT, None);
        room.openings = vec![Opening { offset, width, ..door }];
        let rules = Rules { closure_ratio: ratio, closure_least: least, ..Rules::default() };
        let sketched = sketch(&room, &rules);
        prop_assert_eq!(sketched.walls.len(), room.walls.len());
        let (outline, problems) = close(&room, &rules, Units::Imperial);
        match outline {
            Some(outline) => {
                prop_assert!(sketched.closes);
                prop_assert!(outline.ring.is_clockwise());
                prop_assert_eq!(outline.ring.crossing(), None);
            }
            None => prop_assert!(!problems.is_empty()),
        }
    }
}

fn lengths() -> impl Strategy<Value = Length> {
    let feet = (1..40_i64).prop_map(Length::feet);
    prop_oneof![8 => feet, 1 => any::<i64>().prop_map(Length), 1 => Just(Length::MOST)]
}

fn turns() -> impl Strategy<Value = Turn> {
    let any = any::<i64>().prop_map(|it| Turn(Angle(it)));
    prop_oneof![16 => Just(Turn::RIGHT), 4 => Just(Turn::LEFT), 4 => Just(turn("r45")), 4 => Just(turn("l45")), 1 => any]
}
