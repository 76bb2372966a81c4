use shared_model::guard;
use shared_model::ids::{DeviceId, JobId, ReadingId, RoomId, WallId};
use shared_model::job::{Edit, EditError, JobDoc, NewReading, Order, SyncState, Timestamp, Tool};
use shared_model::length::Length;
use uuid::Uuid;

const JOB: JobId = JobId(Uuid::from_u128(1));

fn device(n: u8) -> DeviceId {
    DeviceId(Uuid::from_u128(0xd0 + u128::from(n)))
}

fn phone(n: u8) -> JobDoc {
    JobDoc::new(JOB, [n; 16], device(n))
}

fn room(n: u128) -> RoomId {
    RoomId(Uuid::from_u128(0x100 + n))
}

fn wall(n: u128) -> WallId {
    WallId(Uuid::from_u128(0x200 + n))
}

fn add_room(n: u128, name: &str) -> Edit {
    Edit::AddRoom { room: room(n), name: name.to_owned(), level: 0, goods: None, order: Order::between(None, None) }
}

fn read(n: u128, inches: i64, supersedes: &[u128]) -> NewReading {
    NewReading {
        id: ReadingId(Uuid::from_u128(0x300 + n)),
        value: Length::inches(inches),
        typed: format!("{inches}\""),
        tool: Tool::Tape,
        supersedes: supersedes.iter().map(|it| ReadingId(Uuid::from_u128(0x300 + it))).collect(),
    }
}

/// One catch-up between a phone and a server, by messages, until neither has more to say.
fn catch_up(phone: &mut JobDoc, server: &mut JobDoc) {
    let (mut to_server, mut to_phone) = (SyncState::new(), SyncState::new());
    loop {
        let up = phone.sync_message(&mut to_server, false);
        if let Some(bytes) = &up {
            let vetted = guard::sync(bytes, server.len(), None, false).unwrap();
            server.receive_sync(&mut to_phone, vetted).unwrap();
        }
        let down = server.sync_message(&mut to_phone, true);
        if let Some(bytes) = &down {
            let vetted = guard::sync(bytes, phone.len(), None, true).unwrap();
            phone.receive_sync(&mut to_server, vetted).unwrap();
        }
        if up.is_none() && down.is_none() {
            return;
        }
    }
}

#[test]
fn what_is_typed_is_read_back_saved_and_loaded() {
    let mut doc = phone(1);
    let at = Timestamp(1_700_000_000);
    let edits = [
        Edit::NameJob { name: "Larch Row 4".into() },
        Edit::NamePerson { name: "Wren".into() },
        add_room(1, "Hall"),
        Edit::AddWall { room: room(1), wall: wall(1), order: Order::between(None, None) },
        Edit::AddReading { room: room(1), wall: wall(1), reading: read(1, 120, &[]) },
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
