//! What two servers say of their jobs, and which of them are not the same on both.

use std::collections::{BTreeMap, BTreeSet};

use shared_model::ids::JobId;
use shared_model::wire::{JobEntry, Mark};

type Marks = BTreeMap<JobId, Option<Mark>>;

#[derive(Clone, Copy, Debug)]
pub enum Side {
    Here,
    There,
}

/// The lists of both servers for as long as a call lasts.
#[derive(Debug, Default)]
pub struct Lists {
    /// `None` before a side has said its own.
    marks: [Option<Marks>; 2],
    /// With which marks a job was said to be apart.
    told: BTreeMap<JobId, [Option<Mark>; 2]>,
    /// Jobs of which a side has lost something since it said its list.
    rotted: BTreeSet<JobId>,
}

impl Lists {
    /// Takes in a side's list, or what is new in it. Answers the jobs of which the two servers have not the same history, for all
    /// that they have said; those without a mark may differ. Each comes once until a side has something new in it, and none before
    /// both have said their lists.
    pub fn hear(&mut self, side: Side, entries: Vec<JobEntry>) -> Vec<JobId> {
        let known = self.marks[side as usize].get_or_insert_default();
        for JobEntry { job, mark, .. } in entries {
            let had_all = known.insert(job, mark).flatten().is_some();
            if had_all && mark.is_none() {
                self.rotted.insert(job);
            }
        }
        let [Some(here), Some(there)] = &self.marks else { return Vec::new() };
        let all: BTreeSet<JobId> = here.keys().chain(there.keys()).copied().collect();
        let new = all.into_iter().filter(|job| {
            let both = [here, there].map(|it| it.get(job).copied().flatten());
            let apart = both[0].is_none() || both[0] != both[1];
            apart && self.told.insert(*job, both) != Some(both)
        });
        new.collect()
    }

    /// Whether a side has lost something of the job since this was asked last. The other does not know it of a shared job.
    pub fn has_rotted(&mut self, job: JobId) -> bool {
        self.rotted.remove(&job)
    }
}

#[cfg(test)]
mod tests {
    use shared_model::job::Timestamp;
    use uuid::Uuid;

    use super::*;

    const fn job(n: u128) -> JobId {
        JobId(Uuid::from_u128(n))
    }

    fn entries<const N: usize>(all: [(u128, Option<u8>); N]) -> Vec<JobEntry> {
        let entry = |(n, mark): (u128, Option<u8>)| JobEntry {
            job: job(n),
            name: String::new(),
            changed: Timestamp(0),
            archived: false,
            mark: mark.map(|it| Mark([it; 16])),
        };
        all.map(entry).into()
    }

    #[test]
    fn jobs_with_one_history_rest_until_something_is_new_on_either_side() {
        let mut lists = Lists::default();
        let here = lists.hear(Side::Here, entries([(1, Some(1)), (2, Some(2))]));
        assert_eq!(here, [], "the other has not said what it has");
        assert_eq!(lists.hear(Side::There, entries([(1, Some(1)), (2, Some(2))])), []);
        assert_eq!(lists.hear(Side::There, entries([(2, Some(3))])), [job(2)]);
        assert_eq!(lists.hear(Side::Here, entries([(1, Some(4)), (2, Some(3))])), [job(1)]);
        assert_eq!(lists.hear(Side::There, entries([(1, Some(1))])), [], "it was said, and nothing is new in it");
    }

    #[test]
    fn what_rots_is_shared_anew_once() {
        let mut lists = Lists::default();
        lists.hear(Side::Here, entries([(1, Some(1))]));
        lists.hear(Side::There, entries([(1, Some(1))]));
        assert_eq!(lists.hear(Side::Here, entries([(1, None)])), [job(1)]);
        assert_eq!([lists.has_rotted(job(1)), lists.has_rotted(job(1))], [true, false]);
        assert_eq!(lists.hear(Side::There, entries([(1, Some(2))])), [job(1)]);
        assert!(!lists.has_rotted(job(1)));
    }

    #[test]
    fn a_job_that_one_side_lacks_or_has_no_mark_of_is_shared() {
        let mut lists = Lists::default();
        lists.hear(Side::There, entries([(1, Some(1)), (3, None), (4, None)]));
        let apart = lists.hear(Side::Here, entries([(2, Some(2)), (3, Some(3)), (4, None)]));
        assert_eq!(apart, [job(1), job(2), job(3), job(4)]);
    }
}
