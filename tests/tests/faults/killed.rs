//! Two real servers, a shop and a van, and five phones that go from one to the other, while both servers are killed again and
//! again, cables are cut, and phones lose what they had not stored. `SOAK=minutes` goes on for so long.

use std::cell::RefCell;
use std::collections::BTreeSet;
use std::env;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};
use std::thread;
use std::time::{Duration, Instant};

use futures_util::future::join_all;
use futures_util::{SinkExt, StreamExt};
use napline_tests::cable::Cable;
use napline_tests::peer::{Pass, Socket, hello, new_job};
use napline_tests::random::Random;
use napline_tests::server::Server;
use proptest::strategy::{Strategy, ValueTree};
use proptest::test_runner::TestRunner;
use reqwest::StatusCode;
use shared_model::ids::{DeviceId, JobId};
use shared_model::job::{Job, Timestamp};
use shared_model::wire::Frame;
use tokio::time::{sleep, timeout};
use tokio_tungstenite::tungstenite::Message;
use uuid::Uuid;

use super::handset::Handset;
use super::kept::Hash;
use super::ledger::Ledger;
use super::script::seed;

const PHONES: usize = 5;
/// A round on one job: so long it goes wrong, and so long it may take after that until all have the same.
const ROUND: Duration = Duration::from_secs(6);
const LEVEL_WITHIN: Duration = Duration::from_secs(90);

/// A shop and a van, and everything between them and the phones.
struct Place {
    servers: [Mutex<Server>; 2],
    /// By phone and server.
    cables: Vec<[Cable; 2]>,
    kills: AtomicUsize,
    cuts: AtomicUsize,
}

struct Phone {
    number: usize,
    /// At either server, through its cable.
    passes: [Pass; 2],
    device: DeviceId,
    set: Handset,
    job: JobId,
    skew: i64,
    random: Random,
    seeds: TestRunner,
    typed: BTreeSet<Hash>,
    acked: BTreeSet<Hash>,
    last: Option<usize>,
    crashes: usize,
    calls: usize,
}

/// What is being typed, by everybody.
#[derive(Default)]
struct Typed {
    ledger: Ledger,
    next: u128,
}

impl Place {
    /// Both servers, paired, and five phones that both let in.
    async fn new() -> (Self, Vec<[Pass; 2]>, Vec<DeviceId>) {
        let (shop, van) = (Server::start(), Server::start_with(&["--shop", "van 2"]));
        let ada = Pass::by_link(&shop.pairing_link(), "Ada").await;
        let ben = Pass::by_link(&van.pairing_link(), "Ben").await;
        assert_eq!(ben.join_server(&ada.invite_server().await).await, StatusCode::OK);
        let (mut passes, mut devices, mut cables) = (Vec::new(), Vec::new(), Vec::new());
        for n in 0..PHONES {
            let pass = ada.pair_another(&format!("Phone {n}")).await;
            devices.push(pass.connect().await.device());
            let at_van = Pass { address: van.address(), ..pass.clone() };
            while at_van.get("/me").await.status() != StatusCode::OK {
                sleep(Duration::from_millis(50)).await;
            }
            let ends = [Cable::to(&shop), Cable::to(&van)];
            passes.push(ends.each_ref().map(|it| Pass { address: it.address(), ..pass.clone() }));
            cables.push(ends);
        }
        let servers = [Mutex::new(shop), Mutex::new(van)];
        (Self { servers, cables, kills: AtomicUsize::new(0), cuts: AtomicUsize::new(0) }, passes, devices)
    }

    /// Kills and cuts until the time is over, and mends everything.
    fn go_wrong(&self, mut random: Random, until: Instant) {
        while Instant::now() < until {
            thread::sleep(Duration::from_millis(20 + random.below(400)));
            let which = random.below(2) as usize;
            if random.below(2) == 0 {
                let mut server = self.servers[which].lock().unwrap_or_else(PoisonError::into_inner);
                server.kill();
                thread::sleep(Duration::from_millis(random.below(300)));
                server.restart();
                self.kills.fetch_add(1, Ordering::Relaxed);
            } else {
                let cable = &self.cables[random.below(PHONES as u64) as usize][which];
                cable.cut();
                thread::sleep(Duration::from_millis(random.below(400)));
                cable.mend();
                self.cuts.fetch_add(1, Ordering::Relaxed);
            }
        }
    }
}

impl Phone {
    /// Types, goes to one server or the other, hangs up, loses its memory.
    async fn work(&mut self, typed: &RefCell<Typed>, until: Instant) {
        while Instant::now() < until {
            let at = self.random.below(2) as usize;
            let stay = Instant::now() + Duration::from_millis(200 + self.random.below(1_800));
            if let Some(mut socket) = self.call(at).await {
                while Instant::now() < stay.min(until) && self.talk(&mut socket).await {
                    if self.random.below(3) == 0 && !self.act(&mut socket, typed).await {
                        break;
                    }
                }
            } else {
                sleep(Duration::from_millis(50)).await;
                self.edit(typed);
            }
            if self.random.below(4) == 0 {
                self.crash();
            } else if self.random.below(4) == 0 {
                self.set.fold();
            } else if self.random.below(2) == 0 {
                self.set.flush();
            }
        }
    }

    /// Calls a server and says what it has; `None` when nobody answers.
    async fn call(&mut self, at: usize) -> Option<Socket> {
        let pass = &self.passes[at];
        let mut socket =
            timeout(Duration::from_secs(2), pass.try_socket(&pass.address, Some(&pass.cookie))).await.ok()?.ok()?;
        send(&mut socket, &[hello()]).await.then_some(())?;
        let known = self.last.replace(at) == Some(at);
        let frames = self.set.open(known);
        self.calls += 1;
        send(&mut socket, &frames).await.then_some(socket)
    }

    /// Listens for a moment; false when the line is dead.
    async fn talk(&mut self, socket: &mut Socket) -> bool {
        let heard = timeout(Duration::from_millis(40), socket.next()).await;
        let answers = match heard {
            Err(_) => self.set.kept.send_again(self.clock()),
            Ok(Some(Ok(Message::Binary(bytes)))) => {
                let frame = Frame::decode(&bytes).unwrap();
                match &frame {
                    Frame::Ack { hashes, .. } => self.acked.extend(hashes),
                    Frame::Nack { reason, .. } => panic!("phone {}: an honest edit was refused: {reason}", self.number),
                    Frame::Goodbye { reason } => println!("phone {}: {reason}", self.number),
                    _ => {}
                }
                self.set.hear(frame, *Uuid::new_v4().as_bytes())
            }
            Ok(Some(Ok(_))) => return true,
            Ok(Some(Err(_)) | None) => return false,
        };
        send(socket, &answers).await
    }

    async fn act(&mut self, socket: &mut Socket, typed: &RefCell<Typed>) -> bool {
        let frames = self.edit(typed);
        send(socket, &frames).await
    }

    /// Types something that makes sense to somebody who sees this phone's copy.
    fn edit(&mut self, typed: &RefCell<Typed>) -> Vec<Frame> {
        let Typed { ledger, next } = &mut *typed.borrow_mut();
        let (job, doc) = (self.set.kept.job(), self.set.kept.doc());
        *next += 1;
        let seed = seed().new_tree(&mut self.seeds).unwrap().current();
        let Some(edit) = seed.edit(&ledger.known(doc), &job, Uuid::from_u128(0x1_0000 + *next)) else {
            return Vec::new();
        };
        let writes = ledger.will_write(doc, &job, self.device, &edit);
        let (made, send) = self.set.edit(std::slice::from_ref(&edit), self.clock());
        let Some(made) = made else { return Vec::new() };
        let change = self.set.kept.doc().heads().into_iter().find(|it| it.0 == made).unwrap();
        ledger.note(self.set.kept.doc(), self.device, &edit, writes, change);
        self.typed.insert(made);
        send
    }

    fn crash(&mut self) {
        self.set.crash(*Uuid::new_v4().as_bytes());
        (self.last, self.crashes) = (None, self.crashes + 1);
    }

    fn clock(&self) -> Timestamp {
        let now = std::time::SystemTime::UNIX_EPOCH.elapsed().unwrap().as_secs() as i64;
        Timestamp(now + self.skew)
    }

    /// Stays with one server until `done` says so.
    async fn stay(&mut self, at: usize, until: Instant, done: impl Fn(&Self) -> bool) {
        while !done(self) {
            if let Some(mut socket) = self.call(at).await {
                while !done(self) && self.talk(&mut socket).await && Instant::now() < until {}
            }
            assert!(
                Instant::now() < until,
                "phone {} waits in vain, {} edits wait",
                self.number,
                self.set.kept.waiting()
            );
            sleep(Duration::from_millis(50)).await;
        }
    }

    fn has(&self, all: &BTreeSet<Hash>) -> bool {
        let mine: BTreeSet<Hash> = self.set.kept.doc().changes_since(&[]).iter().map(|it| it.hash.0).collect();
        mine.is_superset(all)
    }
}

async fn send(socket: &mut Socket, frames: &[Frame]) -> bool {
    for frame in frames {
        if socket.send(Message::Binary(frame.encode().into())).await.is_err() {
            return false;
        }
    }
    true
}

/// A phone that knows nothing asks a server: its job, and the changes that it has.
async fn read(pass: &Pass, job: JobId, wanted: &BTreeSet<Hash>) -> Job {
    let mut reader = pass.connect().await;
    reader.open_and_catch_up(job).await;
    let stored: BTreeSet<Hash> = reader.copies[&job].doc.changes_since(&[]).iter().map(|it| it.hash.0).collect();
    assert_eq!(wanted.difference(&stored).count(), 0, "of {} changes", wanted.len());
    reader.copies[&job].doc.job()
}

/// Half of the phones stay with either server, until all have everything and nobody waits for a receipt.
async fn level(phones: &mut [Phone], all: &BTreeSet<Hash>, since: Instant) {
    let done = |it: &Phone| it.set.kept.waiting() == 0 && it.has(all);
    join_all(phones.iter_mut().map(|it| it.stay(it.number % 2, since + LEVEL_WITHIN, done))).await;
}

/// One round on a new job: answers how many edits were typed, and how long it took until all had the same.
async fn round(place: &Place, phones: &mut [Phone], number: u64) -> (usize, Duration) {
    let job = new_job();
    for phone in &mut *phones {
        phone.set = Handset::new(job, *Uuid::new_v4().as_bytes(), phone.device);
        (phone.job, phone.last) = (job, None);
        (phone.typed, phone.acked) = (BTreeSet::new(), BTreeSet::new());
    }
    let (typed, until) = (RefCell::new(Typed::default()), Instant::now() + ROUND);
    thread::scope(|scope| {
        scope.spawn(|| place.go_wrong(Random(number), until));
        tokio::task::block_in_place(|| {
            let work = join_all(phones.iter_mut().map(|it| it.work(&typed, until)));
            tokio::runtime::Handle::current().block_on(work);
        });
    });

    let (mended, ledger) = (Instant::now(), typed.into_inner().ledger);
    let all: BTreeSet<Hash> = phones.iter().flat_map(|it| it.typed.union(&it.acked)).copied().collect();
    level(phones, &all, mended).await;
    let took = mended.elapsed();
    let (back, _) = phones[0].set.edit(&ledger.bring_back(), Timestamp(0));
    let all: BTreeSet<Hash> = all.into_iter().chain(back).collect();
    level(phones, &all, mended).await;

    let read_there = phones[0].set.kept.job();
    ledger.check(&read_there);
    for phone in &mut *phones {
        assert_eq!(phone.set.kept.job(), read_there);
        phone.set.flush();
        phone.crash();
        assert_eq!(phone.set.kept.job(), read_there, "what phone {} has stored", phone.number);
        assert_eq!(phone.set.apart(), []);
    }
    // Only what is on the disks counts.
    for server in &place.servers {
        let mut server = server.lock().unwrap();
        server.kill();
        server.restart();
    }
    for pass in &phones[0].passes {
        assert_eq!(read(pass, job, &all).await, read_there);
    }
    (phones.iter().map(|it| it.typed.len()).sum(), took)
}

#[tokio::test(flavor = "multi_thread", worker_threads = 1)]
async fn whoever_is_killed_nothing_typed_is_lost() {
    let minutes: u64 = env::var("SOAK").map_or(0, |it| it.parse().unwrap());
    let (place, passes, devices) = Place::new().await;
    let mut phones: Vec<Phone> = Vec::new();
    for (number, (passes, device)) in passes.into_iter().zip(devices).enumerate() {
        let (job, skew) = (new_job(), (number as i64 - 2) * 5 * 3_600);
        phones.push(Phone {
            number,
            passes,
            device,
            set: Handset::new(job, *Uuid::new_v4().as_bytes(), device),
            job,
            skew,
            random: Random(number as u64),
            seeds: TestRunner::default(),
            typed: BTreeSet::new(),
            acked: BTreeSet::new(),
            last: None,
            crashes: 0,
            calls: 0,
        });
    }
    let (start, mut rounds, mut edits, mut longest) = (Instant::now(), 0, 0, Duration::ZERO);
    while rounds == 0 || start.elapsed() < Duration::from_secs(60 * minutes) {
        let (typed, took) = round(&place, &mut phones, rounds).await;
        (rounds, edits, longest) = (rounds + 1, edits + typed, longest.max(took));
        // After each round: a soak that is ended early has said how far it came.
        let sum = |of: fn(&Phone) -> usize| phones.iter().map(of).sum::<usize>();
        let (kills, cuts) = (place.kills.load(Ordering::Relaxed), place.cuts.load(Ordering::Relaxed));
        println!(
            "{rounds} rounds in {:.0} s: {edits} edits, {kills} servers killed, {cuts} cables cut, {} calls, {} phones crashed; \
             all had the same after {:.1} s at most",
            start.elapsed().as_secs_f64(),
            sum(|it| it.calls),
            sum(|it| it.crashes),
            longest.as_secs_f64()
        );
    }
    assert!(edits > 0 && place.kills.into_inner() > 0 && place.cuts.into_inner() > 0);
}
