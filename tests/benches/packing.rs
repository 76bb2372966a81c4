//! How short the roll's plans are, against the published record and two general packers, in one run:
//! `cargo bench -p napline-tests --bench packing`.
//!
//! `NEST_SECONDS` (1) is the time for each strip and packer; `NEST_SETS` names some of the sets, as `C,SCP`. The packers are the crate
//! `rectangle-pack`, which knows no strip and is asked for shorter and shorter ones, and OR-tools' CP-SAT from PyPI, which is installed
//! below `target/` when there is a `python3`.

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Write};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use napline_tests::packing::{self, CarpetInstance, Instance};
use rectangle_pack::{
    GroupedRectsToPlace, RectToInsert, TargetBin, contains_smallest_box, pack_rects, volume_heuristic,
};
use shared_model::length::Length;
use shared_model::nest::{Budget, SteppedPiece, nest_cuttable, nest_stepped, nest_while};

const ORTOOLS: &str = "ortools==9.15.6755";
/// Strips of more pieces are not given to the other packers.
const MOST: usize = 1_000;

/// What a packer made of one strip.
#[derive(Clone, Copy)]
struct Made {
    length: i64,
    bound: i64,
    seconds: f64,
}

fn main() {
    // Like every benchmark it is also built and started by `cargo test`.
    if !std::env::args().any(|it| it == "--bench") {
        return;
    }
    let seconds = std::env::var("NEST_SECONDS").ok().and_then(|it| it.parse().ok()).unwrap_or(1.0);
    let mut solver = Solver::start();
    println!(
        "each strip {seconds} s, one thread; gap to the optimum where it is known, else to the best bound of anybody"
    );
    println!(
        "{:>14} {:>10} {:>9} {:>9} {:>9} {:>7} {:>7} {:>8}",
        "set", "packer", "strips", "mean", "worst", "hit", "proven", "time"
    );
    let named = std::env::var("NEST_SETS").ok();
    let wanted = |set: &str| named.as_ref().is_none_or(|it| it.split(',').any(|it| it == set));
    let sets = packing::sets().into_iter().chain([("ZDF", packing::large())]);
    for (set, strips) in sets.filter(|(set, _)| wanted(set)) {
        compare(set, &strips, seconds, solver.as_mut());
    }
    if wanted("SCP") {
        cuttable(&packing::cuttable(), seconds);
    }
    if wanted("carpet") {
        packing::carpets().iter().for_each(|it| house(it, seconds));
    }
}

fn compare(set: &str, strips: &[Instance], seconds: f64, mut solver: Option<&mut Solver>) {
    let small = |it: &Instance| it.pieces().len() <= MOST;
    let mut all: BTreeMap<&str, Vec<Option<Made>>> = BTreeMap::new();
    for strip in strips {
        all.entry("napline").or_default().push(Some(ours(strip, seconds)));
        all.entry("rect-pack").or_default().push(small(strip).then(|| rectangles(strip)));
        if let Some(solver) = solver.as_mut() {
            all.entry("cp-sat").or_default().push(if small(strip) { solver.solve(strip, seconds) } else { None });
        }
    }
    let reference = |i: usize| {
        let bounds = all.values().filter_map(|it| it[i]).map(|it| it.bound);
        strips[i].optimum.unwrap_or_else(|| bounds.max().unwrap_or(0).max(strips[i].lower_bound))
    };
    let references: Vec<i64> = (0..strips.len()).map(reference).collect();
    for (packer, made) in &all {
        row(set, packer, made, &references);
    }
}

fn row(set: &str, packer: &str, made: &[Option<Made>], references: &[i64]) {
    let told: Vec<(Made, i64)> = made.iter().zip(references).filter_map(|(it, by)| Some(((*it)?, *by))).collect();
    let gap = |(it, by): &(Made, i64)| 100.0 * (it.length as f64 / *by as f64 - 1.0);
    let count = told.len().max(1) as f64;
    let mean = told.iter().map(gap).sum::<f64>() / count;
    let worst = told.iter().map(gap).fold(0.0, f64::max);
    let hits = told.iter().filter(|(it, by)| it.length == *by).count();
    let proven = told.iter().filter(|(it, _)| it.length == it.bound).count();
    let time = told.iter().map(|(it, _)| it.seconds).sum::<f64>() / count;
    println!(
        "{set:>14} {packer:>10} {:>9} {mean:>7.2} % {worst:>7.2} % {hits:>7} {proven:>7} {time:>6.2} s",
        told.len()
    );
}

fn ours(strip: &Instance, seconds: f64) -> Made {
    let (pieces, start) = (strip.pieces(), Instant::now());
    let until = |_| start.elapsed().as_secs_f64() < seconds;
    match nest_while(&pieces, Length(strip.strip_width), Budget::steps(u64::MAX), until) {
        Ok(plan) => Made { length: plan.length.0, bound: plan.lower_bound.0, seconds: start.elapsed().as_secs_f64() },
        Err(error) => unreachable!("a published strip: {error}"),
    }
}

/// The shortest strip that the crate fits the pieces into, found by halving.
fn rectangles(strip: &Instance) -> Made {
    let start = Instant::now();
    let pieces = strip.pieces();
    let mut to_place = GroupedRectsToPlace::<usize, ()>::new();
    for (i, it) in pieces.iter().enumerate() {
        to_place.push_rect(i, None, RectToInsert::new(it.width.0 as u32, it.length.0 as u32, 1));
    }
    let fits = |length: i64| {
        let mut bins = BTreeMap::from([(0, TargetBin::new(strip.strip_width as u32, length as u32, 1))]);
        pack_rects(&to_place, &mut bins, &volume_heuristic, &contains_smallest_box).is_ok()
    };
    let longest: i64 = pieces.iter().map(|it| it.length.0).sum();
    let (mut least, mut most) = (strip.lower_bound, longest);
    while least < most {
        let middle = least + (most - least) / 2;
        if fits(middle) { most = middle } else { least = middle + 1 }
    }
    Made { length: most, bound: 0, seconds: start.elapsed().as_secs_f64() }
}

/// Plans that are cut edge to edge, against Hifi's published lengths.
fn cuttable(strips: &[Instance], seconds: f64) {
    let (mut reached, mut proven, mut time) = (0, 0, 0.0);
    for it in strips {
        let start = Instant::now();
        let until = |_| start.elapsed().as_secs_f64() < seconds;
        let Ok((plan, _)) = nest_cuttable(&it.pieces(), Length(it.strip_width), Budget::steps(u64::MAX), until) else {
            continue;
        };
        time += start.elapsed().as_secs_f64();
        reached += usize::from(it.guillotine_reference.is_some_and(|it| plan.length.0 <= it));
        proven += usize::from(plan.optimal());
    }
    let count = strips.len();
    println!(
        "SCP, cut edge to edge: {reached} of {count} at or under the published length, {proven} proven, {:.2} s each",
        time / count as f64
    );
}

/// A house of the MiniZinc benchmarks, with the stairs cut in each way at a glance, and then in those that did best.
fn house(house: &CarpetInstance, seconds: f64) {
    let start = Instant::now();
    let (mut ways, single) = house.ways();
    let plan = |pieces: &[SteppedPiece], seconds: f64| {
        let start = Instant::now();
        let until = |_| start.elapsed().as_secs_f64() < seconds;
        match nest_stepped(pieces, Length(house.roll_width), Budget::steps(u64::MAX), until) {
            Ok(plan) => plan,
            Err(error) => unreachable!("a published house: {error}"),
        }
    };
    // What is proven for the steps one by one is true of any parts.
    let bound = plan(&single, seconds / 5.0).lower_bound;
    let glance = seconds / 5.0 / ways.len() as f64;
    ways.sort_by_cached_key(|it| plan(it, glance).length);
    ways.truncate(3);
    let share = seconds * 3.0 / 5.0 / ways.len() as f64;
    let length = ways.iter().map(|it| plan(it, share).length.0).min().unwrap_or_default();
    println!(
        "{}: {length}, best known {} ({:+.2} %), bound {} (known {}), {:.2} s",
        house.name,
        house.best_known,
        100.0 * (length as f64 / house.best_known as f64 - 1.0),
        bound.0,
        house.lower_bound,
        start.elapsed().as_secs_f64()
    );
}

/// CP-SAT in a process of its own, kept for all strips.
struct Solver {
    process: Child,
    answers: BufReader<std::process::ChildStdout>,
}

impl Solver {
    /// `None`, and a line that says so, without Python or without a package registry.
    fn start() -> Option<Self> {
        let here = PathBuf::from(env!("CARGO_MANIFEST_DIR"));
        let home = here.join("../target/cp-sat");
        let python = home.join("bin/python");
        let ready = python.exists()
            || Command::new("python3").args(["-m", "venv"]).arg(&home).status().is_ok_and(|it| it.success());
        let install = || {
            Command::new(&python)
                .args(["-m", "pip", "install", "--quiet", ORTOOLS])
                .status()
                .is_ok_and(|it| it.success())
        };
        if !(ready && install()) {
            println!("CP-SAT is left out: no python3, or no registry to install {ORTOOLS} from");
            return None;
        }
        let script = here.join("benches/cp_sat.py");
        let mut process =
            Command::new(&python).arg(script).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().ok()?;
        let answers = BufReader::new(process.stdout.take()?);
        Some(Self { process, answers })
    }

    fn solve(&mut self, strip: &Instance, seconds: f64) -> Option<Made> {
        let items: Vec<(i64, i64)> = strip.pieces().iter().map(|it| (it.width.0, it.length.0)).collect();
        let question = serde_json::json!({ "width": strip.strip_width, "items": items, "seconds": seconds });
        let start = Instant::now();
        writeln!(self.process.stdin.as_mut()?, "{question}").ok()?;
        let mut line = String::new();
        self.answers.read_line(&mut line).ok()?;
        let answer: serde_json::Value = serde_json::from_str(&line).ok()?;
        let (length, bound) = (answer["length"].as_i64()?, answer["bound"].as_i64()?);
        let time: Duration = start.elapsed();
        Some(Made { length, bound, seconds: time.as_secs_f64() })
    }
}

impl Drop for Solver {
    fn drop(&mut self) {
        // It ends by itself when its input does; a last one under way is not waited for.
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}
