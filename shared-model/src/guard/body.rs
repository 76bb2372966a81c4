//! The contents of a change, read by ourselves before automerge does: who, after what, and which operations.
//!
//! A job's document has only maps, written by two kinds of operations: make a map under a key, and put a value under a key.
//! Everything else that automerge knows (lists, texts, counters, marks, deletes) is refused.
//!
//! Layout: *Automerge binary format*, change chunks and columns. <https://automerge.org/automerge-binary-format-spec/>

use std::collections::{BTreeMap, BTreeSet};

use super::bytes::{Bytes, Runs, malformed};
use super::{MOST_MESSAGE, MOST_OPS, Refusal};
use crate::job;

const MOST_DEPS: u64 = 1_000;
const MOST_ACTORS: u64 = 1_000;
/// Most values that one operation replaces: as many as there can be at the same time.
const MOST_REPLACED: u64 = 1_000;
const MOST_KEY: usize = 64;
const MOST_VALUE: u64 = 1_100;
/// Maps within maps; the schema needs six.
pub(crate) const MOST_DEPTH: usize = 8;
/// Automerge counts operations in 32 bits.
const MOST_COUNTER: u64 = u32::MAX as u64 - 1_000_000;

/// Automerge sums up differences between times; seconds up to the year 9999.
const MOST_TIME: u64 = job::Timestamp::LAST.0.unsigned_abs();

const AUTHOR: u64 = 1;

/// What the checks after this one want to know of a change.
#[derive(Clone, PartialEq, Debug)]
pub(super) struct Body<'a> {
    pub actor: &'a [u8],
    pub seq: u64,
    pub author: Option<[u8; 16]>,
    pub refers: Refers,
}

/// What a change refers to outside itself.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub(crate) struct Refers {
    pub root: bool,
    /// The maps of earlier changes that it writes into, and how many levels of maps it makes below each.
    pub maps: Vec<(Operation, usize)>,
    /// The values of earlier changes that it replaces.
    pub replaced: Vec<Operation>,
}

/// An operation of an earlier change, by its counter and its actor.
pub(crate) type Operation = (u64, Vec<u8>);

pub(super) fn read(contents: &[u8]) -> Result<Body<'_>, Refusal> {
    let mut bytes = Bytes(contents);
    let deps = bytes.count("number of dependencies", MOST_DEPS)?;
    let mut before: &[u8] = &[];
    for _ in 0..deps {
        let hash = bytes.take(32)?;
        if hash <= before {
            return malformed("its dependencies are not in order");
        }
        before = hash;
    }
    let actor = actor(&mut bytes)?;
    let seq = bytes.unsigned()?;
    let start = bytes.count("number of its first operation", MOST_COUNTER)?;
    if seq == 0 || start == 0 {
        return malformed("its numbers start at zero");
    }
    if bytes.signed()?.unsigned_abs() > MOST_TIME {
        return malformed("its time is out of all reason");
    }
    let message = bytes.count("message", MOST_MESSAGE as u64)?;
    if std::str::from_utf8(bytes.take(message)?).is_err() {
        return malformed("its message is no text");
    }
    let mut actors = vec![actor];
    for _ in 0..bytes.count("number of actors", MOST_ACTORS)? {
        actors.push(self::actor(&mut bytes)?);
    }
    let columns = Columns::read(&mut bytes)?;
    let author = author(&mut bytes)?;
    let refers = operations(&columns, &actors, start)?;
    Ok(Body { actor, seq, author, refers })
}

fn actor<'a>(bytes: &mut Bytes<'a>) -> Result<&'a [u8], Refusal> {
    match bytes.unsigned()? {
        16 => bytes.take(16),
        other => malformed(&format!("an actor of {other} bytes")),
    }
}

/// What stands behind the operations: nothing, or the author.
fn author(bytes: &mut Bytes<'_>) -> Result<Option<[u8; 16]>, Refusal> {
    if bytes.is_empty() {
        return Ok(None);
    }
    if bytes.unsigned()? != AUTHOR || bytes.unsigned()? != 16 {
        return malformed("what stands behind the operations is not an author");
    }
    let mut author = [0; 16];
    author.copy_from_slice(bytes.take(16)?);
    if bytes.is_empty() { Ok(Some(author)) } else { malformed("there is more behind the author") }
}

/// The columns of the operations that we allow; absent ones are empty.
#[derive(Default)]
struct Columns<'a> {
    object_actor: &'a [u8],
    object_counter: &'a [u8],
    key: &'a [u8],
    insert: &'a [u8],
    action: &'a [u8],
    value_form: &'a [u8],
    value: &'a [u8],
    replaced_count: &'a [u8],
    replaced_actor: &'a [u8],
    replaced_counter: &'a [u8],
}

impl<'a> Columns<'a> {
    fn read(bytes: &mut Bytes<'a>) -> Result<Self, Refusal> {
        let mut columns = Self::default();
        let mut lengths = Vec::new();
        for _ in 0..bytes.count("number of columns", 10)? {
            let column = bytes.unsigned()?;
            if lengths.last().is_some_and(|(before, _)| *before >= column) {
                return malformed("its columns are not in order");
            }
            lengths.push((column, bytes.unsigned()?));
        }
        for (column, length) in lengths {
            let data = bytes.take(length)?;
            *columns.named(column)? = data;
        }
        Ok(columns)
    }

    /// A column's number has its group, whether it is deflated (never in a change), and its type in three bits.
    fn named(&mut self, column: u64) -> Result<&mut &'a [u8], Refusal> {
        Ok(match column {
            0x01 => &mut self.object_actor,
            0x02 => &mut self.object_counter,
            0x15 => &mut self.key,
            0x34 => &mut self.insert,
            0x42 => &mut self.action,
            0x56 => &mut self.value_form,
            0x57 => &mut self.value,
            0x70 => &mut self.replaced_count,
            0x71 => &mut self.replaced_actor,
            0x73 => &mut self.replaced_counter,
            other => return malformed(&format!("a column {other:#x} that no job has")),
        })
    }
}

fn text<'a>(bytes: &mut Bytes<'a>) -> Result<&'a str, Refusal> {
    let length = bytes.count("key", MOST_KEY as u64)?;
    std::str::from_utf8(bytes.take(length)?).or_else(|_| malformed("a key is no text"))
}

/// Reads every operation and checks it.
fn operations(columns: &Columns<'_>, actors: &[&[u8]], start: u64) -> Result<Refers, Refusal> {
    let mut object_actor = Runs::new(columns.object_actor, Bytes::unsigned);
    let mut object_counter = Runs::new(columns.object_counter, Bytes::unsigned);
    let mut key = Runs::new(columns.key, text);
    let mut action = Runs::new(columns.action, Bytes::unsigned);
    let mut value_form = Runs::new(columns.value_form, Bytes::unsigned);
    let mut value = Bytes(columns.value);
    let mut replaced = Replaced::new(columns);
    let mut maps = Maps::default();
    let mut count = 0;
    while !action.is_done() {
        if count == MOST_OPS as u64 {
            return Err(Refusal::TooLarge { what: "number of operations", found: count + 1, most: MOST_OPS as u64 });
        }
        let own = start + count;
        if key.next()?.is_none_or(str::is_empty) {
            return malformed("an operation without a key");
        }
        let into = match (object_actor.next()?, object_counter.next()?) {
            (None, None) => maps.root(),
            (Some(0), Some(counter)) if counter >= start => maps.made(counter)?,
            (Some(actor), Some(counter)) if counter > 0 && actor < actors.len() as u64 => {
                maps.outside((counter, actor))
            }
            _ => return malformed("an operation in no map"),
        };
        match action.next()? {
            Some(0) if value_form.next()? == Some(0) => maps.make(own, into)?,
            Some(1) => check_value(value_form.next()?, &mut value)?,
            _ => return malformed("an operation of a kind that no job has"),
        }
        replaced.next(actors.len() as u64, start)?;
        count += 1;
    }
    let done = object_actor.is_done() && object_counter.is_done() && key.is_done() && value_form.is_done();
    if count == 0 || !done || !value.is_empty() || !replaced.is_done() || !inserts_nothing(columns.insert, count)? {
        return malformed("its columns are not of one length");
    }
    let named = |(counter, actor): (u64, u64)| Some((counter, actors.get(usize::try_from(actor).ok()?)?.to_vec()));
    Ok(Refers {
        root: maps.writes_root,
        maps: maps.outside.into_iter().filter_map(|(map, levels)| Some((named(map)?, levels))).collect(),
        replaced: replaced.earlier.into_iter().filter_map(named).collect(),
    })
}

/// The maps that a change makes and writes into.
#[derive(Default)]
struct Maps {
    /// By the counter of the operation that made it.
    made: BTreeMap<u64, Map>,
    /// Counter and actor of the operation that made it, and how many levels are made below.
    outside: BTreeMap<(u64, u64), usize>,
    writes_root: bool,
}

/// How deep a map is below the root, or below a map of an earlier change.
#[derive(Clone, Copy)]
struct Map {
    below: Option<(u64, u64)>,
    level: usize,
}

impl Maps {
    fn root(&mut self) -> Map {
        self.writes_root = true;
        Map { below: None, level: 0 }
    }

    fn made(&self, counter: u64) -> Result<Map, Refusal> {
        self.made.get(&counter).copied().map_or_else(|| malformed("an operation in a map that is not made yet"), Ok)
    }

    fn outside(&mut self, map: (u64, u64)) -> Map {
        self.outside.entry(map).or_insert(0);
        Map { below: Some(map), level: 0 }
    }

    fn make(&mut self, own: u64, into: Map) -> Result<(), Refusal> {
        let level = into.level + 1;
        if level > MOST_DEPTH {
            return Err(Refusal::TooLarge { what: "depth", found: level as u64, most: MOST_DEPTH as u64 });
        }
        if let Some(levels) = into.below.and_then(|it| self.outside.get_mut(&it)) {
            *levels = level.max(*levels);
        }
        self.made.insert(own, Map { level, ..into });
        Ok(())
    }
}

/// A value's form has its type in the lower four bits and its length above.
fn check_value(form: Option<u64>, values: &mut Bytes<'_>) -> Result<(), Refusal> {
    let Some(form) = form else { return malformed("an operation without a value") };
    let length = form >> 4;
    if length > MOST_VALUE {
        return Err(Refusal::TooLarge { what: "value", found: length, most: MOST_VALUE });
    }
    let mut value = Bytes(values.take(length)?);
    let sound = match form & 0xf {
        // Null, false, true.
        0..=2 => value.is_empty(),
        // A signed number.
        4 => value.signed().is_ok() && value.is_empty(),
        // Text, bytes.
        6 => std::str::from_utf8(value.0).is_ok(),
        7 => true,
        _ => return malformed("a value of a kind that no job has"),
    };
    if sound { Ok(()) } else { malformed("a value that cannot be read") }
}

/// The values that operations replace: how many for each, and for all of them actor and counter (as differences).
struct Replaced<'a> {
    count: Runs<'a, u64>,
    actor: Runs<'a, u64>,
    step: Runs<'a, i64>,
    counter: i64,
    /// Counter and actor of those that earlier changes wrote.
    earlier: BTreeSet<(u64, u64)>,
}

impl<'a> Replaced<'a> {
    fn new(columns: &Columns<'a>) -> Self {
        Self {
            count: Runs::new(columns.replaced_count, Bytes::unsigned),
            actor: Runs::new(columns.replaced_actor, Bytes::unsigned),
            step: Runs::new(columns.replaced_counter, Bytes::signed),
            counter: 0,
            earlier: BTreeSet::new(),
        }
    }

    fn next(&mut self, actors: u64, start: u64) -> Result<(), Refusal> {
        let Some(count) = self.count.next()? else {
            return malformed("an operation that does not say what it replaces");
        };
        if count > MOST_REPLACED {
            return Err(Refusal::TooLarge { what: "number of values replaced", found: count, most: MOST_REPLACED });
        }
        for _ in 0..count {
            let (Some(actor), Some(step)) = (self.actor.next()?, self.step.next()?) else {
                return malformed("an operation that replaces nothing");
            };
            self.counter = self.counter.saturating_add(step);
            if actor >= actors || self.counter <= 0 {
                return malformed("an operation that replaces what cannot be");
            }
            let counter = self.counter.unsigned_abs();
            if actor > 0 || counter < start {
                self.earlier.insert((counter, actor));
            }
        }
        Ok(())
    }

    fn is_done(&self) -> bool {
        self.count.is_done() && self.actor.is_done() && self.step.is_done()
    }
}

/// The column that says which operations insert into a list: runs of no and yes in turn.
fn inserts_nothing(column: &[u8], count: u64) -> Result<bool, Refusal> {
    let mut bytes = Bytes(column);
    Ok(bytes.is_empty() || (bytes.unsigned()? == count && bytes.is_empty()))
}
