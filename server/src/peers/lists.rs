//! What two servers say of their jobs, and which of them are not the same on both.

use std::collections::BTreeMap;

use shared_model::ids::JobId;
use shared_model::wire::{JobEntry, Mark};

type Marks = BTreeMap<JobId, Option<Mark>>;

/// The lists of both servers for as long as a call lasts; `None` before a side has said its own.
#[derive(Debug, Default)]
pub struct Lists {
    here: Option<Marks>,
    there: Option<Marks>,
}

impl Lists {
    /// Takes in this server's list, or what is new in it.
    pub fn hear_here(&mut self, entries: Vec<JobEntry>) {
        hear(&mut self.here, entries);
    }

    /// Takes in the other server's list, or what is new in it.
    pub fn hear_there(&mut self, entries: Vec<JobEntry>) {
        hear(&mut self.there, entries);
    }

    /// The jobs of which the two servers have not the same history, for all that they have said; those without a mark may differ.
    /// None before both have said their lists.
    pub fn apart(&self) -> Vec<JobId> {
        let (Some(here), Some(there)) = (&self.here, &self.there) else { return Vec::new() };
        let level = |job: &JobId| here.get(job).is_some_and(|it| it.is_some() && there.get(job) == Some(it));
        let all = here.keys().chain(there.keys().filter(|it| !here.contains_key(it)));
        all.filter(|it| !level(it)).copied().collect()
    }
}

fn hear(known: &mut Option<Marks>, entries: Vec<JobEntry>) {
    known.get_or_insert_default().extend(entries.into_iter().map(|it| (it.job, it.mark)));
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
        lists.hear_here(entries([(1, Some(1)), (2, Some(2))]));
        assert_eq!(lists.apart(), [], "the other has not said what it has");
        lists.hear_there(entries([(1, Some(1)), (2, Some(2))]));
        assert_eq!(lists.apart(), []);
        lists.hear_there(entries([(2, Some(3))]));
        assert_eq!(lists.apart(), [job(2)]);
        lists.hear_here(entries([(1, Some(4)), (2, Some(3))]));
        assert_eq!(lists.apart(), [job(1)]);
    }

    #[test]
    fn a_job_that_one_side_lacks_or_has_no_mark_of_is_shared() {
        let mut lists = Lists::default();
        lists.hear_there(entries([(1, Some(1)), (3, None), (4, None)]));
        lists.hear_here(entries([(2, Some(2)), (3, Some(3)), (4, None)]));
        assert_eq!(lists.apart(), [job(2), job(3), job(4), job(1)]);
    }
}
