//! A server from a backup.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};

use shared_model::ids::{DeviceId, JobId};
use uuid::Uuid;

use super::FilesError;
use super::backup::{ACTORS, ARCHIVED, Backup, DEVICES, FILES, Kept, NAMES, NOTES, snapshot_name};
use crate::devices::unhex;
use crate::put;
use crate::store::{self, Device, Note, Store, StoreError, Write};

/// Jobs in memory at the same time.
const JOBS_AT_ONCE: usize = 64;

/// Puts a backup into a folder that is empty or not there yet. It is built in a folder inside and moved when it is whole, the
/// store last; the new store has a `replica` of its own, by which phones know to catch up from scratch.
pub async fn restore(file: &Path, folder: &Path) -> Result<Kept, FilesError> {
    // A data disk has its own folder for what a check of the disk found.
    let others = |it: io::Result<fs::DirEntry>| it.is_ok_and(|it| it.file_name() != "lost+found");
    if folder.is_file() || fs::read_dir(folder).is_ok_and(|mut it| it.any(others)) {
        return Err(FilesError::NotEmpty(folder.to_owned()));
    }
    let mut backup = Backup::open(File::open(file)?)?;
    let scaffold = Scaffold::inside(folder)?;
    let store = Store::open(&scaffold.at)?;
    let written = write_store(&mut backup, &store).await;
    store.close();
    written?;
    for name in backup.files() {
        let path = scaffold.at.join(&name);
        path.parent().map_or(Ok(()), put::make_folder)?;
        put::put(&path, &backup.read(&format!("{FILES}{name}"))?)?;
    }
    scaffold.take_down()?;
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
    let mut names: BTreeMap<JobId, String> = backup.json(NAMES)?;
    let put_away: BTreeSet<JobId> = backup.json(ARCHIVED)?;
    // Some have no name, and may be put away all the same.
    let name = |job: &JobId| (*job, names.remove(job).unwrap_or_default());
    let named: Vec<_> = backup.about.jobs.keys().map(name).collect();
    let listed = |(job, name)| Write::Listed { job, name, archived: put_away.contains(&job) };
    writes.extend(named.into_iter().map(listed));
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

/// A folder that is being filled; taken away again, with all that is in it, unless what it holds was moved out.
struct Scaffold {
    at: PathBuf,
    /// The folder around it was not there before.
    around: Option<PathBuf>,
}

impl Scaffold {
    fn inside(folder: &Path) -> Result<Self, FilesError> {
        let around = (!folder.exists()).then(|| folder.to_owned());
        let at = folder.join(format!(".restoring-{}", Uuid::new_v4().simple()));
        put::make_folder(&at)?;
        Ok(Self { at, around })
    }

    /// A server that finds no store in the folder makes a new one: until the store is moved, nothing is restored.
    fn take_down(mut self) -> Result<(), FilesError> {
        let folder = self.at.parent().unwrap_or(Path::new(".")).to_owned();
        let mut names = fs::read_dir(&self.at)?.map(|it| Ok(it?.file_name())).collect::<io::Result<Vec<_>>>()?;
        names.sort_by_key(|it| it == store::FILE);
        for name in names {
            let to = folder.join(name);
            fs::rename(self.at.join(to.file_name().unwrap_or_default()), &to)?;
            put::sync_folder_of(&to)?;
        }
        self.around = None;
        Ok(())
    }
}

impl Drop for Scaffold {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.at);
        // Not if anything was moved there already.
        let _ = self.around.as_ref().map(fs::remove_dir);
    }
}
