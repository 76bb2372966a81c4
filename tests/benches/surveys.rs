//! How fast rooms are adjusted, and how well planted slips are found: `cargo bench -p napline-tests --bench surveys`.

use std::hint::black_box;

use divan::Bencher;
use napline_tests::rooms::measured_room;
use shared_model::job::{Angle, Room, Rules, Turn};
use shared_model::length::{Length, Units};
use shared_model::survey::{Network, Observation, Settings, Span, Verdict, adjust, survey};

const SETTINGS: Settings =
    Settings { allowance: Length::inches(3), thickness: Length::inches(5), units: Units::Imperial };
const ROOMS: u64 = 1_000;

fn main() {
    if std::env::args().any(|it| it == "--bench") {
        experiment();
    }
    divan::main();
}

#[divan::bench(args = [4, 12, 40, 200])]
fn adjust_ring(bencher: Bencher, walls: usize) {
    let mut random = Random(walls as u64);
    let corners = comb(&mut random, walls);
    let network = network(&corners, &mut random, 2);
    bencher.bench(|| adjust(black_box(&network), &SETTINGS));
}

/// What the phone does with each reading: the room of the job, and everything that is said of it.
#[divan::bench(args = [4, 12])]
fn survey_room(bencher: Bencher, walls: usize) {
    let room = room(&comb(&mut Random(3), walls));
    bencher.bench(|| survey(black_box(&room), &Rules::default(), Units::Imperial));
}

/// Rooms of known truth, read with a tape's noise and two or three checks across; in every other one a slip is planted.
fn experiment() {
    let (mut first, mut among_three, mut planted, mut alarms, mut clean) = (0, 0, 0, 0, 0);
    let (mut checkable, mut checkable_among_three) = (0, 0);
    for seed in 0..2 * ROOMS {
        let mut random = Random(seed);
        let walls = 4 + 2 * random.below(6) as usize;
        let corners = comb(&mut random, walls);
        let checks = 2 + random.below(2) as usize;
        let mut network = network(&corners, &mut random, checks);
        if seed % 2 == 0 {
            clean += 1;
            alarms += u64::from(adjust(&network, &SETTINGS).is_ok_and(|it| !matches!(it.verdict, Verdict::Sound)));
            continue;
        }
        let lengths: Vec<usize> = (0..network.observations.len())
            .filter(|&i| matches!(network.observations[i], Observation::Length { .. }))
            .collect();
        let at = lengths[random.below(lengths.len() as u64) as usize];
        // Whether a slip of this size can be told at all: the least that is found four times out of five.
        let least = adjust(&network, &SETTINGS).ok().and_then(|it| it.judged[at].least_blunder);
        let Observation::Length { value, typed, .. } = &mut network.observations[at] else { continue };
        let slip = slip(*value, &mut random);
        let by = (slip - *value).abs();
        (*value, *typed) = (slip, slip.exact_text());
        let found = adjust(&network, &SETTINGS).ok();
        let named: Vec<usize> = match found.map(|it| it.verdict) {
            Some(Verdict::Suspects(suspects) | Verdict::Inseparable(suspects)) => {
                suspects.iter().map(|it| it.observation).collect()
            }
            _ => Vec::new(),
        };
        planted += 1;
        let (is_first, is_among) = (named.first() == Some(&at), named.iter().take(3).any(|it| *it == at));
        first += u64::from(is_first);
        among_three += u64::from(is_among);
        if matches!(least, Some(shared_model::survey::Amount::Length(least)) if by > least) {
            checkable += 1;
            checkable_among_three += u64::from(is_among);
        }
    }
    let share = |n: u64, of: u64| format!("{:.1} % of {of}", 100.0 * n as f64 / of as f64);
    println!("figure\tplanted slip named first\t{}\tat least 90 %", share(first, planted));
    println!("figure\tplanted slip among the first three\t{}\t", share(among_three, planted));
    println!(
        "figure\tamong the first three, where it can be told\t{}\tat least 98 %",
        share(checkable_among_three, checkable)
    );
    println!("figure\tfalse alarms without a slip\t{}\tunder 1 %", share(alarms, clean));
}

/// A foot or two off, an inch for a foot, six inches, digits changed: what people do.
fn slip(value: Length, random: &mut Random) -> Length {
    let by = match random.below(4) {
        0 | 1 => Length::FOOT,
        2 => Length::FOOT * 2,
        _ => Length::inches(6),
    };
    if random.below(2) == 0 && value > by * 2 { value - by } else { value + by }
}

/// A rectilinear room of so many walls: a rectangle whose far side steps in and out.
fn comb(random: &mut Random, walls: usize) -> Vec<(i64, i64)> {
    let bars = (walls / 2).max(2) - 1;
    let mut corners = vec![(0, 0)];
    let (mut x, mut before) = (0, 0);
    for _ in 0..bars {
        let mut high = 90 + random.below(150) as i64;
        while (high - before).abs() < 12 {
            high += 13;
        }
        corners.push((x, high));
        x += 40 + random.below(120) as i64;
        before = high;
        corners.push((x, high));
    }
    corners.push((x, 0));
    corners
}

fn room(corners: &[(i64, i64)]) -> Room {
    let walls: Vec<(Vec<Length>, Turn)> =
        (0..corners.len()).map(|i| (vec![long(corners, i, i + 1)], turn(corners, i))).collect();
    measured_room(1, "Room", &walls)
}

fn network(corners: &[(i64, i64)], random: &mut Random, checks: usize) -> Network {
    let count = corners.len();
    let mut observations = Vec::new();
    let mut read = |of, truth: Length, random: &mut Random| {
        let sigma = Length::mm(3) + Length(truth.0 / 5_000);
        let noisy = truth.0 as f64 + random.normal() * sigma.0 as f64;
        // As read: to the sixteenth.
        let step = Length::sixty_fourths(4).0;
        let value = Length((noisy / step as f64).round() as i64 * step);
        observations.push(Observation::Length { of, value, sigma, typed: value.exact_text() });
    };
    for i in 0..count {
        read(Span::Wall(i), long(corners, i, i + 1), random);
    }
    for n in 0..checks {
        let from = n % count;
        let to = (from + count / 2) % count;
        read(Span::Across { from, to }, long(corners, from, to), random);
    }
    let sigma = Angle::dms(0, 18, 0);
    observations.extend((0..count).map(|i| Observation::Turn {
        corner: (i + 1) % count,
        value: turn(corners, i),
        sigma,
    }));
    Network { corners: count, observations }
}

fn long(corners: &[(i64, i64)], from: usize, to: usize) -> Length {
    let [(ax, ay), (bx, by)] = [from, to].map(|it| corners[it % corners.len()]);
    let inches = ((bx - ax) as f64).hypot((by - ay) as f64);
    Length((inches * Length::INCH.0 as f64).round() as i64)
}

/// At the end of wall `i`.
fn turn(corners: &[(i64, i64)], i: usize) -> Turn {
    let [a, b, c] = [i, i + 1, i + 2].map(|it| corners[it % corners.len()]);
    let (first, second) = ((b.0 - a.0, b.1 - a.1), (c.0 - b.0, c.1 - b.1));
    if first.0 * second.1 - first.1 * second.0 < 0 { Turn::RIGHT } else { Turn::LEFT }
}

/// SplitMix64 (Steele, Lea and Flood 2014).
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    fn below(&mut self, end: u64) -> u64 {
        self.next() % end
    }

    fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Box and Muller.
    fn normal(&mut self) -> f64 {
        (-2.0 * (1.0 - self.unit()).ln()).sqrt() * (std::f64::consts::TAU * self.unit()).cos()
    }
}
