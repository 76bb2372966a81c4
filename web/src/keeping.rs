//! Which of the shop's jobs this phone keeps. The others are listed, and fetched when they are opened.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};
use shared_model::ids::JobId;

/// What the person asked for, and what the shop has put away.
#[derive(Clone, PartialEq, Debug, Default, Serialize, Deserialize)]
pub struct Keeping {
    /// Only jobs that were opened here; otherwise all that are not put away.
    pub only_opened: bool,
    opened: BTreeSet<JobId>,
    taken_off: BTreeSet<JobId>,
    archived: BTreeSet<JobId>,
}

impl Keeping {
    pub fn keeps(&self, job: JobId) -> bool {
        let wanted = !self.only_opened && !self.archived.contains(&job);
        !self.taken_off.contains(&job) && (wanted || self.opened.contains(&job))
    }

    pub fn is_archived(&self, job: JobId) -> bool {
        self.archived.contains(&job)
    }

    /// The person opened or made a job here: it stays. Answers whether that is new.
    pub fn open(&mut self, job: JobId) -> bool {
        self.taken_off.remove(&job) | self.opened.insert(job)
    }

    pub fn take_off(&mut self, job: JobId) {
        self.opened.remove(&job);
        self.taken_off.insert(job);
    }

    pub fn set_archived(&mut self, job: JobId, archived: bool) {
        if archived {
            self.archived.insert(job)
        } else {
            self.archived.remove(&job)
        };
    }
}

#[cfg(test)]
mod tests {
    use uuid::Uuid;

    use super::*;

    const JOB: JobId = JobId(Uuid::from_u128(1));

    #[test]
    fn a_phone_keeps_what_is_in_work_and_what_it_is_asked_to() {
        let mut keeping = Keeping::default();
        assert!(keeping.keeps(JOB));
        keeping.set_archived(JOB, true);
        assert!(!keeping.keeps(JOB), "put away");
        assert!(keeping.open(JOB));
        assert!(keeping.keeps(JOB), "opened all the same");
        keeping.take_off(JOB);
        assert!(!keeping.keeps(JOB));
        keeping.set_archived(JOB, false);
        assert!(!keeping.keeps(JOB), "taken off by hand");
        assert!(keeping.open(JOB) && !keeping.open(JOB));
        assert!(keeping.keeps(JOB));
    }

    #[test]
    fn a_phone_with_little_room_keeps_only_what_was_opened() {
        let mut keeping = Keeping { only_opened: true, ..Keeping::default() };
        assert!(!keeping.keeps(JOB));
        keeping.open(JOB);
        assert!(keeping.keeps(JOB));
    }
}
