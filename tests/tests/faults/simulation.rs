//! Five phones and two servers on a network that loses, repeats, delays and parts, with clocks that are hours off, and crashes
//! between any two writes. One number decides everything that happens: `SCRIPT=n` plays one script again, `SCRIPTS=n` plays so
//! many.

use std::env;
use std::time::Instant;

use napline_tests::random::Random;
use proptest::strategy::{Strategy, ValueTree};
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};
use shared_model::guard;
use shared_model::ids::DeviceId;
use shared_model::job::Timestamp;
use shared_model::wire::Frame;
use uuid::Uuid;

use super::counts::Counts;
use super::crew::{JOB, device};
use super::handset::Handset;
use super::ledger::Ledger;
use super::script::seed;
use super::station::{Line, Station};

const PHONES: usize = 5;
const STEPS: u64 = 160;
/// More rounds than this after everything was mended are no end.
const MOST_ROUNDS: usize = 200;

#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum End {
    Phone(usize),
    Station(usize),
}

struct Phone {
    set: Handset,
    device: DeviceId,
    /// Seconds that its clock is off.
    skew: i64,
    last: Option<usize>,
}

struct World {
    random: Random,
    seeds: TestRunner,
    now: i64,
    phones: Vec<Phone>,
    stations: Vec<Station>,
    lines: Vec<(Line, [End; 2])>,
    next_line: Line,
    /// Frames under way, in the order in which they were sent.
    wire: Vec<(Line, End, Vec<u8>)>,
    actors: u64,
    ledger: Ledger,
    counts: Counts,
}

impl World {
    fn new(script: u64) -> Self {
        let mut seed = [0; 32];
        seed[..8].copy_from_slice(&script.to_le_bytes());
        let rng = TestRng::from_seed(RngAlgorithm::ChaCha, &seed);
        let mut world = Self {
            random: Random(script),
            seeds: TestRunner::new_with_rng(Config::default(), rng),
            now: 1_800_000_000,
            phones: Vec::new(),
            stations: (0..2).map(|n| Station::new(JOB, 0xe0 + n)).collect(),
            lines: Vec::new(),
            next_line: 0,
            wire: Vec::new(),
            actors: 0,
            ledger: Ledger::default(),
            counts: Counts::default(),
        };
        for n in 0..PHONES {
            let (actor, device) = (world.actor(), device(n as u8));
            let (set, skew) = (Handset::new(JOB, actor, device), world.skew());
            world.phones.push(Phone { set, device, skew, last: None });
        }
        world
    }

    /// A clock up to a day off.
    fn skew(&mut self) -> i64 {
        self.random.below(2 * 86_400) as i64 - 86_400
    }

    fn actor(&mut self) -> [u8; 16] {
        self.actors += 1;
        *Uuid::from_u128(0xac_0000 + u128::from(self.actors)).as_bytes()
    }

    fn pick(&mut self, end: usize) -> usize {
        self.random.below(end as u64) as usize
    }

    /// Something happens.
    fn step(&mut self) {
        self.now += self.random.below(4) as i64;
        let (phone, station) = (self.pick(PHONES), self.pick(2));
        match self.random.below(100) {
            0..30 => self.edit(phone),
            30..60 => (0..self.pick(8)).for_each(|_| self.deliver_any()),
            60..74 => self.commit(station),
            74..80 => self.phones[phone].set.flush(),
            80..86 => self.connect_phone(phone, station),
            86..88 => self.connect([End::Station(0), End::Station(1)]),
            88..91 => self.cut_any(),
            91..93 => self.crash_phone(phone),
            93..94 => self.crash_station(station),
            94..96 => self.tick(phone),
            96..97 => self.phones[phone].skew = self.skew(),
            97..99 => self.phones[phone].set.fold(),
            _ => self.stations[station].fold(),
        }
    }

    fn edit(&mut self, who: usize) {
        let seed = seed().new_tree(&mut self.seeds).unwrap().current();
        let id = Uuid::from_u128(0x1000 + self.ledger.len() as u128);
        let phone = &mut self.phones[who];
        let (job, doc) = (phone.set.kept.job(), phone.set.kept.doc());
        let Some(edit) = seed.edit(&self.ledger.known(doc), &job, id) else { return };
        let writes = self.ledger.will_write(doc, &job, phone.device, &edit);
        let (made, send) = phone.set.edit(std::slice::from_ref(&edit), Timestamp(self.now + phone.skew));
        let Some(made) = made else { return assert!(writes.is_empty(), "{edit:?} should write {writes:?}") };
        let change = phone.set.kept.doc().heads().into_iter().find(|it| it.0 == made).unwrap();
        self.ledger.note(phone.set.kept.doc(), phone.device, &edit, writes, change);
        self.counts.edits += 1;
        self.send_from(End::Phone(who), &send);
    }

    /// From a phone: over the line that it has, if it has one.
    fn send_from(&mut self, end: End, frames: &[Frame]) {
        let Some((line, [_, to])) = self.lines.iter().find(|it| it.1[0] == end).copied() else { return };
        for frame in frames {
            match (frame, to) {
                // On a real line nothing overtakes a seal, and what follows a lost one is lost too.
                (Frame::Sealed { .. }, End::Station(n)) => self.hear_at(n, line, frame.clone()),
                _ => self.wire.push((line, to, frame.encode())),
            }
        }
    }

    fn connect_phone(&mut self, who: usize, station: usize) {
        self.cut(End::Phone(who));
        self.connect([End::Phone(who), End::Station(station)]);
        let known = self.phones[who].last.replace(station) == Some(station);
        let send = self.phones[who].set.open(known);
        self.send_from(End::Phone(who), &send);
    }

    /// Lays a line; two servers have one at most, and share the job over it.
    fn connect(&mut self, ends: [End; 2]) {
        if ends[0] == End::Station(0) {
            self.lines
                .iter()
                .filter(|it| it.1 == ends)
                .map(|it| it.0)
                .collect::<Vec<_>>()
                .into_iter()
                .for_each(|it| self.cut_line(it));
        }
        self.next_line += 1;
        let line = self.next_line;
        self.lines.push((line, ends));
        for end in ends {
            let End::Station(n) = end else { continue };
            let phone = if let End::Phone(who) = ends[0] { Some(self.phones[who].device) } else { None };
            self.stations[n].connect(line, phone);
            if phone.is_none() {
                self.stations[n].open(line);
            }
        }
    }

    fn cut_any(&mut self) {
        if !self.lines.is_empty() {
            let nth = self.pick(self.lines.len());
            self.cut_line(self.lines[nth].0);
        }
    }

    fn cut(&mut self, end: End) {
        for (line, ends) in self.lines.clone() {
            if ends.contains(&end) {
                self.cut_line(line);
            }
        }
    }

    fn cut_line(&mut self, line: Line) {
        self.counts.cuts += 1;
        self.lines.retain(|it| it.0 != line);
        self.wire.retain(|it| it.0 != line);
        self.stations.iter_mut().for_each(|it| it.hang_up(line));
    }

    fn crash_phone(&mut self, who: usize) {
        self.cut(End::Phone(who));
        let actor = self.actor();
        self.phones[who].set.crash(actor);
        self.phones[who].last = None;
        self.counts.crashes += 1;
    }

    fn crash_station(&mut self, n: usize) {
        self.cut(End::Station(n));
        self.stations[n].crash();
        self.counts.crashes += 1;
    }

    fn tick(&mut self, who: usize) {
        let phone = &mut self.phones[who];
        let frames = phone.set.kept.send_again(Timestamp(self.now + phone.skew));
        self.send_from(End::Phone(who), &frames);
    }

    /// Some of what a server has queued is committed.
    fn commit(&mut self, n: usize) {
        let batches = self.pick(4);
        self.committed(n, batches);
    }

    fn committed(&mut self, n: usize, batches: usize) {
        let frames = self.stations[n].commit(batches);
        self.send_station(n, frames);
    }

    fn hear_at(&mut self, n: usize, line: Line, frame: Frame) {
        self.stations[n].hear(line, frame);
        let early = self.stations[n].take_early();
        self.send_station(n, early);
    }

    fn send_station(&mut self, n: usize, frames: Vec<(Line, Frame)>) {
        for (line, frame) in frames {
            let Some((_, ends)) = self.lines.iter().find(|it| it.0 == line) else { continue };
            let to = if ends[0] == End::Station(n) { ends[1] } else { ends[0] };
            self.wire.push((line, to, frame.encode()));
        }
    }

    /// One frame arrives, mostly the oldest; or it is lost, or comes twice.
    fn deliver_any(&mut self) {
        if self.wire.is_empty() {
            return;
        }
        let nth = if self.random.below(4) == 0 { self.pick(self.wire.len()) } else { 0 };
        self.counts.overtaken += usize::from(nth > 0);
        match self.random.below(20) {
            0 => {
                self.counts.lost += 1;
                self.wire.remove(nth);
            }
            1 => {
                self.counts.repeated += 1;
                let twice = self.wire[nth].clone();
                self.arrive(twice);
            }
            _ => {
                let frame = self.wire.remove(nth);
                self.arrive(frame);
            }
        }
    }

    fn arrive(&mut self, (line, to, bytes): (Line, End, Vec<u8>)) {
        self.counts.frames += 1;
        let frame = Frame::decode(&bytes).unwrap();
        match to {
            End::Station(n) => self.hear_at(n, line, frame),
            End::Phone(who) => {
                let at = self.phones[who].last.unwrap();
                match &frame {
                    Frame::Ack { hashes, .. } => {
                        self.counts.receipts += hashes.len();
                        assert!(hashes.iter().all(|it| self.stations[at].has_on_disk(it)), "a receipt for nothing");
                    }
                    Frame::Change { change, .. } => {
                        let hash = guard::change(change, None).unwrap().hash();
                        self.counts.early += usize::from(!self.stations[at].has_on_disk(&hash.0));
                    }
                    _ => {}
                }
                let actor = self.actor();
                let send = self.phones[who].set.hear(frame, actor);
                self.send_from(End::Phone(who), &send);
            }
        }
    }

    /// Everything is mended and everybody connects: until nobody has anything to say or to store.
    fn settle(&mut self) {
        self.connect([End::Station(0), End::Station(1)]);
        (0..PHONES).for_each(|it| self.connect_phone(it, it % 2));
        let mut rounds = 0;
        loop {
            for frame in std::mem::take(&mut self.wire) {
                self.arrive(frame);
            }
            (0..2).for_each(|it| self.committed(it, usize::MAX));
            if self.wire.is_empty() && self.stations.iter().all(Station::is_idle) {
                self.now += 60;
                (0..PHONES).for_each(|it| self.tick(it));
                if self.wire.is_empty() {
                    break;
                }
            }
            rounds += 1;
            assert!(rounds < MOST_ROUNDS, "they talk without end");
        }
        self.counts.longest = self.counts.longest.max(rounds);
        self.level();
    }

    /// All have the same, on their disks too, nothing waits, and nothing was set apart.
    fn level(&self) {
        let heads = self.stations[0].doc().heads();
        for station in &self.stations {
            assert_eq!(station.doc().heads(), heads);
            assert_eq!(station.read().heads(), heads, "what a start would read");
        }
        for phone in &self.phones {
            assert_eq!(phone.set.kept.doc().heads(), heads);
            assert_eq!(phone.set.kept.waiting(), 0);
            assert_eq!(phone.set.apart(), []);
        }
    }

    /// Nothing that anybody typed is missing, wherever it is read.
    fn nothing_is_lost(&mut self) {
        self.settle();
        let back = self.ledger.bring_back();
        let (_, send) = self.phones[0].set.edit(&back, Timestamp(self.now));
        self.send_from(End::Phone(0), &send);
        self.settle();
        let job = self.phones[0].set.kept.job();
        self.ledger.check(&job);
        for who in 0..PHONES {
            self.phones[who].set.flush();
            let actor = self.actor();
            self.phones[who].set.crash(actor);
            assert_eq!(self.phones[who].set.kept.job(), job);
        }
        self.stations.iter().for_each(|it| assert_eq!(it.read().job(), job));
    }
}

fn play(script: u64) -> Counts {
    let mut world = World::new(script);
    (0..STEPS).for_each(|_| world.step());
    world.nothing_is_lost();
    world.counts
}

#[test]
fn whatever_happens_nothing_typed_is_lost() {
    let number = |name: &str| env::var(name).ok().map(|it| it.parse::<u64>().unwrap());
    if let Some(script) = number("SCRIPT") {
        println!("{:?}", play(script));
        return;
    }
    let (start, scripts) = (Instant::now(), number("SCRIPTS").unwrap_or(100));
    let (first, mut all) = (number("FIRST").unwrap_or(0), Counts::default());
    for script in first..first + scripts {
        let played = std::panic::catch_unwind(|| play(script));
        all.add(&played.unwrap_or_else(|_| panic!("play it again with SCRIPT={script}")));
    }
    println!("{scripts} scripts in {:.1} s: {all:?}", start.elapsed().as_secs_f64());
    all.each_at_least_once();
}
