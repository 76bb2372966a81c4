//! A document's history: who did what in which order, and the job as it was.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet, BinaryHeap};

pub use automerge::ChangeHash;
use automerge::legacy::{Key, ObjectId, Op};
use automerge::{ChangeMetadata, ObjId, Prop, ReadDoc};
use uuid::Uuid;

use super::look::{Parts, View, Walls};
use super::read;
use super::schema::{self, key};
use super::{Choice, Job, JobDoc, Timestamp};
use crate::ids::{ChoiceId, DeviceId, PrintId, RoomId, WallId};

/// One action of a person, as its change tells it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Entry {
    pub change: ChangeHash,
    pub by: DeviceId,
    /// By that device's clock.
    pub at: Timestamp,
    /// In the words of whoever made it.
    pub said: String,
    /// The time that an action gives which this one builds on, when that is later than its own: one of the clocks is wrong.
    pub earlier_than: Option<Timestamp>,
}

/// The job before and after one change, as its maker saw it. Of rooms, stairs, goods and choices only those are read that the
/// change can have touched.
#[derive(Clone, PartialEq, Debug)]
pub struct Step {
    pub before: Job,
    pub after: Job,
}

/// A decision, also one that does not count any more.
#[derive(Clone, PartialEq, Debug)]
pub struct Decided {
    pub choice: Choice,
    pub withdrawn: bool,
}

impl JobDoc {
    /// Every action, newest first. One that builds on another comes before it, whatever the clocks say; of those that do not,
    /// the one that gives the earlier time is the older. The same on every device that has the same changes.
    pub fn timeline(&self) -> Vec<Entry> {
        let metas = self.doc.get_changes_meta(&[]);
        let index: BTreeMap<ChangeHash, usize> = metas.iter().zip(0..).map(|(it, n)| (it.hash, n)).collect();
        let deps = |n: usize| metas[n].deps.iter().filter_map(|it| index.get(it)).copied();
        let mut builders: Vec<Vec<usize>> = vec![Vec::new(); metas.len()];
        let mut waits: Vec<usize> = (0..metas.len()).map(|n| deps(n).count()).collect();
        for n in 0..metas.len() {
            deps(n).for_each(|dep| builders[dep].push(n));
        }
        let rank = |n: usize| Reverse((time(&metas[n]), metas[n].start_op, metas[n].hash, n));
        let mut ready: BinaryHeap<_> = (0..metas.len()).filter(|n| waits[*n] == 0).map(rank).collect();
        // The latest time that each one or anything before it gives.
        let mut latest = vec![Timestamp::default(); metas.len()];
        let mut entries = Vec::with_capacity(metas.len());
        while let Some(Reverse((at, _, _, n))) = ready.pop() {
            let before = deps(n).map(|it| latest[it]).max().unwrap_or_default();
            latest[n] = before.max(at);
            if !schema::is_fixed_change(&metas[n].hash) {
                entries.push(entry(&metas[n], Some(before).filter(|it| *it > at)));
            }
            for next in std::mem::take(&mut builders[n]) {
                waits[next] -= 1;
                if waits[next] == 0 {
                    ready.push(rank(next));
                }
            }
        }
        entries.reverse();
        entries
    }

    /// The job as it was after these changes and everything that they build on; `None` when the document lacks one of them.
    pub fn at(&self, heads: &[ChangeHash]) -> Option<Job> {
        let known = heads.iter().all(|it| self.has(it));
        known.then(|| read::job(self.id, &View { doc: &self.doc, heads: Some(heads) }, &Parts::ALL))
    }

    /// What one change did; `None` when the document does not have it.
    pub fn step(&self, change: &ChangeHash) -> Option<Step> {
        let meta = self.doc.get_change_meta_by_hash(change)?;
        let touched = self.touched(change)?;
        let read = |heads: &[ChangeHash], parts: &Parts| {
            read::job(self.id, &View { doc: &self.doc, heads: Some(heads) }, parts)
        };
        let both = |parts: &Parts| Step { before: read(&meta.deps, parts), after: read(&[*change], parts) };
        let step = both(&touched);
        // The values of a dispute may name what is in other parts.
        let mut values = step.before.disputes.iter().chain(&step.after.disputes).flat_map(|it| &it.values);
        let unnamed = values.any(|it| Uuid::try_parse(it).is_ok());
        Some(if unnamed { both(&Parts::ALL) } else { step })
    }

    /// Every decision that was ever made, oldest first.
    pub fn decided(&self) -> Vec<Decided> {
        read::decided(&View::now(&self.doc))
    }

    /// The change that made a decision.
    pub fn chose(&self, choice: ChoiceId) -> Option<ChangeHash> {
        self.made(&[key::CHOICES, &choice.to_string()])
    }

    /// The change that noted that a sheet was printed.
    pub fn noted(&self, print: PrintId) -> Option<ChangeHash> {
        self.made(&[key::JOB, key::PRINTS, &print.to_string()])
    }

    fn made(&self, path: &[&str]) -> Option<ChangeHash> {
        let (root, rest) = path.split_first()?;
        let node = rest.iter().fold(super::node::Node::root(&self.doc, root), |node, key| node.child(&self.doc, key));
        let (counter, actor) = node.made()?;
        self.doc.hash_for_opid(&ObjId::Id(counter, actor.clone(), 0))
    }

    /// The parts of the job in which a change wrote.
    fn touched(&self, change: &ChangeHash) -> Option<Parts> {
        let change = self.doc.get_change_by_hash(change)?.decode();
        let mut rooms: BTreeMap<RoomId, Walls> = BTreeMap::new();
        let mut parts = Parts::default();
        for op in &change.operations {
            match self.path(op).as_slice() {
                [of, ..] if of == key::FLIGHTS => parts.flights = true,
                [of, ..] if of == key::GOODS => parts.goods = true,
                [of, ..] if of == key::CHOICES => parts.choices = true,
                [of, room, within @ ..] if of == key::ROOMS => {
                    let Ok(room) = Uuid::try_parse(room) else { continue };
                    let walls = rooms.entry(RoomId(room)).or_insert_with(|| Some(BTreeSet::new()));
                    match within {
                        [walls_of, wall, ..] if walls_of == key::WALLS => {
                            let wall = Uuid::try_parse(wall).ok().map(WallId);
                            walls.iter_mut().for_each(|it| it.extend(wall));
                        }
                        // It comes or goes with everything in it.
                        [] => *walls = None,
                        [field, ..] if field == key::REMOVED => *walls = None,
                        _ => {}
                    }
                }
                _ => {}
            }
        }
        parts.rooms = Some(rooms);
        Some(parts)
    }

    /// The first four keys on the way to what an operation writes.
    fn path(&self, op: &Op) -> Vec<String> {
        let Key::Map(own) = &op.key else { return Vec::new() };
        let mut keys = vec![own.to_string()];
        if let ObjectId::Id(id) = &op.obj {
            let map = ObjId::Id(id.counter(), id.actor().clone(), 0);
            let above = self.doc.parents(&map).into_iter().flatten();
            keys.extend(above.filter_map(|it| if let Prop::Map(key) = it.prop { Some(key) } else { None }));
        }
        keys.reverse();
        keys.truncate(4);
        keys
    }
}

fn time(meta: &ChangeMetadata<'_>) -> Timestamp {
    Timestamp(meta.timestamp.clamp(0, Timestamp::LAST.0))
}

fn entry(meta: &ChangeMetadata<'_>, earlier_than: Option<Timestamp>) -> Entry {
    let by = meta.author.as_ref().and_then(|it| Uuid::from_slice(it.as_bytes()).ok());
    Entry {
        change: meta.hash,
        by: DeviceId(by.unwrap_or_default()),
        at: time(meta),
        said: meta.message.as_ref().map_or_else(String::new, |it| it.chars().filter(|it| !it.is_control()).collect()),
        earlier_than,
    }
}
