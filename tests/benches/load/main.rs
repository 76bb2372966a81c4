//! A whole shop at work: N phones on N/2 jobs, at most 100, each phone types one edit per second. How soon do the others
//! on the job have it, and what does that cost the server? Beside Napline, which stores each edit on disk and then says so to
//! who made it, general-purpose sync servers get the same load in turn: automerge-repo (without storage) and y-websocket, without
//! its persistence and with it (LevelDB, which writes no edit through to the disk), from npm at the versions of
//! `load/package-lock.json`, installed into `target/load-servers`.
//!
//! `cargo bench -p napline-tests --bench load`; `PHONES=10,100,500,1000`, `SECONDS` of typing, `ROUNDS` (then the figures
//! are medians and, in brackets, the best), `SERVERS=napline,automerge-repo,y-websocket,y-websocket-stored`.
//!
//! - The edits are made beforehand, as chains: each change of a phone builds on its one before and on the job as it was, not
//!   on what others type meanwhile. The phones of automerge-repo send the very changes that Napline's do; those of
//!   y-websocket readings with the same fields. automerge-repo's phones acknowledge what comes, as its clients do.
//! - Latency: from just before a frame is handed to its socket until a frame with the edit has come to another phone of the
//!   job. An edit that has not come ten seconds after the last was due counts as never.
//! - Processor: user and system time of the server from `/proc`, from the first edit to the last arrival. What a server
//!   stores after that is not in it.
//! - Memory, resident: idle is with all sockets open and no job shared (an empty job for y-websocket, which has no sockets
//!   without), less what the server took before; at work is after the edits, with the jobs.
//!
//! The phones run in this process, on the same processors as the server; their own use of them is told.
#![expect(clippy::expect_used, clippy::panic, reason = "a benchmark that cannot run says so and ends")]

mod automerge_repo;
mod napline;
mod node;
mod talk;
mod yjs;

use std::collections::HashMap;
use std::env;
use std::fs;
use std::process;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use napline_tests::figures::{figure, measure_release, processor_time, resident_memory, setting, settings};
use napline_tests::peer::{Pass, Socket};
use napline_tests::server::{PATIENCE, Server};
use tokio::sync::watch;
use tokio::task::JoinSet;

use node::Node;
use talk::{Load, Mark, Phase, Phone, Talk};

const SERVERS: [&str; 4] = ["napline", "automerge-repo", "y-websocket", "y-websocket-stored"];
const MOST_JOBS: usize = 100;

fn main() {
    if !env::args().any(|it| it == "--bench") {
        return;
    }
    if env::var_os("NAPLINE_BIN").is_none() {
        return measure_release();
    }
    let (seconds, rounds) = (setting("SECONDS", 5), setting("ROUNDS", 1));
    let mut crowds: Vec<usize> = settings("PHONES");
    if crowds.is_empty() {
        crowds = vec![10, 100];
    }
    let files = open_files();
    crowds.retain(|it| {
        let fits = it + 100 < files;
        if !fits {
            println!("{it} phones are left out: this process may open {files} files; raise it with `ulimit -n`");
        }
        fits
    });
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().expect("a runtime");
    let mut rows: HashMap<(usize, &str), Vec<Row>> = HashMap::new();
    let servers = servers();
    for round in 0..rounds {
        for &phones in &crowds {
            for &server in &servers {
                let row = runtime.block_on(measure(server, phones, seconds));
                println!("round {round}, {phones} phones, {server}: {row:?}");
                rows.entry((phones, server)).or_default().push(row);
            }
        }
    }
    for phones in crowds {
        for &server in &servers {
            report(server, phones, &rows[&(phones, server)]);
        }
    }
}

/// The servers asked for that can be run here.
fn servers() -> Vec<&'static str> {
    let asked: Vec<String> = settings("SERVERS");
    let is_asked = |it: &str| asked.is_empty() || asked.iter().any(|asked| asked == it);
    let mut servers: Vec<&str> = SERVERS.into_iter().filter(|it| is_asked(it)).collect();
    let needs_node = |it: &str| it != SERVERS[0];
    if servers.iter().any(|it| needs_node(it))
        && let Err(reason) = node::install()
    {
        println!("automerge-repo and y-websocket are left out: {reason}");
        servers.retain(|it| !needs_node(it));
    }
    servers
}

/// How many files this process may have open; the server gets the same limit.
fn open_files() -> usize {
    let limits = fs::read_to_string("/proc/self/limits").unwrap_or_default();
    let line = limits.lines().find_map(|it| it.strip_prefix("Max open files"));
    line.and_then(|it| it.split_whitespace().next()?.parse().ok()).unwrap_or(1_024)
}

/// One measurement: seconds, shares of one processor, bytes.
#[derive(Debug)]
struct Row {
    median: f64,
    p99: f64,
    arrived: f64,
    per_edit: f64,
    processor: f64,
    phones_processor: f64,
    idle_per_phone: f64,
    work_per_phone: f64,
    memory: f64,
}

enum Running {
    Napline { server: Server, passes: Vec<Pass>, jobs: Vec<napline::Job> },
    AutomergeRepo { node: Node, jobs: Vec<napline::Job> },
    Yjs { node: Node, jobs: Vec<yjs::Job> },
}

impl Running {
    async fn start(server: &str, phones: usize, jobs: usize) -> Self {
        let documents = |count| (0..count).map(|_| napline::Job::new()).collect();
        match server {
            "napline" => {
                let server = Server::start();
                let passes = napline::pair(&server, phones).await;
                Self::Napline { server, passes, jobs: documents(jobs) }
            }
            "automerge-repo" => {
                Self::AutomergeRepo { node: Node::start("automerge-repo.js", false), jobs: documents(jobs) }
            }
            _ => {
                let stores = server == "y-websocket-stored";
                let node = Node::start("node_modules/@y/websocket-server/src/server.js", stores);
                Self::Yjs { node, jobs: (0..jobs).map(|_| yjs::Job::new()).collect() }
            }
        }
    }

    fn process_id(&self) -> u32 {
        match self {
            Self::Napline { server, .. } => server.process_id(),
            Self::AutomergeRepo { node, .. } | Self::Yjs { node, .. } => node.process_id(),
        }
    }

    async fn connect(&self, phone: usize, edits: usize) -> (Socket, Box<dyn Talk>) {
        match self {
            Self::Napline { passes, jobs, .. } => {
                if phone > 120 {
                    tokio::time::sleep(Duration::from_millis(20)).await;
                }
                let (socket, line) = napline::Line::connect(&passes[phone], &jobs[phone % jobs.len()], edits).await;
                (socket, Box::new(line))
            }
            Self::AutomergeRepo { node, jobs } => {
                let job = &jobs[phone % jobs.len()];
                let (socket, line) = automerge_repo::Line::connect(node.port, phone, job, edits).await;
                (socket, Box::new(line))
            }
            Self::Yjs { node, jobs } => {
                let (socket, line) = yjs::Line::connect(node.port, &jobs[phone % jobs.len()], edits).await;
                (socket, Box::new(line))
            }
        }
    }
}

async fn measure(server: &str, phones: usize, seconds: usize) -> Row {
    let jobs = (phones / 2).clamp(1, MOST_JOBS);
    let running = Running::start(server, phones, jobs).await;
    let process = running.process_id();
    let before = resident_memory(process);

    let (phase, follow) = watch::channel(Phase::Wait);
    let level = Arc::new(AtomicUsize::new(0));
    let mut marks: Vec<HashMap<Mark, (usize, usize)>> = vec![HashMap::new(); jobs];
    let mut crowd = JoinSet::new();
    for number in 0..phones {
        let (socket, talk) = running.connect(number, seconds).await;
        for (edit, mark) in talk.marks().into_iter().enumerate() {
            let twin = marks[number % jobs].insert(mark, (number / jobs, edit));
            assert!(twin.is_none(), "two edits with the same mark");
        }
        crowd.spawn(Phone { number, jobs, socket, talk, level: Arc::clone(&level) }.live(follow.clone()));
    }
    settle().await;
    let idle = resident_memory(process) - before;

    let _ = phase.send(Phase::Fill);
    wait_for(&level, jobs, PATIENCE).await.expect("the first phones to bring their jobs");
    let _ = phase.send(Phase::Open);
    wait_for(&level, phones, PATIENCE).await.expect("all phones to have their jobs");
    settle().await;

    let busy = [process, process::id()].map(processor_time);
    let start = Instant::now();
    let load = Arc::new(Load::new(marks, phones, seconds));
    let _ = phase.send(Phase::Type(Arc::clone(&load)));
    let patience = Duration::from_secs(u64::try_from(seconds).unwrap_or_default() + 10);
    let _late = wait_for(&load.arrived, load.expected(), patience).await;
    let wall = start.elapsed().as_secs_f64();
    let [own, phones_own] = [process, process::id()].map(processor_time);
    let memory = resident_memory(process);

    let _ = phase.send(Phase::Done);
    let mut took = crowd.join_all().await.concat();
    let arrived = took.len() as f64 / load.expected() as f64;
    took.resize(load.expected(), f64::INFINITY);
    took.sort_unstable_by(f64::total_cmp);
    let at = |part: usize| took[(took.len() - 1) * part / 100];
    Row {
        median: at(50),
        p99: at(99),
        arrived,
        per_edit: (own - busy[0]).as_secs_f64() / (phones * seconds) as f64,
        processor: (own - busy[0]).as_secs_f64() / wall,
        phones_processor: (phones_own - busy[1]).as_secs_f64() / wall,
        idle_per_phone: idle / phones as f64,
        work_per_phone: (memory - before) / phones as f64,
        memory,
    }
}

/// Lets the server finish what it does in the background.
async fn settle() {
    tokio::time::sleep(Duration::from_secs(2)).await;
}

async fn wait_for(counter: &AtomicUsize, count: usize, patience: Duration) -> Option<()> {
    let start = Instant::now();
    while counter.load(Ordering::Acquire) < count {
        if start.elapsed() > patience {
            return None;
        }
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    Some(())
}

fn report(server: &str, phones: usize, rows: &[Row]) {
    let show = |what: fn(&Row) -> f64, scale: f64, unit: &str| {
        let mut values: Vec<f64> = rows.iter().map(what).collect();
        values.sort_unstable_by(f64::total_cmp);
        let middle = values[values.len() / 2] * scale;
        let number = if middle.is_finite() { format!("{middle:.2}{unit}") } else { "never".to_owned() };
        if values.len() > 1 { format!("{number} ({:.2})", values[0] * scale) } else { number }
    };
    let what = |of: &str| format!("{phones} phones, {server}: {of}");
    let seen = format!("p50 {}, p99 {}", show(|it| it.median, 1e3, " ms"), show(|it| it.p99, 1e3, " ms"));
    figure(&what("edit seen by the others"), &seen, "");
    let phones_own = show(|it| it.phones_processor, 1e2, " %");
    let cost = format!("{}, {}", show(|it| it.per_edit, 1e3, " ms"), show(|it| it.processor, 1e2, " % of one"));
    figure(&what("processor per edit"), &format!("{cost}; the phones {phones_own}"), "");
    let idle = show(|it| it.idle_per_phone, 1e-3, " kB");
    let work = show(|it| it.work_per_phone, 1e-3, " kB");
    let all = show(|it| it.memory, 1e-6, " MB");
    figure(&what("memory per phone idle, at work; all"), &format!("{idle}, {work}; {all}"), "");
    let arrived = rows.iter().map(|it| it.arrived).fold(1.0, f64::min);
    if arrived < 1.0 {
        figure(&what("edits that came within 10 s"), &format!("{:.1} %", arrived * 1e2), "");
    }
}
