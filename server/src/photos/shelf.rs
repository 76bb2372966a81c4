//! Pictures as files: `photos/ab/abcd….jpg`, each named by its hash. What has not come whole yet stands beside it as `.part`.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::{self, OpenOptions};
use std::io::{self, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use shared_model::job::{Picture, PictureHash};
use shared_model::photo::{self, NoPicture};

use crate::put::{self, PART};

const FOLDER: &str = "photos";
const WHOLE: &str = "jpg";
/// Is no longer what was kept under the name.
const DAMAGED: &str = "damaged";
/// Says for how many seconds no job has needed the picture of this name, as far as the server was there to see it.
pub const UNNEEDED: &str = "unneeded";

/// A picture that no job needs is kept for so long: a job that is brought back brings its photos. Seconds.
const KEPT_UNNEEDED: u64 = 30 * 24 * 3_600;

/// How much of a picture is here.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Here {
    Whole,
    /// So many bytes from its start, fewer than it has; zero is nothing.
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
        put::make_folder(&folder)?;
        let used = files(&folder)?.iter().filter_map(|it| Some(it.metadata().ok()?.len())).sum();
        Ok(Self { folder, most, used: Mutex::new(used) })
    }

    /// Whether there is a picture under this name.
    pub fn has(&self, hash: PictureHash) -> bool {
        self.path(hash, WHOLE).is_file()
    }

    /// How much of a picture is here. What was cut off after its last piece is put in place.
    pub fn standing(&self, picture: &Picture) -> Result<Here, ShelfError> {
        self.stands(picture, &mut self.lock())
    }

    /// A picture that is as it was kept; `None` when there is none. One that is not is set aside, so that a sound one can come.
    pub fn read(&self, hash: PictureHash) -> io::Result<Option<Vec<u8>>> {
        let path = self.path(hash, WHOLE);
        let bytes = match fs::read(&path) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
            read => read?,
        };
        if PictureHash::of(&bytes) == hash {
            return Ok(Some(bytes));
        }
        tracing::error!(%hash, "a picture is damaged on the disk; a phone or server that has it brings it again");
        let _held = self.lock();
        fs::rename(&path, self.path(hash, DAMAGED))?;
        Ok(None)
    }

    /// Takes a whole picture.
    pub fn put(&self, picture: &Picture, file: &[u8]) -> Result<(), ShelfError> {
        let mut used = self.lock();
        if self.has(picture.hash) {
            return Ok(());
        }
        vet(picture, file)?;
        let (part, whole) = (self.path(picture.hash, PART), self.path(picture.hash, WHOLE));
        *used = used.saturating_sub(put::remove(&part)?);
        self.room_for(file.len() as u64, *used)?;
        whole.parent().map_or(Ok(()), put::make_folder)?;
        let written = put::create(&part).and_then(|mut it| {
            it.write_all(file)?;
            put::name(&it, &part, &whole)
        });
        if let Err(error) = written {
            put::remove(&part)?;
            return Err(error.into());
        }
        *used += file.len() as u64;
        Ok(())
    }

    /// Takes the next piece of a picture; the last one puts it in place, if it is the right one and may be kept.
    pub fn add(&self, picture: &Picture, at: u64, piece: &[u8]) -> Result<Here, ShelfError> {
        let mut used = self.lock();
        match self.stands(picture, &mut used)? {
            Here::Whole => return Ok(Here::Whole),
            Here::Part(have) if have != at => return Err(ShelfError::Elsewhere(have)),
            Here::Part(_) => {}
        }
        self.room_for(piece.len() as u64, *used)?;
        let path = self.path(picture.hash, PART);
        path.parent().map_or(Ok(()), put::make_folder)?;
        let mut file = OpenOptions::new().write(true).create(true).truncate(false).open(&path)?;
        let written = file.seek(SeekFrom::Start(at)).and_then(|_| file.write_all(piece));
        if let Err(error) = written {
            // A part of a piece would be no place to go on from.
            file.set_len(at)?;
            return Err(error.into());
        }
        *used += piece.len() as u64;
        let end = at + piece.len() as u64;
        if end < u64::from(picture.bytes) {
            return Ok(Here::Part(end));
        }
        self.finish(picture, &mut used)
    }

    fn stands(&self, picture: &Picture, used: &mut u64) -> Result<Here, ShelfError> {
        if self.has(picture.hash) {
            return Ok(Here::Whole);
        }
        let have = fs::metadata(self.path(picture.hash, PART)).map_or(0, |it| it.len());
        if have == 0 || have < u64::from(picture.bytes) {
            return Ok(Here::Part(have));
        }
        match self.finish(picture, used) {
            Err(ShelfError::Another | ShelfError::NoPicture(_)) => Ok(Here::Part(0)),
            finished => finished,
        }
    }

    /// Puts in place what has come; what may not be kept goes.
    fn finish(&self, picture: &Picture, used: &mut u64) -> Result<Here, ShelfError> {
        let part = self.path(picture.hash, PART);
        if let Err(error) = vet(picture, &fs::read(&part)?) {
            *used = used.saturating_sub(put::remove(&part)?);
            return Err(error);
        }
        // Flushing asks for a file that may be written to on some systems.
        let file = OpenOptions::new().write(true).open(&part)?;
        put::name(&file, &part, &self.path(picture.hash, WHOLE))?;
        *used = used.saturating_sub(put::remove(&self.path(picture.hash, DAMAGED))?);
        Ok(Here::Whole)
    }

    /// Whether so many bytes more may come.
    pub fn has_room_for(&self, bytes: u64) -> Result<(), ShelfError> {
        self.room_for(bytes, *self.lock())
    }

    fn room_for(&self, bytes: u64, used: u64) -> Result<(), ShelfError> {
        if used.saturating_add(bytes) > self.most { Err(ShelfError::Full(self.most >> 20)) } else { Ok(()) }
    }

    /// Removes what no job has needed for a month, of the time that the server was there to see it: `passed` went by since the
    /// last sweep. Answers how many files went.
    pub fn sweep(&self, needed: &BTreeSet<PictureHash>, passed: Duration) -> io::Result<usize> {
        let mut used = self.lock();
        let mut removed = 0;
        for (hash, paths) in by_picture(&files(&self.folder)?) {
            let mark = self.path(hash, UNNEEDED);
            if needed.contains(&hash) {
                put::remove(&mark)?;
                continue;
            }
            // A mark that says more than it can is damaged.
            let seen = fs::read_to_string(&mark).ok().and_then(|it| it.parse().ok()).filter(|it| *it < KEPT_UNNEEDED);
            let seen = seen.map_or(0, |it: u64| it + passed.as_secs());
            if seen < KEPT_UNNEEDED {
                fs::write(&mark, seen.to_string())?;
                continue;
            }
            for path in paths {
                *used = used.saturating_sub(put::remove(&path)?);
                removed += 1;
            }
            put::remove(&mark)?;
        }
        Ok(removed)
    }

    fn path(&self, hash: PictureHash, ending: &str) -> PathBuf {
        let name = hash.to_string();
        self.folder.join(name.get(..2).unwrap_or_default()).join(format!("{name}.{ending}"))
    }

    fn lock(&self) -> MutexGuard<'_, u64> {
        self.used.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Whether a file is the picture of this name, and may be kept.
fn vet(picture: &Picture, file: &[u8]) -> Result<(), ShelfError> {
    if file.len() as u64 != u64::from(picture.bytes) || PictureHash::of(file) != picture.hash {
        return Err(ShelfError::Another);
    }
    photo::vet(file)?;
    Ok(())
}

/// Files by the picture that they are of.
fn by_picture(files: &[fs::DirEntry]) -> BTreeMap<PictureHash, Vec<PathBuf>> {
    let mut all: BTreeMap<PictureHash, Vec<PathBuf>> = BTreeMap::new();
    for path in files.iter().map(fs::DirEntry::path) {
        let part = |it: Option<&std::ffi::OsStr>| it.and_then(|it| it.to_str()).unwrap_or_default().to_owned();
        if let Ok(hash) = part(path.file_stem()).parse()
            && [WHOLE, PART, DAMAGED].contains(&part(path.extension()).as_str())
        {
            all.entry(hash).or_default().push(path);
        }
    }
    all
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

    const DAY: u64 = 24 * 3_600;

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

    fn used(shelf: &Shelf) -> u64 {
        *shelf.used.lock().unwrap()
    }

    #[test]
    fn a_picture_comes_in_pieces_and_is_kept_when_it_is_whole() {
        let (folder, bytes) = (tempfile::tempdir().unwrap(), pixel());
        let picture = picture(&bytes);
        let shelf = Shelf::open(folder.path(), 1_000).unwrap();
        assert_eq!(shelf.standing(&picture).unwrap(), Here::Part(0));
        assert_eq!(shelf.add(&picture, 0, &bytes[..50]).unwrap(), Here::Part(50));
        assert!(matches!(shelf.add(&picture, 0, &bytes[..50]), Err(ShelfError::Elsewhere(50))));
        // A server that was started anew goes on.
        let shelf = Shelf::open(folder.path(), 1_000).unwrap();
        assert_eq!(shelf.standing(&picture).unwrap(), Here::Part(50));
        assert_eq!(shelf.add(&picture, 50, &bytes[50..]).unwrap(), Here::Whole);
        assert_eq!((shelf.has(picture.hash), shelf.read(picture.hash).unwrap()), (true, Some(bytes.clone())));
        assert_eq!(shelf.add(&picture, 0, &bytes).unwrap(), Here::Whole);
    }

    /// Killed between the last piece and the picture's name.
    #[test]
    fn what_came_whole_and_was_not_put_in_place_is_when_it_is_asked_for() {
        let (folder, bytes) = (tempfile::tempdir().unwrap(), pixel());
        let picture = picture(&bytes);
        let cut_off_with = |left: &[u8]| {
            let shelf = Shelf::open(folder.path(), 1_000).unwrap();
            put::make_folder(shelf.path(picture.hash, PART).parent().unwrap()).unwrap();
            fs::write(shelf.path(picture.hash, PART), left).unwrap();
            Shelf::open(folder.path(), 1_000).unwrap()
        };
        let zeroes = vec![0; bytes.len()];
        for left in [&zeroes, &[bytes.clone(), vec![0]].concat()] {
            let shelf = cut_off_with(left);
            assert_eq!((shelf.standing(&picture).unwrap(), used(&shelf)), (Here::Part(0), 0), "it comes anew");
        }
        assert!(matches!(cut_off_with(&zeroes).add(&picture, 50, &bytes[50..]), Err(ShelfError::Elsewhere(0))));
        let shelf = cut_off_with(&bytes);
        assert_eq!(shelf.standing(&picture).unwrap(), Here::Whole);
        assert_eq!(shelf.read(picture.hash).unwrap(), Some(bytes));
    }

    #[test]
    fn a_whole_picture_is_kept_whatever_came_before_it() {
        let (folder, bytes) = (tempfile::tempdir().unwrap(), pixel());
        let picture = picture(&bytes);
        let shelf = Shelf::open(folder.path(), bytes.len() as u64).unwrap();
        shelf.add(&picture, 0, b"rubbish").unwrap();
        shelf.put(&picture, &bytes).unwrap();
        assert_eq!((shelf.read(picture.hash).unwrap(), used(&shelf)), (Some(bytes.clone()), bytes.len() as u64));
        assert_eq!(files(&shelf.folder).unwrap().len(), 1);
        let other = Picture { hash: PictureHash([1; 32]), ..picture };
        assert!(matches!(shelf.put(&other, &bytes), Err(ShelfError::Another)));
    }

    #[test]
    fn a_damaged_picture_is_set_aside_and_a_sound_one_takes_its_place() {
        let (folder, bytes) = (tempfile::tempdir().unwrap(), pixel());
        let picture = picture(&bytes);
        let shelf = Shelf::open(folder.path(), 1_000).unwrap();
        shelf.put(&picture, &bytes).unwrap();
        let mut damaged = bytes.clone();
        damaged[10] ^= 1;
        fs::write(shelf.path(picture.hash, WHOLE), &damaged).unwrap();
        assert_eq!(shelf.read(picture.hash).unwrap(), None);
        assert_eq!(fs::read(shelf.path(picture.hash, DAMAGED)).unwrap(), damaged);
        assert_eq!(shelf.standing(&picture).unwrap(), Here::Part(0));
        assert_eq!(shelf.add(&picture, 0, &bytes).unwrap(), Here::Whole);
        assert_eq!((shelf.read(picture.hash).unwrap(), used(&shelf)), (Some(bytes.clone()), bytes.len() as u64));
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
        assert_eq!((shelf.standing(&asked).unwrap(), used(&shelf)), (Here::Part(0), 0));
        let full = Shelf::open(folder.path(), 100).unwrap();
        assert!(matches!(full.add(&asked, 0, &pixel()), Err(ShelfError::Full(0))));
        assert_eq!(full.standing(&asked).unwrap(), Here::Part(0));
    }

    #[test]
    fn a_picture_goes_after_a_month_in_which_the_server_saw_no_job_that_needs_it() {
        let (folder, bytes) = (tempfile::tempdir().unwrap(), pixel());
        let shelf = Shelf::open(folder.path(), 1_000).unwrap();
        let picture = picture(&bytes);
        shelf.put(&picture, &bytes).unwrap();
        let (none, needed) = (BTreeSet::new(), BTreeSet::from([picture.hash]));
        let sweep = |needed: &BTreeSet<PictureHash>| shelf.sweep(needed, Duration::from_secs(DAY)).unwrap();
        assert_eq!((0..30).map(|_| sweep(&none)).sum::<usize>(), 0);
        // It is needed again, and then no more: the month starts anew.
        assert_eq!(sweep(&needed), 0);
        assert_eq!((0..30).map(|_| sweep(&none)).sum::<usize>(), 0);
        assert!(shelf.has(picture.hash));
        assert_eq!(sweep(&none), 1);
        assert_eq!((shelf.standing(&picture).unwrap(), used(&shelf)), (Here::Part(0), 0));
        assert_eq!(files(&shelf.folder).unwrap().len(), 0);
    }

    #[test]
    fn a_mark_that_is_damaged_counts_for_nothing() {
        let (folder, bytes) = (tempfile::tempdir().unwrap(), pixel());
        let shelf = Shelf::open(folder.path(), 1_000).unwrap();
        let picture = picture(&bytes);
        shelf.put(&picture, &bytes).unwrap();
        for damaged in ["", "-1", "4102444800"] {
            fs::write(shelf.path(picture.hash, UNNEEDED), damaged).unwrap();
            assert_eq!(shelf.sweep(&BTreeSet::new(), Duration::from_secs(DAY)).unwrap(), 0);
        }
        assert!(shelf.has(picture.hash));
    }
}
