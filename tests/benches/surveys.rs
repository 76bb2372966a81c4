//! How fast rooms are adjusted, and how well planted slips are found: `cargo bench -p napline-tests --bench surveys`.

use std::hint::black_box;

use divan::Bencher;
use nalgebra::DMatrix;
use napline_tests::random::Random;
use napline_tests::rooms::measured_room;
use shared_model::job::{Angle, Room, Rules, Turn};
use shared_model::length::{Length, Units};
use shared_model::survey::{Amount, Network, Observation, Settings, Span, Verdict, adjust, survey};

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

/// A room that fails, because of one slip or of two: then suspects are looked into.
#[divan::bench(args = [(12, 1), (12, 2), (40, 1), (40, 2), (200, 2)], sample_count = 5)]
fn judge_slips(bencher: Bencher, (walls, slips): (usize, usize)) {
    let mut random = Random(walls as u64);
    let corners = comb(&mut random, walls);
    let mut network = network(&corners, &mut random, 3);
    for observation in network.observations.iter_mut().step_by((walls / 4) | 1).take(slips) {
        let Observation::Length { value, .. } = observation else { continue };
        // The larger the room, the more passes unseen.
        *value += Length::FOOT * (walls as i64 / 12);
    }
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
    let mut clean = Vec::new();
    let mut planted = Vec::new();
    for seed in 0..2 * ROOMS {
        let mut random = Random(seed);
        let walls = 4 + 2 * random.below(6) as usize;
        let corners = comb(&mut random, walls);
        let checks = 2 + random.below(2) as usize;
        let network = network(&corners, &mut random, checks);
        if seed % 2 == 0 {
            clean.push(adjust(&network, &SETTINGS).is_ok_and(|it| !matches!(it.verdict, Verdict::Sound)));
        } else {
            planted.push(plant(network, &corners, &mut random));
        }
    }
    let share = |hit: fn(&Planted) -> bool, of: fn(&Planted) -> bool| {
        let all: Vec<&Planted> = planted.iter().filter(|it| of(it)).collect();
        let hits = all.iter().filter(|it| hit(it)).count();
        format!("{:.1} % of {}", 100.0 * hits as f64 / all.len() as f64, all.len())
    };
    let lines = [
        ("planted slip named first", share(Planted::first, |_| true), "at least 90 %"),
        (
            "planted slip named first, where no other length's test looks the same",
            share(Planted::first, Planted::stands_alone),
            "at least 98 %",
        ),
        ("planted slips whose test looks like another length's", share(|it| it.like > 0, |_| true), ""),
        (
            "of these that show, named first or said to be inseparable from those named",
            share(Planted::owned, |it| it.shows && it.like > 0),
            "",
        ),
        ("planted slip among the first three", share(Planted::among_three, |_| true), ""),
        ("among the first three, where it can be told", share(Planted::among_three, |it| it.shows), "at least 98 %"),
    ];
    // Who looks at the readings alone can but draw one of those that look the same.
    let lot: f64 = planted.iter().map(|it| 1.0 / (1.0 + it.like as f64)).sum();
    println!(
        "figure\tnamed first, if lots were drawn among those alike\t{:.1} %\t",
        100.0 * lot / planted.len() as f64
    );
    for (what, share, aim) in lines {
        println!("figure\t{what}\t{share}\t{aim}");
    }
    let alarms = clean.iter().filter(|it| **it).count();
    println!(
        "figure\tfalse alarms without a slip\t{:.1} % of {}\tunder 1 %",
        100.0 * alarms as f64 / clean.len() as f64,
        clean.len()
    );
}

/// Tests that are correlated by more than this look the same (Förstner, *Reliability and Discernability of Extended
/// Gauss-Markov Models*, 1983).
const ALIKE: f64 = 0.95;

/// What became of a planted slip.
struct Planted {
    /// Its place among those named.
    place: Option<usize>,
    verdict: Option<Verdict>,
    /// It is larger than the least that is found four times out of five.
    shows: bool,
    /// How many other lengths' tests look the same.
    like: usize,
}

impl Planted {
    fn first(&self) -> bool {
        self.place == Some(0)
    }

    fn among_three(&self) -> bool {
        self.place.is_some_and(|it| it < 3)
    }

    fn stands_alone(&self) -> bool {
        self.shows && self.like == 0
    }

    fn owned(&self) -> bool {
        self.first() || self.place.is_some() && matches!(self.verdict, Some(Verdict::Inseparable(_)))
    }
}

fn plant(mut network: Network, corners: &[(i64, i64)], random: &mut Random) -> Planted {
    let lengths: Vec<usize> = (0..network.observations.len())
        .filter(|&i| matches!(network.observations[i], Observation::Length { .. }))
        .collect();
    let at = lengths[random.below(lengths.len() as u64) as usize];
    let least = adjust(&network, &SETTINGS).ok().and_then(|it| it.judged[at].least_blunder);
    let like = likeness(&network, corners, at);
    let mut by = Length::ZERO;
    if let Observation::Length { value, typed, .. } = &mut network.observations[at] {
        let slip = slip(*value, random);
        by = (slip - *value).abs();
        (*value, *typed) = (slip, slip.exact_text());
    }
    let verdict = adjust(&network, &SETTINGS).ok().map(|it| it.verdict);
    let named = match &verdict {
        Some(Verdict::Suspects(suspects) | Verdict::Inseparable(suspects)) => &suspects[..],
        _ => &[],
    };
    let shows = matches!(least, Some(Amount::Length(least)) if by > least);
    Planted { place: named.iter().position(|it| it.observation == at), verdict, shows, like }
}

/// How many lengths' tests are correlated with a reading's so that they look the same: from the redundancy matrix I - A(A'A)⁻¹A' at the true
/// corners, A by differences: nothing of the engine is used.
fn likeness(network: &Network, corners: &[(i64, i64)], at: usize) -> usize {
    let count = corners.len();
    let truth: Vec<f64> = corners.iter().flat_map(|&(x, y)| [x as f64 * 25.4, y as f64 * 25.4]).collect();
    // The first corner and the first wall's direction are fixed.
    let free: Vec<usize> = (3..2 * count).collect();
    let step = 1e-3;
    let slope = |row: usize, column: usize| {
        let moved = |by: f64| {
            let mut corners = truth.clone();
            corners[free[column]] += by;
            predicted(&network.observations[row], &corners)
        };
        (moved(step) - moved(-step)) / (2.0 * step)
    };
    let a = DMatrix::from_fn(network.observations.len(), free.len(), slope);
    let Some(inverse) = (a.transpose() * &a).try_inverse() else { return 0 };
    let redundancy = DMatrix::identity(a.nrows(), a.nrows()) - &a * inverse * a.transpose();
    let others = (0..a.nrows()).filter(|&i| i != at && matches!(network.observations[i], Observation::Length { .. }));
    let alike = |i: usize| redundancy[(at, i)].abs() / (redundancy[(at, at)] * redundancy[(i, i)]).sqrt();
    others.filter(|&i| alike(i) > ALIKE).count()
}

/// In standard deviations.
fn predicted(observation: &Observation, corners: &[f64]) -> f64 {
    let count = corners.len() / 2;
    let between = |a: usize, b: usize| (corners[2 * b] - corners[2 * a], corners[2 * b + 1] - corners[2 * a + 1]);
    match *observation {
        Observation::Length { of, sigma, .. } => {
            let (x, y) = match of {
                Span::Wall(wall) => between(wall, (wall + 1) % count),
                Span::Across { from, to } => between(from, to),
                Span::Offset { .. } | Span::Width { .. } => unreachable!("the rooms of this bench have none"),
            };
            x.hypot(y) / sigma.as_mm()
        }
        Observation::Turn { corner, sigma, .. } => {
            let (before, after) =
                (between((corner + count - 1) % count, corner), between(corner, (corner + 1) % count));
            let turn = (after.0 * before.1 - after.1 * before.0).atan2(after.0 * before.0 + after.1 * before.1);
            turn / (sigma.0 as f64 / Angle::DEGREE.0 as f64).to_radians()
        }
    }
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
    Network { corners: count, looks: Vec::new(), observations }
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
