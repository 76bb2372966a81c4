//! How fast the engine is: `cargo bench -p napline-tests --bench engine`.

use std::hint::black_box;

use divan::Bencher;
use napline_tests::demo::house;
use napline_tests::packing::{self, Instance};
use napline_tests::rooms::{job, measured_room, plain_goods, turn};
use shared_model::ids::{ChoiceId, DeviceId};
use shared_model::job::{Choice, Decision, Job, Remnant, Stamp, Timestamp};
use shared_model::layout::SeamKind;
use shared_model::length::Length;
use shared_model::nest::{Budget, nest};
use shared_model::takeoff::{moved, takeoff};
use uuid::Uuid;

fn main() {
    divan::main();
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

/// The same where the crew cuts around corners.
#[divan::bench]
fn takeoff_around_corners(bencher: Bencher) {
    let mut job = house();
    job.rules.freehand = true;
    bencher.bench(|| takeoff(black_box(&job)));
}

/// Up to the largest job that is planned for, and twice that: the cost grows with the rooms.
#[divan::bench(args = [5, 10, 20, 40, 60, 120])]
fn takeoff_rooms(bencher: Bencher, count: u64) {
    let job = rooms_apart(count);
    bencher.bench(|| takeoff(black_box(&job)));
}

/// The same with more remnants on hand than any crew drives about: each room may be cut from any of them.
#[divan::bench(args = [5, 20, 60])]
fn takeoff_with_remnants(bencher: Bencher, count: u64) {
    let mut job = rooms_apart(count);
    let remnants = (0..20_u64).map(|n| {
        let (width, length) = (Length::inches(60 + 17 * (n as i64 % 6)), Length::inches(80 + 23 * (n as i64 % 9)));
        let remnant = Remnant { goods: job.goods[0].id, lot: format!("lot {n}"), width, length, worth: Length::ZERO };
        let stamp = Stamp { by: DeviceId(Uuid::nil()), at: Timestamp(0) };
        let id = ChoiceId(Uuid::from_u64_pair(1, n));
        Choice { id, decision: Decision::OnHand(remnant), stamp, supersedes: Vec::new() }
    });
    job.choices = remnants.collect();
    bencher.bench(|| takeoff(black_box(&job)));
}

/// The same from rolls of 100 ft at most.
#[divan::bench(args = [5, 20, 60])]
fn takeoff_from_rolls(bencher: Bencher, count: u64) {
    let mut job = rooms_apart(count);
    job.goods[0].longest = Length::feet(100);
    bencher.bench(|| takeoff(black_box(&job)));
}

/// One step of a seam that is dragged over the plan.
#[divan::bench]
fn seam_dragged(bencher: Bencher) {
    let job = house();
    let taken = takeoff(&job);
    let goods = &taken.goods[0];
    let layout = &goods.layouts[goods.chosen];
    let seam = layout.seams.iter().position(|it| it.kind == SeamKind::Side).unwrap_or_default();
    bencher.bench(|| moved(black_box(&job), &taken, goods.goods, layout, seam, Length::inches(5)));
}

/// Rooms of six corners that share no carpet.
fn rooms_apart(count: u64) -> Job {
    let rooms = (0..count).map(|n| {
        let (wide, deep) = (Length::inches(96 + 7 * (n as i64 % 13)), Length::inches(101 + 11 * (n as i64 % 17)));
        let (nook_wide, nook_deep) = (Length::inches(30), Length::inches(26));
        let sides = [deep, wide, deep - nook_deep, nook_wide, nook_deep, wide - nook_wide];
        let turns = ["r", "r", "r", "l", "r", "r"];
        let walls: Vec<_> = sides.into_iter().zip(turns).map(|(side, it)| (vec![side], turn(it))).collect();
        measured_room(n, &format!("Room {n}"), &walls)
    });
    job(rooms.collect(), vec![plain_goods(1)])
}

fn find(name: &str) -> Instance {
    let all = packing::sets().into_iter().flat_map(|(_, instances)| instances);
    all.into_iter()
        .find(|it| it.name == name)
        .unwrap_or_else(|| unreachable!("{name} is one of the published instances"))
}
