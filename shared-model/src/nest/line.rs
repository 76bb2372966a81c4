//! Tasks that share a capacity, each without a break: whether all can be done in time.

use std::collections::BTreeMap;

use super::bound::{Measure, measures};

/// Measures that every state is held to.
const MEASURES: usize = 12;
/// A state takes as long to look at as so many steps of the search for plans, for each kind and measure.
const COST: u64 = 6;
/// Failed states that are remembered.
const REMEMBERED: usize = 1 << 16;

/// What a search has come to.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Verdict {
    /// They cannot.
    Refuted,
    /// They can.
    Possible,
    /// The budget ended first.
    Unknown,
}

/// Equal tasks.
struct Kind {
    time: i64,
    /// Of the capacity, by each measure.
    shares: Vec<i64>,
    left: u32,
}

/// A stretch of time that is over: nothing more will be done in it.
struct Past {
    from: i64,
    /// By the first measure.
    free: i64,
}

/// The search: what is under way at a time, what is left, and how much capacity may still be lost.
pub(super) struct Line {
    /// Longest first.
    kinds: Vec<Kind>,
    horizon: i64,
    whole: Vec<i64>,
    now: i64,
    /// What was started: its end, and its kind.
    started: Vec<(i64, usize)>,
    /// Free at this time, by each measure.
    free: Vec<i64>,
    /// What may still be lost before the time is too short, by each measure.
    slack: Vec<i64>,
    past: Vec<Past>,
    /// States from which nothing came, with the earliest time they were left at.
    failed: BTreeMap<Box<[i64]>, i64>,
}

/// How a branch of the search ended.
enum End {
    /// Nothing comes of it. Reasons that lie in the past do not reach back before `since`.
    Failed {
        since: i64,
    },
    Possible,
    Spent,
}

impl Line {
    /// Tasks that take shares of `shared` for the times of `over`. `None` when the first look already shows that they cannot be done.
    pub fn of(shared: &Measure, over: &Measure) -> Option<Self> {
        let (shares, whole, times, horizon) = (&shared.shares, shared.whole, &over.shares, over.whole);
        let mut by_slack: Vec<(i64, Measure)> = measures(shares, whole)
            .into_iter()
            .map(|it| {
                let done: i64 = it.shares.iter().zip(times).map(|(share, time)| share * time).sum();
                (it.whole.saturating_mul(horizon) - done, it)
            })
            .collect();
        if by_slack.iter().any(|it| it.0 < 0)
            || times.iter().any(|it| *it > horizon)
            || shares.iter().any(|it| *it > whole)
        {
            return None;
        }
        // The plain measure is the first: it says what fits side by side.
        if let Some(rest) = by_slack.get_mut(1..) {
            rest.sort_by_key(|(slack, it)| slack / it.whole.max(1));
        }
        by_slack.truncate(MEASURES);
        let tasks = (0..times.len()).filter(|i| shares[*i] > 0 && times[*i] > 0);
        let mut tasks: Vec<(i64, i64, usize)> = tasks.map(|i| (-times[i], -shares[i], i)).collect();
        tasks.sort_unstable();
        let kinds = tasks.chunk_by(|a, b| (a.0, a.1) == (b.0, b.1)).map(|equal| {
            let first = equal[0].2;
            let shares = by_slack.iter().map(|(_, it)| it.shares[first]).collect();
            Kind { time: times[first], shares, left: equal.len() as u32 }
        });
        Some(Self {
            kinds: kinds.collect(),
            horizon,
            whole: by_slack.iter().map(|(_, it)| it.whole).collect(),
            now: 0,
            started: Vec::new(),
            free: by_slack.iter().map(|(_, it)| it.whole).collect(),
            slack: by_slack.iter().map(|(slack, _)| *slack).collect(),
            past: Vec::new(),
            failed: BTreeMap::new(),
        })
    }

    /// Spends `steps` at most, and counts them down.
    pub fn search(&mut self, steps: &mut u64) -> Verdict {
        match self.start(0, steps) {
            End::Failed { .. } => Verdict::Refuted,
            End::Possible => Verdict::Possible,
            End::Spent => Verdict::Unknown,
        }
    }

    /// Every choice of what starts now, from the kind `from` on, and whatever follows from it.
    fn start(&mut self, from: usize, steps: &mut u64) -> End {
        let mut since = self.now;
        for kind in from..self.kinds.len() {
            let it = &self.kinds[kind];
            if it.left == 0 {
                continue;
            }
            let last_chance = self.now + it.time >= self.horizon;
            if it.shares[0] > self.free[0] {
                if last_chance {
                    return End::Failed { since };
                }
                continue;
            }
            self.take(kind, 1);
            self.started.push((self.now + self.kinds[kind].time, kind));
            let end = self.start(kind, steps);
            self.started.pop();
            self.take(kind, -1);
            match end {
                End::Failed { since: of } => since = since.min(of),
                _ => return end,
            }
            if last_chance {
                return End::Failed { since };
            }
        }
        match self.go_on(steps) {
            End::Failed { since: of } => End::Failed { since: since.min(of) },
            end => end,
        }
    }

    /// A task of the kind starts, or with −1 did not.
    fn take(&mut self, kind: usize, count: i64) {
        let it = &mut self.kinds[kind];
        it.left = it.left.wrapping_add_signed(-count as i32);
        for (free, share) in self.free.iter_mut().zip(&it.shares) {
            *free -= count * share;
        }
    }

    /// What is under way: its end, and its kind.
    fn running(&self) -> impl Iterator<Item = (i64, usize)> {
        self.started.iter().copied().filter(|(end, _)| *end > self.now)
    }

    /// Nothing more starts now: on to the next end.
    fn go_on(&mut self, steps: &mut u64) -> End {
        let cost = COST * (self.kinds.len() + self.slack.len()) as u64;
        if *steps < cost {
            return End::Spent;
        }
        *steps -= cost;
        let longest = self.kinds.iter().filter(|it| it.left > 0).map(|it| it.time).max();
        let Some(longest) = longest else { return End::Possible };
        let dead = End::Failed { since: self.now };
        let Some(next) = self.running().map(|it| it.0).min() else { return dead };
        let span = next - self.now;
        if next + longest > self.horizon || self.free.iter().zip(&self.slack).any(|(free, slack)| free * span > *slack)
        {
            return dead;
        }
        if !self.fit_in_the_middle(next) || !self.fit_in_the_rest(next) {
            return dead;
        }
        let before = self.now;
        self.past.push(Past { from: before, free: self.free[0] });
        let end = match self.left_lying(next) {
            Some(since) => End::Failed { since: since.min(before) },
            None => {
                self.free.iter().zip(&mut self.slack).for_each(|(free, slack)| *slack -= free * span);
                self.now = next;
                let end = self.after_ends(steps);
                self.now = before;
                self.free.iter().zip(&mut self.slack).for_each(|(free, slack)| *slack += free * span);
                end
            }
        };
        self.past.pop();
        end
    }

    /// A task that starts at `next` at the earliest and must be done by the horizon is under way between its latest start and
    /// its earliest end: what is certainly under way together must fit.
    fn fit_in_the_middle(&self, next: i64) -> bool {
        (0..self.slack.len()).all(|measure| {
            let mut taken = 0;
            self.kinds.iter().take_while(|it| next + 2 * it.time > self.horizon).all(|it| {
                let latest = self.horizon - it.time;
                taken += it.shares[measure] * i64::from(it.left);
                let running = self.running().filter(|(end, _)| *end > latest);
                let running: i64 = running.map(|(_, kind)| self.kinds[kind].shares[measure]).sum();
                taken + running <= self.whole[measure]
            })
        })
    }

    /// From `next` on, by measures of the time that is left: what leaves less than `least` beside it counts as all of the
    /// time, and what is shorter than `least` not at all.
    fn fit_in_the_rest(&self, next: i64) -> bool {
        let rest = self.horizon - next;
        let begun = self.running().map(|(end, kind)| (end - next, self.kinds[kind].shares[0]));
        let left = self.kinds.iter().map(|it| (it.time, it.shares[0] * i64::from(it.left)));
        let tasks: Vec<(i64, i64)> = begun.chain(left).filter(|(time, share)| *time > 0 && *share > 0).collect();
        tasks.iter().map(|it| it.0.min(rest - it.0 + 1)).filter(|least| 2 * least <= rest + 1).all(|least| {
            let taken = |&(time, share): &(i64, i64)| match time {
                _ if time > rest - least => rest * share,
                _ if time < least => 0,
                _ => time * share,
            };
            tasks.iter().map(taken).sum::<i64>() <= rest * self.whole[0]
        })
    }

    /// Of the tasks left, one that could have been done whole before `next`: starting it there instead leaves no less room for
    /// the others, so this branch need not be followed. Answers since when there was room.
    fn left_lying(&self, next: i64) -> Option<i64> {
        let room = |it: &&Kind| {
            let from = self.past.iter().rev().take_while(|past| past.free >= it.shares[0]).last();
            it.left > 0 && from.is_some_and(|past| next - past.from >= it.time)
        };
        self.kinds.iter().filter(room).map(|it| next - it.time).max()
    }

    /// Takes out what ends now and looks on from there, unless that state is known.
    fn after_ends(&mut self, steps: &mut u64) -> End {
        self.release(1);
        let state = self.state();
        let end = if self.failed.get(&state).is_some_and(|it| *it <= self.now) || !self.fit_in_the_middle(self.now) {
            End::Failed { since: self.now }
        } else {
            let end = self.start(0, steps);
            if let End::Failed { since } = end
                && since >= self.now
                && self.failed.len() < REMEMBERED
            {
                self.failed.insert(state, self.now);
            }
            end
        };
        self.release(-1);
        end
    }

    /// What ends now is free, or with −1 is not yet.
    fn release(&mut self, count: i64) {
        for (_, kind) in self.started.iter().filter(|it| it.0 == self.now) {
            self.free.iter_mut().zip(&self.kinds[*kind].shares).for_each(|(free, share)| *free += count * share);
        }
    }

    /// What is left to do, and what is taken for how long yet.
    fn state(&self) -> Box<[i64]> {
        let mut taken: Vec<(i64, i64)> =
            self.running().map(|(end, kind)| (end - self.now, self.kinds[kind].shares[0])).collect();
        taken.sort_unstable();
        let left = self.kinds.iter().map(|it| i64::from(it.left));
        let profile = taken.chunk_by(|a, b| a.0 == b.0).flat_map(|it| [it[0].0, it.iter().map(|it| it.1).sum()]);
        left.chain(profile).collect()
    }
}
