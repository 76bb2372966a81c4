use automerge::transaction::Transactable;
use automerge::{ObjType, ROOT, ReadDoc, ScalarValue};
use shared_model::guard;
use shared_model::ids::{FixtureId, GoodsId, MarkId, OpeningId};
use shared_model::job::{
    DocError, Edit, EditError, Fixture, FixtureKind, FloorAtOpening, Job, JobDoc, MarkKind, NewMark, NewTurn, Opening,
    OpeningKind, Order, Rule, SyncState, Timestamp, Turn,
};
use shared_model::length::{Length, Units};
use shared_model::problem::Place;
use uuid::Uuid;

use super::crew::{JOB, act, add_reading, add_room, add_wall, catch_up, device, phone, reading, room, send, wall};
use super::hostile::scene;

#[test]
fn what_is_typed_is_read_back_saved_and_loaded() {
    let mut doc = phone(1);
    let at = Timestamp(1_700_000_000);
    let edits = [
        Edit::NameJob { name: "Larch Row 4".into() },
        Edit::NamePerson { name: "Wren".into() },
        add_room(1, "Hall"),
        add_wall(1, 1),
        add_reading(1, 1, 1, 120, &[]),
    ];
    let change = doc.edit(&edits, "first wall", at).unwrap().unwrap();
    let job = doc.job();
    assert_eq!((job.name.as_str(), job.schema), ("Larch Row 4", 1));
    assert_eq!(job.people[&device(1)], "Wren");
    let reading = &job.rooms[0].walls[0].readings[0];
    assert_eq!((reading.value, reading.typed.as_str()), (Length::feet(10), "120\""));
    assert_eq!((reading.stamp.by, reading.stamp.at), (device(1), at));

    let again = JobDoc::load(JOB, &doc.save(), [9; 16], device(2)).unwrap();
    assert_eq!(again.job(), job);
    let from_log = JobDoc::from_changes(JOB, None, [change.bytes.as_slice()].into_iter(), [8; 16], device(2)).unwrap();
    assert_eq!((from_log.job(), from_log.heads()), (job, doc.heads()));
    assert_eq!(doc.edit(&edits[..2], "again", at), Ok(None));
    assert_eq!(doc.edit(&edits[2..3], "again", at), Err(EditError::Exists(format!("room {}", room(1)))));
}

#[test]
fn two_phones_that_start_the_same_job_apart_hide_nothing() {
    let (mut anna, mut ben, mut server) = (phone(1), phone(2), phone(3));
    anna.edit(&[add_room(1, "Hall")], "room", Timestamp(50)).unwrap();
    ben.edit(&[add_room(2, "Den")], "room", Timestamp(10)).unwrap();
    catch_up(&mut anna, &mut server);
    catch_up(&mut ben, &mut server);
    catch_up(&mut anna, &mut server);
    assert_eq!(anna.heads(), ben.heads());
    assert_eq!(anna.job(), ben.job());
    let names: Vec<_> = anna.job().rooms.iter().map(|it| it.name.clone()).collect();
    assert_eq!(names, ["Hall", "Den"]);
}

fn door(width: i64, offset: i64) -> Opening {
    Opening {
        id: OpeningId(Uuid::from_u128(0x400)),
        wall: wall(1),
        kind: OpeningKind::Doorway,
        offset: Length::inches(offset),
        width: Length::inches(width),
        depth: Length::inches(5),
        floor: FloorAtOpening::SeamUnderDoor,
        leads_to: None,
    }
}

/// Two phones that have both changed what they had in common; the second has everything.
fn apart(common: &[Edit], of_first: &[Edit], of_second: &[Edit]) -> (JobDoc, JobDoc) {
    let (mut first, mut second) = (phone(1), phone(2));
    send(&[act(&mut first, common)], &mut second);
    let change = act(&mut first, of_first);
    act(&mut second, of_second);
    send(&[change], &mut second);
    (first, second)
}

#[test]
fn two_answers_at_once_are_both_shown_until_somebody_settles_it() {
    let common = [add_room(1, "Hall"), add_wall(1, 1), Edit::AddOpening { room: room(1), opening: door(30, 10) }];
    let set = |width, offset| Edit::SetOpening { room: room(1), opening: door(width, offset) };
    let (_, mut doc) = apart(&common, &[set(32, 10)], &[set(36, 10)]);
    let job = doc.job();
    let used = job.rooms[0].openings[0].width;
    let [dispute] = job.disputes.as_slice() else { panic!("{:?}", job.disputes) };
    assert_eq!(dispute.place, Place::Opening(room(1), door(0, 0).id));
    assert_eq!(dispute.field, "width of the doorway in the room Hall");
    assert_eq!(dispute.values[0], used.exact_text());
    let mut values = dispute.values.clone();
    values.sort_unstable();
    assert_eq!(values, ["2' 8\"", "3' 0\""]);

    // Who moves the door says nothing about its width.
    let used = used.0 / Length::INCH.0;
    act(&mut doc, &[set(used, 12)]);
    assert_eq!(doc.job().disputes, job.disputes);
    // Who confirms all that is in use settles it, without anything being deleted.
    let settled = act(&mut doc, &[set(used, 12)]);
    assert_eq!((doc.job().disputes, doc.job().rooms[0].openings[0].width), (Vec::new(), Length::inches(used)));
    assert!(guard::change(&settled, Some(device(2))).is_ok());
}

#[test]
fn the_same_answer_twice_is_no_dispute() {
    let name = Edit::NameRoom { room: room(1), name: "Den".into() };
    let (_, doc) = apart(&[add_room(1, "Hall")], std::slice::from_ref(&name), std::slice::from_ref(&name));
    assert_eq!((doc.job().rooms[0].name.as_str(), doc.job().disputes.len()), ("Den", 0));
}

#[test]
fn two_maps_made_apart_under_one_id_are_read_as_one() {
    let of_first = [add_room(1, "Hall"), add_wall(1, 1), add_reading(1, 1, 1, 96, &[])];
    let of_second = [add_room(1, "Passage"), add_wall(1, 1), add_reading(1, 1, 2, 97, &[]), add_wall(1, 2)];
    let (_, mut doc) = apart(&[Edit::NameJob { name: "Twice".into() }], &of_first, &of_second);
    let job = doc.job();
    let [hall] = job.rooms.as_slice() else { panic!("{:?}", job.rooms) };
    let walls: Vec<usize> = hall.walls.iter().map(|it| it.readings.len()).collect();
    assert_eq!(walls, [2, 0]);
    let mut names = job.disputes[0].values.clone();
    names.sort_unstable();
    assert_eq!((job.disputes.len(), names), (1, vec!["Hall".to_owned(), "Passage".to_owned()]));

    act(&mut doc, &[Edit::NameRoom { room: room(1), name: "Hall".into() }, add_reading(1, 1, 3, 98, &[1, 2])]);
    let job = doc.job();
    assert_eq!((job.rooms[0].name.as_str(), job.disputes.len()), ("Hall", 0));
    let in_force: Vec<_> = job.rooms[0].walls[0].in_force().map(|it| it.id).collect();
    assert_eq!(in_force, [reading(3)]);
}

/// The places for fixtures, marks and rises are made when they are needed first: here by two phones at once.
#[test]
fn what_two_phones_enter_first_in_a_room_stands_side_by_side() {
    let hearth = |n, width| Fixture {
        id: FixtureId(Uuid::from_u128(n)),
        kind: FixtureKind::Hearth,
        wall: wall(1),
        offset: Length::ZERO,
        clear: Length::ZERO,
        width: Length::inches(width),
        depth: Length::FOOT,
    };
    let note = |n| NewMark {
        id: MarkId(Uuid::from_u128(n)),
        kind: MarkKind::Squeak,
        wall: None,
        offset: Length::ZERO,
        clear: Length::ZERO,
        text: String::new(),
    };
    let rise = |n, supersedes: &[u128]| {
        let Edit::AddReading { room, wall, reading } = add_reading(1, 1, n, 4, supersedes) else { panic!("a reading") };
        Edit::AddRise { room, wall, inward: false, reading }
    };
    let room = room(1);
    let entered =
        |n| [Edit::AddFixture { room, fixture: hearth(n, 20) }, Edit::AddMark { room, mark: note(n) }, rise(n, &[])];
    let (_, mut doc) = apart(&[add_room(1, "Hall"), add_wall(1, 1)], &entered(1), &entered(2));
    let hall = |doc: &JobDoc| doc.job().rooms[0].clone();
    let before = hall(&doc);
    assert_eq!((before.fixtures.len(), before.marks.len(), before.walls[0].rises.len()), (2, 2, 2));

    // Either phone's can be changed, taken back and superseded, wherever it is kept.
    let withdraw = |n| Edit::WithdrawMark { room, mark: note(n).id, withdrawn: true };
    act(&mut doc, &[1, 2].map(|n| Edit::SetFixture { room, fixture: hearth(n, 30) }));
    act(&mut doc, &[withdraw(1), withdraw(2), rise(3, &[1, 2])]);
    let after = hall(&doc);
    assert!(after.fixtures.iter().all(|it| it.width == Length::inches(30)));
    assert_eq!(after.marks_in_force().count(), 0);
    let rises: Vec<_> = after.walls[0].rises_in_force().map(|it| it.reading.id).collect();
    assert_eq!((rises, doc.job().disputes), (vec![reading(3)], vec![]));
    act(&mut doc, &[1, 2].map(|n| Edit::RemoveFixture { room, fixture: hearth(n, 0).id, removed: true }));
    assert_eq!(hall(&doc).fixtures, []);
}

#[test]
fn what_is_entered_in_a_room_while_another_removes_it_comes_back_with_it() {
    let remove = |removed| Edit::RemoveRoom { room: room(1), removed };
    let common = [add_room(1, "Hall"), add_wall(1, 1)];
    let (_, mut doc) = apart(&common, &[remove(true)], &[add_reading(1, 1, 1, 96, &[])]);
    assert!(doc.job().rooms.is_empty());
    act(&mut doc, &[remove(false)]);
    assert_eq!(doc.job().rooms[0].walls[0].readings[0].id, reading(1));
}

/// The second phone's clock runs a day late; what it says is still newer, because it knew the first.
#[test]
fn clocks_decide_nothing() {
    let mut doc = phone(1);
    act(&mut doc, &[add_room(1, "Hall"), add_wall(1, 1)]);
    let mut late = JobDoc::load(JOB, &doc.save(), [7; 16], device(2)).unwrap();
    let state = |n: u128, turn, supersedes: &[u128]| Edit::StateTurn {
        room: room(1),
        wall: wall(1),
        turn: NewTurn {
            id: turn_id(n),
            turn,
            free: false,
            supersedes: supersedes.iter().map(|it| turn_id(*it)).collect(),
        },
    };
    let first = doc.edit(&[state(1, Turn::LEFT, &[])], "turn", Timestamp(2_000_000)).unwrap().unwrap();
    send(&[first.bytes], &mut late);
    late.edit(&[state(2, Turn::RIGHT, &[])], "turn", Timestamp(1_000_000)).unwrap();
    let wall = &late.job().rooms[0].walls[0];
    assert_eq!(wall.turn(), Turn::RIGHT);
    assert_eq!(wall.turns.iter().map(|it| it.id).collect::<Vec<_>>(), [turn_id(1), turn_id(2)]);
    late.edit(
        &[Edit::WithdrawTurn { room: room(1), wall: wall.id, turn: turn_id(2), withdrawn: true }],
        "",
        Timestamp(0),
    )
    .unwrap();
    assert_eq!(late.job().rooms[0].walls[0].turn(), Turn::LEFT);
}

fn turn_id(n: u128) -> shared_model::ids::TurnId {
    shared_model::ids::TurnId(Uuid::from_u128(0x500 + n))
}

#[test]
fn an_action_is_done_whole_or_not_at_all() {
    let mut doc = phone(1);
    act(&mut doc, &[add_room(1, "Hall")]);
    let (before, heads) = (doc.job(), doc.heads());
    let missing = add_reading(1, 9, 1, 96, &[]);
    let refused = doc.edit(&[add_room(2, "Den"), missing], "test", Timestamp(0)).unwrap_err();
    assert_eq!(refused, EditError::Missing(format!("wall {}", wall(9))));
    assert_eq!((doc.job(), doc.heads(), doc.len()), (before, heads, 2));
    act(&mut doc, &[add_room(2, "Den")]);
    assert_eq!(JobDoc::load(JOB, &doc.save(), [3; 16], device(1)).unwrap().job(), doc.job());
}

#[test]
fn an_entry_that_cannot_be_is_refused_with_the_reason() {
    let mut doc = phone(1);
    act(&mut doc, &[add_room(1, "Hall"), add_wall(1, 1), Edit::AddOpening { room: room(1), opening: door(30, 0) }]);
    let goods = Some(GoodsId(Uuid::from_u128(9)));
    let opening = |opening| Edit::SetOpening { room: room(1), opening };
    let cases = [
        (add_room(2, "  "), "the name of the room is empty"),
        (add_room(2, &"é".repeat(101)), "the name of the room is too long: 202 bytes, the most is 200"),
        (add_room(2, "a\u{0}b"), "the name of the room has control characters in it"),
        (
            Edit::SetRoomGoods { room: room(1), goods },
            "goods 00000000-0000-0000-0000-000000000009 does not exist in this job",
        ),
        (add_reading(1, 1, 1, 0, &[]), "the reading cannot be 0\": it must be more than zero"),
        (add_reading(1, 1, 1, 1_000_000, &[]), "the reading cannot be 83333' 4\": from zero to 10000000 mm"),
        (add_reading(1, 1, 1, 90, &[5]), "reading 00000000-0000-0000-0000-000000000305 does not exist in this job"),
        (opening(door(0, 0)), "the opening's width cannot be 0\": it must be more than zero"),
        (opening(door(30, -1)), "the opening's offset cannot be -1\": from zero to 10000000 mm"),
        (opening(Opening { leads_to: Some(room(1)), ..door(30, 0) }), "an opening cannot lead to its own room"),
        (Edit::SetRule { rule: Rule::ClosureRatio, value: 0 }, "the closure ratio cannot be 0: from 1 to 1000000"),
        (
            Edit::AddRoom { room: room(2), name: "Den".into(), level: 900, goods: None, order: Order::default() },
            "there is no floor 900: from -100 to 200",
        ),
    ];
    let before = doc.heads();
    for (edit, reason) in cases {
        let refused = doc.edit(std::slice::from_ref(&edit), "test", Timestamp(0)).unwrap_err();
        assert_eq!(refused.to_string(), reason, "{edit:?}");
    }
    assert_eq!(doc.heads(), before);
}

/// Another program wrote into the job: whatever it wrote, the job is read, and what is not understood is kept.
#[test]
fn what_cannot_be_read_is_left_out_or_takes_its_default() {
    let mut doc = phone(1);
    let goods = Edit::SetUnits { units: Units::Metric };
    act(&mut doc, &[goods, add_room(1, "Hall"), add_wall(1, 1), add_reading(1, 1, 1, 96, &[])]);
    let mut other = automerge::AutoCommit::load(&doc.save()).unwrap();
    let get = |doc: &automerge::AutoCommit, map: &automerge::ObjId, key: &str| doc.get(map, key).unwrap().unwrap().1;
    let rooms = get(&other, &ROOT, "rooms");
    let hall = get(&other, &rooms, &room(1).to_string());
    let readings = get(&other, &get(&other, &get(&other, &hall, "walls"), &wall(1).to_string()), "readings");
    let kept = get(&other, &readings, &reading(1).to_string());
    for (key, value) in [("level", ScalarValue::Str("high".into())), ("order", 7.into()), ("goods", "nobody".into())] {
        other.put(&hall, key, value).unwrap();
    }
    other.put(&hall, "name", ScalarValue::Bytes(vec![0xff])).unwrap();
    other.put(&kept, "tool", "elbow").unwrap();
    other.put(&kept, "supersedes", ScalarValue::Bytes(vec![1; 15])).unwrap();
    other.put(&kept, "colour", "red").unwrap();
    for (n, value) in [(2, i64::MAX.into()), (3, ScalarValue::F64(1.0)), (4, i64::MIN.into())] {
        let bad = other.put_object(&readings, reading(n).to_string(), ObjType::Map).unwrap();
        other.put(&bad, "value", value).unwrap();
    }
    other.put(&readings, "not a uuid", "x").unwrap();
    other.put(&readings, reading(5).to_string().to_uppercase(), "x").unwrap();
    other.put_object(&rooms, room(2).to_string(), ObjType::List).unwrap();
    other.put_object(&rooms, room(3).to_string(), ObjType::Map).unwrap();

    let mut doc = JobDoc::load(JOB, &other.save(), [2; 16], device(1)).unwrap();
    let job = doc.job();
    let names: Vec<&str> = job.rooms.iter().map(|it| it.name.as_str()).collect();
    assert_eq!((names, job.rooms[0].level), (vec!["", ""], 0));
    let readings = &job.rooms.iter().find(|it| it.id == room(1)).unwrap().walls[0].readings;
    let [reading] = readings.as_slice() else { panic!("{readings:?}") };
    assert_eq!((reading.value, reading.supersedes.len()), (Length::feet(8), 0));
    act(&mut doc, &[Edit::NameRoom { room: room(1), name: "Hall".into() }]);
    let again = automerge::AutoCommit::load(&doc.save()).unwrap();
    assert_eq!(again.get(&kept, "colour").unwrap().unwrap().0, "red".into());
}

/// A phone that was offline for a week sends frames that fit, and everything arrives.
#[test]
fn a_long_catch_up_comes_in_frames_that_fit() {
    let (mut phone_doc, mut server) = (phone(1), phone(2));
    act(&mut phone_doc, &[add_room(1, "Hall"), add_wall(1, 1)]);
    for n in 0..2_500 {
        let mut edit = add_reading(1, 1, n, 96, &[]);
        if let Edit::AddReading { reading, .. } = &mut edit {
            reading.typed = format!("{n:0>390}");
        }
        act(&mut phone_doc, &[edit]);
    }
    let (mut of_phone, mut of_server) = (SyncState::new(), SyncState::new());
    let mut frames = Vec::new();
    while let Some(up) = phone_doc.sync_message(&mut of_phone, false) {
        frames.push(up.len());
        server.receive_sync(&mut of_server, guard::sync(&up, server.len(), Some(device(1)), false).unwrap()).unwrap();
        let Some(down) = server.sync_message(&mut of_server, true) else { break };
        phone_doc.receive_sync(&mut of_phone, guard::sync(&down, 0, None, true).unwrap()).unwrap();
    }
    assert!(frames.iter().filter(|it| **it > 100_000).count() > 1, "{frames:?}");
    assert!(frames.iter().all(|it| *it < shared_model::wire::MOST_FRAME_BYTES - 100), "{frames:?}");
    assert_eq!(server.heads(), phone_doc.heads());
}

#[test]
fn a_device_that_edits_is_one_of_the_people() {
    let mut doc = phone(1);
    act(&mut doc, &[add_room(1, "Hall")]);
    let mut other = JobDoc::load(JOB, &doc.save(), [5; 16], device(2)).unwrap();
    act(&mut other, &[Edit::NamePerson { name: "Ines".into() }]);
    let people: Vec<_> = other.job().people.into_iter().collect();
    assert_eq!(people, [(device(1), String::new()), (device(2), "Ines".to_owned())]);
}

/// The job is plain data too: it survives the open file's format.
#[test]
fn a_job_is_written_as_json_and_read_back() {
    let mut doc = phone(1);
    act(&mut doc, &[add_room(1, "Hall"), add_wall(1, 1), add_reading(1, 1, 1, 96, &[])]);
    let json = serde_json::to_string(&doc.job()).unwrap();
    assert_eq!(serde_json::from_str::<Job>(&json).unwrap(), doc.job());
}

#[test]
fn damaged_storage_is_found() {
    let (doc, history, _) = scene();
    let saved = doc.save();
    let open = |snapshot: Option<&[u8]>, changes: &[Vec<u8>]| {
        JobDoc::from_changes(JOB, snapshot, changes.iter().map(Vec::as_slice), [8; 16], device(1))
    };
    assert_eq!(open(None, &history).unwrap().job(), doc.job());
    assert_eq!(open(Some(&saved), &history).unwrap().job(), doc.job());
    for bit in (0..saved.len() * 8).step_by(7) {
        let mut damaged = saved.clone();
        damaged[bit / 8] ^= 1 << (bit % 8);
        assert!(matches!(open(Some(&damaged), &[]), Err(DocError::Damaged(_))), "bit {bit}");
    }
    for length in (0..saved.len()).step_by(5) {
        assert!(matches!(open(Some(&saved[..length]), &[]), Err(DocError::Damaged(_))), "the first {length} bytes");
    }
    assert!(open(Some(&[saved.clone(), saved].concat()), &[]).is_err(), "two documents in one");
    let mut damaged = history.clone();
    damaged[1][20] ^= 1;
    assert!(matches!(open(None, &damaged), Err(DocError::DamagedChange { index: 1, .. })));
    assert!(matches!(open(None, &[history.concat()]), Err(DocError::DamagedChange { index: 0, .. })));
    // A gap is no damage: what comes behind it waits until somebody brings the missing change.
    let mut gap = open(None, &history[1..]).unwrap();
    assert_eq!((gap.missing().len(), gap.job().rooms.len()), (1, 0));
    send(&history[..1], &mut gap);
    assert_eq!((gap.missing().len(), gap.job()), (0, doc.job()));
    let foreign = automerge::AutoCommit::new().save();
    assert!(matches!(open(Some(&foreign), &[]), Err(DocError::Damaged(_))));
}

#[test]
fn too_much_for_one_action_is_refused_before_it_is_a_change() {
    let mut doc = phone(1);
    let rooms: Vec<Edit> = (0..400).map(|n| add_room(n, "Room")).collect();
    assert!(matches!(doc.edit(&rooms, "test", Timestamp(0)), Err(EditError::Invalid(_))));
    assert_eq!((doc.len(), doc.job().rooms.len()), (1, 0));
    let bytes = act(&mut doc, &rooms[..200]);
    assert!(guard::change(&bytes, Some(device(1))).is_ok());
}
