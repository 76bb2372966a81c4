//! Jobs and whole stores as files: the commands, whether a server is running or not.

mod backup;
mod control;
mod desk;
mod restore;

use std::fs::{self, File};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;

use shared_model::ids::JobId;
use shared_model::job_file::{self, JobFileError};
use shared_model::sealed::SealedError;
use shared_model::wire::JobEntry;

use self::backup::{Backup, Kept};
pub use self::control::Control;
use self::desk::{Ask, Desk, Done, Exported, Form};
use crate::devices::Devices;
use crate::photos::{Shelf, ShelfError};
use crate::put;
use crate::store::{Store, StoreError};
use crate::sync::{Hub, Seals};
use crate::tls::TlsError;

#[derive(clap::Args)]
pub struct DataArgs {
    /// Folder that keeps all jobs; a server may be using it
    #[arg(long, value_name = "DIR", env = "NAPLINE_DATA", default_value = "napline-data")]
    data: PathBuf,
}

#[derive(clap::Args)]
pub struct ExportArgs {
    /// The job's name or id, as `napline jobs` lists them
    #[arg(value_name = "JOB")]
    job: String,
    #[command(flatten)]
    data: DataArgs,
    /// Write the job as it reads now, for other programs; it cannot be imported
    #[arg(long)]
    json: bool,
    /// The new file; - is standard output [default: the job's name, in this folder]
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,
}

#[derive(clap::Args)]
pub struct ImportArgs {
    /// A job file, as export or a phone writes it
    #[arg(value_name = "FILE")]
    file: PathBuf,
    #[command(flatten)]
    data: DataArgs,
}

#[derive(clap::Args)]
pub struct BackupArgs {
    /// The new file; it holds the shop's secrets
    #[arg(value_name = "FILE")]
    file: PathBuf,
    #[command(flatten)]
    data: DataArgs,
    /// Take no backup: check that this one is whole and that its jobs open
    #[arg(long)]
    verify: bool,
}

#[derive(clap::Args)]
pub struct RestoreArgs {
    /// A backup
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Folder for the restored server: empty, or not there yet
    #[arg(long, value_name = "DIR", env = "NAPLINE_DATA", default_value = "napline-data")]
    data: PathBuf,
}

/// Why a file command failed. Nothing was changed, unless the connection to a running server broke: that one may go on.
#[derive(thiserror::Error, Debug)]
pub enum FilesError {
    #[error(transparent)]
    Key(#[from] TlsError),
    #[error("{0}: {1}")]
    In(PathBuf, Box<FilesError>),
    #[error(transparent)]
    Store(#[from] StoreError),
    #[error(transparent)]
    Sealed(#[from] SealedError),
    #[error(transparent)]
    Job(#[from] JobFileError),
    #[error("it is not written as this version writes it: {0}")]
    Json(#[from] serde_json::Error),
    #[error("{0}")]
    System(#[from] io::Error),
    #[error("there is no store in {0}: name its folder with --data")]
    NoStore(PathBuf),
    #[error(
        "the napline that uses {0} does not answer: it is starting or stopping, or an older version. Try again, or stop it"
    )]
    Silent(PathBuf),
    /// What the running server said.
    #[error("{0}")]
    Refused(String),
    #[error("there is no job {0:?}: `napline jobs` lists them")]
    NoSuchJob(String),
    #[error("several jobs are named {0:?}: name one by its id, {1}")]
    SeveralJobs(String, String),
    #[error("the job cannot be opened: {0}")]
    Unopened(String),
    #[error("cannot write to the disk: {0}")]
    NotStored(String),
    #[error(transparent)]
    Photos(#[from] ShelfError),
    #[error("it is no backup, or a newer version's")]
    NoBackup,
    #[error("job {0} in it is not as it was")]
    OtherJob(JobId),
    #[error("{0} is there already: choose another name")]
    Exists(PathBuf),
    #[error("{0} is not empty: restore into a new folder, and serve that one with --data")]
    NotEmpty(PathBuf),
}

impl FilesError {
    pub fn exit_code(&self) -> ExitCode {
        match self {
            Self::NoStore(_) | Self::NoSuchJob(_) | Self::SeveralJobs(..) | Self::Exists(_) | Self::NotEmpty(_) => {
                ExitCode::from(2)
            }
            _ => ExitCode::from(3),
        }
    }
}

pub fn jobs(arguments: &DataArgs) -> Result<ExitCode, FilesError> {
    let mut jobs = list(&arguments.data)?;
    jobs.sort_by(|a, b| a.name.cmp(&b.name).then(a.job.cmp(&b.job)));
    let lines: String = jobs.iter().map(|it| format!("{}  {}\n", it.job, it.name)).collect();
    say(&lines)
}

pub fn export(arguments: &ExportArgs) -> Result<ExitCode, FilesError> {
    let (form, extension) = if arguments.json { (Form::Json, "json") } else { (Form::JobFile, job_file::EXTENSION) };
    let mut bytes = Vec::new();
    let asked = Ask::Export { job: find(&arguments.job, &list(&arguments.data.data)?)?, form };
    let Done::Exported(Exported { name, photos_missing }) =
        ask(&arguments.data.data, &asked, &mut io::empty(), &mut bytes)?
    else {
        return Ok(ExitCode::SUCCESS);
    };
    let own = || PathBuf::from(format!("{}.{extension}", job_file::file_name(&name)));
    let path = arguments.output.clone().unwrap_or_else(own);
    if photos_missing > 0 {
        eprintln!("napline: without {photos_missing} of its photos: their pictures are not on this server");
    }
    if path == Path::new("-") {
        io::stdout().write_all(&bytes)?;
        return Ok(incomplete(photos_missing));
    }
    write_new(&path, |to| Ok(to.write_all(&bytes)?))?;
    say(&format!("{name} is in {}\n", path.display()))?;
    Ok(incomplete(photos_missing))
}

pub fn import(arguments: &ImportArgs) -> Result<ExitCode, FilesError> {
    let within = |error: FilesError| FilesError::In(arguments.file.clone(), Box::new(error));
    let bytes = fs::read(&arguments.file).map_err(|error| within(error.into()))?;
    job_file::read(&bytes).map_err(|error| within(error.into()))?;
    let done = ask(&arguments.data.data, &Ask::Import, &mut bytes.as_slice(), &mut io::sink())?;
    let Done::Imported(it) = done else { return Ok(ExitCode::SUCCESS) };
    for picture in &it.pictures_lost {
        eprintln!("napline: a picture in it is not kept: {picture}");
    }
    if it.photos_missing > 0 {
        eprintln!("napline: the pictures of {} of its photos are neither in the file nor here", it.photos_missing);
    }
    say(&format!("{}: {} of {} changes are new here ({})\n", it.name, it.new, it.changes, it.job))?;
    Ok(incomplete(it.pictures_lost.len() + it.photos_missing))
}

/// Done, and something was missing, which was said.
fn incomplete(missing: usize) -> ExitCode {
    if missing == 0 { ExitCode::SUCCESS } else { ExitCode::from(1) }
}

pub fn backup(arguments: &BackupArgs) -> Result<ExitCode, FilesError> {
    let within = |error: FilesError| FilesError::In(arguments.file.clone(), Box::new(error));
    if arguments.verify {
        let file = File::open(&arguments.file).map_err(|error| within(error.into()))?;
        let kept = Backup::open(file).map_err(within)?.about.kept;
        warn_of(&kept);
        return say(&format!("whole: {}\n", in_words(&kept)));
    }
    let mut done = None;
    write_new(&arguments.file, |to| {
        done = Some(ask(&arguments.data.data, &Ask::Backup, &mut io::empty(), to)?);
        Ok(())
    })?;
    let Some(Done::BackedUp(kept)) = done else { return Ok(ExitCode::SUCCESS) };
    let path = arguments.file.display();
    warn_of(&kept);
    say(&format!("{path}: {}\nIt holds the shop's secrets: keep it where nobody else reads it.\n", in_words(&kept)))
}

pub fn restore(arguments: &RestoreArgs) -> Result<ExitCode, FilesError> {
    let restored = runtime()?.block_on(restore::restore(&arguments.file, &arguments.data));
    let kept = restored.map_err(|error| match error {
        FilesError::NotEmpty(_) => error,
        other => FilesError::In(arguments.file.clone(), Box::new(other)),
    })?;
    say(&format!("{}: {}\n", arguments.data.display(), in_words(&kept)))
}

fn warn_of(kept: &Kept) {
    for job in &kept.damaged {
        eprintln!("napline: job {job} is damaged in the store; it is copied as it is");
    }
    for remark in &kept.remarks {
        eprintln!("napline: {remark}");
    }
}

fn in_words(kept: &Kept) -> String {
    let Kept { jobs, changes, devices, files, .. } = kept;
    format!("{jobs} jobs with {changes} changes, {devices} paired devices, {files} other files")
}

fn say(text: &str) -> Result<ExitCode, FilesError> {
    io::stdout().write_all(text.as_bytes())?;
    Ok(ExitCode::SUCCESS)
}

/// Asks the store in a folder: by the server that has it open, or directly.
fn ask(data: &Path, ask: &Ask, body: &mut dyn Read, to: &mut dyn Write) -> Result<Done, FilesError> {
    if !Store::exists(data) {
        return Err(FilesError::NoStore(data.to_owned()));
    }
    let store = match Store::open(data) {
        Ok(store) => Arc::new(store),
        Err(StoreError::InUse(_)) => return control::ask(data, ask, body, to),
        Err(error) => return Err(error.into()),
    };
    let runtime = runtime()?;
    let devices = Arc::new(Devices::new(store.devices()?));
    let hub = Hub::new(Arc::clone(&store), devices, Seals::open(data)?)?;
    let shelf = Shelf::open(data, u64::MAX)?;
    let done = Desk { hub: &hub, shelf: &shelf, folder: data, runtime: runtime.handle() }.serve(ask, body, to);
    store.close();
    done
}

fn list(data: &Path) -> Result<Vec<JobEntry>, FilesError> {
    match ask(data, &Ask::Jobs, &mut io::empty(), &mut io::sink())? {
        Done::Jobs(jobs) => Ok(jobs),
        _ => Ok(Vec::new()),
    }
}

/// The job with this id or name, or the only one whose name begins so.
fn find(asked: &str, jobs: &[JobEntry]) -> Result<JobId, FilesError> {
    let plain = |it: &str| it.trim().to_lowercase();
    let named = plain(asked);
    let whole = |it: &&JobEntry| asked.parse() == Ok(it.job) || plain(&it.name) == named;
    let mut found: Vec<JobId> = jobs.iter().filter(whole).map(|it| it.job).collect();
    if found.is_empty() {
        found.extend(jobs.iter().filter(|it| plain(&it.name).starts_with(&named)).map(|it| it.job));
    }
    match found.as_slice() {
        [] => Err(FilesError::NoSuchJob(asked.to_owned())),
        [only] => Ok(*only),
        several => {
            let ids: Vec<String> = several.iter().map(ToString::to_string).collect();
            Err(FilesError::SeveralJobs(asked.to_owned(), ids.join(", ")))
        }
    }
}

fn runtime() -> Result<tokio::runtime::Runtime, io::Error> {
    tokio::runtime::Builder::new_multi_thread().worker_threads(1).build()
}

/// Writes a file that is not there yet: whole under its name, or not at all.
fn write_new(path: &Path, write: impl FnOnce(&mut File) -> Result<(), FilesError>) -> Result<(), FilesError> {
    let named = |error: io::Error| FilesError::In(path.to_owned(), Box::new(error.into()));
    let part = put::part_of(path);
    let free = |it: &Path| if it.exists() { Err(FilesError::Exists(it.to_owned())) } else { Ok(()) };
    free(path).and_then(|()| free(&part))?;
    let mut file = put::create(&part).map_err(named)?;
    let written =
        write(&mut file).and_then(|()| free(path)).and_then(|()| put::name(&file, &part, path).map_err(named));
    if written.is_err() {
        // The other error is the one to tell.
        let _ = fs::remove_file(&part);
    }
    written
}
