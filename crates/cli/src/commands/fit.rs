use std::path::{Path, PathBuf};

use anyhow::Context as _;
use clap::{Args, ValueEnum};
use evenstep::audit::{AuditOptions, AuditReport, Traces};
use evenstep::compare::{audit_fit_traced, shaper_gain};
use evenstep::convert::read_lut;
use evenstep::files::write_together;
use evenstep::fit::{Fit, FitOptions, InSignal, PatchMiss, Solve, fit, patch_misses, through};
use evenstep::lut::format::cube;
use evenstep::lut::{CodeRange, Evaluation, Lut, Lut1d};
use evenstep::readings::{Readings, merged, read_sequence};
use evenstep::report::{Drawn, base_correction_json, fit_html, fit_json, fit_text};

use crate::options::{
    CommonArgs, HtmlArg, JsonArg, ModelArgs, NextArgs, RangeArg, ScaleArg, TargetArgs, ThreadsArg,
};
use crate::ui::{Ui, print_report};
use crate::{Outcome, output};

const EXAMPLE: &str = "\
Example, a wide-gamut picture at 100 cd/m² on a panel that takes 33 nodes:
  evenstep fit run.csv -o correction.cube --primaries p3-d65 --transfer gamma:2.4 --peak 100";

/// Fit a correction LUT to readings of a panel
///
/// Reads what the panel shows, models it between the readings, settles the target on what it can
/// reach, and writes the 3D LUT that brings the one to the other. The summary says what the LUT
/// stands on: how many readings, how noisy, how well each is predicted from the others, and how many
/// colours are out of reach.
///
/// Where the readings support no 3D correction it is declined, with the reason; --base-only then
/// fits the curves and the matrix that they do support. Readings that cannot be true are refused.
#[derive(Args, Debug)]
#[command(after_help = EXAMPLE)]
pub(crate) struct FitArgs {
    /// Readings of the panel, CSV with columns r,g,b,X,Y,Z or CGATS text; light in cd/m²
    #[arg(value_name = "READINGS")]
    readings: PathBuf,
    /// The LUT to write, as cube text
    #[arg(short = 'o', long = "out", value_name = "LUT")]
    out: PathBuf,
    /// Nodes along each axis, 2 to 65
    #[arg(long, value_name = "N", default_value_t = 33, value_parser = clap::value_parser!(u8).range(2..=65))]
    nodes: u8,
    /// Bits of the stored values, 8 to 16
    #[arg(long, value_name = "BITS", default_value_t = 12, value_parser = clap::value_parser!(u8).range(8..=16))]
    node_bits: u8,
    /// How node values come from the model: all together, so that ramps stay even, or each for itself,
    /// for comparison
    #[arg(long, value_name = "HOW", value_enum, default_value_t = HowToSolve::Gradation)]
    solve: HowToSolve,
    /// Stop at the base correction: black, a matrix and tone curves
    #[arg(long)]
    base_only: bool,
    /// Also write the base correction for a panel that takes no 3D LUT: before.cube, matrix.json and
    /// after.cube in this order, or grey.cube alone for greys
    #[arg(long, value_name = "DIR")]
    curves: Option<PathBuf>,
    /// Also write a curve, as cube text, for a panel that takes 1D + 3D. It goes before the LUT, which is
    /// then made for it and is of no use alone: its nodes lie closer where the correction bends
    #[arg(long, value_name = "FILE")]
    shaper: Option<PathBuf>,
    /// LUT that was loaded while the readings were taken: their r, g, b are signals in front of it. The
    /// new LUT takes its place. Such readings seldom hold the panel's own black, white and greys, which
    /// a fit stands on; give them with --native
    #[arg(long, value_name = "LUT")]
    through: Option<PathBuf>,
    /// Readings of the same panel taken without the LUT of --through, joined to the others
    #[arg(long, value_name = "READINGS", requires = "through")]
    native: Option<PathBuf>,
    /// Least luminance that the instrument tells from darkness, in cd/m². What read no more says only
    /// that there is no more, black excepted; so do readings of exactly 0 in any case
    #[arg(long, value_name = "CD_M2", value_parser = luminance)]
    floor: Option<f64>,
    #[command(flatten)]
    target: TargetArgs,
    #[command(flatten)]
    model: ModelArgs,
    #[command(flatten)]
    next: NextArgs,
    #[command(flatten)]
    scale: ScaleArg,
    #[command(flatten)]
    range: RangeArg,
    #[command(flatten)]
    json: JsonArg,
    #[command(flatten)]
    html: HtmlArg,
    #[command(flatten)]
    threads: ThreadsArg,
    #[command(flatten)]
    common: CommonArgs,
}

fn luminance(text: &str) -> Result<f64, String> {
    let value: f64 = text.parse().map_err(|_| format!("{text} is no number"))?;
    if value.is_finite() && value > 0.0 {
        Ok(value)
    } else {
        Err("a luminance above 0, in cd/m²".to_owned())
    }
}

/// How node values come from the model.
#[derive(Clone, Copy, Debug, ValueEnum)]
enum HowToSolve {
    Gradation,
    Pointwise,
}

impl FitArgs {
    fn inputs(&self) -> Vec<&Path> {
        std::iter::once(&self.readings)
            .chain(&self.through)
            .chain(&self.native)
            .map(PathBuf::as_path)
            .collect()
    }

    fn options(&self) -> FitOptions {
        FitOptions {
            target: self.target.request(),
            nodes: usize::from(self.nodes),
            scheme: self.model.scheme(),
            smoothing: self.model.smoothing(),
            node_bits: self.node_bits,
            solve: match self.solve {
                HowToSolve::Gradation => Solve::Gradation,
                HowToSolve::Pointwise => Solve::Pointwise,
            },
            base_only: self.base_only,
            range: self.range.range(),
            next: self.next.count(),
            shaper: self.shaper.is_some(),
        }
    }
}

pub(crate) fn run(args: &FitArgs) -> anyhow::Result<Outcome> {
    let (ui, force) = (Ui::new(args.common.quiet), args.common.force);
    args.target.check()?;
    anyhow::ensure!(
        !output::is_stdout(&args.out),
        "-o -: a LUT goes to a file, the standard output carries the summary; name a file"
    );
    let curves = args.curves.as_deref().map(CurveFiles::in_folder);
    let mut outputs = vec![args.out.as_path()];
    outputs.extend(args.json.json.as_deref());
    outputs.extend(args.html.html.as_deref());
    outputs.extend(args.next.output());
    outputs.extend(args.shaper.as_deref());
    anyhow::ensure!(
        !args.shaper.as_deref().is_some_and(output::is_stdout),
        "--shaper -: a LUT goes to a file; name one"
    );
    output::check(&outputs, force)?;
    output::spare(&args.inputs(), &outputs)?;
    if let Some(curves) = &curves {
        curves.prepare(force)?;
    }

    let readings = readings(args, ui)?;
    let progress = ui.progress("lattice");
    let (fitted, seen) = args
        .threads
        .run(|| {
            let step = |done, all| progress.at(done, all);
            let mut fitted = fit(&readings, &args.options(), &step)?;
            fitted.report.shaper = shaper_gain(&fitted, &readings, args.range.range());
            let seen = (args.html.html.is_some()).then(|| Seen::of(&fitted, &readings, args));
            Ok((fitted, seen))
        })
        .with_context(|| args.readings.display().to_string())?;
    drop(progress);

    if let Some(curves) = &curves {
        curves.write(&fitted, args.range.range(), force)?;
    }
    write_luts(args, &fitted)?;
    if let Some(json) = &args.json.json {
        output::write(&fit_json(&fitted.report), json, force)?;
    }
    if let (Some(path), Some(seen)) = (&args.html.html, &seen) {
        output::write(&seen.page(&fitted, &args.out), path, force)?;
    }
    args.next
        .write(fitted.report.next_patches.as_deref(), force)?;
    if !args.json.is_stdout() && !args.next.is_stdout() {
        print_report(&fit_text(&fitted.report))?;
    }
    Ok(Outcome::Done)
}

/// What the page of a fit shows beside its report.
struct Seen {
    audit: AuditReport,
    traces: Traces,
    misses: Vec<PatchMiss>,
}

impl Seen {
    fn of(fitted: &Fit, readings: &Readings, args: &FitArgs) -> Self {
        let options = AuditOptions {
            range: args.range.range(),
            ..AuditOptions::default()
        };
        let (audit, traces) = audit_fit_traced(fitted, readings, &options);
        Self {
            audit,
            traces,
            misses: patch_misses(readings, &fitted.model),
        }
    }

    fn page(&self, fitted: &Fit, out: &Path) -> String {
        let name = out.display().to_string();
        let drawn = Drawn {
            name: &name,
            report: &self.audit,
            traces: &self.traces,
            lut: &fitted.loaded(),
        };
        fit_html(&fitted.report, &self.misses, &drawn)
    }
}

/// The lattice, and the shaper that goes before it, both or neither.
fn write_luts(args: &FitArgs, fitted: &Fit) -> anyhow::Result<()> {
    let lattice = Lut {
        title: Some(title(fitted)),
        ..Lut::from(fitted.lut.clone())
    };
    let Some(path) = &args.shaper else {
        cube::write(&lattice, &args.out, args.common.force)?;
        return Ok(());
    };
    let shaped = fitted.shaped.as_ref().context(
        "--shaper: the readings allow no base correction to shape the lattice by; leave it out or read more greys",
    )?;
    let shaper = Lut {
        title: Some(format!("{}, before the lattice", title(fitted))),
        ..Lut::from(shaped.shaper.curve())
    };
    let (mut first, mut then) = (Vec::new(), Vec::new());
    cube::write_to(&shaper, &mut first)?;
    cube::write_to(&lattice, &mut then)?;
    write_together(&[(path, &first), (&args.out, &then)], args.common.force)?;
    Ok(())
}

/// The readings, their signals turned into drive where they were taken through a LUT.
fn readings(args: &FitArgs, ui: Ui) -> anyhow::Result<Readings> {
    let (mut sequence, notes) = read_sequence(&args.readings, args.scale.scale())?;
    ui.notes(&notes);
    let mut known = Vec::new();
    if let Some(path) = &args.native {
        let (native, notes) = read_sequence(path, args.scale.scale())?;
        ui.notes(&notes);
        known = native;
    }
    if let Some(path) = &args.through {
        let (lut, notes) = read_lut(path)?;
        ui.notes(&notes);
        let loaded = lut.evaluated(Evaluation::Tetrahedral);
        let loaded = InSignal {
            inner: &loaded,
            range: args.range.range(),
        };
        sequence = through(&loaded, known, sequence);
    }
    let readings = merged(sequence);
    Ok(match args.floor {
        Some(floor) => readings.silent_below(floor),
        None => readings,
    })
}

/// The title of the LUT file: what it aims at.
fn title(fitted: &Fit) -> String {
    let target = &fitted.report.target;
    format!(
        "Evenstep {} {} {:.1} cd/m2",
        target.primaries, target.transfer, target.white_cd_m2
    )
}

/// Files of a base correction.
pub(crate) struct CurveFiles {
    folder: PathBuf,
}

impl CurveFiles {
    pub(crate) fn in_folder(folder: &Path) -> Self {
        Self {
            folder: folder.to_owned(),
        }
    }

    fn file(&self, name: &str) -> PathBuf {
        self.folder.join(name)
    }

    /// Makes the folder and refuses files that are there.
    pub(crate) fn prepare(&self, force: bool) -> anyhow::Result<()> {
        std::fs::create_dir_all(&self.folder)
            .with_context(|| format!("{}: cannot make the folder", self.folder.display()))?;
        let files =
            ["before.cube", "matrix.json", "after.cube", "grey.cube"].map(|name| self.file(name));
        output::check(&files.each_ref().map(PathBuf::as_path), force)
    }

    pub(crate) fn write(&self, fitted: &Fit, range: CodeRange, force: bool) -> anyhow::Result<()> {
        let base = fitted.base.as_ref().context(
            "--curves: the readings allow no base correction, so there are no curves; leave it out",
        )?;
        let stages = base.curves_and_matrix(range);
        let curve = |name: &str, title: &str, curve: Lut1d| {
            let lut = Lut {
                title: Some(title.to_owned()),
                ..Lut::from(curve)
            };
            cube::write(&lut, &self.file(name), force)
        };
        let matrix = base_correction_json(&stages);
        curve("before.cube", "signal to target light", stages.before)?;
        output::write(&matrix, &self.file("matrix.json"), force)?;
        curve("after.cube", "channel light to drive", stages.after)?;
        curve("grey.cube", "signal to drive of greys", stages.grey)?;
        Ok(())
    }
}
