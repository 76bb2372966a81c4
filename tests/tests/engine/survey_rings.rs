use napline_tests::rooms::room;
use proptest::prelude::*;
use shared_model::job::{Angle, Rules, Tool, Turn};
use shared_model::length::{Length, Units};
use shared_model::survey::{Adjusted, Amount, Network, Observation, Settings, Slip, Span, Verdict, adjust, survey};

const SETTINGS: Settings =
    Settings { allowance: Length::inches(3), thickness: Length::inches(5), units: Units::Imperial };
/// Of a length and of a turn.
const SIGMA: (Length, Angle) = (Length::mm(3), Angle::dms(0, 18, 0));

/// A true ring in millimetres, clockwise, first corner at the origin, first wall to the north.
type Corners = Vec<(f64, f64)>;

/// Rings whose corners lie around a middle at any distance, so that no two of their turns are the same.
fn angled_rings() -> impl Strategy<Value = Corners> {
    prop::collection::vec((0.7..1.3_f64, 0.0..0.6_f64), 8..=200).prop_map(|places| {
        let count = places.len() as f64;
        let corners: Corners = places
            .iter()
            .enumerate()
            .map(|(i, (far, on))| {
                let (angle, far) = ((i as f64 + on) / count * std::f64::consts::TAU, (1_500.0 + 100.0 * count) * far);
                (far * angle.sin(), far * angle.cos())
            })
            .collect();
        let ((x, y), (next_x, next_y)) = (corners[0], corners[1]);
        let (sin, cos) = (next_x - x).atan2(next_y - y).sin_cos();
        let turned = |(a, b): &(f64, f64)| ((a - x) * cos - (b - y) * sin, (a - x) * sin + (b - y) * cos);
        corners.iter().map(turned).collect()
    })
}

fn step(corners: &Corners, from: usize, to: usize) -> (f64, f64) {
    let (from, to) = (corners[from % corners.len()], corners[to % corners.len()]);
    (to.0 - from.0, to.1 - from.1)
}

/// How long a span is, in millimetres.
fn truth(corners: &Corners, of: Span) -> f64 {
    let distance = |from, to| {
        let (x, y) = step(corners, from, to);
        x.hypot(y)
    };
    let off = |wall, (x, y): (f64, f64)| {
        let along = step(corners, wall, wall + 1);
        ((along.0 * y - along.1 * x) / distance(wall, wall + 1)).abs()
    };
    match of {
        Span::Wall(wall) => distance(wall, wall + 1),
        Span::Across { from, to } => distance(from, to),
        Span::Offset { corner, wall } => off(wall, step(corners, wall, corner)),
        Span::Width { wall, opposite } => {
            let (near, far) = (step(corners, wall, opposite), step(corners, wall, opposite + 1));
            off(wall, ((near.0 + far.0) / 2.0, (near.1 + far.1) / 2.0))
        }
    }
}

/// Every wall, every turn and these checks, each off by as many of its standard deviations as the noise says.
fn network(corners: &Corners, checks: &[Span], mut noise: impl FnMut() -> f64) -> Network {
    let count = corners.len();
    let spans = (0..count).map(Span::Wall).chain(checks.iter().copied());
    let mut observations: Vec<Observation> = Vec::new();
    for of in spans {
        let off = noise() * SIGMA.0.as_mm();
        let value = Length(((truth(corners, of) + off) * Length::MM.0 as f64).round() as i64);
        observations.push(Observation::Length { of, value, sigma: SIGMA.0, typed: String::new() });
    }
    for corner in 0..count {
        let (arriving, leaving) = (step(corners, corner + count - 1, corner), step(corners, corner, corner + 1));
        let right = (leaving.0 * arriving.1 - leaving.1 * arriving.0)
            .atan2(leaving.0 * arriving.0 + leaving.1 * arriving.1)
            .to_degrees();
        let counts = right * Angle::DEGREE.0 as f64 + noise() * SIGMA.1.0 as f64;
        observations.push(Observation::Turn { corner, value: Turn(Angle(counts.round() as i64)), sigma: SIGMA.1 });
    }
    Network { corners: count, looks: Vec::new(), observations }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn exact_readings_of_an_angled_ring_give_the_exact_ring(corners in angled_rings()) {
        let adjusted = adjust(&network(&corners, &[], || 0.0), &SETTINGS).unwrap();
        for (corner, &(x, y)) in adjusted.corners.iter().zip(&corners) {
            let off = (corner.x.as_mm() - x).hypot(corner.y.as_mm() - y);
            prop_assert!(off < 0.002, "{off} mm off in a ring of {}", corners.len());
        }
        prop_assert_eq!(adjusted.test.degrees, 3);
        prop_assert!(adjusted.test.fit < 1e-6, "{}", adjusted.test.fit);
    }

    /// What is square to a wall is defined by the reference above, not by the engine.
    #[test]
    fn true_offsets_and_widths_have_no_residual(corners in angled_rings(), places in prop::collection::vec((0..200_usize, 0..200_usize), 6)) {
        let count = corners.len();
        let checks: Vec<Span> = places
            .iter()
            .map(|(one, other)| (one % count, other % count))
            .filter(|&(one, other)| one != other && one != (other + 1) % count)
            .flat_map(|(one, other)| [Span::Offset { corner: one, wall: other }, Span::Width { wall: other, opposite: one }])
            .filter(|&of| truth(&corners, of) > 100.0)
            .collect();
        let adjusted = adjust(&network(&corners, &checks, || 0.0), &SETTINGS).unwrap();
        prop_assert_eq!(adjusted.test.degrees, 3 + checks.len());
        for judged in &adjusted.judged[count..count + checks.len()] {
            let Amount::Length(residual) = judged.residual else { panic!("{judged:?}") };
            prop_assert!(residual.abs() < Length(16), "{judged:?}");
        }
    }

    /// A rectangle with both diagonals and both widths, read to within a standard deviation, but for a foot off in two lengths.
    #[test]
    fn two_feet_off_are_both_named(
        (along, across) in (2_500..6_000_i64, 2_500..6_000_i64),
        (one, other) in (0..8_usize, 0..8_usize).prop_filter("two readings", |(one, other)| one != other),
        longer in any::<(bool, bool)>(),
        seed in any::<u64>(),
    ) {
        let (along, across) = (along as f64, across as f64);
        let corners = vec![(0.0, 0.0), (0.0, along), (across, along), (across, 0.0)];
        let checks = [
            Span::Across { from: 0, to: 2 },
            Span::Across { from: 1, to: 3 },
            Span::Width { wall: 0, opposite: 2 },
            Span::Width { wall: 1, opposite: 3 },
        ];
        let mut random = Random(seed);
        let mut network = network(&corners, &checks, || 2.0 * random.unit() - 1.0);
        for (at, longer) in [(one, longer.0), (other, longer.1)] {
            let Observation::Length { value, .. } = &mut network.observations[at] else { panic!("{at}") };
            *value = if longer { *value + Length::FOOT } else { *value - Length::FOOT };
        }
        let adjusted = adjust(&network, &SETTINGS).unwrap();
        prop_assert!(!adjusted.trusted);
        match &adjusted.verdict {
            Verdict::Suspects(suspects) => {
                let mut first_two: Vec<usize> = suspects.iter().take(2).map(|it| it.observation).collect();
                first_two.sort_unstable();
                prop_assert_eq!(first_two, vec![one.min(other), one.max(other)], "{:?}", suspects);
                prop_assert!(suspects[..2].iter().all(|it| matches!(it.proposed, Some((Slip::Foot, _)))), "{:?}", suspects);
            }
            Verdict::Inseparable(alike) => {
                prop_assert!([one, other].iter().all(|at| alike.iter().any(|it| it.observation == *at)), "{:?}", alike);
            }
            verdict => prop_assert!(false, "{verdict:?}"),
        }
    }
}

/// A foot off in three walls of a rectangle whose walls were each read twice, with both diagonals: no one reading and no two explain it.
#[test]
fn three_feet_off_are_named_together() {
    let corners = vec![(0.0, 0.0), (0.0, 3_700.0), (4_600.0, 3_700.0), (4_600.0, 0.0)];
    let again = (0..4).map(Span::Wall);
    let checks: Vec<Span> = again.chain([Span::Across { from: 0, to: 2 }, Span::Across { from: 1, to: 3 }]).collect();
    let mut random = Random(3);
    let mut network = network(&corners, &checks, || 2.0 * random.unit() - 1.0);
    for at in [0, 1, 6] {
        let Observation::Length { value, .. } = &mut network.observations[at] else { panic!("{at}") };
        *value += Length::FOOT;
    }
    let Verdict::Suspects(suspects) = adjust(&network, &SETTINGS).unwrap().verdict else { panic!("not separable") };
    let mut named: Vec<usize> = suspects[..3].iter().map(|it| it.observation).collect();
    named.sort_unstable();
    assert_eq!(named, [0, 1, 6], "{suspects:?}");
    assert!(suspects[..3].iter().all(|it| matches!(it.proposed, Some((Slip::Foot, _)))), "{suspects:?}");
}

/// With noise as the readings' standard deviations say, 95 % of corners lie in their ellipses; with noise that never passes one
/// standard deviation more than 99 %.
#[test]
fn corners_lie_in_their_ellipses() {
    let mut random = Random(7);
    let (mut all, mut normal, mut bounded) = (0, 0, 0);
    for walls in (6..60).cycle().take(500) {
        let corners = ring(&mut random, walls);
        let checks = [Span::Across { from: 0, to: walls / 2 }, Span::Across { from: 1, to: walls / 2 + 1 }];
        let noisy = adjust(&network(&corners, &checks, || random.normal()), &SETTINGS).unwrap();
        normal += within(&noisy, &corners);
        let calm = adjust(&network(&corners, &checks, || 2.0 * random.unit() - 1.0), &SETTINGS).unwrap();
        bounded += within(&calm, &corners);
        all += walls - 2;
    }
    let [normal, bounded] = [normal, bounded].map(|it| it as f64 / all as f64);
    assert!((normal - 0.95).abs() < 0.015, "{normal} of {all}");
    assert!(bounded > 0.99, "{bounded} of {all}");
}

/// How many corners, but for the first wall's, which the datum holds, lie in their ellipses.
fn within(adjusted: &Adjusted, corners: &Corners) -> usize {
    let inside = |i: &usize| {
        let (found, ellipse) = (adjusted.corners[*i], adjusted.ellipses[*i]);
        let (x, y) = (found.x.as_mm() - corners[*i].0, found.y.as_mm() - corners[*i].1);
        let (sin, cos) = (ellipse.heading.0 as f64 / Angle::DEGREE.0 as f64).to_radians().sin_cos();
        let (along, aside) = (x * sin + y * cos, x * cos - y * sin);
        (along / ellipse.longer.as_mm()).powi(2) + (aside / ellipse.shorter.as_mm()).powi(2) <= 1.0
    };
    (2..corners.len()).filter(inside).count()
}

/// Around a middle, first corner at the origin, first wall to the north.
fn ring(random: &mut Random, walls: usize) -> Corners {
    let mut corners = vec![(0.0, 0.0), (0.0, 1_000.0)];
    let turn = std::f64::consts::TAU / walls as f64;
    for i in 1..walls - 1 {
        let (heading, long) = (turn * i as f64, 900.0 + 200.0 * random.unit());
        let (x, y): (f64, f64) = corners[i];
        corners.push((x + long * heading.sin(), y + long * heading.cos()));
    }
    corners
}

/// The tape's bounds are those of the directive's table (2014/32/EU, annex MI-008) with the end held against a wall, divided by √3
/// (GUM 4.3.7); 4.2 m by class II may be off by 1.5 mm. The laser's are halved, those of a drawing are 1 %, at least 1/2 in.
#[test]
fn every_instrument_has_its_standard_deviation() {
    let third = 3.0_f64.sqrt();
    let expected = [
        (Tool::Tape, 1, "4.2 m", 0.7 / third),
        (Tool::Tape, 2, "4.2 m", 1.5 / third),
        (Tool::Tape, 2, "10 m", 2.5 / third),
        (Tool::Tape, 3, "30 m", 12.9 / third),
        (Tool::Laser, 2, "4.2 m", 0.5),
        (Tool::Laser, 2, "30 m", 0.75),
        (Tool::Plan, 2, "5 m", 50.0),
        (Tool::Plan, 2, "1 m", 12.7),
    ];
    for (tool, tape_class, long, instrument) in expected {
        let mut den = room(1, "Den", &[(long, "r"), ("9'", "r"), (long, "r"), ("9'", "r")]);
        den.walls[0].readings[0].tool = tool;
        for surface in [0, 3] {
            let rules = Rules { tape_class, wall_surface: Length::mm(surface), ..Rules::default() };
            let network = survey(&den, &rules, Units::Imperial).network;
            let Observation::Length { sigma, .. } = network.observations[0] else { panic!("{network:?}") };
            let whole = instrument.hypot(surface as f64);
            assert!((sigma.as_mm() - whole).abs() < 1e-4, "{tool:?} {tape_class} {long}: {} is {whole}", sigma.as_mm());
        }
    }
}

/// SplitMix64 (Steele, Lea and Flood 2014).
struct Random(u64);

impl Random {
    fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Box and Muller.
    fn normal(&mut self) -> f64 {
        (-2.0 * (1.0 - self.unit()).ln()).sqrt() * (std::f64::consts::TAU * self.unit()).cos()
    }
}
