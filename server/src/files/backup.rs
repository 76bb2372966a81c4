//! Everything that a server keeps, as one file: a sealed zip archive of plain files, see [`shared_model::sealed`].
//!
//! | Entry | What |
//! |---|---|
//! | `store/JOB/changes.automerge` | every change of a job, one chunk behind the other |
//! | `store/JOB/changes.json` | of each: its number, hash, size, which device brought it, when |
//! | `store/JOB/snapshot-SEQ.automerge` | the document after that change |
//! | `store/devices.json`, `names.json`, `archived.json`, `actors.json`, `notes.json` | paired devices; the jobs' names; which are put away; whose actors are whose; who came and went |
//! | `files/…` | what else is in the data folder, secrets too |

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::{self, Read, Seek, Write};
use std::path::Path;

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use shared_model::ids::{DeviceId, JobId};
use shared_model::job::{JobDoc, PictureHash, Timestamp};
use shared_model::sealed::{Archive, Limits, Writer, is_safe};
use uuid::Uuid;

use super::{FilesError, control};
use crate::clock;
use crate::devices::hex;
use crate::photos::UNNEEDED;
use crate::put::PART;
use crate::store::{self, Moment, StoredChange};

const FORMAT: &str = "napline backup";
const VERSION: u32 = 1;
pub const DEVICES: &str = "store/devices.json";
pub const NAMES: &str = "store/names.json";
/// Jobs that are put away.
pub const ARCHIVED: &str = "store/archived.json";
pub const ACTORS: &str = "store/actors.json";
pub const NOTES: &str = "store/notes.json";
pub const FILES: &str = "files/";

/// A backup is the shop's own; these only keep a damaged number from filling the memory.
const LIMITS: Limits = Limits { archive: 1 << 42, entries: 10_000_000, inflated: 1 << 44 };

#[derive(Serialize, Deserialize)]
pub struct About {
    format: String,
    version: u32,
    pub made: Timestamp,
    pub jobs: BTreeMap<JobId, JobSaid>,
    pub kept: Kept,
}

/// What a backup says of one job.
#[derive(Serialize, Deserialize)]
pub struct JobSaid {
    pub changes: u64,
    /// Hashes of the newest changes, in hexadecimal digits; absent when some of the changes were damaged in the store already.
    pub heads: Option<Vec<String>>,
    /// Each by the number of the last change inside.
    pub snapshots: Vec<u64>,
}

/// How much a backup holds.
#[derive(Clone, PartialEq, Debug, Default, Serialize, Deserialize)]
pub struct Kept {
    pub jobs: u64,
    pub changes: u64,
    pub devices: u64,
    pub files: u64,
    /// Jobs that were damaged in the store already: copied as they are.
    pub damaged: Vec<JobId>,
    /// What else is not as it should be, in words: files that are left out, or damaged.
    #[serde(default)]
    pub remarks: Vec<String>,
}

#[derive(Serialize, Deserialize)]
pub struct ChangeSaid {
    pub seq: u64,
    /// In hexadecimal digits.
    pub hash: String,
    pub from: DeviceId,
    pub received: Timestamp,
    pub size: usize,
}

/// Writes what is stored at this moment, and the other files of the data folder.
pub fn write(moment: &Moment, folder: &Path, to: &mut dyn Write) -> Result<Kept, FilesError> {
    let mut archive = Writer::new(to);
    let mut kept = Kept::default();
    let mut said = BTreeMap::new();
    let (mut names, mut archived) = (BTreeMap::new(), BTreeSet::new());
    for entry in moment.jobs()? {
        let changes = moment.changes(entry.job)?;
        let heads = heads(entry.job, changes.iter().map(|(_, it)| it.bytes.as_slice()));
        kept.jobs += 1;
        kept.changes += changes.len() as u64;
        kept.damaged.extend(heads.is_none().then_some(entry.job));
        write_changes(&mut archive, entry.job, &changes)?;
        let snapshots = moment.snapshots(entry.job)?;
        for (seq, bytes) in &snapshots {
            archive.add(&snapshot_name(entry.job, *seq), bytes.as_slice())?;
        }
        let snapshots = snapshots.into_iter().map(|(seq, _)| seq).collect();
        said.insert(entry.job, JobSaid { changes: changes.len() as u64, heads, snapshots });
        archived.extend(entry.archived.then_some(entry.job));
        if !entry.name.is_empty() {
            names.insert(entry.job, entry.name);
        }
    }
    let devices = moment.devices()?;
    kept.devices = devices.len() as u64;
    let actors: BTreeMap<String, DeviceId> = moment.actors()?.into_iter().map(|(it, of)| (hex(&it), of)).collect();
    archive.add(DEVICES, serde_json::to_vec(&devices)?.as_slice())?;
    archive.add(NAMES, serde_json::to_vec(&names)?.as_slice())?;
    archive.add(ARCHIVED, serde_json::to_vec(&archived)?.as_slice())?;
    archive.add(ACTORS, serde_json::to_vec(&actors)?.as_slice())?;
    archive.add(NOTES, serde_json::to_vec(&moment.notes()?)?.as_slice())?;
    write_files(&mut archive, folder, "", &mut kept)?;
    let format = FORMAT.to_owned();
    archive.finish(About { format, version: VERSION, made: clock::now(), jobs: said, kept: kept.clone() })?;
    Ok(kept)
}

fn write_changes<W: Write>(
    archive: &mut Writer<W>,
    job: JobId,
    changes: &[(u64, StoredChange)],
) -> Result<(), FilesError> {
    let said = |(seq, it): &(u64, StoredChange)| {
        let (from, received, size) = (it.from, it.received, it.bytes.len());
        ChangeSaid { seq: *seq, hash: hex(&it.hash), from, received, size }
    };
    let rows: Vec<ChangeSaid> = changes.iter().map(said).collect();
    let bytes: Vec<u8> = changes.iter().flat_map(|(_, it)| &it.bytes).copied().collect();
    let (document, list) = changes_names(job);
    archive.add(&document, bytes.as_slice())?;
    archive.add(&list, serde_json::to_vec(&rows)?.as_slice())?;
    Ok(())
}

/// Adds a folder's files but for the store, which is in the archive already, and what only a running server needs.
fn write_files<W: Write>(
    archive: &mut Writer<W>,
    folder: &Path,
    below: &str,
    kept: &mut Kept,
) -> Result<(), FilesError> {
    let within = |path: &Path, error: io::Error| FilesError::In(path.to_owned(), Box::new(error.into()));
    let all = fs::read_dir(folder).and_then(Iterator::collect::<io::Result<Vec<_>>>);
    let mut all = all.map_err(|error| within(folder, error))?;
    all.sort_by_key(fs::DirEntry::file_name);
    for entry in all {
        let (path, name) = (entry.path(), format!("{below}{}", entry.file_name().to_string_lossy()));
        let ending = path.extension().and_then(|it| it.to_str()).unwrap_or_default();
        if [PART, UNNEEDED].contains(&ending) || [store::FILE, control::FILE].contains(&name.as_str()) {
            continue;
        }
        if !is_safe(&format!("{FILES}{name}")) {
            kept.remarks.push(format!("{name} is left out: its name is longer or odder than those of Napline's files"));
            continue;
        }
        let file = match entry.file_type() {
            Ok(kind) if kind.is_dir() => {
                write_files(archive, &path, &format!("{name}/"), kept)?;
                continue;
            }
            Ok(kind) if kind.is_file() => fs::File::open(&path),
            Ok(_) => {
                kept.remarks.push(format!("{name} is left out: it is neither a file nor a folder"));
                continue;
            }
            Err(error) => Err(error),
        };
        match file {
            // Whatever removes files of a running server has removed it.
            Err(error) if error.kind() == io::ErrorKind::NotFound => {}
            Err(error) => return Err(within(&path, error)),
            Ok(file) => {
                let written = archive.add(&format!("{FILES}{name}"), file);
                let sha256 = &written.map_err(|error| FilesError::In(path.clone(), Box::new(error.into())))?.sha256;
                let picture = path.file_stem().and_then(|it| it.to_str()?.parse::<PictureHash>().ok());
                if picture.is_some_and(|it| it.to_string() != *sha256) {
                    kept.remarks.push(format!("{name} is damaged: it is copied as it is"));
                }
                kept.files += 1;
            }
        }
    }
    Ok(())
}

pub fn changes_names(job: JobId) -> (String, String) {
    (format!("store/{job}/changes.automerge"), format!("store/{job}/changes.json"))
}

pub fn snapshot_name(job: JobId, seq: u64) -> String {
    format!("store/{job}/snapshot-{seq}.automerge")
}

/// The heads of the document that the changes make; `None` when they do not make one.
fn heads<'a>(job: JobId, changes: impl Iterator<Item = &'a [u8]>) -> Option<Vec<String>> {
    let doc = JobDoc::from_changes(job, None, changes, [0; 16], DeviceId(Uuid::nil())).ok()?;
    doc.missing().is_empty().then(|| doc.heads().iter().map(|it| hex(&it.0)).collect())
}

/// A backup that is as it was written, and whose jobs open as they were.
pub struct Backup<F> {
    archive: Archive<F>,
    pub about: About,
}

impl<F: Read + Seek> Backup<F> {
    /// Opens a backup and verifies all of it.
    pub fn open(file: F) -> Result<Self, FilesError> {
        let (archive, about): (_, About) = Archive::open(file, LIMITS)?;
        if about.format != FORMAT || about.version > VERSION {
            return Err(FilesError::NoBackup);
        }
        let mut backup = Self { archive, about };
        backup.verify()?;
        Ok(backup)
    }

    fn verify(&mut self) -> Result<(), FilesError> {
        let names: Vec<String> = self.archive.entries().map(|it| it.name.clone()).collect();
        for name in names {
            // A job's changes are read when its document is put together.
            if !name.ends_with("changes.automerge") && !name.ends_with("changes.json") {
                self.archive.read(&name)?;
            }
        }
        for job in self.about.jobs.keys().copied().collect::<Vec<_>>() {
            let changes = self.changes(job)?;
            let Some(said) = self.about.jobs.get(&job) else { continue };
            let found = heads(job, changes.iter().map(|(_, it)| it.bytes.as_slice()));
            if said.heads.is_some() && found != said.heads || said.changes != changes.len() as u64 {
                return Err(FilesError::OtherJob(job));
            }
        }
        Ok(())
    }

    /// Every change of a job, by its number in the store.
    pub fn changes(&mut self, job: JobId) -> Result<Vec<(u64, StoredChange)>, FilesError> {
        let (document, list) = changes_names(job);
        let rows: Vec<ChangeSaid> = self.json(&list)?;
        let bytes = self.archive.read(&document)?;
        let mut rest = bytes.as_slice();
        let mut changes = Vec::with_capacity(rows.len());
        for row in rows {
            let (bytes, behind) = rest.split_at_checked(row.size).ok_or(FilesError::OtherJob(job))?;
            let hash = crate::devices::unhex(&row.hash).ok_or(FilesError::OtherJob(job))?;
            let change = StoredChange { hash, from: row.from, received: row.received, bytes: bytes.to_vec() };
            changes.push((row.seq, change));
            rest = behind;
        }
        if rest.is_empty() { Ok(changes) } else { Err(FilesError::OtherJob(job)) }
    }

    pub fn json<T: DeserializeOwned>(&mut self, name: &str) -> Result<T, FilesError> {
        Ok(serde_json::from_slice(&self.archive.read(name)?)?)
    }

    pub fn read(&mut self, name: &str) -> Result<Vec<u8>, FilesError> {
        Ok(self.archive.read(name)?)
    }

    /// The names of the entries that are files of the data folder.
    pub fn files(&self) -> Vec<String> {
        let names = self.archive.entries().filter_map(|it| it.name.strip_prefix(FILES));
        names.map(str::to_owned).collect()
    }
}
