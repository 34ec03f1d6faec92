//! One file per command.

mod apply;
mod audit;
mod compare;
mod convert;
mod fit;
mod predict;
mod ramps;
mod repair;
mod simulate;
mod study;
mod tour;

use clap::{ColorChoice, Parser, Subcommand};

use crate::Outcome;

const EXAMPLE: &str = "\
Example, from a simulated panel to an audited correction:
  evenstep simulate --panel wrgb --at patches.csv -o run.csv
  evenstep fit run.csv -o correction.cube
  evenstep audit correction.cube --panel run.csv

Exit codes: 0 done, 1 a threshold that was asked for is not met, 2 bad input or usage.";

/// Build, compare and audit display-correction LUTs
///
/// Builds 3D correction LUTs from readings of a display, and judges what a LUT does to smooth
/// gradation before it is loaded. Results go to the standard output or to the files you name; notes
/// and progress go to the standard error. No file is replaced unless you add --force.
#[derive(Debug, Parser)]
#[command(
    name = "evenstep",
    bin_name = "evenstep",
    version,
    color = ColorChoice::Never,
    max_term_width = 100,
    after_help = EXAMPLE,
    disable_help_subcommand = true
)]
pub(crate) struct Cli {
    #[command(subcommand)]
    pub(crate) command: Command,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    Fit(fit::FitArgs),
    Predict(predict::PredictArgs),
    Simulate(simulate::SimulateArgs),
    Audit(audit::AuditArgs),
    Compare(compare::CompareArgs),
    Repair(repair::RepairArgs),
    Convert(convert::ConvertArgs),
    Apply(apply::ApplyArgs),
    Ramps(ramps::RampsArgs),
    Study(study::StudyArgs),
    Tour(tour::TourArgs),
}

impl Command {
    pub(crate) fn run(&self) -> anyhow::Result<Outcome> {
        match self {
            Self::Fit(args) => fit::run(args),
            Self::Predict(args) => predict::run(args),
            Self::Simulate(args) => simulate::run(args),
            Self::Audit(args) => audit::run(args),
            Self::Compare(args) => compare::run(args),
            Self::Repair(args) => repair::run(args),
            Self::Convert(args) => convert::run(args),
            Self::Apply(args) => apply::run(args),
            Self::Ramps(args) => ramps::run(args),
            Self::Study(args) => study::run(args),
            Self::Tour(args) => tour::run(args),
        }
    }
}
