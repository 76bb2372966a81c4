//! What is at rest: folded into a snapshot, and level with the server, so that it need not be read when the page starts.

use std::collections::BTreeSet;

use shared_model::wire::{JobEntry, Mark};

use super::*;
use crate::pictures::{Named, named};

/// A job of which this phone had all that a server has, with its photos.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Rest {
    server: [u8; 16],
    mark: Mark,
    /// The pictures that it names.
    pictures: Vec<Named>,
}

/// What is known of jobs without reading them.
#[derive(Default)]
pub(super) struct Resting {
    /// What the server has of each job, as it said over the connection that is up.
    marks: BTreeMap<JobId, Option<Mark>>,
    rests: BTreeMap<JobId, Rest>,
    /// Those with edits that no server has confirmed, as storage said when the page started.
    waiting: BTreeSet<JobId>,
}

impl Resting {
    /// Whether nothing happened to a job since this phone had all of it.
    fn is_level(&self, job: JobId, server: [u8; 16]) -> bool {
        let mark = self.marks.get(&job).copied().flatten();
        let level = |it: &Rest| it.server == server && Some(it.mark) == mark;
        !self.waiting.contains(&job) && self.rests.get(&job).is_some_and(level)
    }

    /// It is taken off this phone.
    pub fn forget(&mut self, job: JobId) {
        self.rests.remove(&job);
    }
}

impl Phone {
    pub(super) async fn read_rest(self, storage: &Storage) {
        // What cannot be told is read: then every job is opened.
        let (rests, waiting) = (storage.rests().await.unwrap_or_default(), storage.jobs_waiting().await);
        let rests = if waiting.is_ok() { rests } else { BTreeMap::new() };
        let resting = Resting { marks: BTreeMap::new(), rests, waiting: waiting.unwrap_or_default() };
        self.inner.update_value(|it| it.resting = resting);
    }

    /// What the server has of each job: what this phone lacks is fetched, and what is only here is brought.
    pub(super) fn hear_marks(self, entries: &[JobEntry]) {
        let first = self.inner.with_value(|it| it.resting.marks.is_empty());
        let news: BTreeSet<JobId> = self
            .inner
            .try_update_value(|it| {
                let marks = &mut it.resting.marks;
                entries.iter().filter(|of| marks.insert(of.job, of.mark) != Some(of.mark)).map(|it| it.job).collect()
            })
            .unwrap_or_default();
        let jobs = self.jobs.get_untracked();
        let (level, unlike): (Vec<_>, Vec<_>) = jobs.into_iter().partition(|it| self.is_at_rest(it.job));
        unlike.iter().filter(|it| first || news.contains(&it.job)).for_each(|it| self.share(it.job));
        if first && !level.is_empty() {
            let level = level.into_iter().map(|it| JobRecord { shared: Some(now()), ..it });
            let all: Vec<JobRecord> = level.chain(unlike).collect();
            if let Some(storage) = self.storage() {
                storage.write(all.iter().cloned().map(Write::Job));
            }
            self.set_jobs(all);
        }
    }

    /// Shares what is not at rest.
    pub(super) fn share_all(self) {
        let jobs = self.jobs.get_untracked();
        jobs.iter().filter(|it| !self.is_at_rest(it.job)).for_each(|it| self.share(it.job));
    }

    /// Whether a job is not in memory and need not be.
    fn is_at_rest(self, job: JobId) -> bool {
        let Some(server) = self.server() else { return false };
        self.inner.with_value(|it| !it.loaded.contains_key(&job) && it.resting.is_level(job, server))
    }

    fn server(self) -> Option<[u8; 16]> {
        self.me.with_untracked(|it| it.as_ref().map(|it| it.replica))
    }

    /// What the server has is not known any more.
    pub(super) fn forget_marks(self) {
        self.inner.update_value(|it| it.resting.marks.clear());
    }

    /// The pictures that a job names; `None` when its document is not in memory, and it did not rest.
    pub fn named(self, job: JobId) -> Option<Vec<Named>> {
        let read = self.with(job, |it| {
            let level = it.kept.waiting() == 0 && it.record.shared.is_some();
            it.signals.job.with_untracked(|job| named(job, level).collect())
        });
        read.or_else(|| self.inner.with_value(|it| it.resting.rests.get(&job).map(|it| it.pictures.clone())))
    }

    /// Nothing is to be done with the pictures of a job: if the document is level too, the next start need not read it.
    pub fn rest(self, job: JobId, pictures: Vec<Named>) {
        let level =
            |it: &mut Loaded| it.kept.is_level() && !it.folding && it.signals.apart.with_untracked(Vec::is_empty);
        // Over an earlier connection it may have been level with less.
        let shared = self.inner.with_value(|it| it.shared.contains(&job));
        if !shared || self.with(job, level) != Some(true) {
            return;
        }
        let mark = self.inner.with_value(|it| it.resting.marks.get(&job).copied().flatten());
        let (Some(server), Some(mark)) = (self.server(), mark) else { return };
        let rest = Rest { server, mark, pictures };
        let new = self.inner.try_update_value(|it| {
            it.resting.waiting.remove(&job);
            it.resting.rests.insert(job, rest.clone()).as_ref() != Some(&rest)
        });
        if let Some(storage) = self.storage().filter(|_| new == Some(true)) {
            storage.write([Write::Rest(job, rest)]);
        }
    }

    /// Whether the server may lack something of a job, as far as this phone knows.
    pub(super) fn is_only_here(self, job: JobId) -> bool {
        let server = self.server();
        let read = self.with(job, |it| it.kept.waiting() > 0 || it.record.shared.is_none());
        read.unwrap_or_else(|| {
            self.inner.with_value(|it| {
                let rest = it.resting.rests.get(&job).map(|it| it.server);
                rest.is_none() || rest != server || it.resting.waiting.contains(&job)
            })
        })
    }

    /// Folds the changes that are stored singly into a snapshot.
    pub(super) fn fold(self, job: JobId, storage: Storage) {
        self.with(job, |it| it.folding = true);
        spawn_local(async move { self.write_snapshot(job, storage).await });
    }

    async fn write_snapshot(self, job: JobId, storage: Storage) {
        let mut changed = false;
        let folded = storage
            .fold(job, |stored| {
                let covered = |Loaded { kept, .. }: &mut Loaded| -> Result<_, DocError> {
                    let newest = stored.snapshots.first().map(|it| it.1.bytes.as_slice());
                    changed = kept.take_in_stored(newest, &stored.changes, &stored.apart, stored.waiting.clone())?;
                    let bytes = kept.snapshot()?;
                    Ok((bytes, stored.changes.iter().filter(|(_, it)| kept.has(it)).map(|(key, _)| *key).collect()))
                };
                let covered = self.with(job, covered).ok_or_else(|| "the job is closed".to_owned())?;
                covered.map_err(|it| it.to_string())
            })
            .await;
        match folded {
            Ok(()) => drop(self.with(job, |it| it.folding = false)),
            Err(error) => self.trouble.set(Some(error.told())),
        }
        if changed {
            self.show(job, true, false, Vec::new());
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const JOB: JobId = JobId(Uuid::from_u128(1));
    const SHOP: [u8; 16] = [7; 16];

    fn resting() -> Resting {
        let rest = Rest { server: SHOP, mark: Mark([1; 16]), pictures: Vec::new() };
        Resting {
            marks: BTreeMap::from([(JOB, Some(Mark([1; 16])))]),
            rests: BTreeMap::from([(JOB, rest)]),
            waiting: BTreeSet::new(),
        }
    }

    #[test]
    fn a_job_rests_until_something_happens_to_it() {
        assert!(resting().is_level(JOB, SHOP));
        assert!(!resting().is_level(JOB, [8; 16]), "another server, or one that was restored");
        for mark in [None, Some(None), Some(Some(Mark([2; 16])))] {
            let marks = mark.map(|it| (JOB, it)).into_iter().collect();
            assert!(!Resting { marks, ..resting() }.is_level(JOB, SHOP), "{mark:?}");
        }
        assert!(!Resting { waiting: BTreeSet::from([JOB]), ..resting() }.is_level(JOB, SHOP), "an edit waits");
        let mut resting = resting();
        resting.forget(JOB);
        assert!(!resting.is_level(JOB, SHOP), "never had, or taken off");
    }
}
