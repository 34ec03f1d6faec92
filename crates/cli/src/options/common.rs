use std::path::PathBuf;

use anyhow::Context as _;
use clap::{Args, ValueEnum};
use evenstep::lut::CodeRange;
use evenstep::readings::RgbScale;

/// Options of every command.
#[derive(Args, Clone, Copy, Debug)]
#[command(next_help_heading = "Common options")]
pub(crate) struct CommonArgs {
    /// Print no notes and no progress on the standard error
    #[arg(long)]
    pub(crate) quiet: bool,
    /// Replace output files that are already there
    #[arg(long)]
    pub(crate) force: bool,
}

/// The option of commands that make a report.
#[derive(Args, Clone, Debug)]
#[command(next_help_heading = "Common options")]
pub(crate) struct JsonArg {
    /// Write the report as JSON to FILE; with -, to the standard output in place of the text
    #[arg(long, value_name = "FILE|-")]
    pub(crate) json: Option<PathBuf>,
}

impl JsonArg {
    /// Whether the JSON takes the place of the text on the standard output.
    pub(crate) fn is_stdout(&self) -> bool {
        self.json.as_deref().is_some_and(crate::output::is_stdout)
    }
}

/// The option of commands whose report can be looked at.
#[derive(Args, Clone, Debug)]
#[command(next_help_heading = "Common options")]
pub(crate) struct HtmlArg {
    /// Also write the report as one page with pictures and a look through the LUT to FILE; it opens from
    /// disk, needs no network and prints
    #[arg(long, value_name = "FILE", value_parser = page)]
    pub(crate) html: Option<PathBuf>,
}

/// A page goes to a file: the standard output is the report's.
fn page(name: &str) -> Result<PathBuf, String> {
    match name {
        "-" => Err("a page goes to a file: name one".to_owned()),
        name => Ok(name.into()),
    }
}

/// The option of commands that compute on several threads.
#[derive(Args, Clone, Copy, Debug)]
#[command(next_help_heading = "Common options")]
pub(crate) struct ThreadsArg {
    /// Compute on N threads; all processors if not given. The results are the same for any number
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    threads: Option<u16>,
}

impl ThreadsArg {
    /// The number asked for, or that of the processors.
    pub(crate) fn count(self) -> usize {
        let all = || std::thread::available_parallelism().map_or(1, usize::from);
        self.threads.map_or_else(all, usize::from)
    }

    /// Runs `job` on the number of threads asked for.
    pub(crate) fn run<T: Send>(
        self,
        job: impl FnOnce() -> anyhow::Result<T> + Send,
    ) -> anyhow::Result<T> {
        // Zero stands for one thread per processor.
        rayon::ThreadPoolBuilder::new()
            .num_threads(self.threads.map_or(0, usize::from))
            .build()
            .context("cannot start the threads")?
            .install(job)
    }
}

/// The option of commands that read the drive of patches from a file.
#[derive(Args, Clone, Copy, Debug)]
#[command(next_help_heading = "Common options")]
pub(crate) struct ScaleArg {
    /// Number that stands for full drive in files of patches and readings. If not given, a CSV file
    /// runs from 0 to 1, and a CGATS file says it, or its largest drive is exactly one of these
    #[arg(long, value_name = "1|100|255|1023")]
    rgb_scale: Option<RgbScale>,
}

impl ScaleArg {
    pub(crate) fn scale(self) -> RgbScale {
        self.rgb_scale.unwrap_or_default()
    }
}

/// The option of commands whose LUTs hold codes.
#[derive(Args, Clone, Copy, Debug)]
#[command(next_help_heading = "Common options")]
pub(crate) struct RangeArg {
    /// Codes that carry black and white on both sides of the LUT: full is 0 to the largest code,
    /// narrow is 64 to 940 of 1023
    #[arg(long, value_enum, default_value_t = Range::Full, value_name = "full|narrow", hide_possible_values = true)]
    range: Range,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Range {
    Full,
    Narrow,
}

impl RangeArg {
    /// The range as libraries know it.
    pub(crate) fn range(self) -> CodeRange {
        match self.range {
            Range::Full => CodeRange::Full,
            Range::Narrow => CodeRange::Narrow,
        }
    }
}
