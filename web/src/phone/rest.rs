//! Jobs at rest: this phone has just what the server has, so they need not be read when the page starts.

use std::collections::BTreeSet;

use shared_model::wire::{JobEntry, Mark};

use super::*;
use crate::pictures::{Named, named};

/// A job of which a server had just what this phone has.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Rest {
    mark: Mark,
    /// The pictures that it names, which may have to be brought or fetched still.
    pictures: Vec<Named>,
}

/// What is known of jobs without reading them.
#[derive(Default)]
pub(super) struct Resting {
    /// The server of the connection that is up said what it has.
    heard: bool,
    /// What it has of each job.
    marks: BTreeMap<JobId, Option<Mark>>,
    rests: BTreeMap<JobId, Rest>,
    /// Those with edits that no server has confirmed, as storage said when the page started.
    waiting: BTreeSet<JobId>,
    /// Snapshots on their way to storage, which may hold changes that are not stored singly; one that fails stays. So does what
    /// another tab made: whether that is stored this one does not know.
    folds: BTreeMap<JobId, usize>,
}

impl Resting {
    /// What this phone has of a job that is not in memory, if that is just what the server has.
    fn of(&self, job: JobId) -> Option<&Rest> {
        let mark = self.marks.get(&job).copied().flatten()?;
        self.rests.get(&job).filter(|it| it.mark == mark && !self.waiting.contains(&job))
    }

    /// Takes in what the server has of jobs; answers of which it is news.
    fn hear(&mut self, entries: &[JobEntry]) -> BTreeSet<JobId> {
        let first = !std::mem::replace(&mut self.heard, true);
        let news = |of: &&JobEntry| self.marks.insert(of.job, of.mark) != Some(of.mark) || first;
        entries.iter().filter(news).map(|it| it.job).collect()
    }

    /// What the server has is not known any more.
    pub fn forget_marks(&mut self) {
        self.marks.clear();
        self.heard = false;
    }

    /// The job's document has changed. Its stored rest goes with the change that is stored.
    pub fn disturb(&mut self, job: JobId) {
        self.rests.remove(&job);
    }

    /// Takes in that a job is in order at a mark; answers whether that is to be stored.
    fn lay_down(&mut self, job: JobId, mark: Mark, pictures: &[Named]) -> bool {
        let level = self.marks.get(&job) == Some(&Some(mark)) && self.folds.get(&job).copied().unwrap_or(0) == 0;
        let known = self.rests.get(&job).is_some_and(|it| it.mark == mark && it.pictures == pictures);
        if !level || known {
            return false;
        }
        self.waiting.remove(&job);
        self.rests.insert(job, Rest { mark, pictures: pictures.to_vec() });
        true
    }

    pub fn begin_fold(&mut self, job: JobId) {
        *self.folds.entry(job).or_default() += 1;
    }

    /// A snapshot is stored, and with it the stored rest is gone.
    pub fn end_fold(&mut self, job: JobId) {
        if let Some(folds) = self.folds.get_mut(&job) {
            *folds = folds.saturating_sub(1);
        }
        self.disturb(job);
    }
}

impl Phone {
    pub(super) async fn read_rests(self, storage: &Storage) {
        let (rests, waiting) = (storage.rests().await, storage.jobs_waiting().await);
        // When it cannot be told what waits, every job is opened.
        if let (Ok(rests), Ok(waiting)) = (rests, waiting) {
            self.inner.update_value(|it| (it.resting.rests, it.resting.waiting) = (rests, waiting));
        }
    }

    /// What the server has of each job: what this phone lacks is fetched, and what is only here is brought.
    pub(super) fn hear_marks(self, entries: &[JobEntry]) {
        let first = self.inner.with_value(|it| !it.resting.heard);
        let news = self.inner.try_update_value(|it| it.resting.hear(entries)).unwrap_or_default();
        // At first also what the server does not know at all.
        self.share_if(|job| first || news.contains(&job));
    }

    /// Shares those jobs that are not at rest.
    pub(super) fn share_if(self, is_meant: impl Fn(JobId) -> bool) {
        let jobs = self.jobs.get_untracked();
        // Of another server, or of one that was restored, it is to be told that it has the job.
        let in_order = |it: &JobRecord| it.shared.is_some() && self.is_at_rest(it.job);
        jobs.iter().filter(|it| is_meant(it.job) && !in_order(it)).for_each(|it| self.share(it.job));
    }

    /// Whether a job is not in memory and need not be.
    fn is_at_rest(self, job: JobId) -> bool {
        self.inner.with_value(|it| !it.loaded.contains_key(&job) && it.resting.of(job).is_some())
    }

    /// The pictures that a job names; `None` when its document is not in memory, and it is not at rest.
    pub fn named(self, job: JobId) -> Option<Vec<Named>> {
        let read = self.with(job, |it| {
            let level = it.kept.waiting() == 0 && it.record.shared.is_some();
            it.signals.job.with_untracked(|job| named(job, level).collect())
        });
        read.or_else(|| self.inner.with_value(|it| it.resting.of(job).map(|it| it.pictures.clone())))
    }

    /// If a job names just these pictures, and the server has what this phone has, the next start need not read it.
    pub fn lay_down(self, job: JobId, pictures: &[Named]) {
        let mark = self.with(job, |it| it.kept.mark().filter(|_| it.signals.apart.with_untracked(Vec::is_empty)));
        let Some(Some(mark)) = mark else { return };
        if pictures.iter().any(|it| !it.level) || self.named(job).as_deref() != Some(pictures) {
            return;
        }
        let new = self.inner.try_update_value(|it| it.resting.lay_down(job, mark, pictures));
        if let Some(storage) = self.storage().filter(|_| new == Some(true)) {
            storage.write([Write::Rest(job, Rest { mark, pictures: pictures.to_vec() })]);
        }
    }

    /// Whether the server may lack something of a job, as far as this phone knows.
    pub(super) fn is_only_here(self, job: JobId) -> bool {
        let there = self.inner.with_value(|it| it.resting.marks.get(&job).copied().flatten());
        // What came from another phone may be on no server's disk either: they must have said that they have just this.
        let read = self.with(job, |it| there.is_none() || it.kept.mark() != there);
        read.unwrap_or_else(|| !self.is_at_rest(job))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const JOB: JobId = JobId(Uuid::from_u128(1));
    const MARK: Mark = Mark([1; 16]);

    fn entry(mark: Option<Mark>) -> JobEntry {
        JobEntry { job: JOB, name: String::new(), changed: Timestamp(0), archived: false, mark }
    }

    /// A phone that had all, and has just heard that nothing is new.
    fn resting() -> Resting {
        let mut resting = Resting::default();
        resting.hear(&[entry(Some(MARK))]);
        assert!(resting.lay_down(JOB, MARK, &[]));
        resting.forget_marks();
        assert!(resting.of(JOB).is_none(), "without a connection nothing is known");
        assert!(resting.hear(&[entry(Some(MARK))]).contains(&JOB), "the first word of a connection is news");
        assert!(resting.of(JOB).is_some());
        resting
    }

    #[test]
    fn a_job_rests_until_something_is_new_on_either_side() {
        for mark in [None, Some(Mark([2; 16]))] {
            let mut resting = resting();
            assert!(resting.hear(&[entry(mark)]).contains(&JOB));
            assert!(resting.of(JOB).is_none(), "{mark:?}");
            assert!(resting.hear(&[entry(mark)]).is_empty(), "told again");
        }
        assert!(Resting { waiting: BTreeSet::from([JOB]), ..resting() }.of(JOB).is_none());
        let mut resting = resting();
        resting.disturb(JOB);
        assert!(resting.of(JOB).is_none());
    }

    #[test]
    fn a_job_is_laid_down_at_what_the_server_has_and_when_it_is_stored() {
        let mut resting = Resting::default();
        assert!(!resting.lay_down(JOB, MARK, &[]), "nothing was heard");
        resting.hear(&[entry(Some(Mark([2; 16])))]);
        assert!(!resting.lay_down(JOB, MARK, &[]), "the server has something else");
        resting.hear(&[entry(Some(MARK))]);
        resting.begin_fold(JOB);
        resting.begin_fold(JOB);
        resting.end_fold(JOB);
        assert!(!resting.lay_down(JOB, MARK, &[]), "a snapshot is not stored yet");
        resting.end_fold(JOB);
        assert!(resting.lay_down(JOB, MARK, &[]));
        assert!(!resting.lay_down(JOB, MARK, &[]), "stored already");
    }
}
