//! The command line of Evenstep: arguments in, files and text out, no numerics.
//!
//! Results go to the standard output, notes and progress to the standard error.

mod audit_picture;
mod commands;
mod judge;
mod options;
mod output;
mod panel;
mod terminal;
mod ui;

use std::ffi::OsString;
use std::io::Write as _;

use clap::Parser as _;

/// What became of a run. `main` maps it to an exit code.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// What was asked for is done: exit code 0.
    Done,
    /// It is done, and a threshold that was asked for is not met: exit code 1.
    ThresholdFailed,
    /// Bad input or usage, said on the standard error: exit code 2.
    BadInput,
}

/// Runs the command with the arguments of a process, its name among them.
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> Outcome {
    let cli = match commands::Cli::try_parse_from(arguments) {
        Ok(cli) => cli,
        Err(usage) => {
            // Help and version come this way too. A reader that has gone away is no fault.
            let _ = usage.print();
            return if usage.exit_code() == 0 {
                Outcome::Done
            } else {
                Outcome::BadInput
            };
        }
    };
    match cli.command.run() {
        Ok(outcome) => outcome,
        Err(error) => {
            let _ = writeln!(std::io::stderr(), "evenstep: {}", one_line(&error));
            Outcome::BadInput
        }
    }
}

/// An error with its causes on one line; a cause that the message before it quotes already is not said twice.
fn one_line(error: &anyhow::Error) -> String {
    let mut line = String::new();
    for cause in error.chain() {
        let text = cause.to_string();
        if line.is_empty() {
            line = text;
        } else if !line.contains(&text) {
            line = format!("{line}: {text}");
        }
    }
    line
}
