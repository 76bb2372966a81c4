//! The fuzzer's kept corpus, and mutations of it, at every door through which bytes come in.

use std::fs;

use napline_tests::server::workspace;
use proptest::prelude::*;
use proptest::sample::Index;
use proptest::test_runner::{Config, TestRunner};
use shared_model::ids::{DeviceId, JobId};
use shared_model::job::{DocError, JobDoc};
use uuid::Uuid;

use super::doors::{DOORS, chunk};

/// Nothing kept does harm at a door, and no mutation of it; and the corpus is not so old that all of it is refused.
fn hold(name: &str, mutations: u32) {
    let door = DOORS.iter().find(|it| it.0 == name).unwrap().1;
    let kept = corpus(name);
    let mut taken = 0;
    for (file, bytes) in &kept {
        println!("{file}");
        taken += usize::from(door(bytes));
    }
    assert!(taken > 0, "nothing of {name} gets in: make the corpus anew");
    let mutated = mutated(kept.into_iter().map(|it| it.1).collect());
    let config = Config { failure_persistence: None, ..Config::with_cases(mutations) };
    let held = TestRunner::new(config).run(&mutated, |bytes| {
        door(&bytes);
        Ok(())
    });
    held.unwrap_or_else(|found| panic!("{name}: {found}"));
}

/// The kept bytes of a door, with the names of their files.
fn corpus(name: &str) -> Vec<(String, Vec<u8>)> {
    let folder = workspace().join("fuzz/corpus").join(name);
    let files = fs::read_dir(&folder).unwrap_or_else(|error| panic!("{}: {error}", folder.display()));
    let mut kept: Vec<_> = files
        .map(|file| {
            let path = file.unwrap().path();
            (path.display().to_string(), fs::read(&path).unwrap())
        })
        .collect();
    assert!(!kept.is_empty(), "{} is empty", folder.display());
    kept.sort();
    kept
}

/// One of them with some bytes changed, put in, taken out, or taken from another.
fn mutated(kept: Vec<Vec<u8>>) -> impl Strategy<Value = Vec<u8>> {
    let pick = any::<Index>();
    let edits = prop::collection::vec((any::<Index>(), any::<Index>(), any::<u8>(), 0..5_u8), 1..5);
    (pick, pick_run(), edits).prop_map(move |(one, (other, start, length), edits)| {
        let mut bytes = one.get(&kept).clone();
        for (at, to, byte, how) in edits {
            let (at, to) = (at.index(bytes.len() + 1), to.index(bytes.len() + 1));
            match how {
                0 => bytes.iter_mut().skip(at).take(1).for_each(|it| *it = byte),
                1 => bytes.iter_mut().skip(at).take(1).for_each(|it| *it ^= 1 << (byte % 8)),
                2 => bytes.insert(at, byte),
                3 => drop(bytes.drain(at.min(to)..at.max(to).min(at.min(to) + usize::from(byte % 8)))),
                _ => {
                    let run = other.get(&kept).iter().skip(start).take(length).copied();
                    drop(bytes.splice(at..at, run));
                }
            }
        }
        bytes
    })
}

fn pick_run() -> impl Strategy<Value = (Index, usize, usize)> {
    (any::<Index>(), 0..200_usize, 1..40_usize)
}

#[test]
fn frames() {
    hold("frame", 4_000);
}

#[test]
fn changes() {
    hold("change", 3_000);
}

#[test]
fn catch_up_messages() {
    hold("catch_up", 2_000);
}

#[test]
fn documents() {
    hold("document", 1_000);
}

/// It loads in automerge, which then cannot give back its last two changes.
#[test]
fn a_document_that_is_untrue_about_the_numbers_of_its_changes_is_damaged() {
    let bytes = fs::read(workspace().join("fuzz/corpus/document/missing-operations")).unwrap();
    let loaded = JobDoc::load(JobId(Uuid::nil()), &chunk(0, &bytes), [6; 16], DeviceId(Uuid::nil()));
    let Err(DocError::Damaged(reason)) = loaded else { panic!("it was taken for sound") };
    assert!(reason.ends_with("its operations are not numbered on from those before"), "{reason}");
}

#[test]
fn job_files() {
    hold("job_file", 1_000);
}

#[test]
fn open_jobs() {
    hold("takeoff", 100);
}

#[test]
fn rooms_to_adjust() {
    hold("adjust", 1_000);
}

#[test]
fn pieces_to_nest() {
    hold("nest", 1_000);
}

#[test]
fn what_people_type() {
    hold("entry", 10_000);
}

#[test]
fn every_door_is_tried() {
    assert_eq!(DOORS.len(), 9);
    let mut named: Vec<_> = fs::read_dir(workspace().join("fuzz/fuzz_targets")).unwrap().collect();
    named.retain(|it| it.as_ref().is_ok_and(|it| it.path().extension().is_some_and(|it| it == "rs")));
    assert_eq!(named.len(), DOORS.len());
}
