//! Reading what is stored.

use std::sync::PoisonError;

use redb::{ReadTransaction, ReadableDatabase, ReadableTable};
use shared_model::ids::{DeviceId, JobId};
use shared_model::job::Timestamp;
use shared_model::wire::{JobEntry, Mark};
use uuid::Uuid;

use super::tables::{ACTORS, ARCHIVED, CHANGES, DEVICES, MARKS, NAMES, NOTES, SNAPSHOTS};
use super::{Device, Note, Store, StoreError, StoreFile, StoredChange, writer};

impl Store {
    /// The job's snapshots, newest first, each with the seq of the last change inside.
    pub fn snapshots(&self, job: JobId) -> Result<Vec<(u64, Vec<u8>)>, StoreError> {
        self.read(|transaction| snapshots(transaction, job))
    }

    /// The job's changes from `first` on, by seq.
    pub fn changes(&self, job: JobId, first: u64) -> Result<Vec<(u64, StoredChange)>, StoreError> {
        self.read(|transaction| changes(transaction, job, first))
    }

    /// Every job, with its name as last stored and the time of its last change.
    pub fn jobs(&self) -> Result<Vec<JobEntry>, StoreError> {
        self.read(jobs)
    }

    pub fn devices(&self) -> Result<Vec<Device>, StoreError> {
        self.read(devices)
    }

    /// What is stored now, to be read at leisure while others write.
    pub fn moment(&self) -> Result<Moment, StoreError> {
        // A transaction that is held is not tried again: it must be sound at the start.
        self.devices()?;
        let begun = self.file.begin_read().map_err(|error| StoreError::Read(error.to_string()))?;
        Ok(Moment(begun))
    }

    /// Who came and went, the latest first.
    pub fn notes(&self, most: usize) -> Result<Vec<Note>, StoreError> {
        self.read(|transaction| notes(transaction, most))
    }

    pub(super) fn read_actor(&self, actor: &[u8; 16]) -> Result<Option<DeviceId>, StoreError> {
        self.read(|transaction| {
            let owner = transaction.open_table(ACTORS)?.get(actor)?.map(|it| it.value());
            Ok(owner.map(|it| DeviceId(Uuid::from_u128(it))))
        })
    }

    /// A write that failed makes reads fail until the file is opened anew: such a read waits for that, or does it, and tries again.
    fn read<T>(&self, body: impl Fn(&ReadTransaction) -> Result<T, redb::Error>) -> Result<T, StoreError> {
        let outcome = match self.file.read(&body) {
            Err(ReadError::Closed | ReadError::Database(redb::Error::PreviousIo)) => {
                writer::open_if_closed(&self.file);
                self.file.read(&body)
            }
            outcome => outcome,
        };
        outcome.map_err(|error| StoreError::Read(error.to_string()))
    }
}

#[derive(thiserror::Error, Debug)]
enum ReadError {
    #[error("the file could not be opened again")]
    Closed,
    #[error(transparent)]
    Database(#[from] redb::Error),
}

impl StoreFile {
    fn begin_read(&self) -> Result<ReadTransaction, ReadError> {
        let database = self.database.read().unwrap_or_else(PoisonError::into_inner);
        let database = database.as_ref().ok_or(ReadError::Closed)?;
        Ok(database.begin_read().map_err(redb::Error::from)?)
    }

    fn read<T>(&self, body: impl Fn(&ReadTransaction) -> Result<T, redb::Error>) -> Result<T, ReadError> {
        Ok(body(&self.begin_read()?)?)
    }
}

/// Everything that is stored, as it was at one moment.
pub struct Moment(pub(super) ReadTransaction);

impl Moment {
    pub fn jobs(&self) -> Result<Vec<JobEntry>, StoreError> {
        readable(jobs(&self.0))
    }

    pub fn changes(&self, job: JobId) -> Result<Vec<(u64, StoredChange)>, StoreError> {
        readable(changes(&self.0, job, 0))
    }

    pub fn snapshots(&self, job: JobId) -> Result<Vec<(u64, Vec<u8>)>, StoreError> {
        readable(snapshots(&self.0, job))
    }

    pub fn devices(&self) -> Result<Vec<Device>, StoreError> {
        readable(devices(&self.0))
    }

    /// Who came and went, the latest first.
    pub fn notes(&self) -> Result<Vec<Note>, StoreError> {
        readable(notes(&self.0, usize::MAX))
    }

    /// Every actor, with the device that it belongs to.
    pub fn actors(&self) -> Result<Vec<([u8; 16], DeviceId)>, StoreError> {
        readable(actors(&self.0))
    }
}

fn readable<T>(read: Result<T, redb::Error>) -> Result<T, StoreError> {
    read.map_err(|error| StoreError::Read(error.to_string()))
}

fn snapshots(transaction: &ReadTransaction, job: JobId) -> Result<Vec<(u64, Vec<u8>)>, redb::Error> {
    let job = job.0.as_u128();
    let table = transaction.open_table(SNAPSHOTS)?;
    let mut snapshots = Vec::new();
    for row in table.range((job, 0)..=(job, u64::MAX))?.rev() {
        let (key, bytes) = row?;
        snapshots.push((key.value().1, bytes.value().to_vec()));
    }
    Ok(snapshots)
}

fn changes(transaction: &ReadTransaction, job: JobId, first: u64) -> Result<Vec<(u64, StoredChange)>, redb::Error> {
    let job = job.0.as_u128();
    let table = transaction.open_table(CHANGES)?;
    let mut changes = Vec::new();
    for row in table.range((job, first)..=(job, u64::MAX))? {
        let (key, value) = row?;
        let (hash, from, received, bytes) = value.value();
        let from = DeviceId(Uuid::from_u128(from));
        let change = StoredChange { hash: *hash, from, received: Timestamp(received), bytes: bytes.to_vec() };
        changes.push((key.value().1, change));
    }
    Ok(changes)
}

fn jobs(transaction: &ReadTransaction) -> Result<Vec<JobEntry>, redb::Error> {
    let changes = transaction.open_table(CHANGES)?;
    let names = transaction.open_table(NAMES)?;
    let put_away = transaction.open_table(ARCHIVED)?;
    let marks = transaction.open_table(MARKS)?;
    let mut entries = Vec::new();
    let mut from = 0;
    // Skips from job to job, not through all their changes.
    while let Some(row) = changes.range((from, 0)..)?.next() {
        let job = row?.0.value().0;
        let last = changes.range((job, 0)..=(job, u64::MAX))?.next_back().transpose()?;
        let changed = Timestamp(last.map_or(0, |(_, value)| value.value().2));
        let name = names.get(job)?.map(|it| it.value().to_owned()).unwrap_or_default();
        let archived = put_away.get(job)?.is_some();
        let mark = marks.get(job)?.map(|it| Mark(it.value()));
        entries.push(JobEntry { job: JobId(Uuid::from_u128(job)), name, changed, archived, mark });
        let Some(next) = job.checked_add(1) else { break };
        from = next;
    }
    Ok(entries)
}

fn devices(transaction: &ReadTransaction) -> Result<Vec<Device>, redb::Error> {
    let table = transaction.open_table(DEVICES)?;
    let mut devices = Vec::new();
    for row in table.iter()? {
        let (id, record) = row?;
        match serde_json::from_slice(record.value()) {
            Ok(device) => devices.push(device),
            Err(error) => {
                let device = Uuid::from_u128(id.value());
                tracing::error!(%device, %error, "a damaged device record: pair it again");
            }
        }
    }
    Ok(devices)
}

fn notes(transaction: &ReadTransaction, most: usize) -> Result<Vec<Note>, redb::Error> {
    let table = transaction.open_table(NOTES)?;
    let mut notes = Vec::new();
    for row in table.iter()?.rev().take(most) {
        let (number, record) = row?;
        match serde_json::from_slice(record.value()) {
            Ok(note) => notes.push(note),
            Err(error) => {
                tracing::error!(number = number.value(), %error, "a damaged line of who came and went");
            }
        }
    }
    Ok(notes)
}

fn actors(transaction: &ReadTransaction) -> Result<Vec<([u8; 16], DeviceId)>, redb::Error> {
    let table = transaction.open_table(ACTORS)?;
    let mut actors = Vec::new();
    for row in table.iter()? {
        let (actor, device) = row?;
        actors.push((*actor.value(), DeviceId(Uuid::from_u128(device.value()))));
    }
    Ok(actors)
}
