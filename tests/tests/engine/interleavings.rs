use proptest::prelude::*;
use proptest::sample::Index;
use shared_model::guard;
use shared_model::job::{Edit, Job, JobDoc, Timestamp};
use uuid::Uuid;

use super::crew::{JOB, catch_up, device, phone, send};
use super::ledger::Ledger;
use super::script::{Seed, seed};

/// What happens next among three devices.
#[derive(Clone, Debug)]
pub enum Step {
    Edit(usize, Seed),
    /// Some live changes of one device reach another: in any order, some twice, some not at all.
    Live {
        from: usize,
        to: usize,
        pick: Vec<Index>,
    },
    CatchUp {
        of: usize,
        with: usize,
    },
    /// The page is opened again.
    Reload(usize),
}

pub fn step() -> impl Strategy<Value = Step> {
    let pair = (0..3_usize, 1..3_usize).prop_map(|(from, by)| (from, (from + by) % 3));
    prop_oneof![
        20 => (0..3_usize, seed()).prop_map(|(who, seed)| Step::Edit(who, seed)),
        4 => (pair.clone(), prop::collection::vec(any::<Index>(), 0..8))
            .prop_map(|((from, to), pick)| Step::Live { from, to, pick }),
        1 => pair.prop_map(|(of, with)| Step::CatchUp { of, with }),
        1 => (0..3_usize).prop_map(Step::Reload),
    ]
}

/// Three devices and what was typed on them.
pub struct Crew {
    pub docs: Vec<JobDoc>,
    ledger: Ledger,
    next: u8,
}

impl Crew {
    pub fn new() -> Self {
        Self { docs: (0..3).map(phone).collect(), ledger: Ledger::default(), next: 10 }
    }

    pub fn take(&mut self, step: &Step) {
        match step {
            Step::Edit(who, seed) => self.edit(*who, seed),
            Step::Live { from, to, pick } => {
                let changes = self.docs[*from].changes_since(&[]);
                let picked: Vec<Vec<u8>> = pick.iter().map(|it| it.get(&changes).bytes.clone()).collect();
                send(&picked, &mut self.docs[*to]);
            }
            Step::CatchUp { of, with } => {
                let mut with_doc = std::mem::replace(&mut self.docs[*with], phone(99));
                catch_up(&mut self.docs[*of], &mut with_doc);
                self.docs[*with] = with_doc;
                assert_eq!(self.docs[*of].heads(), self.docs[*with].heads());
            }
            Step::Reload(who) => {
                let saved = self.docs[*who].save();
                self.next += 1;
                self.docs[*who] = JobDoc::load(JOB, &saved, [self.next; 16], device(*who as u8)).unwrap();
            }
        }
    }

    fn edit(&mut self, who: usize, seed: &Seed) {
        let job = self.docs[who].job();
        let id = Uuid::from_u128(0x1000 + self.ledger.len() as u128);
        let Some(edit) = seed.edit(&self.ledger.known(&self.docs[who]), &job, id) else { return };
        let writes = self.ledger.will_write(&self.docs[who], &job, device(who as u8), &edit);
        let change = self.docs[who].edit(std::slice::from_ref(&edit), "test", Timestamp(7)).unwrap();
        let Some(change) = change else { return assert!(writes.is_empty(), "{edit:?} should write {writes:?}") };
        guard::change(&change.bytes, Some(device(who as u8))).unwrap();
        self.ledger.note(&self.docs[who], device(who as u8), &edit, writes, change.hash);
    }

    /// Everybody gets everything, one way or the other, and has the same.
    fn settle(&mut self, order: &[Index]) -> Job {
        for to in 0..3 {
            let mut all: Vec<Vec<u8>> =
                self.docs.iter().flat_map(|it| it.changes_since(&[])).map(|it| it.bytes).collect();
            for (at, swap) in order.iter().enumerate().take(all.len()) {
                let with = swap.index(all.len());
                all.swap(at, with);
            }
            send(&all, &mut self.docs[to]);
            assert!(self.docs[to].missing().is_empty());
        }
        let (heads, job) = (self.docs[0].heads(), self.docs[0].job());
        for doc in &self.docs[1..] {
            assert_eq!((doc.heads(), doc.job()), (heads.clone(), job.clone()));
        }
        job
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    /// Any edits of three devices, exchanged in any way, end in one job on all, and nothing that anybody typed is missing.
    #[test]
    fn nothing_typed_is_lost(
        steps in prop::collection::vec(step(), 1..80),
        order in prop::collection::vec(any::<Index>(), 0..60),
    ) {
        let mut crew = Crew::new();
        steps.iter().for_each(|it| crew.take(it));
        crew.settle(&order);

        let back = crew.ledger.bring_back();
        crew.docs[0].edit(&back, "bring back", Timestamp(8)).unwrap();
        let job = crew.settle(&order);
        crew.ledger.check(&job);

        let loaded = JobDoc::load(JOB, &crew.docs[0].save(), [200; 16], device(9)).unwrap();
        prop_assert_eq!((loaded.heads(), loaded.job()), (crew.docs[0].heads(), job.clone()));
        let stored = crew.docs[1].changes_since(&[]);
        let stored = stored.iter().rev().map(|it| it.bytes.as_slice());
        let from_log = JobDoc::from_changes(JOB, None, stored, [201; 16], device(9)).unwrap();
        prop_assert_eq!((from_log.heads(), from_log.job()), (crew.docs[0].heads(), job));
    }

    /// Taking an edit back gives the job that was there before, but for what is kept of the edit: readings, turns and marks that
    /// are withdrawn, and who worked on the job.
    #[test]
    fn an_edit_and_its_inverse_change_nothing(steps in prop::collection::vec(step(), 1..60), seed in seed()) {
        let mut crew = Crew::new();
        steps.iter().for_each(|it| crew.take(it));
        let before = crew.docs[0].job();
        let known = crew.ledger.known(&crew.docs[0]);
        let Some(edit) = seed.edit(&known, &before, Uuid::from_u128(7)) else { return Ok(()) };
        crew.docs[0].edit(std::slice::from_ref(&edit), "do", Timestamp(7)).unwrap();
        let after = crew.docs[0].job();
        match edit.inverse(&before) {
            Some(inverse) => drop(crew.docs[0].edit(&[inverse], "undo", Timestamp(8)).unwrap()),
            None => prop_assert!(
                matches!(edit, Edit::NamePerson { .. }) || seen(&after) == seen(&before),
                "{edit:?} can be taken back"
            ),
        }
        if !matches!(edit, Edit::NamePerson { .. }) {
            prop_assert_eq!(seen(&crew.docs[0].job()), seen(&before), "{:?}", edit);
        }
    }
}

/// A job as far as it can be seen: without what is withdrawn, and without disputes, which an undo settles.
fn seen(job: &Job) -> Job {
    let mut job = job.clone();
    job.people.clear();
    job.prints.clear();
    job.photos.retain(|it| !it.withdrawn);
    job.disputes.clear();
    for room in &mut job.rooms {
        room.checks.retain(|it| !it.reading.withdrawn);
        room.marks.retain(|it| !it.withdrawn);
    }
    for wall in job.rooms.iter_mut().flat_map(|it| &mut it.walls) {
        wall.readings.retain(|it| !it.withdrawn);
        wall.turns.retain(|it| !it.withdrawn);
        wall.rises.retain(|it| !it.reading.withdrawn);
    }
    job
}
