use std::path::{Path, PathBuf};

use anyhow::{Context as _, bail};
use clap::Args;
use evenstep::audit::{AuditOptions, ReadingFacts, Traces};
use evenstep::compare::{
    CompareReport, DenseOptions, Judge, LutPair, Seen, compare_dense, compare_luts, lut_traces,
};
use evenstep::convert::{is_lut, read_lut};
use evenstep::display::SmoothingChoice;
use evenstep::fit::{BaseCorrection, Doubt, FitOptions, Gamut, InSignal, next_patches};
use evenstep::lut::{CodeRange, Evaluation, Lut};
use evenstep::readings::{Readings, read};
use evenstep::report::{Drawn, compare_html, compare_json, compare_text};

use crate::options::{
    CommonArgs, HtmlArg, JsonArg, ModelArgs, NextArgs, RangeArg, ScaleArg, TargetArgs, ThreadsArg,
};
use crate::panel::panel;
use crate::ui::{Ui, print_report};
use crate::{Outcome, output};

const EXAMPLE: &str = "\
Examples:
  evenstep compare new.cube loaded.cube --panel run.csv
  evenstep compare sparse.cgats dense.cgats --peak 120";

/// Hold two corrections against each other
///
/// Two LUTs: how far their colours are apart on the panel, what each does to gradation, and where the
/// candidate hurts most. Without --panel only the LUTs themselves can be compared.
///
/// Sparse and dense readings of one panel: a LUT is fitted to the sparse set and to each half of the
/// dense one, and a model of the other half judges, so that no LUT is judged by the readings it was
/// made from. Readings are drawn again from their noise to tell which differences mean anything, and
/// the patches that would help most are listed. Give the target options that the LUTs are meant for.
#[derive(Args, Debug)]
#[command(after_help = EXAMPLE)]
pub(crate) struct CompareArgs {
    /// The LUT or the sparse readings that are judged
    #[arg(value_name = "CANDIDATE")]
    candidate: PathBuf,
    /// The LUT or the dense readings they are judged against
    #[arg(value_name = "REFERENCE")]
    reference: PathBuf,
    /// Readings of the panel two LUTs are for
    #[arg(long, value_name = "READINGS")]
    panel: Option<PathBuf>,
    /// Nodes along each axis of LUTs fitted to readings, 2 to 65
    #[arg(long, value_name = "N", default_value_t = 33, value_parser = clap::value_parser!(u8).range(2..=65))]
    nodes: u8,
    /// Draws of the readings from their noise; fewer than 50 give a rough idea only
    #[arg(long, value_name = "N", default_value_t = 50, value_parser = clap::value_parser!(u16).range(2..=10_000))]
    draws: u16,
    /// Seed of the halves and of the draws
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// How the panel reads the lattice between nodes
    #[arg(
        long,
        value_name = "tetrahedral|trilinear|weights:BITS",
        default_value = "tetrahedral"
    )]
    evaluate: Evaluation,
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

/// What a file to compare holds.
enum Side {
    Lut(Box<Lut>),
    Readings(Readings),
}

pub(crate) fn run(args: &CompareArgs) -> anyhow::Result<Outcome> {
    let ui = Ui::new(args.common.quiet);
    args.target.check()?;
    let json = args.json.json.as_deref().into_iter();
    let outputs: Vec<&Path> = json
        .chain(args.next.output())
        .chain(args.html.html.as_deref())
        .collect();
    output::check(&outputs, args.common.force)?;
    let inputs = [&args.candidate, &args.reference]
        .into_iter()
        .chain(&args.panel);
    output::spare(&inputs.map(PathBuf::as_path).collect::<Vec<_>>(), &outputs)?;
    let sides = (
        side(&args.candidate, args, ui)?,
        side(&args.reference, args, ui)?,
    );
    let Compared { report, drawn } = match sides {
        (Side::Lut(candidate), Side::Lut(reference)) => luts(args, *candidate, *reference, ui)?,
        (Side::Readings(sparse), Side::Readings(dense)) => readings(args, &sparse, &dense, ui)?,
        _ => bail!(
            "{} and {}: one is a LUT and one holds readings; give two LUTs or two sets of readings",
            args.candidate.display(),
            args.reference.display()
        ),
    };
    let names = (
        args.candidate.display().to_string(),
        args.reference.display().to_string(),
    );
    if let Some(path) = &args.json.json {
        output::write(
            &compare_json(&report, &names.0, &names.1),
            path,
            args.common.force,
        )?;
    }
    if let (Some(path), Some((luts, traces))) = (&args.html.html, &drawn) {
        let draw = |name, report, i: usize| Drawn {
            name,
            report,
            traces: &traces[i],
            lut: &luts[i],
        };
        let page = compare_html(
            &report,
            &draw(&names.0, &report.candidate_audit, 0),
            &draw(&names.1, &report.reference_audit, 1),
        );
        output::write(&page, path, args.common.force)?;
    }
    args.next
        .write(report.next_patches.as_deref(), args.common.force)?;
    if !args.json.is_stdout() && !args.next.is_stdout() {
        print_report(&compare_text(&report, &names.0, &names.1))?;
    }
    Ok(Outcome::Done)
}

/// A comparison, with what a page draws of it where one is asked for: candidate, then reference.
struct Compared {
    report: CompareReport,
    drawn: Option<([Lut; 2], [Traces; 2])>,
}

/// A LUT where the first bytes of the file are those of one, readings otherwise.
fn side(path: &Path, args: &CompareArgs, ui: Ui) -> anyhow::Result<Side> {
    let known = is_lut(path).with_context(|| format!("{}: cannot read", path.display()))?;
    if known {
        let (lut, notes) = read_lut(path)?;
        ui.notes(&notes);
        return Ok(Side::Lut(Box::new(lut)));
    }
    let (readings, notes) = read(path, args.scale.scale())?;
    ui.notes(&notes);
    Ok(Side::Readings(readings))
}

impl CompareArgs {
    fn audit_options(&self) -> AuditOptions {
        AuditOptions {
            evaluation: self.evaluate,
            range: self.range.range(),
            ..AuditOptions::default()
        }
    }
}

fn luts(args: &CompareArgs, candidate: Lut, reference: Lut, ui: Ui) -> anyhow::Result<Compared> {
    let pair = LutPair {
        candidate: &candidate,
        reference: &reference,
    };
    let options = args.audit_options();
    let is_drawn = args.html.html.is_some();
    let compared = |seen: Option<&Seen>| {
        let report = compare_luts(pair, &options, seen);
        let traces = is_drawn.then(|| lut_traces(pair, &options, seen));
        (report, traces)
    };
    let (report, traces) = args.threads.run(|| {
        let Some(path) = &args.panel else {
            return Ok(compared(None));
        };
        let known = panel(
            path,
            args.scale.scale(),
            args.model.scheme(),
            SmoothingChoice::LeaveOneOut,
            ui,
        )?;
        let settled = args.target.request().settle(&known.readings, &known.model);
        let base = known.model.base().with_context(|| {
            format!(
                "{}: the readings allow no base correction to hold a LUT against; read more greys",
                path.display()
            )
        })?;
        let base = BaseCorrection::new(base.clone(), settled.target.clone());
        let gamut = Gamut::new(&known.model, &settled.target, Some(&base));
        let seen = Seen {
            panel: &known.model,
            target: &settled.target,
            gamut: &gamut,
            base: &base,
            facts: ReadingFacts {
                neutral_levels: known.fitness.neutral_levels,
                interior: known.fitness.interior,
            },
            judge: Judge {
                description: format!(
                    "a model of {}; a LUT that was fitted to these very readings looks better here than it is",
                    path.display()
                ),
                patches: Some(known.readings.patches.len()),
                de2000_mean: known.error.as_ref().map(|e| e.de2000_mean),
            },
        };
        let (mut report, traces) = compared(Some(&seen));
        let evaluated = candidate.evaluated(options.evaluation);
        let correction = InSignal {
            inner: &evaluated,
            range: options.range,
        };
        report.next_patches = Doubt::new(&known.readings, &known.model).map(|doubt| {
            let (near_black, count) = (options.near_black, args.next.count());
            let target = &settled.target;
            next_patches(&doubt, &known.readings, target, &correction, near_black, count)
        });
        Ok((report, traces))
    })?;
    Ok(Compared {
        report,
        drawn: traces.map(|traces| ([candidate, reference], traces)),
    })
}

fn readings(
    args: &CompareArgs,
    sparse: &Readings,
    dense: &Readings,
    ui: Ui,
) -> anyhow::Result<Compared> {
    if args.range.range() == CodeRange::Narrow {
        bail!(
            "--range narrow: LUTs fitted to readings here are compared between signals; leave it out"
        );
    }
    if let Some(panel) = &args.panel {
        bail!(
            "--panel {}: the dense readings are the panel already; leave it out",
            panel.display()
        );
    }
    let options = DenseOptions {
        fit: FitOptions {
            target: args.target.request(),
            nodes: usize::from(args.nodes),
            scheme: args.model.scheme(),
            smoothing: args.model.smoothing(),
            next: args.next.count(),
            ..FitOptions::default()
        },
        audit: AuditOptions {
            evaluation: args.evaluate,
            ..AuditOptions::default()
        },
        draws: usize::from(args.draws),
        seed: args.seed,
    };
    let progress = ui.progress("comparison");
    args.threads.run(|| {
        let found = compare_dense(sparse, dense, &options, &|done, all| progress.at(done, all))
            .with_context(|| {
                format!(
                    "{} against {}",
                    args.candidate.display(),
                    args.reference.display()
                )
            })?;
        let drawn = if args.html.html.is_some() {
            let luts = [found.candidate.loaded(), found.references[0].loaded()];
            Some((luts, found.traces(dense, &options.audit)?))
        } else {
            None
        };
        Ok(Compared {
            report: found.report,
            drawn,
        })
    })
}
