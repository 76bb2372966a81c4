use std::collections::BTreeMap;

use automerge::ChangeHash;
use proptest::prelude::*;
use proptest::sample::Index;
use shared_model::history::{Difference, NoReturn, Swap, What, difference, restore};
use shared_model::ids::{GoodsId, OpeningId, PrintId};
use shared_model::job::{
    Edit, FloorAtOpening, Goods, Job, JobDoc, Opening, OpeningKind, Order, Rule, Sheet, Timestamp,
};
use shared_model::length::Length;
use uuid::Uuid;

use super::crew::{JOB, act, add_reading, add_room, add_wall, catch_up, device, phone, reading, room, send, wall};
use super::ledger::Ledger;
use super::script::{Seed, seed};

/// What happens next among three devices: an edit at a time of the device's own, or a catch-up.
#[derive(Clone, Debug)]
enum Step {
    Edit(usize, Seed, i64),
    CatchUp { of: usize, with: usize },
}

fn step() -> impl Strategy<Value = Step> {
    let pair = (0..3_usize, 1..3_usize).prop_map(|(from, by)| (from, (from + by) % 3));
    prop_oneof![
        8 => (0..3_usize, seed(), 0..1_000_i64).prop_map(|(who, seed, at)| Step::Edit(who, seed, at)),
        1 => pair.prop_map(|(of, with)| Step::CatchUp { of, with }),
    ]
}

/// One change as it was made: what it was made on, and the job on its device before and after.
struct Made {
    change: ChangeHash,
    on: Vec<ChangeHash>,
    before: Job,
    after: Job,
    edit: Edit,
}

struct Crew {
    docs: Vec<JobDoc>,
    ledger: Ledger,
    made: Vec<Made>,
}

impl Crew {
    fn after(steps: &[Step]) -> Self {
        let mut crew = Self { docs: (0..3).map(phone).collect(), ledger: Ledger::default(), made: Vec::new() };
        steps.iter().for_each(|it| crew.take(it));
        crew
    }

    fn take(&mut self, step: &Step) {
        match step {
            Step::Edit(who, seed, at) => self.edit(*who, seed, Timestamp(*at)),
            Step::CatchUp { of, with } => {
                let mut with_doc = std::mem::replace(&mut self.docs[*with], phone(99));
                catch_up(&mut self.docs[*of], &mut with_doc);
                self.docs[*with] = with_doc;
            }
        }
    }

    fn edit(&mut self, who: usize, seed: &Seed, at: Timestamp) {
        let doc = &mut self.docs[who];
        let (before, on) = (doc.job(), doc.heads());
        let id = Uuid::from_u128(0x1000 + self.ledger.len() as u128);
        let Some(edit) = seed.edit(&self.ledger.known(doc), &before, id) else { return };
        let writes = self.ledger.will_write(doc, &before, device(who as u8), &edit);
        let Some(change) = doc.edit(std::slice::from_ref(&edit), "test", at).unwrap() else { return };
        let after = doc.job();
        self.ledger.note(&self.docs[who], device(who as u8), &edit, writes, change.hash);
        self.made.push(Made { change: change.hash, on, before, after, edit });
    }

    /// Everybody gets everything, each in an order of its own.
    fn settle(&mut self, order: &[Index]) {
        let all: Vec<Vec<u8>> = self.docs.iter().flat_map(|it| it.changes_since(&[])).map(|it| it.bytes).collect();
        for (n, doc) in self.docs.iter_mut().enumerate() {
            let mut own = all.clone();
            order.iter().enumerate().take(own.len()).for_each(|(at, swap)| own.swap(at, swap.index(all.len())));
            own.rotate_left(n * all.len() / 3);
            send(&own, doc);
        }
    }
}

/// What of a job counts: without what is set aside or superseded.
fn standing(job: &Job) -> Job {
    let mut job = job.clone();
    job.people.retain(|_, name| !name.is_empty());
    for room in &mut job.rooms {
        room.checks = room.checks_in_force().cloned().collect();
        room.marks.retain(|it| !it.withdrawn);
        room.checks.iter_mut().for_each(|it| it.reading.supersedes.clear());
        for wall in &mut room.walls {
            wall.readings = wall.in_force().cloned().collect();
            wall.rises = wall.rises_in_force().cloned().collect();
            wall.turns = wall.turn_stated().cloned().into_iter().collect();
            wall.readings.iter_mut().for_each(|it| it.supersedes.clear());
            wall.rises.iter_mut().for_each(|it| it.reading.supersedes.clear());
            wall.turns.iter_mut().for_each(|it| it.supersedes.clear());
        }
    }
    job.photos.retain(|it| !it.withdrawn);
    job.choices.iter_mut().for_each(|it| it.supersedes.clear());
    job
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// Whatever was merged since, and in whatever order it came: the job after each change is the one that its device showed, and
    /// what the change did is the difference between that and the one before.
    #[test]
    fn the_job_is_told_as_it_stood(
        steps in prop::collection::vec(step(), 1..60),
        order in prop::collection::vec(any::<Index>(), 0..60),
    ) {
        let mut crew = Crew::after(&steps);
        crew.settle(&order);
        let loaded = JobDoc::load(JOB, &crew.docs[1].save(), [200; 16], device(9)).unwrap();
        for doc in [&crew.docs[0], &loaded] {
            for made in &crew.made {
                prop_assert_eq!(doc.at(&[made.change]), Some(made.after.clone()));
                prop_assert_eq!(doc.at(&made.on), Some(made.before.clone()));
                let step = doc.step(&made.change).unwrap();
                let found = difference(&step.before, &step.after);
                prop_assert_eq!(&found, &difference(&made.before, &made.after), "{:?}", made.edit);
            }
            prop_assert_eq!(doc.at(&doc.heads()), Some(doc.job()));
        }
    }

    /// Nothing differs between equal states; what counts in two states differs only where something is told.
    #[test]
    fn a_difference_is_told_when_there_is_one(steps in prop::collection::vec(step(), 1..60)) {
        let crew = Crew::after(&steps);
        for (one, other) in crew.made.iter().zip(crew.made.iter().rev()) {
            prop_assert_eq!(difference(&one.after, &one.after), vec![]);
            for (before, after) in [(&one.before, &one.after), (&one.after, &other.after)] {
                let told = difference(before, after);
                prop_assert_eq!(told.is_empty(), standing(before) == standing(after), "{:?}", told);
                prop_assert!(told.iter().all(|it| !it.words(after).is_empty()));
            }
        }
    }

    /// The same changes give the same timeline, in whatever order they came. An action stands above all that it builds on, and is
    /// marked when it gives an earlier time than one of these.
    #[test]
    fn a_timeline_is_the_same_on_every_device(
        steps in prop::collection::vec(step(), 1..60),
        order in prop::collection::vec(any::<Index>(), 0..60),
    ) {
        let mut crew = Crew::after(&steps);
        crew.settle(&order);
        let timeline = crew.docs[0].timeline();
        prop_assert_eq!(timeline.len(), crew.made.len());
        prop_assert_eq!(&crew.docs[1].timeline(), &timeline);
        prop_assert_eq!(&crew.docs[2].timeline(), &timeline);

        let below: BTreeMap<ChangeHash, usize> = timeline.iter().rev().zip(0..).map(|(it, n)| (it.change, n)).collect();
        let mut latest: BTreeMap<ChangeHash, Timestamp> = BTreeMap::new();
        for entry in timeline.iter().rev() {
            let made = crew.made.iter().find(|it| it.change == entry.change).unwrap();
            prop_assert!(made.on.iter().filter_map(|it| below.get(it)).all(|it| *it < below[&entry.change]));
            let before = made.on.iter().filter_map(|it| latest.get(it)).max().copied().unwrap_or_default();
            prop_assert_eq!(entry.earlier_than, (before > entry.at).then_some(before));
            latest.insert(entry.change, before.max(entry.at));
        }
    }

    /// What a removal took, bringing it back gives back; taking that back removes it again.
    #[test]
    fn what_is_removed_comes_back_as_it_was(steps in prop::collection::vec(step(), 1..60), last in seed()) {
        let mut crew = Crew::after(&steps);
        crew.take(&Step::Edit(0, last, 7));
        let Some(made) = crew.made.last().filter(|it| removes(&it.edit)) else { return Ok(()) };
        let (mut doc, change) = (JobDoc::load(JOB, &crew.docs[0].save(), [77; 16], device(0)).unwrap(), made.change);
        if !doc.has(&change) || doc.heads() != [change] {
            return Ok(());
        }
        let step = doc.step(&change).unwrap();
        for lost in difference(&step.before, &step.after) {
            let before = doc.job();
            match restore(&lost.what, &before, &doc.decided()) {
                Ok(edits) => {
                    doc.edit(&edits, "bring back", Timestamp(9)).unwrap();
                    let back: Vec<Edit> = edits.iter().rev().filter_map(|it| it.inverse(&before)).collect();
                    let mut undone = JobDoc::load(JOB, &doc.save(), [78; 16], device(0)).unwrap();
                    undone.edit(&back, "undo", Timestamp(10)).unwrap();
                    prop_assert_eq!(standing(&undone.job()), standing(&before), "{:?}", edits);
                }
                // What stands again because its successor was set aside makes way by itself.
                Err(why) => prop_assert!(matches!(why, NoReturn::NothingLost | NoReturn::Stands), "{why} {lost:?}"),
            }
        }
        prop_assert_eq!(undisputed(&doc.job()), undisputed(&made.before), "{:?}", made.edit);
    }
}

/// Bringing back settles disputes about whether something is removed.
fn undisputed(job: &Job) -> Job {
    Job { disputes: Vec::new(), ..standing(job) }
}

const fn removes(edit: &Edit) -> bool {
    matches!(
        edit,
        Edit::RemoveRoom { removed: true, .. }
            | Edit::RemoveWall { removed: true, .. }
            | Edit::RemoveOpening { removed: true, .. }
            | Edit::RemoveFixture { removed: true, .. }
            | Edit::RemoveFlight { removed: true, .. }
            | Edit::RemoveGoods { removed: true, .. }
            | Edit::WithdrawReading { withdrawn: true, .. }
            | Edit::WithdrawCheck { withdrawn: true, .. }
            | Edit::WithdrawTurn { withdrawn: true, .. }
            | Edit::WithdrawRise { withdrawn: true, .. }
            | Edit::WithdrawMark { withdrawn: true, .. }
            | Edit::WithdrawChoice { withdrawn: true, .. }
            | Edit::WithdrawPhoto { withdrawn: true, .. }
    )
}

fn said(doc: &JobDoc) -> Vec<String> {
    let change = doc.timeline()[0].change;
    let step = doc.step(&change).unwrap();
    difference(&step.before, &step.after).iter().map(|it| it.words(&doc.job())).collect()
}

/// Brings back what the newest change took, and answers what that was in words.
fn bring_back(doc: &mut JobDoc, lost: &Difference) -> Result<Vec<String>, NoReturn> {
    let edits = restore(&lost.what, &doc.job(), &doc.decided())?;
    act(doc, &edits);
    Ok(said(doc))
}

fn newest(doc: &JobDoc) -> Difference {
    let step = doc.step(&doc.timeline()[0].change).unwrap();
    let [lost] = difference(&step.before, &step.after).try_into().unwrap();
    lost
}

fn hall() -> JobDoc {
    let mut doc = phone(1);
    act(&mut doc, &[Edit::NamePerson { name: "Ada".into() }, add_room(1, "Hall"), add_wall(1, 1)]);
    doc
}

fn door(inches: i64) -> Opening {
    Opening {
        id: OpeningId(Uuid::from_u128(0x400)),
        wall: wall(1),
        kind: OpeningKind::Doorway,
        offset: Length::ZERO,
        width: Length::inches(inches),
        depth: Length::inches(5),
        floor: FloorAtOpening::SeamUnderDoor,
        leads_to: None,
    }
}

#[test]
fn a_change_is_told_in_the_words_of_the_trade() {
    let mut doc = hall();
    assert_eq!(said(&doc), ["A person's name: “Ada”", "Hall: new room of one wall, ?"]);
    act(&mut doc, &[add_reading(1, 1, 1, 148, &[])]);
    assert_eq!(said(&doc), ["Hall, wall 1: 12' 4\" read by Ada"]);
    act(&mut doc, &[add_reading(1, 1, 2, 150, &[1])]);
    assert_eq!(said(&doc), ["Hall, wall 1: 12' 4\" → 12' 6\", read by Ada"]);
    act(&mut doc, &[Edit::AddOpening { room: room(1), opening: door(30) }]);
    assert_eq!(said(&doc), ["Hall, wall 1: new: doorway, 2' 6\" wide"]);
    act(&mut doc, &[Edit::SetOpening { room: room(1), opening: door(36) }]);
    assert_eq!(said(&doc), ["Hall, wall 1: doorway, 2' 6\" wide: width 2' 6\" → 3' 0\""]);
    act(&mut doc, &[Edit::SetRule { rule: Rule::WallAllowance, value: Length::inches(4).0 }]);
    assert_eq!(said(&doc), ["Wall allowance: 3\" → 4\""]);
    act(&mut doc, &[Edit::NameRoom { room: room(1), name: "Entry".into() }]);
    assert_eq!(said(&doc), ["Entry: name Hall → Entry"]);
    act(&mut doc, &[Edit::RemoveRoom { room: room(1), removed: true }]);
    assert_eq!(said(&doc), ["Entry: removed: a room of one wall, 12' 6\""]);
}

/// From one end of a long chain of corrections to the other, only what counts is compared.
#[test]
fn corrections_of_corrections_are_one_difference() {
    let mut doc = hall();
    act(&mut doc, &[add_reading(1, 1, 1, 148, &[])]);
    let then = doc.job();
    for n in 2..9 {
        act(&mut doc, &[add_reading(1, 1, n, 150 + n as i64, &[n - 1])]);
    }
    let found = difference(&then, &doc.job());
    let [Difference { what: What::Reading(_, _, Swap::Became { before, after }), .. }] = found.as_slice() else {
        panic!("{found:?}")
    };
    assert_eq!((before.id, after.id), (reading(1), reading(8)));
}

#[test]
fn a_superseded_reading_comes_back_and_its_successors_are_set_aside() {
    let mut doc = hall();
    act(&mut doc, &[add_reading(1, 1, 1, 148, &[])]);
    act(&mut doc, &[add_reading(1, 1, 2, 150, &[1])]);
    let lost = newest(&doc);
    act(&mut doc, &[add_reading(1, 1, 3, 152, &[2])]);
    assert_eq!(bring_back(&mut doc, &lost).unwrap(), ["Hall, wall 1: 12' 8\" → 12' 4\", read by Ada"]);
    let standing: Vec<_> = doc.job().rooms[0].walls[0].in_force().map(|it| it.id).collect();
    assert_eq!(standing, [reading(1)]);
    assert_eq!(bring_back(&mut doc, &lost), Err(NoReturn::Stands));
}

#[test]
fn nothing_comes_back_into_what_is_removed_itself() {
    let mut doc = hall();
    act(&mut doc, &[Edit::AddOpening { room: room(1), opening: door(30) }]);
    assert_eq!(restore(&newest(&doc).what, &doc.job(), &[]), Err(NoReturn::NothingLost));
    act(&mut doc, &[Edit::RemoveOpening { room: room(1), opening: door(0).id, removed: true }]);
    let of_door = newest(&doc);
    act(&mut doc, &[Edit::RemoveWall { room: room(1), wall: wall(1), removed: true }]);
    let of_wall = newest(&doc);
    assert_eq!(bring_back(&mut doc, &of_door), Err(NoReturn::Wall));
    act(&mut doc, &[Edit::RemoveRoom { room: room(1), removed: true }]);
    let of_room = newest(&doc);
    assert_eq!(bring_back(&mut doc, &of_door), Err(NoReturn::Room));
    assert_eq!(bring_back(&mut doc, &of_wall), Err(NoReturn::Room));
    bring_back(&mut doc, &of_room).unwrap();
    bring_back(&mut doc, &of_wall).unwrap();
    assert_eq!(bring_back(&mut doc, &of_door).unwrap(), ["Hall, wall 1: new: doorway, 2' 6\" wide"]);
    assert_eq!(doc.job().rooms[0].openings, [door(30)]);
    assert_eq!(NoReturn::Wall.to_string(), "its wall is removed: bring the wall back first");
}

/// Ada's phone is a day ahead: what Ben reads after it stands above all the same, and is marked.
#[test]
fn an_action_that_gives_an_earlier_time_than_what_it_builds_on_is_marked() {
    let (noon, day) = (1_800_000_000, 86_400);
    let mut ada = phone(1);
    ada.edit(&[add_room(1, "Hall"), add_wall(1, 1)], "room", Timestamp(noon + day)).unwrap();
    let mut ben = JobDoc::load(JOB, &ada.save(), [2; 16], device(2)).unwrap();
    ben.edit(&[add_reading(1, 1, 1, 148, &[])], "reading", Timestamp(noon)).unwrap();
    let entries = ben.timeline();
    let told: Vec<_> = entries.iter().map(|it| (it.said.as_str(), it.by, it.at.0, it.earlier_than)).collect();
    assert_eq!(
        told,
        [("reading", device(2), noon, Some(Timestamp(noon + day))), ("room", device(1), noon + day, None)]
    );
}

#[test]
fn what_changed_since_a_sheet_was_printed_starts_at_its_print() {
    let mut doc = hall();
    let (print, other) = (PrintId(Uuid::from_u128(1)), PrintId(Uuid::from_u128(2)));
    act(&mut doc, &[Edit::NotePrint { print, sheet: Sheet::Day }]);
    let printed = doc.timeline()[0].change;
    assert_eq!(said(&doc), ["The day's sheet was printed"]);
    assert_eq!((doc.noted(print), doc.noted(other)), (Some(printed), None));
    act(&mut doc, &[add_reading(1, 1, 1, 148, &[])]);
    let since = difference(&doc.at(&[printed]).unwrap(), &doc.job());
    assert_eq!(since.len(), 1);
    let [note] = doc.job().prints.try_into().unwrap();
    assert_eq!((note.id, note.sheet, note.stamp.by), (print, Sheet::Day, device(1)));
    // Paper cannot be taken back, and two phones may print at the same time.
    assert_eq!(Edit::NotePrint { print, sheet: Sheet::Day }.inverse(&doc.job()), None);
    let mut here = JobDoc::load(JOB, &doc.save(), [5; 16], device(2)).unwrap();
    act(&mut here, &[Edit::NotePrint { print: other, sheet: Sheet::Day }]);
    act(&mut doc, &[Edit::NotePrint { print: PrintId(Uuid::from_u128(3)), sheet: Sheet::Day }]);
    catch_up(&mut here, &mut doc);
    assert_eq!(doc.job().prints.len(), 3);
}

#[test]
fn a_carpet_is_set_as_it_was() {
    let mut doc = phone(1);
    let goods = Goods::plain(GoodsId(Uuid::from_u128(5)), "Loop pile".into(), Length::feet(12), Order::default());
    act(&mut doc, &[Edit::AddGoods { goods: goods.clone() }]);
    act(&mut doc, &[Edit::SetGoods { goods: Goods { roll_width: Length::feet(15), ..goods.clone() } }]);
    assert_eq!(said(&doc), ["The carpet “Loop pile”: roll width 12' 0\" → 15' 0\""]);
    let lost = newest(&doc);
    act(&mut doc, &[Edit::RemoveGoods { goods: goods.id, removed: true }]);
    assert_eq!(bring_back(&mut doc, &lost), Err(NoReturn::Removed));
    let removed = newest(&doc);
    bring_back(&mut doc, &removed).unwrap();
    bring_back(&mut doc, &lost).unwrap();
    assert_eq!(doc.job().goods, [goods]);
}

#[test]
fn a_moment_that_the_document_does_not_know_is_none() {
    let (mut one, mut other) = (hall(), hall());
    act(&mut one, &[add_reading(1, 1, 1, 148, &[])]);
    act(&mut other, &[add_reading(1, 1, 2, 150, &[])]);
    let unknown = other.timeline()[0].change;
    assert_eq!((one.at(&[unknown]), one.step(&unknown)), (None, None));
}
