//! The commands that compute from files, without a server.

use std::io::{IsTerminal, Read, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::{Duration, Instant};

use shared_model::nest::file::Cutting;
use shared_model::nest::{self, Budget, Progress};
use shared_model::open_file::FileError;
use shared_model::survey;
use shared_model::takeoff;

use crate::files::FilesError;

/// Search steps unless said otherwise: about a second on a laptop.
const STEPS: u64 = 200_000;

#[derive(clap::Args)]
pub struct TakeoffArgs {
    /// The job file (JSON); - reads standard input
    #[arg(value_name = "JOBFILE")]
    file: PathBuf,
    /// Print everything as JSON, for other programs
    #[arg(long)]
    json: bool,
}

#[derive(clap::Args)]
pub struct AdjustArgs {
    /// The room (JSON); - reads standard input
    ///
    /// {"unit": "mm", "sigma": {"wall": 3, "wall_per_m": 0.5, "square_deg": 0.3}, "walls": [{"length": 4000, "turn_deg": 90}, …],
    /// "checks": [{"from": 0, "to": 2, "length": 5000}]}: wall i runs from corner i to the next, turn_deg is the turn at its end,
    /// positive to the right; null is unknown, "lengths" holds several readings; units are mm, cm, m, in, ft.
    #[arg(value_name = "ROOM")]
    file: PathBuf,
    /// Print everything as JSON, for other programs
    #[arg(long)]
    json: bool,
}

#[derive(clap::Args)]
pub struct NestArgs {
    /// The pieces (JSON); - reads standard input
    ///
    /// {"strip_width": 40, "pieces": [{"id": "a", "width": 10, "length": 5, "count": 2}]}: numbers in any one unit, exact
    /// decimals; width lies across the strip.
    #[arg(value_name = "PIECES")]
    file: PathBuf,
    /// Print the plan as JSON, for other programs
    #[arg(long)]
    json: bool,
    /// Search this many steps at most; the same steps give the same plan everywhere [default: 200000, without end when
    /// --seconds is given]
    #[arg(long, value_name = "N")]
    steps: Option<u64>,
    /// Begin the search elsewhere: another number may find another plan
    #[arg(long, value_name = "N", default_value_t = 0)]
    seed: u64,
    /// Stop searching after so many seconds
    #[arg(long, value_name = "S", value_parser = seconds)]
    seconds: Option<Duration>,
    /// Only plans whose every cut runs from edge to edge of what it parts; tells the cuts in the order in which they are made
    #[arg(long)]
    cuttable: bool,
}

#[derive(clap::Args)]
pub struct SchemaArgs {
    /// The command whose file is described
    #[arg(value_enum, default_value_t = OpenFile::Takeoff)]
    of: OpenFile,
}

#[derive(Clone, Copy, clap::ValueEnum)]
enum OpenFile {
    Takeoff,
    Adjust,
    Nest,
}

#[derive(thiserror::Error, Debug)]
pub enum CommandError {
    #[error("cannot read {path}: {reason}")]
    Unreadable { path: PathBuf, reason: std::io::Error },
    #[error("{path}: {error}")]
    Malformed { path: PathBuf, error: FileError },
    #[error("cannot write the answer: {0}")]
    Output(#[from] std::io::Error),
    #[error("cannot write the answer as JSON: {0}")]
    Json(#[from] serde_json::Error),
    #[error(transparent)]
    Files(#[from] FilesError),
}

impl CommandError {
    pub fn exit_code(&self) -> ExitCode {
        match self {
            Self::Files(error) => error.exit_code(),
            Self::Unreadable { .. } | Self::Malformed { .. } | Self::Output(_) | Self::Json(_) => ExitCode::from(3),
        }
    }
}

pub fn takeoff(arguments: &TakeoffArgs) -> Result<ExitCode, CommandError> {
    let takeoff = takeoff::file::run(&read(&arguments.file)?).map_err(|error| malformed(&arguments.file, error))?;
    answer(&if arguments.json { takeoff.json()? } else { takeoff.text() })?;
    Ok(ExitCode::from(u8::from(takeoff.has_problems())))
}

pub fn adjust(arguments: &AdjustArgs) -> Result<ExitCode, CommandError> {
    let adjusted = survey::file::run(&read(&arguments.file)?).map_err(|error| malformed(&arguments.file, error))?;
    answer(&if arguments.json { adjusted.json()? } else { adjusted.text() })?;
    Ok(ExitCode::from(u8::from(adjusted.has_problems())))
}

pub fn nest(arguments: &NestArgs) -> Result<ExitCode, CommandError> {
    let cutting = if arguments.cuttable { Cutting::EdgeToEdge } else { Cutting::Freehand };
    let text = read(&arguments.file)?;
    let start = Instant::now();
    let mut shown = None;
    let go_on = |progress: Progress| {
        if let Some(length) = progress.length
            && std::io::stderr().is_terminal()
            && shown.replace((length, progress.lower_bound)) != Some((length, progress.lower_bound))
        {
            let over = 100.0 * (length.0 - progress.lower_bound.0) as f64 / progress.lower_bound.0.max(1) as f64;
            eprintln!("{:.1} s: {over:.2} % over what is proven", start.elapsed().as_secs_f64());
        }
        arguments.seconds.is_none_or(|most| start.elapsed() < most)
    };
    let usual = if arguments.seconds.is_some() { u64::MAX } else { STEPS };
    let budget = Budget { steps: arguments.steps.unwrap_or(usual), seed: arguments.seed };
    let plan = nest::file::run(&text, cutting, budget, go_on).map_err(|error| malformed(&arguments.file, error))?;
    answer(&if arguments.json { plan.json()? } else { plan.text() })?;
    Ok(ExitCode::SUCCESS)
}

pub fn schema(arguments: &SchemaArgs) -> Result<ExitCode, CommandError> {
    let schema = match arguments.of {
        OpenFile::Takeoff => takeoff::file::schema(),
        OpenFile::Adjust => survey::file::schema(),
        OpenFile::Nest => nest::file::schema(),
    };
    answer(&(serde_json::to_string_pretty(&schema)? + "\n"))?;
    Ok(ExitCode::SUCCESS)
}

fn malformed(path: &Path, error: FileError) -> CommandError {
    CommandError::Malformed { path: path.to_owned(), error }
}

fn answer(text: &str) -> Result<(), CommandError> {
    std::io::stdout().write_all(text.as_bytes()).map_err(CommandError::Output)
}

fn read(path: &Path) -> Result<String, CommandError> {
    let unreadable = |reason| CommandError::Unreadable { path: path.to_owned(), reason };
    if path == Path::new("-") {
        let mut text = String::new();
        std::io::stdin().read_to_string(&mut text).map_err(unreadable)?;
        return Ok(text);
    }
    std::fs::read_to_string(path).map_err(unreadable)
}

fn seconds(text: &str) -> Result<Duration, String> {
    let seconds: f64 = text.parse().map_err(|_| "a number of seconds, like 2.5".to_owned())?;
    Duration::try_from_secs_f64(seconds).map_err(|error| error.to_string())
}
