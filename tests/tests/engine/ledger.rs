//! What everybody typed, written down beside the documents, and compared with what the job says in the end.

use std::collections::BTreeMap;

use automerge::ChangeHash;
use shared_model::ids::{
    ChoiceId, DeviceId, FixtureId, FlightId, GoodsId, MarkId, OpeningId, PhotoId, PrintId, ReadingId, RoomId, TurnId,
    WallId,
};
use shared_model::job::{
    Across, Edit, Fixture, Flight, Goods, Job, JobDoc, NewChoice, NewMark, NewPhoto, NewReading, NewTurn, Opening,
};
use shared_model::problem::Place;

use super::fields::{Field, in_job, of_edit};

/// A thing that exists under its id.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Thing {
    Room(RoomId),
    Wall(RoomId, WallId),
    Opening(RoomId, OpeningId),
    Flight(FlightId),
    Goods(GoodsId),
    Choice(ChoiceId),
    Reading(RoomId, WallId, ReadingId),
    Check(RoomId, ReadingId),
    Turn(RoomId, WallId, TurnId),
    Rise(RoomId, WallId, ReadingId),
    Fixture(RoomId, FixtureId),
    Mark(RoomId, MarkId),
    Print(PrintId),
    Photo(PhotoId),
}

/// One value given to one field.
struct Write {
    change: ChangeHash,
    value: String,
    /// Changes of people who knew this value and gave one anew.
    settled_by: Vec<ChangeHash>,
}

#[derive(Default)]
pub struct Ledger {
    made: BTreeMap<Thing, ChangeHash>,
    readings: BTreeMap<ReadingId, (DeviceId, NewReading)>,
    checks: BTreeMap<ReadingId, (DeviceId, Across, NewReading)>,
    turns: BTreeMap<TurnId, (DeviceId, NewTurn)>,
    rises: BTreeMap<ReadingId, (DeviceId, bool, NewReading)>,
    marks: BTreeMap<MarkId, (DeviceId, NewMark)>,
    photos: BTreeMap<PhotoId, (DeviceId, NewPhoto)>,
    choices: BTreeMap<ChoiceId, (DeviceId, NewChoice)>,
    fields: BTreeMap<Field, Vec<Write>>,
}

impl Ledger {
    /// How many things were made.
    pub fn len(&self) -> usize {
        self.made.len()
    }

    /// The things that the document knows, removed ones too, in the order of their ids.
    pub fn known(&self, doc: &JobDoc) -> Vec<Thing> {
        self.made.iter().filter(|(_, change)| doc.has(change)).map(|(thing, _)| *thing).collect()
    }

    /// The fields that an edit will write, with their values, given the job as its device sees it.
    pub fn will_write(&self, doc: &JobDoc, job: &Job, by: DeviceId, edit: &Edit) -> Vec<(Field, String)> {
        let mut all = of_edit(edit, by);
        if let Edit::SetOpening { .. } | Edit::SetFixture { .. } | Edit::SetFlight { .. } | Edit::SetGoods { .. } = edit
        {
            let in_use = in_job(job);
            let differs: Vec<_> =
                all.iter().filter(|(field, value)| in_use.get(field) != Some(value)).cloned().collect();
            if !differs.is_empty() {
                return differs;
            }
        }
        // A value that stands alone and is given again is no news.
        all.retain(|(field, value)| {
            let standing: Vec<&Write> = self.writes(field).iter().filter(|it| stands_for(doc, it)).collect();
            standing.len() != 1 || standing[0].value != *value
        });
        all
    }

    fn writes(&self, field: &Field) -> &[Write] {
        self.fields.get(field).map_or(&[], Vec::as_slice)
    }

    /// Writes down an edit that was done.
    pub fn note(&mut self, doc: &JobDoc, by: DeviceId, edit: &Edit, writes: Vec<(Field, String)>, change: ChangeHash) {
        for (field, value) in writes {
            let before = self.fields.entry(field).or_default();
            before.iter_mut().filter(|it| doc.has(&it.change)).for_each(|it| it.settled_by.push(change));
            before.push(Write { change, value, settled_by: Vec::new() });
        }
        let thing = match edit {
            Edit::AddRoom { room, .. } => Thing::Room(*room),
            Edit::AddWall { room, wall, .. } => Thing::Wall(*room, *wall),
            Edit::AddOpening { room, opening: Opening { id, .. } } => Thing::Opening(*room, *id),
            Edit::AddFlight { flight: Flight { id, .. } } => Thing::Flight(*id),
            Edit::AddGoods { goods: Goods { id, .. } } => Thing::Goods(*id),
            Edit::AddReading { room, wall, reading } => {
                self.readings.insert(reading.id, (by, reading.clone()));
                Thing::Reading(*room, *wall, reading.id)
            }
            Edit::AddCheck { room, of, reading } => {
                self.checks.insert(reading.id, (by, *of, reading.clone()));
                Thing::Check(*room, reading.id)
            }
            Edit::StateTurn { room, wall, turn } => {
                self.turns.insert(turn.id, (by, turn.clone()));
                Thing::Turn(*room, *wall, turn.id)
            }
            Edit::AddRise { room, wall, inward, reading } => {
                self.rises.insert(reading.id, (by, *inward, reading.clone()));
                Thing::Rise(*room, *wall, reading.id)
            }
            Edit::AddFixture { room, fixture: Fixture { id, .. } } => Thing::Fixture(*room, *id),
            Edit::AddMark { room, mark } => {
                self.marks.insert(mark.id, (by, mark.clone()));
                Thing::Mark(*room, mark.id)
            }
            Edit::Choose { choice } => {
                self.choices.insert(choice.id, (by, choice.clone()));
                Thing::Choice(choice.id)
            }
            Edit::NotePrint { print, .. } => Thing::Print(*print),
            Edit::AddPhoto { photo } => {
                self.photos.insert(photo.id, (by, photo.clone()));
                Thing::Photo(photo.id)
            }
            _ => return,
        };
        self.made.insert(thing, change);
    }

    /// The edits that bring back everything that was ever removed or whose choice was withdrawn.
    pub fn bring_back(&self) -> Vec<Edit> {
        let back = |thing: &Thing| match *thing {
            Thing::Room(room) => Some(Edit::RemoveRoom { room, removed: false }),
            Thing::Wall(room, wall) => Some(Edit::RemoveWall { room, wall, removed: false }),
            Thing::Opening(room, opening) => Some(Edit::RemoveOpening { room, opening, removed: false }),
            Thing::Flight(flight) => Some(Edit::RemoveFlight { flight, removed: false }),
            Thing::Goods(goods) => Some(Edit::RemoveGoods { goods, removed: false }),
            Thing::Choice(choice) => Some(Edit::WithdrawChoice { choice, withdrawn: false }),
            Thing::Fixture(room, fixture) => Some(Edit::RemoveFixture { room, fixture, removed: false }),
            Thing::Reading(..) | Thing::Check(..) | Thing::Turn(..) | Thing::Rise(..) | Thing::Mark(..) => None,
            Thing::Print(_) | Thing::Photo(_) => None,
        };
        self.made.keys().filter_map(back).collect()
    }

    /// Checks a job in which everything was brought back: nothing that anybody typed is missing from it.
    pub fn check(&self, job: &Job) {
        self.made.keys().for_each(|it| self.check_thing(job, *it));
        let said = in_job(job);
        for (field, writes) in &self.fields {
            let standing: Vec<&str> =
                writes.iter().filter(|it| it.settled_by.is_empty()).map(|it| it.value.as_str()).collect();
            let value = said.get(field).unwrap_or_else(|| panic!("{field:?} is not in the job"));
            assert!(standing.contains(&value.as_str()), "{field:?} is {value}, and those stand: {standing:?}");
            check_dispute(job, field, value, standing);
        }
    }

    fn check_thing(&self, job: &Job, thing: Thing) {
        let wall_of = |room, wall| job.room(room).and_then(|it| it.wall(wall)).unwrap();
        match thing {
            Thing::Room(id) => assert!(job.room(id).is_some(), "{thing:?}"),
            Thing::Wall(room, id) => assert_eq!(wall_of(room, id).id, id),
            Thing::Opening(room, id) => {
                assert!(job.room(room).unwrap().openings.iter().any(|it| it.id == id), "{thing:?}");
            }
            Thing::Flight(id) => assert!(job.flights.iter().any(|it| it.id == id), "{thing:?}"),
            Thing::Goods(id) => assert!(job.goods.iter().any(|it| it.id == id), "{thing:?}"),
            Thing::Reading(room, wall, id) => {
                let (by, typed) = &self.readings[&id];
                let kept = wall_of(room, wall).readings.iter().find(|it| it.id == id).unwrap();
                assert_eq!((kept.value, &kept.typed, kept.tool), (typed.value, &typed.typed, typed.tool));
                assert_eq!((kept.stamp.by, &kept.supersedes), (*by, &typed.supersedes));
            }
            Thing::Check(room, id) => {
                let (by, of, typed) = &self.checks[&id];
                let kept = job.room(room).unwrap().checks.iter().find(|it| it.reading.id == id).unwrap();
                assert_eq!((kept.of, kept.reading.value, &kept.reading.typed), (*of, typed.value, &typed.typed));
                assert_eq!((kept.reading.stamp.by, &kept.reading.supersedes), (*by, &typed.supersedes));
            }
            Thing::Turn(room, wall, id) => {
                let (by, stated) = &self.turns[&id];
                let kept = wall_of(room, wall).turns.iter().find(|it| it.id == id).unwrap();
                assert_eq!((kept.turn, kept.free), (stated.turn, stated.free));
                assert_eq!((kept.stamp.by, &kept.supersedes), (*by, &stated.supersedes));
            }
            Thing::Rise(room, wall, id) => {
                let (by, inward, typed) = &self.rises[&id];
                let kept = wall_of(room, wall).rises.iter().find(|it| it.reading.id == id).unwrap();
                assert_eq!(
                    (kept.inward, kept.reading.value, &kept.reading.typed),
                    (*inward, typed.value, &typed.typed)
                );
                assert_eq!((kept.reading.stamp.by, &kept.reading.supersedes), (*by, &typed.supersedes));
            }
            Thing::Fixture(room, id) => {
                assert!(job.room(room).unwrap().fixtures.iter().any(|it| it.id == id), "{thing:?}");
            }
            Thing::Mark(room, id) => {
                let (by, made) = &self.marks[&id];
                let kept = job.room(room).unwrap().marks.iter().find(|it| it.id == id).unwrap();
                assert_eq!((kept.kind, kept.wall, &kept.text), (made.kind, made.wall, &made.text));
                assert_eq!((kept.offset, kept.clear, kept.stamp.by), (made.offset, made.clear, *by));
            }
            Thing::Print(id) => assert!(job.prints.iter().any(|it| it.id == id), "{thing:?}"),
            Thing::Photo(id) => {
                let (by, made) = &self.photos[&id];
                let kept = job.photos.iter().find(|it| it.id == id).unwrap();
                assert_eq!((kept.of, &kept.caption, kept.stamp.by), (made.of, &made.caption, *by));
                assert_eq!((kept.picture, kept.thumbnail), (made.picture, made.thumbnail));
            }
            Thing::Choice(id) => {
                let superseded = self.choices.values().any(|(_, it)| it.supersedes.contains(&id));
                let kept = job.choices.iter().find(|it| it.id == id);
                assert_eq!(kept.is_none(), superseded, "{thing:?}");
                if let Some(kept) = kept {
                    let (by, made) = &self.choices[&id];
                    assert_eq!((&kept.decision, kept.stamp.by), (&made.decision, *by));
                }
            }
        }
    }
}

fn stands_for(doc: &JobDoc, write: &Write) -> bool {
    doc.has(&write.change) && !write.settled_by.iter().any(|it| doc.has(it))
}

/// A dispute lists every value that stands, the one in use first; there is none when only one stands.
fn check_dispute(job: &Job, field: &Field, value: &str, mut standing: Vec<&str>) {
    let Some(place) = field.place() else { return };
    standing.sort_unstable();
    standing.dedup();
    let start = format!("{} of ", field.word);
    let disputes: Vec<_> = job.disputes.iter().filter(|it| it.place == place && it.field.starts_with(&start)).collect();
    let disputes: Vec<_> = if let Place::Job = place { only_of(disputes, field) } else { disputes };
    if standing.len() < 2 {
        assert!(disputes.is_empty(), "{field:?}: {disputes:?}, but only {standing:?} stands");
        return;
    }
    let [dispute] = disputes.as_slice() else { panic!("{field:?}: {disputes:?} for {standing:?}") };
    let mut expected: Vec<String> = standing.iter().map(|it| named(job, it)).collect();
    assert_eq!(dispute.values[0], named(job, value));
    let mut listed = dispute.values.clone();
    expected.sort_unstable();
    listed.sort_unstable();
    assert_eq!(listed, expected, "{field:?}");
}

/// The job's own name, its rules and its people share one place.
fn only_of<'a>(disputes: Vec<&'a shared_model::job::Dispute>, field: &Field) -> Vec<&'a shared_model::job::Dispute> {
    let person = field.of.starts_with("person");
    disputes.into_iter().filter(|it| it.field.ends_with("of a person") == person).collect()
}

/// A value as a dispute says it: rooms, walls and goods by name.
fn named(job: &Job, value: &str) -> String {
    if let Some((wall, rest)) = value.split_once(", ") {
        return format!("{}, {rest}", named(job, wall));
    }
    if let Some(goods) = job.goods.iter().find(|it| it.id.to_string() == value) {
        return goods.name.clone();
    }
    for room in &job.rooms {
        if room.id.to_string() == value {
            return room.name.clone();
        }
        if let Some(n) = room.walls.iter().position(|it| it.id.to_string() == value) {
            return format!("wall {} of {}", n + 1, room.name);
        }
    }
    value.to_owned()
}
