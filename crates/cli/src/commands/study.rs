use std::path::{Path, PathBuf};
use std::str::FromStr;
use std::time::Instant;

use anyhow::{Context as _, bail};
use clap::{Args, Subcommand};
use evenstep::files::write_atomic;
use evenstep::readings::{Readings, RgbScale, load, parse};
use evenstep::report::{
    Entry, Journal, JournalError, PLOT_FILES, StudyHeader, case_table, cost_table, csv, merged,
    parquet, plots, sha256, study_json, study_summary,
};
use evenstep::study::{Case, Contender, Plan, ReadingsId, Spent, Stage, run as run_cases};

use crate::options::{CommonArgs, JsonArg, ScaleArg, ThreadsArg};
use crate::ui::{Ui, print};
use crate::{Outcome, output};

const EXAMPLE: &str = "\
Example, on one machine and on three:
  evenstep study run -o out
  evenstep study run -o part1 --shard 1/3      (and part2, part3 elsewhere)
  evenstep study merge -o out part1 part2 part3";

/// Compare interpolation schemes in accuracy and in gradation
///
/// Fits every scheme to readings of every simulated panel, for several numbers of patches, noises and
/// seeds, judges each correction on the panel itself, and writes tables, a summary and plots. Dense
/// readings of a real display can take the panel's place: one half of them judges, the other is fitted.
#[derive(Args, Debug)]
#[command(after_help = EXAMPLE)]
pub(crate) struct StudyArgs {
    #[command(subcommand)]
    verb: Verb,
}

#[derive(Debug, Subcommand)]
enum Verb {
    Run(RunArgs),
    Merge(MergeArgs),
    Plot(PlotArgs),
}

const RUN_EXAMPLE: &str = "\
Example:
  evenstep study run -o out --schemes 'base-only;rbf-linear;rbf-local:cubic' --panels wrgb,lcd --counts 50,101
  evenstep study run -o out --readings wall.cgats --counts 50,101";

/// Run the cases of a plan
///
/// Every finished case is a line of DIR/journal.jsonl at once: after a kill the same command with
/// --resume goes on where it stopped. At the end DIR holds cases.csv and cases.parquet, which are the
/// same whenever the plan is run, cost.csv and cost.parquet with time and memory, summary.md and plots.
#[derive(Args, Debug)]
#[command(after_help = RUN_EXAMPLE)]
struct RunArgs {
    /// Folder for the journal and everything made from it; made if it is not there
    #[arg(short = 'o', long = "out", value_name = "DIR")]
    out: PathBuf,
    /// Cases to run: committed takes under an hour on two processors, full many hours. Any of the
    /// six options below makes one grid of its own, in which what is not given is as in the plan
    #[arg(long, value_name = "committed|full", default_value = "committed", value_parser = plan)]
    plan: Named,
    /// Schemes with their options, separated by semicolons; base-only and true-inverse are the
    /// correction without a 3D part and the panel itself inverted
    #[arg(long, value_name = "NAME;NAME", value_delimiter = ';')]
    schemes: Vec<Contender>,
    /// Simulated panels, separated by commas
    #[arg(long, value_name = "NAME,NAME", value_delimiter = ',')]
    panels: Vec<String>,
    /// Dense readings of displays, separated by commas, beside the panels named by --panels or in
    /// place of all. A model of one half judges, patches are taken from the other half; the panel is
    /// called read: and the name of the file. A hundred patches are the least
    #[arg(long, value_name = "READINGS,READINGS", value_delimiter = ',')]
    readings: Vec<PathBuf>,
    /// Numbers of patches, separated by commas
    #[arg(long, value_name = "N,N", value_delimiter = ',')]
    counts: Vec<usize>,
    /// Scales of the noise, separated by commas; 1 is the usual instrument, and the noise that
    /// readings of a display have of themselves
    #[arg(long, value_name = "X,X", value_delimiter = ',')]
    noise: Vec<f64>,
    /// Seeds of the noise, separated by commas; of readings of a display, seeds of which are taken
    #[arg(long, value_name = "N,N", value_delimiter = ',')]
    seeds: Vec<u64>,
    /// Run the i-th of n parts of the plan only; `study merge` joins the folders of all parts
    #[arg(long, value_name = "i/n", conflicts_with = "json")]
    shard: Option<Shard>,
    /// Go on with the journal that is in the folder
    #[arg(long, conflicts_with = "force")]
    resume: bool,
    #[command(flatten)]
    json: JsonArg,
    #[command(flatten)]
    scale: ScaleArg,
    #[command(flatten)]
    threads: ThreadsArg,
    #[command(flatten)]
    common: CommonArgs,
}

const MERGE_EXAMPLE: &str = "\
Example:
  evenstep study merge -o out part1 part2 part3";

/// Join the folders of all parts of a plan
///
/// The tables of cases, the summary and the plots are the same, byte for byte, as if the plan had been
/// run in one folder. A case that is missing or there twice is an error.
#[derive(Args, Debug)]
#[command(after_help = MERGE_EXAMPLE)]
struct MergeArgs {
    /// Folder for the joined journal and everything made from it; made if it is not there
    #[arg(short = 'o', long = "out", value_name = "DIR")]
    out: PathBuf,
    /// Folders of the parts
    #[arg(required = true, value_name = "SHARD_DIR")]
    shards: Vec<PathBuf>,
    #[command(flatten)]
    json: JsonArg,
    #[command(flatten)]
    common: CommonArgs,
}

const PLOT_EXAMPLE: &str = "\
Example:
  evenstep study plot out";

/// Make tables, summary and plots of a finished study anew
#[derive(Args, Debug)]
#[command(after_help = PLOT_EXAMPLE)]
struct PlotArgs {
    /// Folder of the study; what was made there before is replaced
    #[arg(value_name = "DIR")]
    folder: PathBuf,
    #[command(flatten)]
    json: JsonArg,
    #[command(flatten)]
    common: CommonArgs,
}

/// A plan with the name it was asked for by.
#[derive(Clone, Debug)]
struct Named(Plan);

fn plan(name: &str) -> Result<Named, String> {
    Plan::by_name(name).map(Named).ok_or_else(|| {
        format!(
            "no plan is called {name:?}; use {}",
            Plan::NAMES.join(" or ")
        )
    })
}

/// The i-th of n parts, i from 1.
#[derive(Clone, Copy, Debug)]
struct Shard {
    part: usize,
    parts: usize,
}

impl FromStr for Shard {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let numbers = text
            .split_once('/')
            .and_then(|(i, n)| Some((i.parse().ok()?, n.parse().ok()?)));
        match numbers {
            Some((part, parts)) if 1 <= part && part <= parts => Ok(Self { part, parts }),
            _ => Err(format!(
                "{text:?} is no part of a plan; give i/n with i from 1 to n, such as 2/8"
            )),
        }
    }
}

pub(crate) fn run(args: &StudyArgs) -> anyhow::Result<Outcome> {
    match &args.verb {
        Verb::Run(args) => run_plan(args),
        Verb::Merge(args) => merge(args),
        Verb::Plot(args) => plot(args),
    }
}

/// Readings of a display as they were read.
struct Display {
    path: PathBuf,
    id: ReadingsId,
    readings: Readings,
}

impl Display {
    fn read(path: &Path, scale: RgbScale, ui: Ui) -> anyhow::Result<Self> {
        let bytes = load(path)?;
        let (readings, notes) = parse(&bytes, path, scale)?;
        ui.notes(&notes);
        let stem = path.file_stem().unwrap_or(path.as_os_str());
        let id = ReadingsId {
            stem: stem.to_string_lossy().into_owned(),
            sha256: sha256(&bytes),
            rgb_scale: match scale {
                RgbScale::Detect => None,
                RgbScale::Given(full) => Some(full.to_string()),
            },
        };
        Ok(Self {
            path: path.to_owned(),
            id,
            readings,
        })
    }

    fn stage(&self) -> anyhow::Result<Stage> {
        Stage::measured(&self.id.panel(), &self.readings)
            .with_context(|| format!("{}: cannot judge schemes", self.path.display()))
    }
}

impl RunArgs {
    fn plan(&self, displays: &[Display]) -> Plan {
        let Named(plan) = &self.plan;
        let Some(mut grid) = plan.grids.first().cloned() else {
            return plan.clone();
        };
        let mut is_own = false;
        let mut replace = |given: bool| is_own |= given;
        replace(take(&self.schemes, &mut grid.schemes));
        let ids: Vec<ReadingsId> = displays.iter().map(|d| d.id.clone()).collect();
        if take(&ids, &mut grid.readings) {
            // Readings alone are a study of that display.
            grid.panels.clear();
            replace(true);
        }
        replace(take(&self.panels, &mut grid.panels));
        replace(take(&self.counts, &mut grid.patches));
        replace(take(&self.noise, &mut grid.noise));
        replace(take(&self.seeds, &mut grid.seeds));
        if is_own {
            Plan { grids: vec![grid] }
        } else {
            plan.clone()
        }
    }
}

/// Puts an axis that was given in the place of the usual one.
fn take<T: Clone>(given: &[T], axis: &mut Vec<T>) -> bool {
    if given.is_empty() {
        return false;
    }
    *axis = given.to_vec();
    true
}

fn run_plan(args: &RunArgs) -> anyhow::Result<Outcome> {
    let ui = Ui::new(args.common.quiet);
    let displays: Vec<Display> = args
        .readings
        .iter()
        .map(|path| Display::read(path, args.scale.scale(), ui))
        .collect::<Result<_, _>>()?;
    let plan = args.plan(&displays);
    let all = plan.cases()?;
    let stages: Vec<Stage> = args
        .threads
        .run(|| displays.iter().map(Display::stage).collect())?;
    let judges = stages.iter().filter_map(Stage::judge_record).collect();
    let header = StudyHeader::of(&plan).with_judges(judges);
    let parts = args.shard.map_or(1, |s| s.parts);
    let own = |i: usize| args.shard.is_none_or(|s| i % s.parts + 1 == s.part);
    let cases: Vec<&Case> = (0..)
        .zip(&all)
        .filter(|(i, _)| own(*i))
        .map(|(_, c)| c)
        .collect();
    prepare(&args.out, &args.json, args.common.force || args.resume)?;
    if args.common.force {
        forget(&args.out)?;
    }
    let (mut journal, known) = Journal::open(&args.out, &header, args.resume)?;
    let known: std::collections::HashSet<String> = known.into_iter().map(|e| e.case).collect();
    let todo: Vec<Case> = cases
        .iter()
        .filter(|c| !known.contains(&c.key()))
        .map(|c| (*c).clone())
        .collect();
    if args.resume {
        ui.note(format_args!(
            "{} of {} cases were done already",
            cases.len() - todo.len(),
            cases.len()
        ));
    }
    let progress = ui.long_progress("study");
    progress.at(0, todo.len());
    let mut done = 0;
    run_cases::<JournalError>(&todo, &stages, args.threads.count(), &meter, |finished| {
        journal.add(&Entry::from(finished))?;
        done += 1;
        progress.at(done, todo.len());
        Ok(())
    })?;
    drop(progress);
    if let Some(shard) = args.shard
        && parts > 1
    {
        print(&format!(
            "part {}/{} with {} of {} cases is done in {}; when all parts are, join them with evenstep study merge\n",
            shard.part,
            shard.parts,
            cases.len(),
            all.len(),
            args.out.display()
        ))?;
        return Ok(Outcome::Done);
    }
    finish(std::slice::from_ref(&args.out), &args.out, &args.json)
}

fn merge(args: &MergeArgs) -> anyhow::Result<Outcome> {
    let own = |shard: &&PathBuf| shard.canonicalize().ok() == args.out.canonicalize().ok();
    if args.out.exists()
        && let Some(shard) = args.shards.iter().find(own)
    {
        bail!(
            "{}: this is a part; name another folder for the whole",
            shard.display()
        );
    }
    prepare(&args.out, &args.json, args.common.force)?;
    // Everything is checked before anything is written.
    let (header, entries) = merged(&args.shards)?.context("no part was given")?;
    if args.common.force {
        forget(&args.out)?;
    }
    let (mut journal, _) = Journal::open(&args.out, &header, false)?;
    for entry in &entries {
        journal.add(entry)?;
    }
    finish(std::slice::from_ref(&args.out), &args.out, &args.json)
}

fn plot(args: &PlotArgs) -> anyhow::Result<Outcome> {
    if let Some(json) = &args.json.json {
        output::check(&[json], args.common.force)?;
    }
    finish(std::slice::from_ref(&args.folder), &args.folder, &args.json)
}

/// Files that are made of the journal beside the plots, in the order in which they are made.
const MADE: [&str; 5] = [
    "cases.csv",
    "cases.parquet",
    "cost.csv",
    "cost.parquet",
    "summary.md",
];

/// Makes the folder, and refuses to replace what is in it unless that was asked for.
fn prepare(folder: &Path, json: &JsonArg, replace: bool) -> anyhow::Result<()> {
    std::fs::create_dir_all(folder)
        .with_context(|| format!("{}: cannot make the folder", folder.display()))?;
    let names = MADE.iter().chain(&PLOT_FILES);
    let mut outputs: Vec<PathBuf> = names.map(|name| folder.join(name)).collect();
    outputs.extend(json.json.clone());
    output::check(
        &outputs.iter().map(PathBuf::as_path).collect::<Vec<_>>(),
        replace,
    )
}

/// Removes the journal of an earlier run.
fn forget(folder: &Path) -> anyhow::Result<()> {
    let path = folder.join(Journal::NAME);
    if path.exists() {
        std::fs::remove_file(&path)
            .with_context(|| format!("{}: cannot replace", path.display()))?;
    }
    Ok(())
}

/// Writes everything that is made of journals.
fn finish(folders: &[PathBuf], out: &Path, json: &JsonArg) -> anyhow::Result<Outcome> {
    let (header, entries) = merged(folders)?.context("no folder was given")?;
    let (cases, cost) = (case_table(&entries), cost_table(&entries));
    let failed = |e| anyhow::anyhow!("cannot make a table: {e}");
    let tables: [Vec<u8>; MADE.len()] = [
        csv(&cases, entries.len()),
        parquet(&cases).map_err(failed)?,
        csv(&cost, entries.len()),
        parquet(&cost).map_err(failed)?,
        study_summary(&header, &entries).into_bytes(),
    ];
    let drawn = plots(&entries)?;
    let svgs = drawn.iter().map(|(name, svg)| (*name, svg.as_bytes()));
    let tables = MADE.into_iter().zip(tables.iter().map(Vec::as_slice));
    for (name, bytes) in tables.chain(svgs) {
        // The journal is what counts; what was made of it before is of an older one.
        write_atomic(&out.join(name), true, |file| file.write_all(bytes))?;
    }
    if let Some(path) = &json.json {
        output::write(&study_json(&header, &entries), path, true)?;
    }
    if !json.is_stdout() {
        print(&format!(
            "{} cases; {}, {} are in {}\n",
            entries.len(),
            MADE.join(", "),
            PLOT_FILES.join(", "),
            out.display()
        ))?;
    }
    Ok(Outcome::Done)
}

/// Time, and bytes allocated by the thread that does the work.
fn meter(work: &mut dyn FnMut()) -> Spent {
    let started = Instant::now();
    let allocated = allocation_counter::measure(work);
    Spent {
        seconds: started.elapsed().as_secs_f64(),
        peak_bytes: allocated.bytes_max,
        kept_bytes: allocated.bytes_current,
    }
}
