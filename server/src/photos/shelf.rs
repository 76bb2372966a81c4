//! Pictures as files: `photos/ab/abcd….jpg`, each named by its hash. What has not come whole yet stands beside it as `.part`.

use std::collections::BTreeSet;
use std::fs::{self, File, OpenOptions};
use std::io::{self, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use shared_model::job::{Picture, PictureHash, Timestamp};
use shared_model::photo::{self, NoPicture};

const FOLDER: &str = "photos";
const WHOLE: &str = "jpg";
/// Comes in; only a server that is stopped in the middle leaves one that no phone goes on with.
pub const PART: &str = "part";
/// Says since when no job needs the picture of this name.
const UNNEEDED: &str = "unneeded";

/// A picture that no job needs is kept for so long: a job that is brought back brings its photos.
const KEPT_UNNEEDED: i64 = 30 * 24 * 3_600;

/// How much of a picture is here.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Here {
    Whole,
    /// So many bytes from its start; zero is nothing.
    Part(u64),
}

/// Why a piece is not taken. What was there before still is, unless it was the picture itself that cannot be kept.
#[derive(thiserror::Error, Debug)]
pub enum ShelfError {
    #[error("the photos take all the room that they may: {0} MiB, see --photos-most")]
    Full(u64),
    #[error(transparent)]
    System(#[from] io::Error),
    #[error("the next piece starts at byte {0}")]
    Elsewhere(u64),
    #[error("its pieces do not make the one of this name; send it again")]
    Another,
    #[error(transparent)]
    NoPicture(#[from] NoPicture),
}

pub struct Shelf {
    folder: PathBuf,
    /// Bytes.
    most: u64,
    /// Bytes in use. Held while files change.
    used: Mutex<u64>,
}

impl Shelf {
    pub fn open(data: &Path, most: u64) -> io::Result<Self> {
        let folder = data.join(FOLDER);
        fs::create_dir_all(&folder)?;
        let used = files(&folder)?.iter().filter_map(|it| Some(it.metadata().ok()?.len())).sum();
        Ok(Self { folder, most, used: Mutex::new(used) })
    }

    pub fn has(&self, hash: PictureHash) -> Here {
        if self.path(hash, WHOLE).is_file() {
            return Here::Whole;
        }
        Here::Part(fs::metadata(self.path(hash, PART)).map_or(0, |it| it.len()))
    }

    pub fn read(&self, hash: PictureHash) -> io::Result<Vec<u8>> {
        fs::read(self.path(hash, WHOLE))
    }

    /// Takes a whole picture.
    pub fn put(&self, picture: &Picture, file: &[u8]) -> Result<Here, ShelfError> {
        let Here::Part(have) = self.has(picture.hash) else { return Ok(Here::Whole) };
        let at = usize::try_from(have).unwrap_or(usize::MAX);
        self.add(picture, have, file.get(at..).ok_or(ShelfError::Another)?)
    }

    /// Takes the next piece of a picture; the last one puts it in place, if it is the right one and may be kept.
    pub fn add(&self, picture: &Picture, at: u64, piece: &[u8]) -> Result<Here, ShelfError> {
        let mut used = self.used.lock().unwrap_or_else(PoisonError::into_inner);
        let have = match self.has(picture.hash) {
            Here::Part(have) => have,
            Here::Whole => return Ok(Here::Whole),
        };
        if have != at {
            return Err(ShelfError::Elsewhere(have));
        }
        let end = at + piece.len() as u64;
        if *used + piece.len() as u64 > self.most {
            return Err(ShelfError::Full(self.most >> 20));
        }
        let path = self.path(picture.hash, PART);
        path.parent().map_or(Ok(()), fs::create_dir_all)?;
        let mut file = OpenOptions::new().write(true).create(true).truncate(false).open(&path)?;
        let written = file.seek(SeekFrom::Start(at)).and_then(|_| file.write_all(piece));
        if let Err(error) = written {
            // A part of a piece would be no place to go on from.
            file.set_len(at)?;
            return Err(error.into());
        }
        *used += piece.len() as u64;
        if end < u64::from(picture.bytes) {
            return Ok(Here::Part(end));
        }
        if let Err(error) = self.finish(picture, &file, &path) {
            if matches!(error, ShelfError::Another | ShelfError::NoPicture(_)) {
                fs::remove_file(&path)?;
                *used = used.saturating_sub(end);
            }
            return Err(error);
        }
        Ok(Here::Whole)
    }

    fn finish(&self, picture: &Picture, file: &File, path: &Path) -> Result<(), ShelfError> {
        let bytes = fs::read(path)?;
        if bytes.len() as u64 != u64::from(picture.bytes) || PictureHash::of(&bytes) != picture.hash {
            return Err(ShelfError::Another);
        }
        photo::vet(&bytes)?;
        file.sync_all()?;
        fs::rename(path, self.path(picture.hash, WHOLE))?;
        // The name is on the disk when its folder is.
        path.parent().map_or(Ok(()), |it| File::open(it)?.sync_all())?;
        Ok(())
    }

    /// Removes what no job has needed for a month, by this server's clock; answers how many files went.
    pub fn sweep(&self, needed: &BTreeSet<PictureHash>, now: Timestamp) -> io::Result<usize> {
        let mut used = self.used.lock().unwrap_or_else(PoisonError::into_inner);
        let mut removed = 0;
        for file in files(&self.folder)? {
            let path = file.path();
            let ending = path.extension().and_then(|it| it.to_str()).unwrap_or_default();
            let named = path.file_stem().and_then(|it| it.to_str()).and_then(|it| it.parse::<PictureHash>().ok());
            let Some(hash) = named.filter(|_| [WHOLE, PART].contains(&ending)) else { continue };
            let mark = self.path(hash, UNNEEDED);
            let since = fs::read_to_string(&mark).ok().and_then(|it| it.parse::<i64>().ok());
            match since {
                Some(_) if needed.contains(&hash) => fs::remove_file(&mark)?,
                _ if needed.contains(&hash) => {}
                None => fs::write(&mark, now.0.to_string())?,
                // A clock that was set back starts anew.
                Some(since) if since > now.0 => fs::write(&mark, now.0.to_string())?,
                Some(since) if now.0 - since < KEPT_UNNEEDED => {}
                Some(_) => {
                    let length = file.metadata()?.len();
                    fs::remove_file(&path)?;
                    fs::remove_file(&mark)?;
                    *used = used.saturating_sub(length);
                    removed += 1;
                }
            }
        }
        Ok(removed)
    }

    fn path(&self, hash: PictureHash, ending: &str) -> PathBuf {
        let name = hash.to_string();
        self.folder.join(name.get(..2).unwrap_or_default()).join(format!("{name}.{ending}"))
    }
}

/// The files in the folder's folders.
fn files(folder: &Path) -> io::Result<Vec<fs::DirEntry>> {
    let mut all = Vec::new();
    for below in fs::read_dir(folder)? {
        let below = below?;
        if below.file_type()?.is_dir() {
            all.extend(fs::read_dir(below.path())?.collect::<io::Result<Vec<_>>>()?);
        }
    }
    Ok(all)
}

#[cfg(test)]
mod tests {
    use super::*;

    const DAY: i64 = 24 * 3_600;

    /// A grey picture of one pixel, as an encoder of the JPEG group's own library writes it.
    fn pixel() -> Vec<u8> {
        let tables = [&[0xff, 0xd8, 0xff, 0xdb, 0, 67, 0][..], &[16; 64]].concat();
        let frame = [0xff, 0xc0, 0, 11, 8, 0, 1, 0, 1, 1, 1, 0x11, 0];
        let codes = |class: u8| [&[0xff, 0xc4, 0, 20, class, 1][..], &[0; 15], &[0]].concat();
        let scan = [0xff, 0xda, 0, 8, 1, 1, 0, 0, 63, 0, 0x3f, 0xff, 0xd9];
        [tables, frame.to_vec(), codes(0), codes(0x10), scan.to_vec()].concat()
    }

    fn picture(bytes: &[u8]) -> Picture {
        Picture { hash: PictureHash::of(bytes), bytes: bytes.len() as u32, width: 1, height: 1 }
    }

    #[test]
    fn a_picture_comes_in_pieces_and_is_kept_when_it_is_whole() {
        let (folder, bytes) = (tempfile::tempdir().unwrap(), pixel());
        let picture = picture(&bytes);
        let shelf = Shelf::open(folder.path(), 1_000).unwrap();
        assert_eq!(shelf.has(picture.hash), Here::Part(0));
        assert_eq!(shelf.add(&picture, 0, &bytes[..50]).unwrap(), Here::Part(50));
        assert!(matches!(shelf.add(&picture, 0, &bytes[..50]), Err(ShelfError::Elsewhere(50))));
        // A server that was started anew goes on.
        let shelf = Shelf::open(folder.path(), 1_000).unwrap();
        assert_eq!(shelf.has(picture.hash), Here::Part(50));
        assert_eq!(shelf.add(&picture, 50, &bytes[50..]).unwrap(), Here::Whole);
        assert_eq!((shelf.has(picture.hash), shelf.read(picture.hash).unwrap()), (Here::Whole, bytes.clone()));
        assert_eq!(shelf.add(&picture, 0, &bytes).unwrap(), Here::Whole);
    }

    #[test]
    fn what_is_not_the_picture_or_none_at_all_leaves_nothing_behind() {
        let folder = tempfile::tempdir().unwrap();
        let shelf = Shelf::open(folder.path(), 1_000).unwrap();
        let asked = picture(&pixel());
        let mut other = pixel();
        other[10] = 17;
        assert!(matches!(shelf.add(&asked, 0, &other), Err(ShelfError::Another)));
        let text = b"an invented text".to_vec();
        assert!(matches!(shelf.add(&picture(&text), 0, &text), Err(ShelfError::NoPicture(_))));
        assert_eq!((shelf.has(asked.hash), *shelf.used.lock().unwrap()), (Here::Part(0), 0));
        let full = Shelf::open(folder.path(), 100).unwrap();
        assert!(matches!(full.add(&asked, 0, &pixel()), Err(ShelfError::Full(0))));
        assert_eq!(full.has(asked.hash), Here::Part(0));
    }

    #[test]
    fn a_picture_goes_a_month_after_the_last_job_that_needed_it() {
        let (folder, bytes) = (tempfile::tempdir().unwrap(), pixel());
        let shelf = Shelf::open(folder.path(), 1_000).unwrap();
        let picture = picture(&bytes);
        shelf.add(&picture, 0, &bytes).unwrap();
        let needed = BTreeSet::from([picture.hash]);
        let none = BTreeSet::new();
        let sweep = |needed: &BTreeSet<PictureHash>, day: i64| shelf.sweep(needed, Timestamp(day * DAY)).unwrap();
        assert_eq!(sweep(&none, 100), 0);
        assert_eq!(sweep(&none, 129), 0);
        // It comes back, and goes again: the month starts anew.
        assert_eq!(sweep(&needed, 129), 0);
        assert_eq!(sweep(&none, 140), 0);
        // The clock is set back, and a month on from there.
        assert_eq!(sweep(&none, 50), 0);
        assert_eq!(sweep(&none, 79), 0);
        assert_eq!(shelf.has(picture.hash), Here::Whole);
        assert_eq!(sweep(&none, 80), 1);
        assert_eq!((shelf.has(picture.hash), *shelf.used.lock().unwrap()), (Here::Part(0), 0));
        assert_eq!(files(&shelf.folder).unwrap().len(), 0);
    }
}
