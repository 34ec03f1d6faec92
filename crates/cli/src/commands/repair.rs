use std::path::{Path, PathBuf};

use anyhow::Context as _;
use clap::Args;
use evenstep::audit::AuditOptions;
use evenstep::convert::{Content, ConvertOptions, FileFormat, convert, parse};
use evenstep::display::SmoothingChoice;
use evenstep::files::write_atomic;
use evenstep::lut::Evaluation;
use evenstep::lut::format::cube;
use evenstep::picture::Format;
use evenstep::repair::{Repaired, repair};
use evenstep::report::{repair_json, repair_text};

use crate::judge::Judge;
use crate::options::{CommonArgs, JsonArg, RangeArg, ScaleArg, TargetArgs, ThreadsArg};
use crate::panel::panel;
use crate::ui::{Ui, print};
use crate::{Outcome, output};

const EXAMPLE: &str = "\
Example, a LUT of unknown origin made fit for a known panel:
  evenstep repair handed-over.cube -o repaired.cube --panel run.csv

Exit codes: 0 when no fault is left, 1 when some are; the LUT is then written as far as it could be
repaired.";

/// Remove the faults of a LUT with a small change of colour
///
/// Looks for ramps that fall or stand still, for steps that alternate between long and short, and for
/// folds of the lattice, and smooths the nodes that make them, no more than it takes. Every other node
/// keeps its very digits; a LUT without faults comes out byte for byte as it went in, and so does one
/// that was repaired before. What may be meant is kept: tone curves, clips, hue shifts, the edge of the
/// gamut.
///
/// With --panel ramps are judged by the light that the panel shows, clips that it could show are
/// faults, and a tint of the greys that wobbles is removed too. The target options are those of fit and
/// should be the same. Without readings, what the repair costs in colour is that on a nominal panel,
/// which the report names.
#[derive(Args, Debug)]
#[command(after_help = EXAMPLE)]
pub(crate) struct RepairArgs {
    /// The LUT to repair, of any format, with a 3D table
    #[arg(value_name = "LUT")]
    lut: PathBuf,
    /// The LUT to write; the ending .clf, .png, .tif or .table asks for that format, any other for cube text
    #[arg(short = 'o', long = "out", value_name = "LUT")]
    out: PathBuf,
    /// Readings of the panel the LUT is for, CSV with columns r,g,b,X,Y,Z or CGATS text
    #[arg(long, value_name = "READINGS")]
    panel: Option<PathBuf>,
    /// How the panel reads the lattice between nodes; weights:BITS is tetrahedral with the position in
    /// the cell rounded, as hardware does
    #[arg(
        long,
        value_name = "tetrahedral|trilinear|weights:BITS",
        default_value = "tetrahedral"
    )]
    evaluate: Evaluation,
    #[command(flatten)]
    target: TargetArgs,
    #[command(flatten)]
    scale: ScaleArg,
    #[command(flatten)]
    range: RangeArg,
    #[command(flatten)]
    json: JsonArg,
    #[command(flatten)]
    threads: ThreadsArg,
    #[command(flatten)]
    common: CommonArgs,
}

pub(crate) fn run(args: &RepairArgs) -> anyhow::Result<Outcome> {
    let ui = Ui::new(args.common.quiet);
    args.target.check()?;
    let outputs: Vec<&Path> = std::iter::once(&args.out)
        .chain(&args.json.json)
        .map(PathBuf::as_path)
        .collect();
    output::check(&outputs, args.common.force)?;
    let inputs: Vec<&Path> = std::iter::once(&args.lut)
        .chain(&args.panel)
        .map(PathBuf::as_path)
        .collect();
    output::spare(&inputs, &outputs)?;
    let name = args.lut.display().to_string();
    // The text is kept: what is not repaired is not written anew.
    let text = std::fs::read(&args.lut).with_context(|| format!("{name}: cannot be read"))?;
    let loaded = parse(&text, &args.lut)?;
    let from = loaded.format;
    let (lut, notes) = loaded.into_lut(&args.lut)?;
    ui.notes(&notes);
    let to = FileFormat::of_name(&args.out).unwrap_or(FileFormat::Cube);
    let options = AuditOptions {
        evaluation: args.evaluate,
        range: args.range.range(),
        ..AuditOptions::default()
    };
    let Repaired {
        lut: repaired,
        report,
    } = args.threads.run(|| {
        let found = match &args.panel {
            Some(readings) => {
                let known = panel(
                    readings,
                    args.scale.scale(),
                    None,
                    SmoothingChoice::LeaveOneOut,
                    ui,
                )?;
                let settled = args.target.request().settle(&known.readings, &known.model);
                let judge =
                    Judge::new(&known, settled).with_context(|| readings.display().to_string())?;
                let shown_on = readings.display().to_string();
                judge.with(|context| repair(&lut, &options, Some(context), &shown_on))
            }
            None => repair(&lut, &options, None, ""),
        };
        found.with_context(|| name.clone())
    })?;

    let bytes = match &repaired.lattice {
        Some(lattice) if (from, to) == (FileFormat::Cube, FileFormat::Cube) => {
            cube::replace_nodes(&text, &lut, lattice)
        }
        // Only cube text can be changed row by row.
        _ if from != to || repaired != lut => {
            let done = convert(&Content::Lut(repaired), &ConvertOptions::to(to))?;
            ui.notes(&done.losses);
            let picture = Format::from_name(&args.out).unwrap_or(Format::Png);
            let mut bytes = Vec::new();
            done.write_to(picture, &mut bytes)?;
            bytes
        }
        _ => text,
    };
    write_atomic(&args.out, args.common.force, |out| out.write_all(&bytes))?;
    if let Some(path) = &args.json.json {
        output::write(&repair_json(&name, &report), path, args.common.force)?;
    }
    if !args.json.is_stdout() {
        print(&repair_text(&name, &report))?;
    }
    Ok(if report.faults_after.is_empty() {
        Outcome::Done
    } else {
        Outcome::ThresholdFailed
    })
}
