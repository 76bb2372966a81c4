//! Napline: measuring houses for carpet, together, on phones. This is the server and the command line.

mod accept;
mod assets;
mod clock;
mod commands;
mod demo;
mod devices;
mod discovery;
mod error;
mod gate;
mod hosts;
mod limits;
mod pages;
mod pairing;
mod peers;
mod people;
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
}

fn main() -> ExitCode {
    let outcome = match Cli::parse().command {
        Command::Serve(settings) => return serve::run(&settings),
        Command::Takeoff(arguments) => commands::takeoff(&arguments),
        Command::Adjust(arguments) => commands::adjust(&arguments),
        Command::Nest(arguments) => commands::nest(&arguments),
        Command::Schema(arguments) => commands::schema(&arguments),
    };
    match outcome {
        Ok(code) => code,
        Err(error) => {
            eprintln!("napline: {error}");
            error.exit_code()
        }
    }
}
