//! What to bring besides the carpet, against hand-worked sums.

use napline_tests::rooms::{doorway, flight, job, long, plain_goods, room};
use shared_model::job::{FloorAtOpening, Job, Opening, OpeningKind};
use shared_model::length::Length;
use shared_model::materials::Materials;
use shared_model::polygon::AreaUnit;
use shared_model::takeoff::takeoff;

/// A den of 10 by 14 ft and a closet of 6 by 2 ft with a doorway of 32 in between; the den has a doorway of 36 in to a tiled
/// kitchen and a window.
fn house() -> Job {
    let mut den = room(1, "Den", &[("14'", "r"), ("10'", "r"), ("14'", "r"), ("10'", "r")]);
    let mut closet = room(2, "Closet", &[("6'", "r"), ("2'", "r"), ("6'", "r"), ("2'", "r")]);
    let tiled = Opening { floor: FloorAtOpening::OtherFloor, ..doorway(1, 3, long("1'"), long("36\""), None) };
    let window = Opening { kind: OpeningKind::Window, ..doorway(1, 1, long("2'"), long("5'"), None) };
    den.openings = vec![doorway(1, 0, long("4'"), long("32\""), Some(2)), tiled, window];
    closet.openings = vec![doorway(2, 2, long("1'"), long("32\""), Some(1))];
    job(vec![den, closet], vec![plain_goods(1)])
}

fn materials(job: &Job) -> Materials {
    takeoff(job).materials
}

#[test]
fn pad_is_the_floor_and_the_stairs() {
    let mut job = house();
    assert_eq!(materials(&job).pad.show(AreaUnit::SquareFeet), "152.00 sq ft");
    // 13 × (10 + 1 + 7 1/2) in by 36 in are 60.125 sq ft.
    job.flights = vec![flight(3)];
    assert_eq!(materials(&job).pad.show(AreaUnit::SquareFeet), "212.13 sq ft");
}

/// 48 ft and 16 ft around, less 32 in twice and 36 in once; the window takes nothing off.
#[test]
fn strip_leaves_out_the_openings_one_walks_through() {
    assert_eq!(materials(&house()).strip, long("55' 8\""));
    let mut twice = house();
    let again = doorway(1, 0, long("5'"), long("32\""), None);
    twice.rooms[0].openings.push(again);
    assert_eq!(materials(&twice).strip, long("54' 8\""), "overlapping openings are not taken off twice");
}

#[test]
fn a_transition_between_two_rooms_counts_once() {
    let mut job = house();
    assert_eq!(materials(&job).transitions, [long("36\"")]);
    job.rooms[0].openings[0].floor = FloorAtOpening::OtherFloor;
    job.rooms[1].openings[0].floor = FloorAtOpening::OtherFloor;
    assert_eq!(materials(&job).transitions, [long("32\""), long("36\"")]);
}

#[test]
fn sides_over_12_ft_need_the_power_stretcher() {
    assert_eq!(materials(&house()).power_stretch, ["Den, wall 1: 14' 0\"", "Den, wall 3: 14' 0\""]);
    assert_eq!(
        materials(&job(
            vec![room(1, "Den", &[("12'", "r"), ("12'", "r"), ("12'", "r"), ("12'", "r")])],
            vec![plain_goods(1)]
        ))
        .power_stretch,
        Vec::<String>::new()
    );
}

#[test]
fn tape_is_as_long_as_the_seams() {
    let job =
        job(vec![room(1, "Den", &[("20'", "r"), ("15'", "r"), ("20'", "r"), ("15'", "r")])], vec![plain_goods(1)]);
    let takeoff = takeoff(&job);
    let seams: Length = takeoff.goods[0].layout().unwrap().seams.iter().map(|it| it.length).sum();
    assert!(seams >= Length::feet(15), "15 ft are wider than the roll");
    assert_eq!(takeoff.materials.tape, seams);
}

#[test]
fn a_job_without_goods_needs_nothing() {
    let mut job = house();
    job.goods.clear();
    assert_eq!(materials(&job), Materials::default());
}
