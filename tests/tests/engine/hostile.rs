use std::io::Write;
use std::panic::catch_unwind;

use automerge::legacy::{Key, ObjectId, Op, OpId, OpType};
use automerge::{ActorId, Change, ExpandedChange, ObjType, ScalarValue};
use flate2::Compression;
use flate2::write::DeflateEncoder;
use shared_model::guard::{self, Refusal};
use shared_model::job::{DocError, Edit, JobDoc, SyncState, Timestamp};

use super::crew::{JOB, act, add_reading, add_room, add_wall, device, phone, send};

/// A job with a room, a wall and three readings, its history, and an honest change that it does not have yet.
pub fn scene() -> (JobDoc, Vec<Vec<u8>>, Vec<u8>) {
    let mut doc = phone(1);
    let history = vec![
        act(&mut doc, &[add_room(1, "Hall"), add_wall(1, 1), add_reading(1, 1, 1, 96, &[])]),
        act(&mut doc, &[add_reading(1, 1, 2, 97, &[1])]),
    ];
    let mut other = phone(2);
    send(&history, &mut other);
    let honest = act(&mut other, &[add_wall(1, 2), add_reading(1, 2, 3, 150, &[])]);
    (doc, history, honest)
}

/// A chunk with this type and these contents, and no checksum.
pub fn frame(kind: u8, contents: &[u8]) -> Vec<u8> {
    let mut bytes = vec![0x85, 0x6f, 0x4a, 0x83, 0, 0, 0, 0, kind];
    bytes.extend(number(contents.len() as u64));
    bytes.extend_from_slice(contents);
    bytes
}

/// The same with a sound checksum, if automerge can read it at all.
pub fn chunk(kind: u8, contents: &[u8]) -> Vec<u8> {
    let mut bytes = frame(kind, contents);
    if let Ok(Ok(change)) = catch_unwind(|| Change::try_from(bytes.as_slice())) {
        bytes[4..8].copy_from_slice(&change.hash().0[..4]);
    }
    bytes
}

/// An unsigned LEB128 number.
fn number(mut n: u64) -> Vec<u8> {
    let mut bytes = Vec::new();
    while n >= 0x80 {
        bytes.push(n as u8 | 0x80);
        n >>= 7;
    }
    bytes.push(n as u8);
    bytes
}

/// What stands behind the frame of an undeflated change chunk.
pub fn contents(bytes: &[u8]) -> Vec<u8> {
    let raw = Change::try_from(bytes).unwrap().raw_bytes().to_vec();
    let length_bytes = raw[9..].iter().take_while(|it| **it & 0x80 != 0).count() + 1;
    raw[9 + length_bytes..].to_vec()
}

pub fn deflated(contents: &[u8]) -> Vec<u8> {
    let mut encoder = DeflateEncoder::new(Vec::new(), Compression::best());
    encoder.write_all(contents).unwrap();
    encoder.finish().unwrap()
}

/// Deflated zeros, 1 MiB for each kibibyte, without ever holding them.
fn zeros(mebibytes: usize) -> Vec<u8> {
    let mut encoder = DeflateEncoder::new(Vec::new(), Compression::best());
    (0..mebibytes).for_each(|_| encoder.write_all(&[0; 1 << 20]).unwrap());
    encoder.finish().unwrap()
}

fn refused(bytes: &[u8]) -> Refusal {
    guard::change(bytes, None).unwrap_err()
}

/// The honest change of the scene, changed in its meaning and written anew with a sound checksum.
pub fn forged(change: impl FnOnce(&mut ExpandedChange)) -> Vec<u8> {
    let (_, _, honest) = scene();
    forged_from(&honest, change)
}

fn forged_from(honest: &[u8], change: impl FnOnce(&mut ExpandedChange)) -> Vec<u8> {
    let mut expanded = Change::try_from(honest).unwrap().decode();
    change(&mut expanded);
    Change::from(expanded).raw_bytes().to_vec()
}

#[test]
fn every_honest_change_passes_and_its_author_is_known() {
    let (mut doc, history, honest) = scene();
    let vetted = guard::change(&honest, Some(device(2))).unwrap();
    assert_eq!((vetted.author(), vetted.seq(), vetted.deps()), (Some(device(2)), 1, doc.heads().as_slice()));
    assert_eq!(vetted.actor().to_bytes(), [2; 16]);
    assert_eq!(guard::change(&history[1], Some(device(1))).unwrap().author(), None);
    let genesis = JobDoc::new(JOB, [3; 16], device(3)).changes_since(&[]).remove(0).bytes;
    assert_eq!(guard::change(&genesis, Some(device(9))).unwrap().author(), None);
    assert_eq!(doc.apply(vec![vetted]).unwrap().len(), 1);
}

#[test]
fn a_change_under_another_devices_name_is_refused() {
    let (_, _, honest) = scene();
    assert_eq!(guard::change(&honest, Some(device(1))).unwrap_err(), Refusal::NotTheAuthor);
    let nameless = forged(|it| it.extra_bytes.clear());
    assert!(matches!(refused(&nameless), Refusal::Foreign(_)));
}

/// Some bits of a deflated stream mean nothing: then it is the same change.
#[test]
fn every_flipped_bit_is_refused() {
    let (_, _, honest) = scene();
    let plain = chunk(1, &contents(&honest));
    let hash = guard::change(&honest, None).unwrap().hash();
    for bytes in [honest, plain] {
        for bit in 0..bytes.len() * 8 {
            let mut bytes = bytes.clone();
            bytes[bit / 8] ^= 1 << (bit % 8);
            assert!(guard::change(&bytes, None).map_or(true, |it| it.hash() == hash), "bit {bit}");
        }
    }
}

#[test]
fn every_part_of_a_change_and_anything_behind_it_is_refused() {
    let (doc, _, honest) = scene();
    for length in 0..honest.len() {
        assert!(guard::change(&honest[..length], None).is_err(), "the first {length} bytes");
    }
    for more in [vec![0], honest.clone(), b"more".to_vec()] {
        assert!(guard::change(&[honest.clone(), more].concat(), None).is_err());
    }
    assert!(matches!(refused(&doc.save()), Refusal::Malformed(_)), "a whole document is not a change");
    assert!(matches!(refused(&chunk(3, &contents(&honest))), Refusal::Malformed(_)), "nor is a bundle");
    let behind = [deflated(&contents(&honest)), vec![0; 3]].concat();
    assert!(matches!(refused(&chunk(2, &behind)), Refusal::Malformed(_)), "bytes behind the deflated part");
}

#[test]
fn a_small_chunk_cannot_fill_the_memory() {
    let bomb = zeros(200);
    assert!(bomb.len() < guard::MOST_BYTES, "{} bytes for 200 MiB", bomb.len());
    let found = guard::MOST_BYTES as u64 + 1;
    assert_eq!(refused(&frame(2, &bomb)), Refusal::TooLarge { what: "inflated change", found, most: found - 1 });
    // A megabyte for a gibibyte is refused for its own size.
    let found = guard::MOST_BYTES as u64 + 20;
    assert!(matches!(refused(&vec![0; found as usize]), Refusal::TooLarge { what: "change", .. }));
}

/// The contents of a first change of some actor with these columns of operations.
fn with_columns(columns: &[(u8, &[u8])]) -> Vec<u8> {
    let mut contents = [vec![0, 16], vec![7; 16], vec![1, 1, 0, 0, 0, columns.len() as u8]].concat();
    for (column, data) in columns {
        contents.push(*column);
        contents.extend(number(data.len() as u64));
    }
    columns.iter().for_each(|(_, data)| contents.extend_from_slice(data));
    contents
}

#[test]
fn a_few_bytes_cannot_stand_for_a_billion_operations() {
    // A run of 2^50 times the same, as signed LEB128.
    let run = [0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x02];
    let (key, action, form) =
        ([run.as_slice(), &[1, b'k']].concat(), [run.as_slice(), &[1]].concat(), [run.as_slice(), &[0]].concat());
    let replaces_none = [run.as_slice(), &[0]].concat();
    let operations = with_columns(&[(0x15, &key), (0x42, &action), (0x56, &form), (0x70, &replaces_none)]);
    let most = guard::MOST_OPS as u64;
    assert_eq!(
        refused(&frame(1, &operations)),
        Refusal::TooLarge { what: "number of operations", found: most + 1, most }
    );

    // One operation that replaces 2^42 values.
    let count = [[0x7f].as_slice(), &number(1 << 42)].concat();
    let (actor, step) = ([run.as_slice(), &[0]].concat(), [run.as_slice(), &[1]].concat());
    let one = [
        (0x15, [0x7f, 1, b'k'].as_slice()),
        (0x42, &[0x7f, 1]),
        (0x56, &[0x7f, 0]),
        (0x70, &count),
        (0x71, &actor),
        (0x73, &step),
    ];
    assert!(matches!(
        refused(&frame(1, &with_columns(&one))),
        Refusal::TooLarge { what: "number of values replaced", .. }
    ));
}

/// Someone else's program on a copy of the job: it can write what it likes.
fn stranger(doc: &JobDoc) -> automerge::AutoCommit {
    let mut copy = automerge::AutoCommit::load(&doc.save()).unwrap();
    copy.set_author(Some(automerge::Author::from(device(9).0.as_bytes().to_vec())));
    copy.set_actor(ActorId::from([9; 16]));
    copy
}

/// What the stranger wrote last, as one chunk.
fn written(stranger: &mut automerge::AutoCommit) -> Vec<u8> {
    stranger.commit();
    stranger.get_last_local_change().unwrap().raw_bytes().to_vec()
}

/// The stranger's way to the room of the scene.
fn hall(stranger: &automerge::AutoCommit) -> automerge::ObjId {
    use automerge::ReadDoc;
    let rooms = stranger.get(automerge::ROOT, "rooms").unwrap().unwrap().1;
    stranger.get(&rooms, super::crew::room(1).to_string()).unwrap().unwrap().1
}

#[test]
fn maps_within_maps_are_counted_within_a_change_and_across_changes() {
    use automerge::transaction::Transactable;
    let (mut doc, ..) = scene();
    let mut deep = stranger(&doc);
    let mut map = hall(&deep);
    for _ in 0..1_000 {
        map = deep.put_object(&map, "x", ObjType::Map).unwrap();
    }
    assert!(matches!(refused(&written(&mut deep)), Refusal::TooLarge { what: "depth", .. }));

    let mut deep = stranger(&doc);
    let mut map = hall(&deep);
    let mut taken = Vec::new();
    for _ in 0..10 {
        map = deep.put_object(&map, "x", ObjType::Map).unwrap();
        let vetted = guard::change(&written(&mut deep), Some(device(9))).unwrap();
        taken.push(doc.apply(vec![vetted]).is_ok_and(|it| it.len() == 1));
    }
    // The room is the second level, the eighth is the last.
    assert_eq!(taken, [[true; 6].as_slice(), &[false; 4]].concat());
    assert_eq!(doc.job().rooms.len(), 1);
}

#[test]
fn what_no_job_has_is_refused() {
    use automerge::transaction::Transactable;
    let (doc, ..) = scene();
    let attacks: [fn(&mut automerge::AutoCommit, automerge::ObjId); 9] = [
        |it, hall| drop(it.put_object(&hall, "x", ObjType::List).unwrap()),
        |it, hall| drop(it.put_object(&hall, "x", ObjType::Text).unwrap()),
        |it, hall| it.put(&hall, "name", 0.5).unwrap(),
        |it, hall| it.put(&hall, "name", ScalarValue::counter(1)).unwrap(),
        |it, hall| it.put(&hall, "name", ScalarValue::Timestamp(1)).unwrap(),
        |it, hall| it.delete(&hall, "name").unwrap(),
        |it, hall| it.put(&hall, "x".repeat(65), 1).unwrap(),
        |it, hall| it.put(&hall, "name", "x".repeat(1_101)).unwrap(),
        |it, _| it.put(automerge::ROOT, "schema", 7).unwrap(),
    ];
    for (n, attack) in attacks.into_iter().enumerate() {
        let mut stranger = stranger(&doc);
        let hall = hall(&stranger);
        attack(&mut stranger, hall);
        assert!(guard::change(&written(&mut stranger), None).is_err(), "attack {n}");
    }
    let mut harmless = stranger(&doc);
    let hall = hall(&harmless);
    harmless.put(&hall, "colour of the door", "green").unwrap();
    assert!(guard::change(&written(&mut harmless), None).is_ok(), "an unknown key is kept");
}

#[test]
fn the_schemas_own_changes_cannot_be_forged() {
    let schema = |n: u8| {
        forged(|it| {
            it.actor_id = ActorId::from([b"napline\0schema\0".as_slice(), &[n]].concat());
            it.extra_bytes.clear();
        })
    };
    assert!(matches!(refused(&schema(1)), Refusal::Foreign(_)));
    assert_eq!(guard::change(&schema(9), Some(device(2))).unwrap_err(), Refusal::Newer { found: 9, known: 1 });
}

/// A newer version's change comes from the own server: the job is kept and can be read, but no longer written here.
#[test]
fn a_job_of_a_newer_schema_is_read_only() {
    use automerge::transaction::Transactable;
    let mut doc = phone(1);
    let mut newer = automerge::AutoCommit::load(&doc.save()).unwrap();
    act(&mut doc, &[add_room(1, "Hall")]);
    newer.set_actor(ActorId::from(b"napline\0schema\0\x02".as_slice()));
    newer.put(automerge::ROOT, "schema", 2).unwrap();
    newer.put_object(automerge::ROOT, "landings", ObjType::Map).unwrap();
    let vetted = guard::change(&written(&mut newer), None).unwrap();
    doc.apply(vec![vetted]).unwrap();
    assert_eq!((doc.job().schema, doc.job().rooms.len()), (2, 1));
    let refused = doc.edit(&[add_room(2, "Den")], "test", Timestamp(0)).unwrap_err();
    assert_eq!(refused, shared_model::job::EditError::ReadOnly);
    let again = JobDoc::load(JOB, &doc.save(), [5; 16], device(1)).unwrap();
    assert_eq!(again.job(), doc.job());
}

/// Forgeries that only the document can find out: each passes the guard, is refused whole, and changes nothing.
#[test]
fn what_does_not_fit_the_document_is_refused_and_changes_nothing() {
    type Attack<'a> = (&'static str, &'a dyn Fn(&mut ExpandedChange));
    let stray = |counter| OpId(counter, ActorId::from([1; 16]));
    let attacks: [Attack<'_>; 6] = [
        ("numbered far too high", &|it| it.start_op = 4_000_000_000.try_into().unwrap()),
        ("numbered too low", &|it| it.start_op = 2.try_into().unwrap()),
        ("a gap in its actor's changes", &|it| {
            it.seq = 7;
            it.extra_bytes.clear();
        }),
        ("in a map that is not there", &|it| it.operations[0].obj = ObjectId::Id(stray(999))),
        ("in a value that is no map", &|it| {
            it.operations.push(Op {
                action: OpType::Put(ScalarValue::Null),
                obj: ObjectId::Id(stray(12)),
                key: Key::Map("x".into()),
                pred: Vec::new().into(),
                insert: false,
            });
        }),
        ("replaces what is not there", &|it| it.operations[1].pred = vec![stray(999)].into()),
    ];
    for (attack_name, attack) in attacks {
        let (mut doc, history, _) = scene();
        let (before, heads) = (doc.job(), doc.heads());
        let mut other = phone(2);
        send(&history, &mut other);
        let name = Edit::NameRoom { room: super::crew::room(1), name: "Passage".into() };
        let honest = act(&mut other, &[name, Edit::CloseRoom { room: super::crew::room(1), closed: true }]);
        let vetted = guard::change(&forged_from(&honest, attack), None).unwrap();
        let result = doc.apply(vec![vetted]);
        assert!(matches!(result, Err(DocError::Refused(_))), "{attack_name}: {result:?}");
        assert_eq!((doc.job(), doc.heads()), (before, heads), "{attack_name}");
        assert!(doc.edit(&[add_room(5, "Den")], "test", Timestamp(0)).unwrap().is_some(), "{attack_name}");
        assert_eq!(JobDoc::load(JOB, &doc.save(), [8; 16], device(1)).unwrap().heads(), doc.heads(), "{attack_name}");
    }
}

#[test]
fn one_actor_cannot_have_two_changes_of_one_number() {
    let (mut doc, history, _) = scene();
    // The same actor on two clones of a phone.
    let mut clones = [phone(7), phone(7)];
    clones.iter_mut().for_each(|it| send(&history, it));
    let first = act(&mut clones[0], &[add_room(2, "Den")]);
    let second = act(&mut clones[1], &[add_room(3, "Attic")]);
    send(&[first], &mut doc);
    let before = doc.job();
    let vetted = guard::change(&second, Some(device(7))).unwrap();
    assert!(matches!(doc.apply(vec![vetted]), Err(DocError::Refused(_))));
    assert_eq!(doc.job(), before);
}

/// A forgery that waits for a change that it depends on must not keep out that change.
#[test]
fn a_waiting_forgery_does_not_keep_out_what_it_waits_for() {
    let (mut doc, history, _) = scene();
    let mut other = phone(2);
    send(&history, &mut other);
    let good = act(&mut other, &[add_room(2, "Den")]);
    let follows = act(&mut other, &[add_room(3, "Attic")]);
    let bad = forged_from(&follows, |it| it.operations[0].key = Key::Map("x".into()));
    let bad = forged_from(&bad, |it| it.operations[1].pred = vec![OpId(1, ActorId::from([1; 16]))].into());
    send(&[bad], &mut doc);
    assert_eq!(doc.missing().len(), 1);
    send(&[good], &mut doc);
    assert_eq!(doc.job().rooms.len(), 2);
    send(&[follows], &mut doc);
    assert_eq!(doc.job().rooms.len(), 3);
}

#[test]
fn catch_up_messages_are_vetted() {
    let (doc, _, honest) = scene();
    let sound = doc.sync_message(&mut SyncState::new(), false).unwrap();
    assert!(guard::sync(&sound, 0, None, false).is_ok());

    // Version 1, no heads, no need, one summary without heads, its Bloom filter, no changes.
    let bloom = |filter: &[u8]| [&[0x42, 0, 0, 1, 0], number(filter.len() as u64).as_slice(), filter, &[0]].concat();
    assert!(guard::sync(&bloom(&[]), 0, None, false).is_ok());
    assert!(guard::sync(&bloom(&[1, 10, 7, 0, 0]), 0, None, false).is_ok());
    let no_bits = bloom(&[1, 0, 7]);
    assert_eq!(no_bits.len(), 10);
    assert!(guard::sync(&no_bits, 0, None, false).is_err());
    let a_million_probes = bloom(&[[1, 10].as_slice(), &number(1_000_000), &[0, 0]].concat());
    assert!(guard::sync(&a_million_probes, 0, None, false).is_err());
    let huge = bloom(&[number(u64::from(u32::MAX)), vec![10, 7, 0]].concat());
    assert!(guard::sync(&huge, 0, None, false).is_err());
    let unsorted = [vec![0x42, 2], vec![9; 32], vec![1; 32], vec![0, 0, 0]].concat();
    assert!(guard::sync(&unsorted, 0, None, false).is_err());

    let with_change = |change: &[u8]| [&[0x42, 0, 0, 0, 1], number(change.len() as u64).as_slice(), change].concat();
    assert_eq!(guard::sync(&with_change(&honest), 0, Some(device(2)), false).unwrap().changes().len(), 1);
    assert_eq!(guard::sync(&with_change(&honest), 0, Some(device(1)), false).unwrap_err(), Refusal::NotTheAuthor);
    assert!(guard::sync(&with_change(&doc.save()), 0, None, false).is_err(), "a document among single changes");
    assert!(guard::sync(&with_change(&frame(2, &zeros(200))), 0, None, false).is_err(), "a bomb");
    assert!(guard::sync(&[with_change(&honest), vec![0; 9]].concat(), 0, None, false).is_err(), "bytes behind the end");
    let mut whole = with_change(&doc.save());
    whole[0] = 0x43;
    assert!(guard::sync(&whole, 0, None, false).is_err(), "a whole document from a phone");
    assert!(guard::sync(&whole, 0, None, true).is_ok(), "a whole document from the own server");
}
