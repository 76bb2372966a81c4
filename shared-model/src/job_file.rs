//! One job as one file, to hand over, to keep, to open elsewhere: a sealed zip archive, see [`crate::sealed`].
//!
//! | Entry | What |
//! |---|---|
//! | `job.automerge` | every change of the document, one chunk behind the other, each after those it depends on |
//! | `job.json` | the job as it reads now, for other programs and for people in ten years: `napline schema takeoff` |
//! | `photos/SHA256.EXT` | a photo, named by the SHA-256 of its bytes |
//!
//! The changes stand singly and not as one compact document, because only single changes can be vetted: what stands in a file
//! comes from outside. Any program that reads automerge's binary format reads them all the same.

use std::collections::BTreeMap;
use std::io::Cursor;

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use uuid::Uuid;

use crate::guard::{self, Refusal, VettedChange};
use crate::ids::{DeviceId, JobId};
use crate::job::{DocError, JobDoc, PictureHash};
use crate::seal::Seal;
use crate::sealed::{Archive, Entry, Limits, SealedError, Writer, hex};

/// What a job file's name ends with.
pub const EXTENSION: &str = "napline";

const FORMAT: &str = "napline job";
const VERSION: u32 = 1;
const DOCUMENT: &str = "job.automerge";
const OPEN_JOB: &str = "job.json";
const PHOTOS: &str = "photos/";

/// All that a job may have, and once more: phones that were apart may each have filled it with photos.
const LIMITS: Limits = Limits { archive: (5 << 30) + (64 << 20), entries: 2 + 4_000, inflated: 5 << 30 };

/// What a phone reads: it has it all in memory.
const PHONE_LIMITS: Limits = Limits { archive: 256 << 20, entries: LIMITS.entries, inflated: 384 << 20 };

/// Most bytes of photos that a phone puts into a file.
pub const MOST_ON_PHONE: u64 = 200 << 20;

const MOST_PHOTO: u64 = 16 << 20;

/// Photos by the names that they have in the file, below its folder for them.
pub type Photos = BTreeMap<String, Vec<u8>>;

#[derive(Serialize, Deserialize)]
struct About {
    format: String,
    version: u32,
    job: JobId,
    name: String,
    /// Hashes of the newest changes, in hexadecimal digits.
    heads: Vec<String>,
    /// By which the shop's servers know that it all comes from whom it says.
    #[serde(default)]
    seals: Vec<Seal>,
}

/// A job from a file: vetted, complete, and not yet part of anything.
#[derive(Debug)]
pub struct JobFile {
    pub job: JobId,
    pub name: String,
    /// Hashes of the newest changes.
    pub heads: Vec<[u8; 32]>,
    /// Each after those it depends on.
    pub changes: Vec<VettedChange>,
    pub photos: Photos,
    pub seals: Vec<Seal>,
}

/// Why a file is no job. Nothing was changed.
#[derive(thiserror::Error, Debug)]
pub enum JobFileError {
    #[error(transparent)]
    Sealed(#[from] SealedError),
    #[error("it is another kind of file: {0}")]
    OtherKind(String),
    #[error("a newer version wrote it: update this one")]
    Newer,
    #[error("its changes are refused: {0}")]
    Refused(#[from] Refusal),
    #[error("its changes do not fit together: {0}")]
    Unfit(#[from] DocError),
    #[error("its changes are not all there")]
    Incomplete,
}

/// The name of a picture that a job names.
pub fn photo_name_of(hash: PictureHash) -> String {
    format!("{hash}.jpg")
}

/// The name of a photo of these bytes; `extension` says what they are, as in `jpg`.
pub fn photo_name(bytes: &[u8], extension: &str) -> String {
    format!("{}.{extension}", hex(&Sha256::digest(bytes)))
}

/// A name for the file that says which job is in it.
pub fn file_name(job: &str) -> String {
    let letter = |it: char| if it.is_alphanumeric() { it.to_ascii_lowercase() } else { ' ' };
    let plain: String = job.chars().map(letter).take(60).collect();
    let words: Vec<&str> = plain.split_whitespace().collect();
    if words.is_empty() { "job".to_owned() } else { words.join("-") }
}

/// The file of a job. Changes that wait for others are left out.
pub fn write(doc: &JobDoc, photos: &Photos, seals: Vec<Seal>) -> Result<Vec<u8>, SealedError> {
    let job = doc.job();
    let changes: Vec<u8> = doc.changes_since(&[]).into_iter().flat_map(|it| it.bytes).collect();
    let json = serde_json::to_vec_pretty(&job).map_err(std::io::Error::other)?;
    let size = photos.values().map(|it| it.len() as u64).sum::<u64>() + changes.len() as u64 + json.len() as u64;
    if size > LIMITS.inflated || photos.len() + 2 > LIMITS.entries {
        return Err(SealedError::TooLarge(LIMITS.inflated >> 20));
    }
    let mut archive = Writer::new(Vec::new());
    archive.add(DOCUMENT, changes.as_slice())?;
    archive.add(OPEN_JOB, json.as_slice())?;
    for (name, bytes) in photos {
        archive.add(&format!("{PHOTOS}{name}"), bytes.as_slice())?;
    }
    let heads = doc.heads().iter().map(|it| hex(&it.0)).collect();
    archive.finish(About { format: FORMAT.to_owned(), version: VERSION, job: job.id, name: job.name, heads, seals })
}

/// Reads a file from outside: whole and sound, or not at all.
pub fn read(bytes: &[u8]) -> Result<JobFile, JobFileError> {
    read_within(bytes, LIMITS)
}

/// The same on a phone, where there is less room.
pub fn read_on_phone(bytes: &[u8]) -> Result<JobFile, JobFileError> {
    read_within(bytes, PHONE_LIMITS)
}

fn read_within(bytes: &[u8], limits: Limits) -> Result<JobFile, JobFileError> {
    let (mut archive, about): (_, About) = Archive::open(Cursor::new(bytes), limits)?;
    if about.format != FORMAT {
        return Err(JobFileError::OtherKind(about.format));
    }
    if about.version > VERSION {
        return Err(JobFileError::Newer);
    }
    let mut photos = Photos::new();
    for entry in archive.entries().cloned().collect::<Vec<Entry>>() {
        match entry.name.strip_prefix(PHOTOS) {
            Some(photo) => {
                check_photo(&entry, photo)?;
                photos.insert(photo.to_owned(), archive.read(&entry.name)?);
            }
            None if entry.name == OPEN_JOB => drop(archive.read(OPEN_JOB)?),
            None if entry.name == DOCUMENT => {}
            None => return Err(SealedError::entry(&entry.name, "no part of a job").into()),
        }
    }
    let changes = guard::changes(&archive.read(DOCUMENT)?)?;
    let heads = fit_together(about.job, &changes)?;
    if heads.iter().map(|it| hex(it)).ne(about.heads) {
        return Err(JobFileError::Incomplete);
    }
    Ok(JobFile { job: about.job, name: about.name, heads, changes, photos, seals: about.seals })
}

/// Puts the changes together in a document of their own; answers its heads.
fn fit_together(job: JobId, changes: &[VettedChange]) -> Result<Vec<[u8; 32]>, JobFileError> {
    let mut doc = JobDoc::new(job, [0; 16], DeviceId(Uuid::nil()));
    doc.apply(changes.to_vec())?;
    if !doc.missing().is_empty() {
        return Err(JobFileError::Incomplete);
    }
    Ok(doc.heads().iter().map(|it| it.0).collect())
}

/// A photo is named by what it holds, as the manifest says and the archive checks.
fn check_photo(entry: &Entry, name: &str) -> Result<(), SealedError> {
    let (hash, extension) = name.split_once('.').unwrap_or((name, ""));
    let letters = extension.bytes().all(|it| it.is_ascii_lowercase() || it.is_ascii_digit());
    if hash != entry.sha256 || !(1..=5).contains(&extension.len()) || !letters {
        return Err(SealedError::entry(&entry.name, "its name is not the SHA-256 of what it holds"));
    }
    if entry.size > MOST_PHOTO {
        return Err(SealedError::entry(&entry.name, format!("more than {} MiB", MOST_PHOTO >> 20)));
    }
    Ok(())
}
