//! A server from a backup.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::{self, File};
use std::io::Write as _;
use std::path::{Path, PathBuf};

use shared_model::ids::{DeviceId, JobId};
use uuid::Uuid;

use super::backup::{ACTORS, ARCHIVED, Backup, DEVICES, FILES, Kept, NAMES, NOTES, snapshot_name};
use super::{FilesError, create_private};
use crate::devices::unhex;
use crate::store::{Device, Note, Store, StoreError, Write};

/// Jobs in memory at the same time.
const JOBS_AT_ONCE: usize = 64;

/// Puts a backup into a folder that is empty or not there yet. It is built beside it and put in place when it is whole; the new
/// store has a `replica` of its own, by which phones know to catch up from scratch.
pub async fn restore(file: &Path, folder: &Path) -> Result<Kept, FilesError> {
    let taken = fs::read_dir(folder).is_ok_and(|mut it| it.next().is_some()) || folder.is_file();
    if taken {
        return Err(FilesError::NotEmpty(folder.to_owned()));
    }
    let mut backup = Backup::open(File::open(file)?)?;
    let scaffold = Scaffold::beside(folder)?;
    let store = Store::open(&scaffold.0)?;
    let written = write_store(&mut backup, &store).await;
    store.close();
    written?;
    for name in backup.files() {
        let path = scaffold.0.join(&name);
        if let Some(parent) = path.parent() {
            fs::create_dir_all(parent)?;
        }
        let mut file = create_private(&path)?;
        file.write_all(&backup.read(&format!("{FILES}{name}"))?)?;
        file.sync_all()?;
    }
    if folder.exists() {
        fs::remove_dir(folder)?;
    }
    fs::rename(&scaffold.0, folder)?;
    Ok(backup.about.kept)
}

async fn write_store(backup: &mut Backup<File>, store: &Store) -> Result<(), FilesError> {
    let jobs: Vec<(JobId, Vec<u64>)> = backup.about.jobs.iter().map(|(id, it)| (*id, it.snapshots.clone())).collect();
    let epoch = store.epoch();
    for (index, (job, snapshots)) in jobs.into_iter().enumerate() {
        let changes = backup.changes(job)?;
        let mut writes: Vec<Write> =
            changes.into_iter().map(|(seq, change)| Write::Change { job, seq, change }).collect();
        for seq in snapshots {
            writes.push(Write::Snapshot { job, seq, bytes: backup.read(&snapshot_name(job, seq))? });
        }
        store.submit(epoch, writes, |_| {});
        // Waiting for each job would take a flush of the disk each.
        if index % JOBS_AT_ONCE == 0 {
            store.commit(Vec::new()).await.map_err(|error| not_stored(&error))?;
        }
    }
    let mut writes = Vec::new();
    let devices: Vec<Device> = backup.json(DEVICES)?;
    writes.extend(devices.into_iter().map(Write::Device));
    let names: BTreeMap<JobId, String> = backup.json(NAMES)?;
    let put_away: BTreeSet<JobId> = backup.json(ARCHIVED)?;
    let listed = |(job, name)| Write::Listed { job, name, archived: put_away.contains(&job) };
    writes.extend(names.into_iter().map(listed));
    let actors: BTreeMap<String, DeviceId> = backup.json(ACTORS)?;
    writes.extend(actors.into_iter().filter_map(|(it, device)| Some(Write::Actor { actor: unhex(&it)?, device })));
    let notes: Vec<Note> = backup.json(NOTES)?;
    writes.extend(notes.into_iter().rev().map(Write::Note));
    store.commit(writes).await.map_err(|error| not_stored(&error))?;
    if store.epoch() == epoch { Ok(()) } else { Err(FilesError::NotStored("a write failed".to_owned())) }
}

fn not_stored(error: &StoreError) -> FilesError {
    FilesError::NotStored(error.to_string())
}

/// A folder that is being filled; taken away again unless it is renamed.
struct Scaffold(PathBuf);

impl Scaffold {
    fn beside(folder: &Path) -> Result<Self, FilesError> {
        let mut name = folder.file_name().unwrap_or_default().to_owned();
        name.push(format!(".restoring-{}", Uuid::new_v4().simple()));
        let path = folder.with_file_name(name);
        fs::create_dir_all(&path)?;
        Ok(Self(path))
    }
}

impl Drop for Scaffold {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}
