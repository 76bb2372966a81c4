//! What the benchmarks share: settings from the environment, figures for the table, and what a process uses.

use std::env;
use std::fmt::Display;
use std::fs;
use std::process::Command;
use std::str::FromStr;
use std::time::Duration;

use crate::server::workspace;

/// Builds the release server and runs the calling program again with it.
pub fn measure_release() {
    let built = Command::new(env!("CARGO")).args(["build", "--release", "--package", "napline"]).status();
    assert!(built.is_ok_and(|it| it.success()), "the server does not build");
    let this = env::current_exe().expect("this program");
    let run = Command::new(this).arg("--bench").env("NAPLINE_BIN", workspace().join("target/release/napline")).status();
    assert!(run.is_ok_and(|it| it.success()), "the measurement failed");
}

/// One line of the table that `cargo xtask bench` shows.
pub fn figure(name: &str, value: &str, aim: &str) {
    println!("figure\t{name}\t{value}\t{aim}");
}

pub fn setting(name: &str, default: usize) -> usize {
    settings(name).first().copied().unwrap_or(default)
}

/// A list with commas.
pub fn settings<T: FromStr>(name: &str) -> Vec<T> {
    let said = env::var(name).unwrap_or_default();
    said.split(',').map(str::trim).filter(|it| !it.is_empty()).filter_map(|it| it.parse().ok()).collect()
}

pub fn milliseconds(time: Duration) -> String {
    format!("{:.2} ms", time.as_secs_f64() * 1e3)
}

/// Resident memory of a process, in bytes.
pub fn resident_memory(process: u32) -> f64 {
    let line = proc(process, "status");
    let line = line.lines().find_map(|it| it.strip_prefix("VmRSS:")).expect("VmRSS");
    let kilobytes: f64 = line.trim().trim_end_matches(" kB").parse().expect("a number");
    kilobytes * 1024.0
}

/// Processor time of a process so far, to a hundredth of a second.
pub fn processor_time(process: u32) -> Duration {
    let stat = proc(process, "stat");
    // The fields after the name, which may contain anything: the 12th and 13th are user and system time in ticks.
    let fields: Vec<&str> = stat.rsplit(')').next().unwrap_or_default().split_whitespace().collect();
    let ticks: u64 = fields[11..=12].iter().map(|it| it.parse::<u64>().expect("ticks")).sum();
    Duration::from_millis(ticks * 10)
}

fn proc(process: impl Display, file: &str) -> String {
    fs::read_to_string(format!("/proc/{process}/{file}")).expect("/proc")
}
