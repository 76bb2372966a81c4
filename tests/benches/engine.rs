//! How fast and how good the engine is: `cargo bench -p napline-tests --bench engine`.

use std::hint::black_box;

use divan::Bencher;
use napline_tests::demo::house;
use napline_tests::packing::{self, Instance};
use napline_tests::rooms::{job, measured_room, plain_goods, turn};
use shared_model::length::Length;
use shared_model::nest::{Budget, nest};
use shared_model::takeoff::takeoff;

fn main() {
    // Quality is a table, not a time; it is only wanted in a real bench run.
    if std::env::args().any(|it| it == "--bench") {
        gaps();
    }
    divan::main();
}

/// Mean gap of the plans to the published optimum (or bound) after a second or so per instance.
fn gaps() {
    let steps = std::env::var("NEST_STEPS").ok().and_then(|it| it.parse().ok()).unwrap_or(300_000_000);
    println!("nest with {steps} steps: gap of the plan to the published optimum, else to the published bound");
    for (set, instances) in packing::sets() {
        let started = std::time::Instant::now();
        let (mut gap, mut hits, mut proven) = (0.0, 0, 0);
        for it in &instances {
            let Ok(plan) = nest(&it.pieces(), Length(it.strip_width), Budget::steps(steps)) else { continue };
            gap += plan.length.0 as f64 / it.reference() as f64 - 1.0;
            hits += usize::from(plan.length.0 == it.reference());
            proven += usize::from(plan.optimal());
        }
        let count = instances.len();
        let (mean, seconds) = (100.0 * gap / count as f64, started.elapsed().as_secs_f64() / count as f64);
        println!("{set:>4}: mean {mean:.2} %, {hits} of {count} hit, {proven} proven, {seconds:.2} s each");
    }
}

#[divan::bench(args = ["C4p1", "N8", "N12", "BENG10"])]
fn nest_published(bencher: Bencher, name: &str) {
    let instance = find(name);
    let pieces = instance.pieces();
    bencher.bench(|| nest(black_box(&pieces), Length(instance.strip_width), Budget::steps(2_000_000)));
}

/// The demo house: seven rooms, an angled bay and a stair.
#[divan::bench]
fn takeoff_demo(bencher: Bencher) {
    let job = house();
    bencher.bench(|| takeoff(black_box(&job)));
}

/// The largest job that is planned for.
#[divan::bench(args = [10, 60])]
fn takeoff_rooms(bencher: Bencher, count: u64) {
    let rooms = (0..count).map(|n| {
        let (wide, deep) = (Length::inches(96 + 7 * (n as i64 % 13)), Length::inches(101 + 11 * (n as i64 % 17)));
        let (nook_wide, nook_deep) = (Length::inches(30), Length::inches(26));
        let sides = [deep, wide, deep - nook_deep, nook_wide, nook_deep, wide - nook_wide];
        let turns = ["r", "r", "r", "l", "r", "r"];
        let walls: Vec<_> = sides.into_iter().zip(turns).map(|(side, it)| (vec![side], turn(it))).collect();
        measured_room(n, &format!("Room {n}"), &walls)
    });
    let job = job(rooms.collect(), vec![plain_goods(1)]);
    bencher.bench(|| takeoff(black_box(&job)));
}

fn find(name: &str) -> Instance {
    let all = packing::sets().into_iter().flat_map(|(_, instances)| instances);
    all.into_iter()
        .find(|it| it.name == name)
        .unwrap_or_else(|| unreachable!("{name} is one of the published instances"))
}
