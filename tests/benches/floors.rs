//! How fast rooms are placed and adjusted together, and how well planted slips are found around loops of rooms:
//! `cargo bench -p napline-tests --bench floors`.

use std::hint::black_box;

use divan::Bencher;
use napline_tests::grid::{Grid, by_tape};
use napline_tests::random::Random;
use napline_tests::rooms::{job, plain_goods};
use shared_model::floor::{Floor, place};
use shared_model::ids::{OpeningId, RoomId};
use shared_model::job::{Job, Room};
use shared_model::length::{Length, Units};
use shared_model::outline::{Outline, close};
use shared_model::problem::{Place, Problem, ProblemKind};

const HOUSES: u64 = 1_000;

fn main() {
    if std::env::args().any(|it| it == "--bench") {
        experiment();
    }
    divan::main();
}

/// Ten columns of rooms, with that many doors read wrong by a foot: 60 rooms have 45 loops.
#[divan::bench(args = [(1, 0), (6, 0), (6, 1), (6, 3)])]
fn place_rooms(bencher: Bencher, (rows, slips): (usize, usize)) {
    let mut rooms = Grid::of(10, rows).measured(by_tape(&mut Random(1)));
    for n in 0..slips {
        rooms[17 * n + 12].openings[1].offset += Length::FOOT;
    }
    let (job, outlines) = closed(rooms);
    bencher.with_inputs(|| outlines.clone()).bench_values(|outlines| place(black_box(&job), outlines));
}

fn closed(rooms: Vec<Room>) -> (Job, Vec<(RoomId, Outline)>) {
    let job = job(rooms, vec![plain_goods(1)]);
    let outline = |room: &Room| Some((room.id, close(room, &job.rules, Units::Imperial).0?));
    let outlines = job.rooms.iter().filter_map(outline).collect();
    (job, outlines)
}

/// Houses of 4 to 20 rooms read with a tape's noise: as they are, and with one or two doors' places read wrong.
fn experiment() {
    let (mut alarms, mut widest) = (0, Length::ZERO);
    for seed in 0..HOUSES {
        let (problems, floor) = house(seed, &[]).1;
        alarms += usize::from(!problems.is_empty());
        widest = widest.max(floor.fits.iter().map(|it| it.widest()).max().unwrap_or_default());
    }
    let share = |count: usize| format!("{:.1} % of {HOUSES}", 100.0 * count as f64 / HOUSES as f64);
    println!("figure\thouses with an alarm and no slip\t{}\tunder 1 %", share(alarms));
    println!("figure\tthe most that a door takes up in these\t{} mm\t", widest.as_mm());
    for (slips, what) in [
        (&[Length::FOOT][..], "one foot"),
        (&[Length::inches(3)], "three inches"),
        (&[Length::inches(2)], "two inches"),
        (&[Length::FOOT, Length::inches(10)], "two slips, a foot and 10 in, both"),
    ] {
        let (mut first, mut listed, mut alone) = (0, 0, 0);
        for seed in 0..HOUSES {
            let (wrong, (problems, floor)) = house(seed, slips);
            let all = |told: &dyn Fn(&Problem, &Wrong) -> bool| {
                wrong.iter().all(|it| problems.iter().any(|problem| told(problem, it)))
            };
            first += usize::from(all(&|problem, it| at(problem, it.opening, &floor)));
            listed += usize::from(all(&|problem, it| problem.text.contains(&it.title)));
            alone += usize::from(problems.len() == slips.len());
        }
        println!("figure\t{what}: told at its door\t{}\t", share(first));
        println!("figure\t{what}: told at its door, or it is among those listed\t{}\tat least 95 %", share(listed));
        println!("figure\t{what}: as many problems as slips\t{}\t", share(alone));
    }
}

/// An opening whose place was read wrong, and how a problem calls it.
struct Wrong {
    opening: OpeningId,
    title: String,
}

/// Whether a problem is at an opening or at the other side of it.
fn at(problem: &Problem, opening: OpeningId, floor: &Floor) -> bool {
    let joins = floor.fits.iter().flat_map(|it| &it.joins);
    let sides = joins.filter(|it| it.openings.contains(&opening)).flat_map(|it| it.openings);
    matches!(problem.place, Place::Opening(_, id) if sides.into_iter().any(|it| it == id))
}

/// The openings that were read wrong, each in another room, and what is said of the house.
fn house(seed: u64, slips: &[Length]) -> (Vec<Wrong>, (Vec<Problem>, Floor)) {
    let mut random = Random(seed);
    let grid = Grid::of(2 + random.below(4) as usize, 2 + random.below(3) as usize);
    let mut rooms = grid.measured(by_tape(&mut random));
    let mut wrong = Vec::new();
    let first = random.below(rooms.len() as u64) as usize;
    for (n, slip) in slips.iter().enumerate() {
        let at = (first + n * rooms.len() / slips.len()) % rooms.len();
        let room = &mut rooms[at];
        let doors = room.openings.len() as u64;
        let door = &mut room.openings[random.below(doors) as usize];
        door.offset += *slip;
        let wall = room.walls.iter().position(|it| it.id == door.wall).map_or(0, |it| it + 1);
        wrong.push(Wrong { opening: door.id, title: format!("doorway in wall {wall} of {}", room.name) });
    }
    let (job, outlines) = closed(rooms);
    let (floor, mut problems) = place(&job, outlines);
    problems.retain(|it| it.kind == ProblemKind::BadFloor);
    (wrong, (problems, floor))
}
