//! The command line: reads what was typed, calls the same core as the window, prints for people or as JSON.

pub mod args;
mod card;
mod check;
mod check_round;
mod circuit;
mod climb_out;
mod debrief;
mod drill;
mod export;
mod fan_stops;
mod import;
pub mod inputs;
mod merge;
mod options;
pub mod page;
mod progress;
mod rank;
mod reach;
mod route;
mod session;
mod sheet;
mod suggest;
mod text;

use args::{Cli, Command};
use clap::Parser;
use std::process::ExitCode;
use thiserror::Error;

/// Why a command gave no answer. Prints as one sentence.
#[derive(Debug, Error)]
pub enum CliError {
    /// What was typed or a file named in it cannot be used: exit code 2.
    #[error("{0}")]
    BadInput(String),
    /// Everything was in order, but it could not be done: exit code 1.
    #[error("{0}")]
    Failure(String),
}

impl CliError {
    /// The exit code of the process.
    #[must_use]
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::BadInput(_) => 2,
            Self::Failure(_) => 1,
        }
    }
}

/// Runs what was typed; the exit code is 0, 2 for bad input, or 1 for a failure.
pub fn main() -> ExitCode {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(error) if error.exit_code() == 0 => {
            // Help and version: what was asked for, so it goes to standard output.
            return if error.print().is_ok() { ExitCode::SUCCESS } else { ExitCode::FAILURE };
        }
        Err(error) => return report(&CliError::BadInput(usage_sentence(&error))),
    };
    match run(cli) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => report(&error),
    }
}

fn run(cli: Cli) -> Result<(), CliError> {
    match cli.command {
        Some(Command::Rank(args)) => rank::run(&args),
        Some(Command::Reach(args)) => reach::run(&args),
        Some(Command::Circuit(args)) => circuit::run(&args),
        Some(Command::ClimbOut(args)) => climb_out::run(&args),
        Some(Command::Options(args)) => options::run(&args),
        Some(Command::Route(args)) => route::run(&args),
        Some(Command::Card(args)) => card::run(&args),
        Some(Command::Sheet(args)) => sheet::run(&args),
        Some(Command::Suggest(args)) => suggest::run(&args),
        Some(Command::CheckRound(args)) => check_round::run(&args),
        Some(Command::Drill(args)) => drill::run(&args),
        Some(Command::FanStops(args)) => fan_stops::run(&args),
        Some(Command::Debrief(args)) => debrief::run(&args),
        Some(Command::Fit(args)) => debrief::run_fit(&args),
        Some(Command::Check(args)) => check::run(&args),
        Some(Command::Merge(args)) => merge::run(&args),
        Some(Command::Import(args)) => import::run(&args),
        Some(Command::Export(args)) => export::run(&args),
        None => {
            if let Some(missing) = cli.files.iter().find(|f| !f.exists()) {
                return Err(CliError::BadInput(format!(
                    "{} is neither a file nor a subcommand; see sparefield --help",
                    missing.display()
                )));
            }
            crate::run_window(cli.files, inputs::today()).map_err(|e| CliError::Failure(format!("{e:#}")))
        }
    }
}

/// Writes to standard output; a reader that has gone away is not an error.
fn print(text: &str) -> Result<(), CliError> {
    use std::io::Write as _;
    match std::io::stdout().lock().write_all(text.as_bytes()) {
        Err(e) if e.kind() != std::io::ErrorKind::BrokenPipe => {
            Err(CliError::Failure(format!("standard output cannot be written ({e})")))
        }
        _ => Ok(()),
    }
}

#[expect(clippy::print_stderr, reason = "this is where errors leave the program")]
fn report(error: &CliError) -> ExitCode {
    eprintln!("sparefield: {error}");
    ExitCode::from(error.exit_code())
}

/// The first sentence of the parser's complaint, on one line, with where to read more.
fn usage_sentence(error: &clap::Error) -> String {
    let text = error.render().to_string();
    let first: Vec<&str> = text.lines().take_while(|line| !line.trim().is_empty()).map(str::trim).collect();
    let sentence = first.join(" ");
    format!("{}; see sparefield --help", sentence.trim_start_matches("error: ").trim_end_matches('.'))
}
