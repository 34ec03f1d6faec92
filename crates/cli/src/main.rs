//! The `evenstep` command: maps what the library says to an exit code.

use std::process::ExitCode;

use evenstep_cli::Outcome;

fn main() -> ExitCode {
    match evenstep_cli::run(std::env::args_os()) {
        Outcome::Done => ExitCode::SUCCESS,
        Outcome::ThresholdFailed => ExitCode::from(1),
        Outcome::BadInput => ExitCode::from(2),
    }
}
