//! What must happen around cargo: `cargo xtask run | test | web | bench | dist`.

mod bench;
mod bundle;
mod command;
mod compiler;
mod packages;
mod suite;

use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode};

use clap::{Parser, Subcommand};

use crate::command::{Error, cargo, run};

#[derive(Parser)]
#[command(about = "Builds, starts, tests and measures Napline.")]
struct Cli {
    #[command(subcommand)]
    task: Task,
}

#[derive(Subcommand)]
enum Task {
    /// Build everything and serve the demo house; prints the addresses and a QR code for the phones.
    Run {
        /// Passed on to `napline serve`, for example `-- --port 9000`.
        #[arg(last = true)]
        serve: Vec<String>,
    },
    /// Install what the tests need, and run all of them: format, lints, unit, property, published values, server, browser.
    Test,
    /// Build the client into web/dist.
    Web {
        /// Quick to build, slow to load: for working on the client.
        #[arg(long)]
        dev: bool,
    },
    /// Measure everything and print one table.
    Bench,
    /// Build the one binary that a shop needs into target/dist.
    Dist,
}

fn main() -> ExitCode {
    let done = match Cli::parse().task {
        Task::Run { serve } => serve_demo(&serve),
        Task::Test => suite::test(),
        Task::Web { dev } => bundle::build(if dev { bundle::Quality::Dev } else { bundle::Quality::Release }),
        Task::Bench => bench::bench(),
        Task::Dist => dist(),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("xtask: {error}");
            ExitCode::FAILURE
        }
    }
}

/// The workspace's folder.
fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap_or(Path::new("."))
}

/// The release binary with the release bundle in it.
fn build_server() -> Result<PathBuf, Error> {
    bundle::build(bundle::Quality::Release)?;
    run(cargo().args(["build", "--release", "--package", "napline"]))?;
    Ok(root().join("target/release").join(format!("napline{}", std::env::consts::EXE_SUFFIX)))
}

/// Serves from `target/run`, so that a shop's own data is never touched and `cargo clean` starts the demo afresh.
fn serve_demo(serve: &[String]) -> Result<(), Error> {
    let binary = build_server()?;
    let data = root().join("target/run");
    run(Command::new(binary).args(["serve", "--demo", "--pair", "--data"]).arg(data).args(serve))
}

fn dist() -> Result<(), Error> {
    let binary = build_server()?;
    let folder = root().join("target/dist");
    let target = folder.join(binary.file_name().unwrap_or_default());
    command::at(&folder, std::fs::create_dir_all(&folder))?;
    let bytes = command::at(&target, std::fs::copy(&binary, &target))?;
    println!("{} ({})", target.display(), bundle::kilobytes(bytes));
    Ok(())
}
