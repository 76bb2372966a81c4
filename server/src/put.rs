//! Files that only their owner reads, and that stand under their names whole or not at all, also after the power went.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// What is being written ends so; what a crash left behind of it is nothing.
pub const PART: &str = "part";

/// Writes a file, in place of the one that was there.
pub fn put(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let part = part_of(path);
    // What a crash has left there may be readable by others.
    remove(&part)?;
    let mut file = create(&part)?;
    file.write_all(bytes)?;
    name(&file, &part, path)
}

/// The name under which a file is written.
pub fn part_of(path: &Path) -> PathBuf {
    let mut part = path.as_os_str().to_owned();
    part.push(format!(".{PART}"));
    part.into()
}

/// A file that was not there; a link in its place leads nowhere.
pub fn create(path: &Path) -> io::Result<File> {
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options.open(path)
}

/// Gives a written file its name.
pub fn name(file: &File, part: &Path, path: &Path) -> io::Result<()> {
    file.sync_all()?;
    fs::rename(part, path)?;
    sync_folder_of(path)
}

/// Makes a folder, and those that it lies in.
pub fn make_folder(path: &Path) -> io::Result<()> {
    if path.is_dir() {
        return Ok(());
    }
    if let Some(parent) = path.parent().filter(|it| !it.as_os_str().is_empty()) {
        make_folder(parent)?;
    }
    match fs::create_dir(path) {
        Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
        made => made?,
    }
    sync_folder_of(path)
}

/// Removes a file that may not be there; answers how many bytes went.
pub fn remove(path: &Path) -> io::Result<u64> {
    let length = fs::symlink_metadata(path).map_or(0, |it| it.len());
    match fs::remove_file(path) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(0),
        removed => removed.map(|()| length),
    }
}

/// A name is on the disk when its folder is.
pub fn sync_folder_of(path: &Path) -> io::Result<()> {
    #[cfg(unix)]
    File::open(path.parent().filter(|it| !it.as_os_str().is_empty()).unwrap_or(Path::new(".")))?.sync_all()?;
    #[cfg(not(unix))]
    let _ = path;
    Ok(())
}
