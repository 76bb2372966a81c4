use shared_model::job::{Edit, EditError, JobDoc, Timestamp};
use shared_model::length::Length;

use super::crew::{JOB, add_reading, add_room, add_wall, catch_up, device, phone, room};

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
