//! A zip archive that shows any damage: what job files and backups are made of.
//!
//! Two things are added to an ordinary archive (APPNOTE.TXT 6.3.10 of the zip format), and any program opens it as one:
//!
//! - `manifest.json`, the last entry, says what the archive is, and names every other entry with its size and SHA-256.
//! - The archive's comment is the seal: a word, and then the SHA-256 of every byte before that number's digits. One bit that
//!   flips anywhere, or an end that is missing, breaks it.

use std::collections::BTreeMap;
use std::io::{self, Read, Seek, SeekFrom, Write};

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use zip::result::ZipError;
use zip::write::{SimpleFileOptions, StreamWriter};
use zip::{CompressionMethod, ZipArchive, ZipWriter};

const MANIFEST: &str = "manifest.json";
const SEAL: &str = "Napline SHA-256 ";
/// Digits of the seal.
const DIGITS: usize = 64;
const MOST_NAME: usize = 200;
/// Most bytes of a manifest, beside those of each entry.
const MOST_ABOUT: u64 = 64 << 20;
const MOST_SAID: u64 = 512;

/// Why an archive cannot be used. Nothing was changed.
#[derive(thiserror::Error, Debug)]
pub enum SealedError {
    #[error("it is no file of Napline's, or its end is missing")]
    NotOurs,
    #[error("it is damaged: it is not as it was written")]
    Damaged,
    #[error("it is too large: the most is {0} MiB")]
    TooLarge(u64),
    #[error("{entry}: {what}")]
    Entry { entry: String, what: String },
    #[error("{0}")]
    Unreadable(#[from] io::Error),
}

impl SealedError {
    pub(crate) fn entry(entry: &str, what: impl Into<String>) -> Self {
        Self::Entry { entry: entry.to_owned(), what: what.into() }
    }
}

impl From<ZipError> for SealedError {
    fn from(error: ZipError) -> Self {
        match error {
            ZipError::Io(error) => Self::Unreadable(error),
            other => Self::entry("the archive", other.to_string()),
        }
    }
}

#[derive(Serialize, Deserialize)]
struct Manifest<T> {
    about: T,
    entries: Vec<Entry>,
}

/// One entry, as the manifest says it is.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Entry {
    pub name: String,
    /// Bytes.
    pub size: u64,
    /// In hexadecimal digits.
    pub sha256: String,
}

/// How much an archive may hold: a small one can inflate to anything.
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    /// Bytes of the archive.
    pub archive: u64,
    pub entries: usize,
    /// Bytes of all entries.
    pub inflated: u64,
}

/// An archive that is being written, entry by entry.
pub struct Writer<W: Write> {
    zip: ZipWriter<StreamWriter<Sealing<W>>>,
    entries: Vec<Entry>,
}

impl<W: Write> Writer<W> {
    pub fn new(to: W) -> Self {
        Self { zip: ZipWriter::new_stream(Sealing::new(to)), entries: Vec::new() }
    }

    pub fn add(&mut self, name: &str, mut content: impl Read) -> Result<&Entry, SealedError> {
        if !is_safe(name) {
            return Err(SealedError::entry(name, "the name is longer or odder than an archive's may be"));
        }
        self.zip.start_file(name, SimpleFileOptions::DEFAULT.compression_method(CompressionMethod::Deflated))?;
        let (mut hash, mut size, mut part) = (Sha256::new(), 0, vec![0; 64 << 10]);
        loop {
            let read = content.read(&mut part)?;
            let Some(bytes) = part.get(..read).filter(|it| !it.is_empty()) else { break };
            hash.update(bytes);
            size += bytes.len() as u64;
            self.zip.write_all(bytes)?;
        }
        self.entries.push(Entry { name: name.to_owned(), size, sha256: hex(&hash.finalize()) });
        self.entries.last().ok_or_else(|| SealedError::entry(name, "it is missing"))
    }

    /// Says what the archive is, and seals it.
    pub fn finish(mut self, about: impl Serialize) -> Result<W, SealedError> {
        let manifest = Manifest { about, entries: std::mem::take(&mut self.entries) };
        let json = serde_json::to_vec(&manifest).map_err(io::Error::other)?;
        self.add(MANIFEST, json.as_slice())?;
        self.zip.set_comment(format!("{SEAL}{}", "0".repeat(DIGITS)))?;
        Ok(self.zip.finish()?.into_inner().finish()?)
    }
}

/// Passes bytes on, and puts their hash in place of the last [`DIGITS`] of them.
struct Sealing<W> {
    to: W,
    hash: Sha256,
    held_back: Vec<u8>,
}

impl<W: Write> Sealing<W> {
    fn new(to: W) -> Self {
        Self { to, hash: Sha256::new(), held_back: Vec::new() }
    }

    fn finish(mut self) -> io::Result<W> {
        self.to.write_all(hex(&self.hash.finalize()).as_bytes())?;
        self.to.flush()?;
        Ok(self.to)
    }
}

impl<W: Write> Write for Sealing<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.held_back.extend_from_slice(bytes);
        let ready = self.held_back.len().saturating_sub(DIGITS);
        let ready: Vec<u8> = self.held_back.drain(..ready).collect();
        self.hash.update(&ready);
        self.to.write_all(&ready)?;
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        self.to.flush()
    }
}

/// An archive whose seal is whole.
pub struct Archive<F> {
    zip: ZipArchive<F>,
    /// In the order of their names.
    entries: BTreeMap<String, Entry>,
}

impl<F: Read + Seek> Archive<F> {
    /// Opens an archive if it is as it was written, and keeps within the limits.
    pub fn open<T: DeserializeOwned>(mut file: F, limits: Limits) -> Result<(Self, T), SealedError> {
        check_seal(&mut file, limits.archive)?;
        let mut zip = ZipArchive::new(file)?;
        if zip.has_duplicate_names() || zip.has_overlapping_entries()? {
            return Err(SealedError::entry("the archive", "two of its entries are one"));
        }
        if zip.len() > limits.entries + 1 {
            return Err(SealedError::entry("the archive", format!("more than {} entries", limits.entries)));
        }
        let most = MOST_ABOUT.saturating_add(MOST_SAID.saturating_mul(limits.entries as u64));
        let json = inflate(&mut zip, MANIFEST, most)?;
        let manifest: Manifest<T> =
            serde_json::from_slice(&json).map_err(|error| SealedError::entry(MANIFEST, error.to_string()))?;
        let inflated = manifest.entries.iter().fold(0, |sum: u64, it| sum.saturating_add(it.size));
        if inflated > limits.inflated {
            return Err(SealedError::TooLarge(limits.inflated >> 20));
        }
        let count = manifest.entries.len();
        let entries: BTreeMap<_, _> = manifest.entries.into_iter().map(|it| (it.name.clone(), it)).collect();
        if count != entries.len() || count + 1 != zip.len() {
            return Err(SealedError::entry(MANIFEST, "it does not name every entry once"));
        }
        if let Some(odd) = entries.keys().find(|it| !is_safe(it) || *it == MANIFEST) {
            return Err(SealedError::entry(odd, "no name for an entry"));
        }
        Ok((Self { zip, entries }, manifest.about))
    }

    pub fn entries(&self) -> impl Iterator<Item = &Entry> {
        self.entries.values()
    }

    /// An entry's content, if it is what the manifest says.
    pub fn read(&mut self, name: &str) -> Result<Vec<u8>, SealedError> {
        let entry = self.entries.get(name).ok_or_else(|| SealedError::entry(name, "it is missing"))?;
        let content = inflate(&mut self.zip, name, entry.size)?;
        if content.len() as u64 != entry.size || hex(&Sha256::digest(&content)) != entry.sha256 {
            return Err(SealedError::entry(name, "it is not what the manifest says"));
        }
        Ok(content)
    }
}

fn inflate<F: Read + Seek>(zip: &mut ZipArchive<F>, name: &str, most: u64) -> Result<Vec<u8>, SealedError> {
    let mut content = Vec::new();
    let entry = zip.by_name(name).map_err(|error| SealedError::entry(name, error.to_string()))?;
    let read = entry.take(most + 1).read_to_end(&mut content);
    read.map_err(|error| SealedError::entry(name, error.to_string()))?;
    if content.len() as u64 > most {
        return Err(SealedError::entry(name, "it is longer than it says"));
    }
    Ok(content)
}

fn check_seal<F: Read + Seek>(file: &mut F, most: u64) -> Result<(), SealedError> {
    let size = file.seek(SeekFrom::End(0))?;
    if size > most {
        return Err(SealedError::TooLarge(most >> 20));
    }
    let seal = SEAL.len() + DIGITS;
    let before = size.checked_sub(seal as u64).ok_or(SealedError::NotOurs)?;
    file.seek(SeekFrom::Start(0))?;
    let mut hash = Sha256::new();
    let mut left = before;
    let mut part = vec![0; 64 << 10];
    while left > 0 {
        let next = usize::try_from(left).unwrap_or(usize::MAX).min(part.len());
        let part = &mut part[..next];
        file.read_exact(part)?;
        hash.update(&*part);
        left -= next as u64;
    }
    let mut end = vec![0; seal];
    file.read_exact(&mut end)?;
    let (word, digits) = end.split_at(SEAL.len());
    if word != SEAL.as_bytes() {
        return Err(SealedError::NotOurs);
    }
    hash.update(word);
    if hex(&hash.finalize()).as_bytes() == digits { Ok(()) } else { Err(SealedError::Damaged) }
}

/// Plain names in folders: none leads out of the folder that an archive is unpacked into, on any system.
pub fn is_safe(name: &str) -> bool {
    let plain = |it: &str| {
        !it.is_empty()
            && !it.starts_with('.')
            && !it.ends_with('.')
            && it.bytes().all(|it| it.is_ascii_alphanumeric() || b"._-".contains(&it))
    };
    name.len() <= MOST_NAME && name.split('/').all(plain)
}

pub(crate) fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|it| format!("{it:02x}")).collect()
}
