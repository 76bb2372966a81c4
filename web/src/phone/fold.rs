//! Changes that are stored singly are folded into a snapshot, now and then.

use super::*;

impl Phone {
    /// Folds the changes that are stored singly into a snapshot.
    pub(super) fn fold(self, job: JobId, storage: Storage) {
        self.inner.update_value(|it| it.resting.begin_fold(job));
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
            Ok(()) => self.inner.update_value(|it| it.resting.end_fold(job)),
            Err(error) => self.trouble.set(Some(error.told())),
        }
        if changed {
            self.show(job, true, false, Vec::new());
        }
    }
}
