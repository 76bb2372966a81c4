//! The demo house: two people measure it, its rings close, its rooms stand together, and nothing is wrong with it.

use std::collections::BTreeSet;

use shared_model::demo::{Action, actions};
use shared_model::guard;
use shared_model::ids::{DeviceId, JobId};
use shared_model::job::{Job, JobDoc, Match, Timestamp};
use shared_model::length::Length;
use shared_model::outline::{Certainty, sketch};
use shared_model::polygon::Axis;
use shared_model::problem::Problem;
use shared_model::takeoff::takeoff;
use uuid::Uuid;

/// Every person's actions on a phone each; both phones as they are in the end.
fn measured() -> [Job; 2] {
    let actions = actions();
    let people: BTreeSet<DeviceId> = actions.iter().map(|it| it.by).collect();
    let id = JobId(Uuid::from_u128(1));
    let mut phones: Vec<(DeviceId, JobDoc)> =
        people.iter().map(|&by| (by, JobDoc::new(id, *by.0.as_bytes(), by))).collect();
    for (at, Action { by, said, edits }) in (0..).zip(&actions) {
        let phone = phones.iter_mut().find(|it| it.0 == *by).unwrap();
        let change = phone.1.edit(edits, said, Timestamp(at)).unwrap().unwrap();
        for other in phones.iter_mut().filter(|it| it.0 != *by) {
            other.1.apply(vec![guard::change(&change.bytes, Some(*by)).unwrap()]).unwrap();
        }
    }
    let [one, two] = &phones[..] else { panic!("two people measure the house") };
    [one.1.job(), two.1.job()]
}

fn house() -> Job {
    let [one, two] = measured();
    assert_eq!(one, two);
    one
}

#[test]
fn two_people_measure_it_and_see_the_same() {
    let job = house();
    assert_eq!(job.name, "Sorrel Lane 14, Wexhollow");
    let people: Vec<&str> = job.people.values().map(String::as_str).collect();
    assert_eq!(people, ["Odile", "Teun"]);
    let rooms: Vec<&str> = job.rooms.iter().map(|it| it.name.as_str()).collect();
    assert_eq!(rooms, ["Hall", "Living room", "Dining room", "Back bedroom", "Closet", "Front bedroom", "Study"]);
    assert_eq!(job.flights.iter().map(|it| it.steps).collect::<Vec<_>>(), [13]);
    assert_eq!(job.goods.iter().map(|it| it.pattern).collect::<Vec<_>>(), [Match::None, Match::Set]);
    assert_eq!(job.disputes, []);
    assert_eq!(actions(), actions());
}

#[test]
fn one_wall_is_read_by_both() {
    let job = house();
    let wall = &job.rooms[0].walls[1];
    let readers: Vec<&str> = wall.in_force().map(|it| job.people[&it.stamp.by].as_str()).collect();
    assert_eq!(readers, ["Odile", "Teun"]);
    assert_eq!(sketch(&job.rooms[0], &job.rules).walls[1].certainty, Certainty::Agreed);
}

#[test]
fn its_rooms_close_and_stand_together() {
    let takeoff = takeoff(&house());
    assert_eq!(takeoff.problems, Vec::<Problem>::new());
    let rooms = &takeoff.floor.rooms;
    assert!(rooms.iter().all(|it| it.joined));
    let open = rooms.iter().filter(|it| it.outline.misclosure.gap > Length::ZERO).count();
    assert!((1..rooms.len()).contains(&open), "some tapes leave a little: {open}");
    // The house inside its outer walls, as invented: the back bedroom, the hall and the living room with its bay from north to south.
    let bounds = rooms.iter().filter_map(|it| it.ring.bounds()).reduce(|a, b| a.with(b)).unwrap();
    let off = |found: Length, invented: Length| (found - invented).abs() < Length::INCH;
    assert!(off(bounds.size(Axis::X), Length::feet(25)), "{}", bounds.size(Axis::X).exact_text());
    let deep = Length::inches(158 + 42 + 216 + 9 + 24);
    assert!(off(bounds.size(Axis::Y), deep), "{}", bounds.size(Axis::Y).exact_text());
    let groups: Vec<(usize, usize)> =
        takeoff.floor.groups.iter().map(|it| (it.rooms.len(), it.flights.len())).collect();
    assert_eq!(groups, [(6, 0), (0, 1), (1, 0)]);
}

#[test]
fn its_carpet_can_be_ordered() {
    let takeoff = takeoff(&house());
    assert_eq!(takeoff.goods.len(), 2);
    for goods in &takeoff.goods {
        let layout = goods.layout().unwrap();
        assert!(layout.order >= layout.roll.length && layout.order.0 % Length::inches(6).0 == 0);
        assert!(layout.ordered.0 >= layout.net.0);
    }
    // The study alone, 6' 7 1/2" and 3 in at both ends, in steps of 6 in.
    assert_eq!(takeoff.goods[1].layout().unwrap().order.exact_text(), "7' 6\"");
}

/// The phone's page and its engine hand jobs and takeoffs to each other as bytes.
#[test]
fn a_job_and_its_takeoff_keep_everything_as_bytes() {
    let job = house();
    assert_eq!(postcard::from_bytes(&postcard::to_stdvec(&job).unwrap()), Ok(job.clone()));
    let takeoff = takeoff(&job);
    assert_eq!(postcard::from_bytes(&postcard::to_stdvec(&takeoff).unwrap()), Ok(takeoff));
}
