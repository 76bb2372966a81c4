//! Napline: measuring houses for carpet, together, on phones. This is the server and the command line.

mod accept;
mod assets;
mod clock;
mod commands;
mod demo;
mod devices;
mod discovery;
mod error;
mod files;
mod gate;
mod hosts;
mod limits;
mod pages;
mod pairing;
mod peers;
mod people;
mod photos;
mod put;
mod router;
mod serve;
mod settings;
mod store;
mod sync;
mod tls;
mod trust;

use std::process::ExitCode;

use clap::{Parser, Subcommand};

use crate::settings::Settings;

/// Measure houses for wall-to-wall carpet on phones, several people at once, and get the whole takeoff from it.
#[derive(Parser)]
#[command(
    name = "napline",
    version,
    max_term_width = 100,
    after_help = "\
Exit codes:
  0  done
  1  done, and the job has problems (they are printed)
  2  wrong use
  3  a file could not be read or the data could not be opened"
)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Serve the measuring app to the phones on the local network
    Serve(Settings),
    /// Print the takeoff of a job file: seams, cuts, order length, materials, problems
    Takeoff(commands::TakeoffArgs),
    /// Adjust one room's readings: corners, how far each reading can be trusted, what is suspect, what to measure next
    Adjust(commands::AdjustArgs),
    /// Place pieces on a strip of fixed width, as short as can be
    Nest(commands::NestArgs),
    /// Print the JSON Schema of a file that another command reads
    Schema(commands::SchemaArgs),
    /// List the jobs of a store
    Jobs(files::DataArgs),
    /// Write one job as a file, to hand over or to keep
    Export(files::ExportArgs),
    /// Take a job file in: merged with the job if it is there, added otherwise
    Import(files::ImportArgs),
    /// Write everything that a server keeps as one file, also while it runs
    Backup(files::BackupArgs),
    /// Put a backup into a new folder, whole or not at all
    ///
    /// A phone that was shut out after the backup was taken is let in again: look under People.
    Restore(files::RestoreArgs),
}

fn main() -> ExitCode {
    let outcome = match Cli::parse().command {
        Command::Serve(settings) => return serve::run(&settings),
        Command::Takeoff(arguments) => commands::takeoff(&arguments),
        Command::Adjust(arguments) => commands::adjust(&arguments),
        Command::Nest(arguments) => commands::nest(&arguments),
        Command::Schema(arguments) => commands::schema(&arguments),
        Command::Jobs(arguments) => files::jobs(&arguments).map_err(Into::into),
        Command::Export(arguments) => files::export(&arguments).map_err(Into::into),
        Command::Import(arguments) => files::import(&arguments).map_err(Into::into),
        Command::Backup(arguments) => files::backup(&arguments).map_err(Into::into),
        Command::Restore(arguments) => files::restore(&arguments).map_err(Into::into),
    };
    match outcome {
        Ok(code) => code,
        Err(error) => {
            eprintln!("napline: {error}");
            error.exit_code()
        }
    }
}
