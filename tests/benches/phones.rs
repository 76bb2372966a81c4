//! Many phones on one job: how soon an edit is seen, what it costs the server, how much memory the server takes, and how
//! soon it answers after a cold start. `cargo bench -p napline-tests --bench phones`; `PHONES`, `EDITS`, `PER_SECOND` and
//! `CHANGES` (in the job beforehand) change the load.
//!
//! The phones run in this process, on the same processors as the server; its own use of them is read from `/proc`.
#![expect(clippy::expect_used, reason = "a benchmark that cannot run says so and ends")]

use std::collections::HashMap;
use std::env;
use std::io::{Read, Write};
use std::net::{Ipv4Addr, TcpStream};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use napline_tests::figures::{figure, measure_release, milliseconds, processor_time, resident_memory, setting};
use napline_tests::peer::{Pass, Peer, new_job};
use napline_tests::server::Server;
use napline_tests::typing::{self, Walls};
use shared_model::ids::{JobId, RoomId, WallId};
use tokio::sync::mpsc;

fn main() {
    if !env::args().any(|it| it == "--bench") {
        return;
    }
    if env::var_os("NAPLINE_BIN").is_none() {
        return measure_release();
    }
    cold_starts();
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().expect("a runtime");
    runtime.block_on(crew());
}

/// From starting the process on the demo's data to the first byte of an answer.
fn cold_starts() {
    let mut server = Server::start_demo();
    let mut times = Vec::new();
    for _ in 0..9 {
        server.stop();
        let start = Instant::now();
        server.restart();
        let mut socket = TcpStream::connect((Ipv4Addr::LOCALHOST, server.port())).expect("the server to listen");
        socket.write_all(b"GET / HTTP/1.1\r\nHost: localhost\r\n\r\n").expect("a request");
        socket.read_exact(&mut [0]).expect("an answer");
        times.push(start.elapsed());
    }
    times.sort_unstable();
    figure("cold start to first byte, median of 9", &milliseconds(times[4]), "under 100 ms");
    std::thread::sleep(Duration::from_secs(1));
    figure("idle server, resident memory", &memory(&server), "under 30 MB");
}

async fn crew() {
    let (phones, edits) = (setting("PHONES", 50), setting("EDITS", 1_000));
    let (per_second, changes) = (setting("PER_SECOND", 20), setting("CHANGES", 2_400));
    let server = Server::start();
    let first = Pass::by_link(&server.pairing_link(), "P0").await;
    let job = new_job();
    let walls = fill(&first, job, changes).await;

    let seen = Arc::new(Seen::default());
    let mut crew = Vec::new();
    for n in 0..phones {
        let pass = if n == 0 { first.clone() } else { first.pair_another(&format!("P{n}")).await };
        let mut peer = pass.connect().await;
        peer.open_and_catch_up(job).await;
        let (order, orders) = mpsc::unbounded_channel();
        tokio::spawn(work(peer, job, orders, Arc::clone(&seen)));
        crew.push(order);
    }
    tokio::time::sleep(Duration::from_secs(2)).await;
    figure(&format!("{phones} phones connected, resident memory"), &memory(&server), "");

    let busy = processor_time(server.process_id());
    let mut clock = tokio::time::interval(Duration::from_secs_f64(1.0 / per_second as f64));
    for n in 0..edits {
        clock.tick().await;
        // The phones are alive as long as this function.
        let _ = crew[n % phones].send(walls[n % walls.len()]);
    }
    seen.wait_for(edits * (phones - 1)).await;
    let busy = processor_time(server.process_id()) - busy;
    let what = format!("edit seen by the others, {phones} phones, {changes} changes");
    seen.report(&what, "p99 under 50 ms");
    figure("server's processor time per edit", &milliseconds(busy / u32::try_from(edits).expect("few edits")), "");
    figure(&format!("after {edits} edits, resident memory"), &memory(&server), "");

    seen.clear();
    for (n, order) in crew.iter().enumerate() {
        let _ = order.send(walls[n % walls.len()]);
    }
    seen.wait_for(phones * (phones - 1)).await;
    seen.report("all phones at the same moment", "");
}

/// Rooms with walls, and readings until the job has so many changes.
async fn fill(pass: &Pass, job: JobId, changes: usize) -> Walls {
    let mut peer = pass.connect().await;
    let (rooms, walls) = typing::rooms(10);
    for edits in &rooms {
        peer.edit_offline(job, edits);
    }
    for n in rooms.len()..changes {
        peer.edit_offline(job, &[typing::reading(walls[n % walls.len()])]);
    }
    peer.open(job).await;
    peer.until("everything confirmed", |it| it.copies[&job].waiting.is_empty()).await;
    walls
}

/// One phone: notes when changes arrive, and takes them into its document before it edits.
async fn work(mut peer: Peer, job: JobId, mut orders: mpsc::UnboundedReceiver<(RoomId, WallId)>, seen: Arc<Seen>) {
    let mut arrived = Vec::new();
    loop {
        tokio::select! {
            frame = peer.next_change() => {
                let Some(change) = frame else { return };
                seen.note_arrival(&change);
                arrived.push(change);
            }
            order = orders.recv() => {
                let Some(wall) = order else { return };
                peer.take_changes(job, &std::mem::take(&mut arrived));
                let (_, frame) = peer.edit_offline(job, &[typing::reading(wall)]);
                seen.note_departure(&frame);
                peer.send(&frame).await;
            }
        }
    }
}

/// When changes left one phone and arrived at the others.
#[derive(Default)]
struct Seen(Mutex<Times>);

#[derive(Default)]
struct Times {
    left: HashMap<Vec<u8>, Instant>,
    took: Vec<Duration>,
}

impl Seen {
    fn times(&self) -> std::sync::MutexGuard<'_, Times> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn note_departure(&self, frame: &shared_model::wire::Frame) {
        if let shared_model::wire::Frame::Change { change, .. } = frame {
            self.times().left.insert(change.clone(), Instant::now());
        }
    }

    fn note_arrival(&self, change: &[u8]) {
        let now = Instant::now();
        let mut times = self.times();
        if let Some(left) = times.left.get(change).copied() {
            times.took.push(now - left);
        }
    }

    fn clear(&self) {
        *self.times() = Times::default();
    }

    async fn wait_for(&self, arrivals: usize) {
        let start = Instant::now();
        while self.times().took.len() < arrivals {
            let arrived = self.times().took.len();
            assert!(start.elapsed() < Duration::from_secs(120), "{arrived} of {arrivals} arrived");
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
    }

    fn report(&self, what: &str, aim: &str) {
        let mut took = std::mem::take(&mut self.times().took);
        took.sort_unstable();
        let at = |part: usize| milliseconds(took[(took.len() - 1) * part / 1_000]);
        figure(what, &format!("p50 {}, p99 {}, most {}", at(500), at(990), at(1_000)), aim);
    }
}

fn memory(server: &Server) -> String {
    format!("{:.1} MB", resident_memory(server.process_id()) / 1e6)
}
