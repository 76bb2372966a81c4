//! Running other programs, and what can go wrong with it.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use crate::root;

#[derive(thiserror::Error, Debug)]
pub enum Error {
    #[error("`{command}` did not start: {source}")]
    NotStarted { command: String, source: std::io::Error },
    #[error("`{command}` failed ({status})")]
    Failed { command: String, status: std::process::ExitStatus },
    #[error("{}: {source}", path.display())]
    File { path: PathBuf, source: std::io::Error },
    #[error("{missing} is missing; install it, then try again:\n    {remedy}")]
    Missing { missing: String, remedy: String },
    #[error("the client's bundle: {0}")]
    Bundle(String),
    #[error("{0}")]
    Tests(String),
}

/// Names the file that an operation failed on.
pub fn at<T>(path: &Path, result: std::io::Result<T>) -> Result<T, Error> {
    result.map_err(|source| Error::File { path: path.to_owned(), source })
}

/// The cargo that runs this program, in the workspace's folder. It builds into `target` there even when a person's settings
/// name another folder, because what is built is looked for there.
pub fn cargo() -> Command {
    let mut command = Command::new(std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into()));
    command.current_dir(root()).env("CARGO_TARGET_DIR", root().join("target"));
    command
}

/// Runs a program with this terminal, and says which.
pub fn run(command: &mut Command) -> Result<(), Error> {
    let line = line(command);
    eprintln!("$ {line}");
    let status = command.status().map_err(|source| Error::NotStarted { command: line.clone(), source })?;
    if status.success() { Ok(()) } else { Err(Error::Failed { command: line, status }) }
}

/// What a program prints, trimmed; `None` when it is missing or fails.
pub fn answer(command: &mut Command) -> Option<String> {
    let output = command.stderr(Stdio::null()).output().ok()?;
    let text = String::from_utf8(output.stdout).ok()?;
    output.status.success().then(|| text.trim().to_owned())
}

/// Whether a program succeeds before the time is up; it is stopped then.
pub fn succeeds_within(command: &mut Command, limit: Duration) -> bool {
    let start = Instant::now();
    let Ok(mut child) = command.stdin(Stdio::null()).spawn() else { return false };
    while start.elapsed() < limit {
        match child.try_wait() {
            Ok(Some(status)) => return status.success(),
            Ok(None) => std::thread::sleep(Duration::from_millis(100)),
            Err(_) => return false,
        }
    }
    child.kill().and_then(|()| child.wait()).is_ok_and(|status| status.success())
}

/// Where a program is, as the shell would find it.
pub fn find(program: &str) -> Option<PathBuf> {
    let path = std::env::var_os("PATH")?;
    std::env::split_paths(&path).map(|folder| folder.join(program)).find(|it| it.is_file())
}

fn line(command: &Command) -> String {
    let words = std::iter::once(command.get_program()).chain(command.get_args());
    words.map(|word| word.to_string_lossy()).collect::<Vec<_>>().join(" ")
}
