use std::fs;
use std::path::{Path, PathBuf};

use anyhow::Context as _;
use clap::{Args, ValueEnum};
use evenstep::audit::{
    AuditOptions, AuditReport, BitDepth, Effect, Load, PanelContext, Ramp, ReasonedThresholds,
    Subject, Traces, Viewing, audit, neutral_trace, parse_thresholds, thresholds_text, traces,
};
use evenstep::convert::read_lut;
use evenstep::display::SmoothingChoice;
use evenstep::lut::{Evaluation, Lut};
use evenstep::report::{
    Drawn, audit_html, audit_json, audit_text, audits_json, audits_table, steps_line,
};

use crate::audit_picture::AuditPicture;
use crate::judge::Judge;
use crate::options::{CommonArgs, HtmlArg, JsonArg, RangeArg, ScaleArg, TargetArgs, ThreadsArg};
use crate::panel::panel;
use crate::ui::{Ui, print, print_report};
use crate::{Outcome, output};

const EXAMPLE: &str = "\
Example, a gate before a LUT is loaded:
  evenstep audit correction.cube --panel run.csv --fail-on harms

JSON: one LUT gives evenstep/audit/1. Several give evenstep/audits/1, whose array audits holds, in the
order given, an object for each LUT with its name, lut, and its evenstep/audit/1, audit.";

/// Judge what LUTs do to smooth gradation
///
/// Walks ramps of every source code through each LUT: greys, red, green, blue and their mixtures, and
/// skin, sky and foliage. Reports where the ramp turns back, stands still, jumps or steps unevenly,
/// looks for faults in the lattice itself, and says whether to load the LUT, with reasons.
///
/// With --panel the ramps go on through a model of the panel, and the LUT is held against the base
/// correction and against no correction. The target options are those of fit and should be the same.
/// Without readings only the LUT's own faults can be seen, and the best verdict is to load with care.
#[derive(Args, Debug)]
#[command(after_help = EXAMPLE)]
pub(crate) struct AuditArgs {
    /// LUTs to judge: cube text, Common LUT Format, picture lattice or integer table
    #[arg(value_name = "LUT", required_unless_present = "print_thresholds")]
    luts: Vec<PathBuf>,
    /// Readings of the panel the LUTs are for, CSV with columns r,g,b,X,Y,Z or CGATS text
    #[arg(long, value_name = "READINGS")]
    panel: Option<PathBuf>,
    /// Bits of the source; ramps walk every code of this depth, 8 to 16
    #[arg(long, value_name = "BITS", default_value = "10", value_parser = depth)]
    source_bits: BitDepth,
    /// Bits to which the output is rounded after the LUT, 8 to 16
    #[arg(long, value_name = "BITS", default_value = "12", value_parser = depth)]
    output_bits: BitDepth,
    /// How the panel reads the lattice between nodes; weights:BITS is tetrahedral with the position in
    /// the cell rounded, as hardware does
    #[arg(
        long,
        value_name = "tetrahedral|trilinear|weights:BITS",
        default_value = "tetrahedral"
    )]
    evaluate: Evaluation,
    /// Where near black ends, in per cent of the signal; for pq of the signals from black to white
    #[arg(long, value_name = "PERCENT", default_value_t = 10.0, value_parser = percent)]
    near_black: f64,
    /// A ramp of your own between two signals from 0 to 1; may be given again
    #[arg(long, value_name = "r,g,b:r,g,b", value_parser = ends)]
    ramp: Vec<Ends>,
    /// A picture, PNG or TIFF, whose bands are looked for before and after each LUT, at 8 bits
    #[arg(long, value_name = "FILE")]
    image: Option<PathBuf>,
    /// Look for them after lossy compression of the picture too (JPEG), quality 1 to 100
    #[arg(long, value_name = "QUALITY", requires = "image", value_parser = clap::value_parser!(u8).range(1..=100))]
    image_noise: Option<u8>,
    /// Viewing conditions of the luminance scales (Barten, DICOM): field of the picture and light on the screen, as
    /// standards state them
    #[arg(
        long,
        value_name = "bt2246|bt2035|bt2100|srgb|srgb-typical",
        default_value = "bt2246"
    )]
    viewing: Viewing,
    /// Limits of the verdict, TOML as --print-thresholds gives it; limits that are not named keep their
    /// defaults, and each changed one says its reason
    #[arg(long, value_name = "FILE")]
    thresholds: Option<PathBuf>,
    /// Print the default limits with their units, sources and reasons, and end
    #[arg(long)]
    print_thresholds: bool,
    /// Exit with 1 when a verdict is not plain load (care), or when it is do not load or the LUT harms
    /// the gradation of the base correction (harms)
    #[arg(
        long,
        value_name = "care|harms",
        value_enum,
        hide_possible_values = true
    )]
    fail_on: Option<FailOn>,
    #[command(flatten)]
    target: TargetArgs,
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

#[derive(Clone, Copy, Debug, ValueEnum)]
enum FailOn {
    Care,
    Harms,
}

impl FailOn {
    fn is_met_by(self, report: &AuditReport) -> bool {
        let verdict = &report.verdict;
        match self {
            Self::Care => verdict.load != Load::Load,
            Self::Harms => {
                verdict.load == Load::DoNotLoad || verdict.against_base == Some(Effect::Harms)
            }
        }
    }
}

/// Both ends of a ramp as the user wrote them.
#[derive(Clone, Copy, Debug)]
struct Ends([[f64; 3]; 2]);

fn ends(text: &str) -> Result<Ends, String> {
    let refused = || format!("{text:?} is no ramp; write two signals such as 0,0,0:1,0.8,0.6");
    let signal = |text: &str| -> Result<[f64; 3], String> {
        let channels: Result<Vec<f64>, _> = text.split(',').map(|v| v.trim().parse()).collect();
        channels
            .map_err(|_| refused())?
            .try_into()
            .map_err(|_| refused())
    };
    let (from, to) = text.split_once(':').ok_or_else(refused)?;
    let both = [signal(from)?, signal(to)?];
    // Refused here rather than later, so that usage errors come before any reading.
    Ramp::new(text, both[0], both[1]).map_err(|e| e.to_string())?;
    Ok(Ends(both))
}

fn depth(text: &str) -> Result<BitDepth, String> {
    text.parse()
        .ok()
        .and_then(BitDepth::new)
        .ok_or_else(|| format!("{text:?} is no depth; use 8 to 16 bits"))
}

fn percent(text: &str) -> Result<f64, String> {
    text.parse()
        .ok()
        .filter(|v| (0.1..=50.0).contains(v))
        .ok_or_else(|| format!("{text:?} is not a number of per cent from 0.1 to 50"))
}

impl AuditArgs {
    fn options(&self) -> anyhow::Result<AuditOptions> {
        let limits = match &self.thresholds {
            Some(path) => {
                let text = fs::read_to_string(path)
                    .with_context(|| format!("{}: cannot be read", path.display()))?;
                parse_thresholds(&text, path)?
            }
            None => ReasonedThresholds::default(),
        };
        let mut extra_ramps = Vec::new();
        for (i, Ends([from, to])) in self.ramp.iter().enumerate() {
            extra_ramps.push(Ramp::new(format!("ramp-{}", i + 1), *from, *to)?);
        }
        Ok(AuditOptions {
            source_bits: self.source_bits,
            output_bits: self.output_bits,
            range: self.range.range(),
            near_black: self.near_black / 100.0,
            evaluation: self.evaluate,
            extra_ramps,
            in_depth: true,
            viewing: self.viewing,
            thresholds: limits.thresholds,
            threshold_reasons: limits.reasons,
        })
    }
}

pub(crate) fn run(args: &AuditArgs) -> anyhow::Result<Outcome> {
    if args.print_thresholds {
        print(&thresholds_text())?;
        return Ok(Outcome::Done);
    }
    let ui = Ui::new(args.common.quiet);
    args.target.check()?;
    let options = args.options()?;
    let outputs: Vec<&Path> = [&args.json.json, &args.html.html]
        .into_iter()
        .filter_map(Option::as_deref)
        .collect();
    output::check(&outputs, args.common.force)?;
    let inputs = args
        .luts
        .iter()
        .chain(&args.panel)
        .chain(&args.thresholds)
        .chain(&args.image);
    output::spare(&inputs.map(PathBuf::as_path).collect::<Vec<_>>(), &outputs)?;
    // All files are read before anything is computed: one that is faulty should not cost the others' time.
    let mut luts = Vec::new();
    for path in &args.luts {
        let (lut, notes) = read_lut(path)?;
        ui.notes(&notes);
        luts.push((path.display().to_string(), lut));
    }
    let picture = args
        .image
        .as_deref()
        .map(|path| AuditPicture::read(path, args.image_noise))
        .transpose()?;
    let picture = picture.as_ref();
    let audited = args.threads.run(|| match &args.panel {
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
            Ok(judge.with(|context| args.audits(luts, &options, Some(context), picture, ui)))
        }
        None => Ok(args.audits(luts, &options, None, picture, ui)),
    })?;

    if !args.json.is_stdout() {
        let texts: Vec<String> = audited
            .iter()
            .map(|one| audit_text(&one.name, &one.report) + &one.steps)
            .collect();
        if audited.len() > 1 {
            print_report(&audits_table(&named(&audited)))?;
        }
        print_report(&texts.join("\n"))?;
    }
    if let Some(path) = &args.json.json {
        let document = match audited.as_slice() {
            [only] => audit_json(&only.report),
            several => audits_json(&named(several)),
        };
        output::write(&document, path, args.common.force)?;
    }
    if let Some(path) = &args.html.html {
        let drawn: Vec<Drawn> = audited.iter().filter_map(Audited::drawn).collect();
        output::write(&audit_html(&drawn), path, args.common.force)?;
    }
    let is_failed = args
        .fail_on
        .is_some_and(|threshold| audited.iter().any(|one| threshold.is_met_by(&one.report)));
    Ok(if is_failed {
        Outcome::ThresholdFailed
    } else {
        Outcome::Done
    })
}

/// One LUT with what was found.
struct Audited {
    name: String,
    lut: Lut,
    report: AuditReport,
    /// Steps near black, for a terminal.
    steps: String,
    /// Where a page is asked for.
    traces: Option<Traces>,
}

impl Audited {
    fn drawn(&self) -> Option<Drawn<'_>> {
        Some(Drawn {
            name: &self.name,
            report: &self.report,
            traces: self.traces.as_ref()?,
            lut: &self.lut,
        })
    }
}

/// Names and reports, as tables and JSON take them.
fn named(audited: &[Audited]) -> Vec<(String, AuditReport)> {
    audited
        .iter()
        .map(|one| (one.name.clone(), one.report.clone()))
        .collect()
}

impl AuditArgs {
    fn audits(
        &self,
        luts: Vec<(String, Lut)>,
        options: &AuditOptions,
        context: Option<&PanelContext>,
        picture: Option<&AuditPicture>,
        ui: Ui,
    ) -> Vec<Audited> {
        let (progress, all) = (ui.progress("audits"), luts.len());
        let picture = picture.and_then(|picture| picture.prepared(options, context));
        let mut audited = Vec::with_capacity(all);
        for (i, (name, lut)) in luts.into_iter().enumerate() {
            progress.at(i, all);
            let correction = lut.evaluated(options.evaluation);
            let subject = Subject::of_lut(&correction, &lut);
            let mut report = audit(&subject, options, context);
            if let Some(picture) = &picture {
                report = report.with_picture(picture.bands(&correction));
            }
            let traces = (self.html.html.is_some()).then(|| traces(&subject, options, context));
            let steps = match &traces {
                // Not printed where the document goes to the terminal.
                _ if self.json.is_stdout() => None,
                Some(traces) => traces.ramps.iter().find(|r| r.is_neutral).map(steps_line),
                None => neutral_trace(&subject, options, context)
                    .as_ref()
                    .map(steps_line),
            };
            audited.push(Audited {
                name,
                report,
                steps: steps.unwrap_or_default(),
                traces,
                lut,
            });
        }
        audited
    }
}
