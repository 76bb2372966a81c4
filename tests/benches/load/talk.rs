//! What a phone says and hears, whatever its server: the same crew, three languages.

use std::collections::HashMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use futures_util::{SinkExt, StreamExt};
use napline_tests::peer::Socket;
use tokio::sync::watch;
use tokio_tungstenite::tungstenite::{Bytes, Message};

/// Names an edit among those of its job, and is found in every frame that carries the edit.
pub type Mark = [u8; 12];

/// One phone's side of a sync protocol. Its edits are made beforehand: the measurement is of the server.
pub trait Talk: Send {
    /// What carries each of the phone's edits, in order.
    fn marks(&self) -> Vec<Mark>;
    /// Opens the job; a phone that is its job's first brings the job along.
    fn open(&mut self, first: bool) -> Vec<Vec<u8>>;
    /// Whether phone and server both have the job as it was before the edits.
    fn is_level(&self) -> bool;
    /// Takes one frame: the edits that it carries, and what is to be answered.
    fn take(&mut self, frame: &[u8]) -> (Vec<Mark>, Vec<Vec<u8>>);
    /// The frame of the n-th edit.
    fn edit(&mut self, n: usize) -> Vec<u8>;
}

/// What everybody does now.
#[derive(Clone)]
pub enum Phase {
    Wait,
    /// The first phone of each job opens it.
    Fill,
    /// The others do.
    Open,
    Type(Arc<Load>),
    Done,
}

/// Who types what and when.
pub struct Load {
    pub start: Instant,
    pub edits: usize,
    pub jobs: usize,
    pub phones: usize,
    /// By job: whose edit it is, as the how-manieth of the job, and which of its edits.
    pub marks: Vec<HashMap<Mark, (usize, usize)>>,
    /// When each edit of each phone was sent, in nanoseconds after the start.
    sent: Vec<AtomicU64>,
    pub arrived: AtomicUsize,
}

impl Load {
    pub fn new(marks: Vec<HashMap<Mark, (usize, usize)>>, phones: usize, edits: usize) -> Self {
        let sent = (0..phones * edits).map(|_| AtomicU64::new(0)).collect();
        let start = Instant::now();
        Self { start, edits, jobs: marks.len(), phones, marks, sent, arrived: AtomicUsize::new(0) }
    }

    fn sent(&self, phone: usize, edit: usize) -> &AtomicU64 {
        &self.sent[phone * self.edits + edit]
    }

    /// The phones take turns evenly within each second, those of a job too.
    fn due(&self, phone: usize, edit: usize) -> Instant {
        self.start + Duration::from_secs_f64(edit as f64 + phone as f64 / self.phones as f64)
    }

    /// Arrivals when everybody has everything.
    pub fn expected(&self) -> usize {
        let sizes = (0..self.jobs).map(|job| (self.phones - job).div_ceil(self.jobs));
        sizes.map(|it| it * (it - 1) * self.edits).sum()
    }
}

pub struct Phone {
    pub number: usize,
    pub jobs: usize,
    pub socket: Socket,
    pub talk: Box<dyn Talk>,
    pub level: Arc<AtomicUsize>,
}

impl Phone {
    /// Follows the phases; answers how long the edits of others took to come here, in seconds.
    pub async fn live(mut self, mut phase: watch::Receiver<Phase>) -> Vec<f64> {
        let (job, position) = (self.number % self.jobs, self.number / self.jobs);
        let mut load: Option<Arc<Load>> = None;
        let (mut typed, mut was_level) = (0, false);
        let mut seen = HashMap::new();
        let mut took = Vec::new();
        loop {
            let due = load.as_ref().filter(|it| typed < it.edits).map(|it| it.due(self.number, typed));
            tokio::select! {
                _ = phase.changed() => {
                    let now = phase.borrow_and_update().clone();
                    match now {
                        Phase::Fill if position == 0 => self.open(true).await,
                        Phase::Open if position > 0 => self.open(false).await,
                        Phase::Type(start) => load = Some(start),
                        Phase::Done => return took,
                        Phase::Wait | Phase::Fill | Phase::Open => {}
                    }
                }
                () = sleep_until(due), if due.is_some() => {
                    let frame = self.talk.edit(typed);
                    if let Some(load) = &load {
                        let now = load.start.elapsed().as_nanos();
                        load.sent(self.number, typed).store(u64::try_from(now).unwrap_or(u64::MAX), Ordering::Release);
                    }
                    self.send(frame).await;
                    typed += 1;
                }
                message = self.socket.next() => {
                    let frame = match message {
                        Some(Ok(Message::Binary(frame))) => frame,
                        Some(Ok(Message::Ping(_) | Message::Pong(_))) => continue,
                        other => panic!("the server ended the connection: {other:?}"),
                    };
                    let now = Instant::now();
                    let (marks, answers) = self.talk.take(&frame);
                    if let Some(load) = &load {
                        for mark in marks {
                            note(load, job, position, mark, now, &mut seen, &mut took);
                        }
                    }
                    for answer in answers {
                        self.send(answer).await;
                    }
                    if !was_level && self.talk.is_level() {
                        was_level = true;
                        self.level.fetch_add(1, Ordering::AcqRel);
                    }
                }
            }
        }
    }

    async fn open(&mut self, first: bool) {
        for frame in self.talk.open(first) {
            self.send(frame).await;
        }
    }

    async fn send(&mut self, frame: Vec<u8>) {
        self.socket.send(Message::Binary(Bytes::from(frame))).await.expect("the server to take a frame");
    }
}

/// Notes an arrival. What a phone typed before it is here too: each change builds on the phone's own one before.
fn note(
    load: &Load,
    job: usize,
    position: usize,
    mark: Mark,
    now: Instant,
    seen: &mut HashMap<usize, usize>,
    took: &mut Vec<f64>,
) {
    let Some(&(from, edit)) = load.marks[job].get(&mark) else { return };
    let next = seen.entry(from).or_insert(0);
    if from == position || edit < *next {
        return;
    }
    let now = (now - load.start).as_secs_f64();
    for edit in *next..=edit {
        let sent = load.sent(from * load.jobs + job, edit).load(Ordering::Acquire);
        took.push(now - Duration::from_nanos(sent).as_secs_f64());
    }
    load.arrived.fetch_add(edit + 1 - *next, Ordering::AcqRel);
    *next = edit + 1;
}

async fn sleep_until(due: Option<Instant>) {
    if let Some(due) = due {
        tokio::time::sleep_until(due.into()).await;
    }
}
