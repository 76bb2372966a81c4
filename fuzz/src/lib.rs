//! Every door through which bytes come in from outside, as one function each: it takes any bytes, answers whether anything got
//! in, and panics when it does harm. The fuzzer runs them on what it invents, and the ordinary tests on the kept corpus and on mutations of it.
//!
//! A wrong checksum is all that most invented bytes would show. So the doors put sound checksums, lengths and seals around
//! them first: that is what an attacker does.

use std::io::{Read, Write};
use std::panic::catch_unwind;

use automerge::sync::Message;
use flate2::Compression;
use flate2::read::DeflateDecoder;
use flate2::write::DeflateEncoder;
use serde_json::Value;
use sha2::{Digest, Sha256};
use shared_model::guard::{self, VettedChange};
use shared_model::history::{difference, restore};
use shared_model::ids::{DeviceId, JobId, RoomId};
use shared_model::job::{Angle, Edit, EditError, JobDoc, Order, SyncState, Timestamp, Turn};
use shared_model::job_file;
use shared_model::length::{Length, Units};
use shared_model::nest::file::Cutting;
use shared_model::nest::{self, Budget};
use shared_model::wire::Frame;
use shared_model::{survey, takeoff};
use uuid::Uuid;

pub type Door = fn(&[u8]) -> bool;

pub const DOORS: [(&str, Door); 9] = [
    ("frame", frame),
    ("change", change),
    ("catch_up", catch_up),
    ("document", document),
    ("job_file", job_file_of),
    ("takeoff", takeoff_of),
    ("adjust", adjust),
    ("nest", nest_of),
    ("entry", entry),
];

/// A saved document: the job as it is before anything comes in.
const BEFORE: &[u8] = include_bytes!("../job.automerge");

const JOB: JobId = JobId(Uuid::from_u128(1));
const READER: DeviceId = DeviceId(Uuid::from_u128(0xfd));

const MAGIC: [u8; 4] = [0x85, 0x6f, 0x4a, 0x83];
/// The first bit of a byte that says how the rest comes in.
const DEFLATED: u8 = 1;
const WHOLE: u8 = 1;
/// A change that is already in its frame, or several.
const FRAMED: u8 = 2;

/// A frame of the socket.
pub fn frame(bytes: &[u8]) -> bool {
    let Ok(frame) = Frame::decode(bytes) else { return false };
    assert_eq!(Frame::decode(&frame.encode()), Ok(frame));
    true
}

/// What stands in a change's frame, behind a byte that says whether it is deflated; or framed changes.
pub fn change(bytes: &[u8]) -> bool {
    let Some((how, contents)) = bytes.split_first() else { return false };
    let chunks = match how & (FRAMED | DEFLATED) {
        0 => chunk(1, contents),
        DEFLATED => chunk(2, &deflated(contents)),
        _ => repaired(contents),
    };
    let all = guard::changes(&chunks).unwrap_or_default();
    assert_eq!(guard::change(&chunks, None).is_ok(), all.len() == 1);
    all.into_iter().map(take_in).filter(|it| *it).count() > 0
}

/// Takes in what the guard let through, into a job that knows what most changes of the corpus build on.
fn take_in(vetted: VettedChange) -> bool {
    let mut doc = before();
    let (heads, hash) = (doc.heads(), vetted.hash());
    let taken = doc.apply(vec![vetted]);
    match &taken {
        Ok(new) => assert!(new.is_empty() || doc.has(&hash)),
        Err(_) => assert_eq!(doc.heads(), heads, "what is refused changes nothing"),
    }
    unharmed(doc);
    taken.is_ok_and(|it| !it.is_empty())
}

/// A catch-up message, behind a byte that says whether a server may have sent it.
pub fn catch_up(bytes: &[u8]) -> bool {
    let Some((how, message)) = bytes.split_first() else { return false };
    let mut doc = before();
    let message = catch_unwind(|| with_sound_changes(message)).unwrap_or(None).unwrap_or_else(|| message.to_vec());
    let Ok(vetted) = guard::sync(&message, doc.len(), None, how & WHOLE == WHOLE) else { return false };
    let (heads, mut state, trusted) = (doc.heads(), SyncState::new(), vetted.has_document());
    let taken = doc.receive_sync(&mut state, vetted);
    if taken.is_err() {
        assert_eq!(doc.heads(), heads, "what is refused changes nothing");
    }
    // A document from the phone's own server is trusted: what it holds may be what no guard lets in again.
    let honest = taken.iter().flatten().all(|it| guard::change(&it.bytes, None).is_ok());
    assert!(honest || trusted, "a change was let in that is refused when it comes again");
    // What it says of itself shapes the answers.
    for whole in [true, false] {
        if let Some(answer) = doc.sync_message(&mut state, whole) {
            assert!(!honest || guard::sync(&answer, doc.len(), None, true).is_ok(), "no honest answer");
        }
    }
    unharmed(doc);
    taken.is_ok_and(|it| !it.is_empty())
}

fn with_sound_changes(message: &[u8]) -> Option<Vec<u8>> {
    let mut message = Message::decode(message).ok()?;
    message.changes = message.changes.iter().map(repaired).collect::<Vec<_>>().into();
    Some(message.encode())
}

/// A whole document, as storage has it and a server sends it: what stands in its frame.
pub fn document(contents: &[u8]) -> bool {
    let Ok(doc) = JobDoc::load(JOB, &chunk(0, contents), [6; 16], READER) else { return false };
    unharmed(doc);
    true
}

/// A job's file, with the seal made right.
pub fn job_file_of(bytes: &[u8]) -> bool {
    let Ok(file) = job_file::read(&sealed(bytes)) else { return false };
    let mut doc = JobDoc::new(file.job, [6; 16], READER);
    doc.apply(file.changes).expect("changes that were put together once");
    assert_eq!(doc.heads().iter().map(|it| it.0).collect::<Vec<_>>(), file.heads);
    let again =
        job_file::read(&job_file::write(&doc, &file.photos, Vec::new()).expect("a file")).expect("a sound file");
    assert_eq!((again.heads, again.photos), (file.heads, file.photos));
    true
}

/// The job file of `napline takeoff`.
pub fn takeoff_of(bytes: &[u8]) -> bool {
    let answer = |it: takeoff::file::FileTakeoff| (it.json().expect("numbers that JSON has"), it.text());
    read_text(bytes, |it| takeoff::file::run(it).map(answer))
}

/// The room of `napline adjust`.
pub fn adjust(bytes: &[u8]) -> bool {
    let answer = |it: survey::file::FileAdjustment| (it.json().expect("numbers that JSON has"), it.text());
    read_text(bytes, |it| survey::file::run(it).map(answer))
}

/// The pieces of `napline nest`: some thousands take their time, and no more harm than a few.
pub fn nest_of(bytes: &[u8]) -> bool {
    const MOST_PIECES: u64 = 500;
    let text = String::from_utf8_lossy(bytes);
    let asked: Value = serde_json::from_str(&text).unwrap_or_default();
    let counts = asked["pieces"].as_array().into_iter().flatten().filter_map(|it| it["count"].as_u64());
    if counts.fold(0_u64, u64::saturating_add) > MOST_PIECES {
        return false;
    }
    let answer = |it: nest::file::FilePlan| (it.json().expect("numbers that JSON has"), it.text());
    let run = |cutting| read_text(bytes, |it| nest::file::run(it, cutting, Budget::QUICK, |_| true).map(answer));
    run(Cutting::Freehand) | run(Cutting::EdgeToEdge)
}

fn read_text<E>(bytes: &[u8], run: impl Fn(&str) -> Result<(String, String), E>) -> bool {
    let Ok((json, text)) = run(&String::from_utf8_lossy(bytes)) else { return false };
    assert!(json.ends_with('\n') && !text.is_empty());
    true
}

/// What people type: lengths, angles, turns.
pub fn entry(bytes: &[u8]) -> bool {
    let text = String::from_utf8_lossy(bytes);
    let [imperial, metric] = [Units::Imperial, Units::Metric].map(|it| Length::parse(&text, it));
    for length in [&imperial, &metric].into_iter().flatten() {
        assert!(length.abs() <= Length::MOST);
        for units in [Units::Imperial, Units::Metric] {
            assert_eq!(Length::parse(&length.exact_text(), units).as_ref(), Ok(length), "{text:?}");
            assert!(!length.show_up(units.style()).is_empty());
        }
    }
    let (angle, turn) = (Angle::parse(&text), Turn::parse(&text));
    if let Ok(angle) = &angle {
        assert_eq!(Angle::parse(&angle.show()).as_ref(), Ok(angle), "{text:?}");
    }
    assert!(turn.as_ref().is_ok_and(|it| it.is_possible()) || turn.is_err());
    imperial.is_ok() || metric.is_ok() || angle.is_ok() || turn.is_ok()
}

/// Whatever was taken in: the job can be read, told, edited, and comes back from storage as it was.
pub fn unharmed(mut doc: JobDoc) {
    let job = doc.job();
    for entry in doc.timeline() {
        let step = doc.step(&entry.change).expect("a step of the job's history");
        let told = difference(&step.before, &step.after);
        told.iter().for_each(|it| drop((it.words(&job), restore(&it.what, &job, &doc.decided()))));
        assert_eq!(doc.at(&[entry.change]).map(|it| it.id), Some(job.id));
    }
    assert_eq!(doc.at(&doc.heads()).as_ref(), Some(&job));
    let again = JobDoc::load(job.id, &doc.save(), [8; 16], READER).expect("a document that was just saved");
    assert_eq!((again.heads(), &again.job()), (doc.heads(), &job));
    let (room, order) = (RoomId(Uuid::from_u128(0xfe)), Order::between(None, None));
    let edit = Edit::AddRoom { room, name: "Den".to_owned(), level: 0, goods: None, order };
    match doc.edit(&[edit], "test", Timestamp(0)) {
        Ok(change) => assert!(change.is_some_and(|it| guard::change(&it.bytes, Some(READER)).is_ok())),
        Err(error) => assert!(matches!(error, EditError::ReadOnly | EditError::Exists(_)), "{error}"),
    }
}

fn before() -> JobDoc {
    JobDoc::load(JOB, BEFORE, [6; 16], READER).expect("the kept document")
}

/// A chunk of automerge's with a sound length and checksum: the start of the SHA-256 of all that stands behind it, inflated.
pub fn chunk(kind: u8, contents: &[u8]) -> Vec<u8> {
    let inflated = (kind == 2).then(|| inflated(contents));
    let (summed, plain) = inflated.as_deref().map_or((kind, contents), |it| (1, it));
    let sum = Sha256::digest([&[summed], number(plain.len()).as_slice(), plain].concat());
    [&MAGIC, &sum[..4], &[kind], number(contents.len()).as_slice(), contents].concat()
}

/// Framed chunks, with their lengths and checksums made right.
pub fn repaired(mut bytes: &[u8]) -> Vec<u8> {
    let mut all = Vec::new();
    while let Some((kind, rest)) = bytes.get(8..).and_then(|it| it.split_first()) {
        let digits = rest.iter().take(9).take_while(|it| **it & 0x80 != 0).count() + 1;
        let low = rest.iter().take(digits).rev().fold(0_u64, |sum, it| sum << 7 | u64::from(it & 0x7f));
        let rest = rest.get(digits..).unwrap_or_default();
        let (contents, behind) = rest.split_at(rest.len().min(usize::try_from(low).unwrap_or(usize::MAX)));
        all.extend(chunk(*kind, contents));
        bytes = behind;
    }
    all.extend_from_slice(bytes);
    all
}

fn deflated(contents: &[u8]) -> Vec<u8> {
    let mut encoder = DeflateEncoder::new(Vec::new(), Compression::fast());
    // Memory takes whatever it is given.
    let _ = encoder.write_all(contents);
    encoder.finish().unwrap_or_default()
}

fn inflated(contents: &[u8]) -> Vec<u8> {
    let mut plain = Vec::new();
    // What cannot be inflated has no checksum that would be right.
    let _ = DeflateDecoder::new(contents).take(1 << 20).read_to_end(&mut plain);
    plain
}

/// An unsigned LEB128 number.
fn number(mut n: usize) -> Vec<u8> {
    let mut bytes = Vec::new();
    while n >= 0x80 {
        bytes.push(n as u8 | 0x80);
        n >>= 7;
    }
    bytes.push(n as u8);
    bytes
}

/// An archive whose last 64 digits are those of the SHA-256 of what stands before them.
fn sealed(bytes: &[u8]) -> Vec<u8> {
    let before = &bytes[..bytes.len().saturating_sub(64)];
    let digits: String = Sha256::digest(before).iter().map(|it| format!("{it:02x}")).collect();
    [before, digits.as_bytes()].concat()
}
