use std::panic::{AssertUnwindSafe, catch_unwind};

use automerge::legacy::{Key, ObjectId, OpId, OpType};
use automerge::{ActorId, ObjType, ScalarValue};
use proptest::prelude::*;
use shared_model::guard;
use shared_model::history::{difference, restore};
use shared_model::job::{JobDoc, SyncState, Timestamp};

use super::crew::{JOB, add_room, device, phone};
use super::hostile::{chunk, contents, deflated, forged, frame, scene};

/// Takes in whatever the guard lets through. Whatever that is: nothing panics, and what was taken in can be read, goes on being
/// edited, and comes back from storage as it was.
fn survive(doc: &JobDoc, bytes: &[u8]) -> bool {
    let Ok(vetted) = guard::change(bytes, None) else { return false };
    let mut doc = JobDoc::load(JOB, &doc.save(), [6; 16], device(6)).unwrap();
    let applied = doc.apply(vec![vetted]);
    let job = doc.job();
    // Its history is told too, whatever it did.
    for entry in doc.timeline() {
        let step = doc.step(&entry.change).unwrap();
        let told = difference(&step.before, &step.after);
        told.iter().for_each(|it| drop((it.words(&job), restore(&it.what, &job, &doc.decided()))));
        assert_eq!(doc.at(&[entry.change]).map(|it| it.id), Some(JOB));
    }
    assert_eq!(doc.at(&doc.heads()).as_ref(), Some(&job));
    let again = JobDoc::load(JOB, &doc.save(), [8; 16], device(8)).unwrap();
    assert_eq!((again.heads(), &again.job()), (doc.heads(), &job));
    assert!(doc.edit(&[add_room(77, "Den")], "test", Timestamp(0)).unwrap().is_some());
    applied.is_ok_and(|it| !it.is_empty())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(4_000))]

    /// A change with some bytes changed and its checksum made right again.
    #[test]
    fn mutations_with_sound_checksums_do_no_harm(
        edits in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>(), 0..4_u8), 1..4),
    ) {
        let (doc, _, honest) = scene();
        let mut mutated = contents(&honest);
        for (at, byte, how) in edits {
            let at = at.index(mutated.len());
            match how {
                0 => mutated[at] = byte,
                1 => mutated[at] ^= 1 << (byte % 8),
                2 => mutated.insert(at, byte),
                _ => drop(mutated.remove(at)),
            }
        }
        survive(&doc, &chunk(1, &mutated));
        survive(&doc, &chunk(2, &deflated(&mutated)));
    }

    /// A change whose meaning is changed: well-formed, and nonsense.
    #[test]
    fn well_formed_nonsense_does_no_harm(
        at in any::<prop::sample::Index>(),
        counter in prop_oneof![0..30_u64, Just(u64::from(u32::MAX)), any::<u64>()],
        actor in 0..4_u8,
        how in 0..9_u8,
    ) {
        let (doc, ..) = scene();
        let built = catch_unwind(AssertUnwindSafe(|| forged(|it| {
            let id = OpId(counter, ActorId::from([actor; 16]));
            let at = at.index(it.operations.len());
            let operation = &mut it.operations[at];
            match how {
                0 => operation.obj = ObjectId::Id(id),
                1 => operation.pred = vec![id].into(),
                2 => operation.key = Key::Map(format!("{counter}").into()),
                3 => operation.action = OpType::Put(ScalarValue::Int(counter as i64)),
                4 => operation.action = OpType::Make(ObjType::Map),
                5 => it.seq = counter,
                6 => it.start_op = counter.max(1).try_into().unwrap(),
                7 => it.deps.clear(),
                _ => it.operations.extend(it.operations.clone()),
            }
        })));
        // What automerge itself cannot write need not be read.
        if let Ok(bytes) = built {
            survive(&doc, &bytes);
        }
    }

    #[test]
    fn noise_is_refused(noise in prop::collection::vec(any::<u8>(), 0..300), known in 0..1_000_usize) {
        let (_, _, honest) = scene();
        prop_assert!(guard::change(&noise, None).is_err());
        prop_assert!(guard::change(&frame(1, &noise), None).is_err());
        prop_assert!(guard::change(&chunk(2, &noise), None).is_err());
        let tail = [&honest[..honest.len() / 2], noise.as_slice()].concat();
        prop_assert!(guard::change(&tail, None).is_err());
        for version in [0x42, 0x43] {
            let message = [&[version], noise.as_slice()].concat();
            // A message may be sound by chance; then it is harmless.
            if let Ok(vetted) = guard::sync(&message, known, None, true) {
                let mut doc = phone(1);
                let result = doc.receive_sync(&mut SyncState::new(), vetted);
                prop_assert!(result.is_ok_and(|it| it.is_empty()));
            }
        }
    }
}

/// What the mutations above are worth: some get through the guard and into the document.
#[test]
fn some_forgeries_are_harmless_and_taken_in() {
    let (doc, _, honest) = scene();
    assert!(survive(&doc, &honest));
    assert!(survive(&doc, &forged(|it| it.time = 0)));
    assert!(survive(&doc, &forged(|it| it.operations[0].key = Key::Map("not a uuid".into()))));
}
