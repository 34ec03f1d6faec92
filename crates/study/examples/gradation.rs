//! Makes the table of what corrections from few patches do to gradation.
//!
//! The whole table, which goes on where it was stopped:
//!
//! ```text
//! cargo run --release -p evenstep-study --example gradation -- -o docs/gradation
//! ```
//!
//! A look at some of it, a line for each LUT and evaluation:
//!
//! ```text
//! cargo run --release -p evenstep-study --example gradation -- --panels wrgb,lcd --patches 101 --seeds 1 \
//!     --contenders base-only,gradation
//! ```
//!
//! `--seeds N` runs seeds 1 to N, `--threads N` takes that many threads; with `-o` a table of other panels, patches and
//! seeds can be made as well. Folder: `journal.jsonl` (a line for each case that is done), `cases.csv`, `cost.csv`,
//! `README.md`.
#![allow(clippy::print_stdout, reason = "prints its table")]

use std::collections::BTreeMap;
use std::error::Error;
use std::fs::{self, OpenOptions};
use std::io::Write as _;
use std::path::Path;
use std::time::Instant;

use evenstep_study::gradation::{
    Contender, GradationCase, GradationRow, PATCHES, SEEDS, acceptance, all_panels, gradation_page,
    gradation_plan, run_gradation,
};
use evenstep_study::{PlanError, Spent};
use serde::{Deserialize, Serialize};

type Failure = Box<dyn Error>;

/// A line of the journal.
#[derive(Serialize, Deserialize)]
struct Entry {
    case: String,
    seconds: f64,
    rows: Vec<GradationRow>,
}

fn main() -> Result<(), Failure> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let given = |name: &str| {
        let at = args.iter().position(|a| a == name)?;
        args.get(at + 1).cloned()
    };
    let list = |text: String| -> Vec<String> { text.split(',').map(str::to_owned).collect() };
    let panels = given("--panels").map_or_else(all_panels, list);
    let patches: Vec<usize> = match given("--patches") {
        Some(text) => list(text)
            .iter()
            .map(|n| n.parse())
            .collect::<Result<_, _>>()?,
        None => PATCHES.to_vec(),
    };
    let seeds = given("--seeds").map_or(Ok(SEEDS), |n| n.parse())?;
    let threads = match given("--threads") {
        Some(n) => n.parse()?,
        None => std::thread::available_parallelism()?.get(),
    };
    let mut cases = gradation_plan(&panels, &patches, seeds);
    if let Some(names) = given("--contenders") {
        let only: Vec<Contender> = list(names)
            .iter()
            .map(|n| n.parse())
            .collect::<Result<_, _>>()?;
        for case in &mut cases {
            case.contenders.retain(|c| only.contains(c));
        }
        cases.retain(|case| !case.contenders.is_empty());
    }
    match given("-o") {
        None => look(&cases, threads),
        Some(folder) => table(&cases, threads, Path::new(&folder)),
    }
}

fn timed(work: &mut dyn FnMut()) -> Spent {
    let started = Instant::now();
    work();
    Spent {
        seconds: started.elapsed().as_secs_f64(),
        ..Spent::default()
    }
}

/// What may stop a run.
#[derive(Debug, thiserror::Error)]
enum Stopped {
    #[error(transparent)]
    Plan(#[from] PlanError),
    #[error(transparent)]
    Case(#[from] evenstep_study::gradation::CaseError),
    #[error(transparent)]
    Io(#[from] std::io::Error),
    #[error(transparent)]
    Json(#[from] serde_json::Error),
}

fn look(cases: &[GradationCase], threads: usize) -> Result<(), Failure> {
    println!("{HEADER}");
    run_gradation::<Stopped>(cases, threads, &timed, |done| {
        for row in done.rows? {
            println!("{}", line(&row));
        }
        println!("  {}: {:.2} s", done.case, done.spent.seconds);
        Ok(())
    })?;
    Ok(())
}

fn table(cases: &[GradationCase], threads: usize, folder: &Path) -> Result<(), Failure> {
    fs::create_dir_all(folder)?;
    let path = folder.join("journal.jsonl");
    let mut known = entries(&path)?;
    let todo: Vec<GradationCase> = cases
        .iter()
        .filter(|c| !known.contains_key(&c.key()))
        .cloned()
        .collect();
    println!(
        "{} of {} cases are done",
        cases.len() - todo.len(),
        cases.len()
    );
    let mut journal = OpenOptions::new().create(true).append(true).open(&path)?;
    let (mut count, started) = (0, Instant::now());
    run_gradation::<Stopped>(&todo, threads, &timed, |done| {
        let entry = Entry {
            rows: done.rows?,
            case: done.case,
            seconds: done.spent.seconds,
        };
        journal.write_all(format!("{}\n", serde_json::to_string(&entry)?).as_bytes())?;
        count += 1;
        println!(
            "{count} of {} after {:.0} s: {} {:.1} s",
            todo.len(),
            started.elapsed().as_secs_f64(),
            entry.case,
            entry.seconds
        );
        known.insert(entry.case.clone(), entry);
        Ok(())
    })?;
    // In the order of the plan, whatever the order in which cases finished.
    let done: Vec<&Entry> = cases.iter().filter_map(|c| known.get(&c.key())).collect();
    let rows: Vec<GradationRow> = done.iter().flat_map(|e| e.rows.clone()).collect();
    let bounds = acceptance(&rows);
    fs::write(folder.join("README.md"), gradation_page(&rows, &bounds))?;
    fs::write(folder.join("cases.csv"), csv(&rows)?)?;
    let cost = done
        .iter()
        .map(|e| format!("{},{:.2}\n", e.case, e.seconds));
    let cost: String = std::iter::once("case,seconds\n".to_owned())
        .chain(cost)
        .collect();
    fs::write(folder.join("cost.csv"), cost)?;
    for bound in &bounds {
        println!(
            "{:12} {:5} of {:5} fail, worst {:8.3}  {}",
            bound.outcome.name(),
            bound.failing.len(),
            bound.cases,
            bound.worst.unwrap_or(f64::NAN),
            bound.name
        );
    }
    Ok(())
}

/// What a journal holds, but for a last line that a kill has torn, which is cut off.
fn entries(path: &Path) -> Result<BTreeMap<String, Entry>, Failure> {
    let Ok(text) = fs::read_to_string(path) else {
        return Ok(BTreeMap::new());
    };
    let whole = text.rfind('\n').map_or(0, |end| end + 1);
    fs::write(path, &text[..whole])?;
    let mut known = BTreeMap::new();
    for line in text[..whole].lines() {
        let entry: Entry = serde_json::from_str(line)?;
        known.insert(entry.case.clone(), entry);
    }
    Ok(known)
}

/// A row for each LUT and evaluation, columns as in JSON; a list of ramps is one cell.
fn csv(rows: &[GradationRow]) -> Result<String, Failure> {
    let mut text = String::new();
    for (i, row) in rows.iter().enumerate() {
        let serde_json::Value::Object(cells) = serde_json::to_value(row)? else {
            continue;
        };
        if i == 0 {
            let names: Vec<&str> = cells.keys().map(String::as_str).collect();
            text += &format!("{}\n", names.join(","));
        }
        let cells: Vec<String> = cells.values().map(cell_of).collect();
        text += &format!("{}\n", cells.join(","));
    }
    Ok(text)
}

fn cell_of(value: &serde_json::Value) -> String {
    use serde_json::Value;
    match value {
        Value::Null => String::new(),
        Value::String(text) => text.replace(',', ";"),
        Value::Object(members) => {
            let items: Vec<String> = members.values().map(cell_of).collect();
            items.join(" ")
        }
        Value::Array(list) => {
            let items: Vec<String> = list.iter().map(cell_of).collect();
            items.join(" ")
        }
        other => other.to_string(),
    }
}

const HEADER: &str = "panel         n  s contender    eval |  de00   p95    max  nbITP wobble | Nrev rnd depth | Orev rnd  depth | uneven  near  omean  omax  onear | merge folds gainNB gainMid | verdict / truth";

fn line(row: &GradationRow) -> String {
    let cell = |v: Option<f64>| v.map_or_else(|| "    -".to_owned(), |v| format!("{v:5.3}"));
    let sum = |list: &[(String, usize)]| list.iter().map(|(_, n)| n).sum::<usize>();
    let ramps: Vec<String> = row
        .ramps_reversed
        .iter()
        .map(|(name, n)| format!("{name} {n}"))
        .collect();
    format!(
        "{:10} {:4} {:2} {:12} {:4.4} | {} {} {:6} {} {} | {:4} {:3} {:5.2} | {:4} {:3} {:6.2} | {} {} {} {} {} | {:5} {:5} {} {} | {} ({}) / {} ({}) {}",
        row.by.panel,
        row.by.patches,
        row.by.seed,
        row.by.contender.name(),
        row.evaluation,
        cell(row.de2000_mean),
        cell(row.de2000_p95),
        cell(row.de2000_max),
        cell(row.near_black_itp_mean),
        cell(row.wobble_itp),
        row.neutral_reversed,
        row.neutral_reversed_rounded,
        row.neutral_depth_itp,
        sum(&row.ramps_reversed),
        sum(&row.ramps_reversed_rounded),
        row.ramps_depth_itp,
        cell(row.neutral_unevenness),
        cell(row.neutral_unevenness_near_black),
        cell(row.ramps_unevenness_mean),
        cell(row.ramps_unevenness_max),
        cell(row.ramps_unevenness_near_black_mean),
        row.merged_excess,
        row.folds,
        cell(row.noise_gain_near_black_p95),
        cell(row.noise_gain_mid_p95),
        row.verdict.as_deref().unwrap_or("-"),
        row.reason.as_deref().unwrap_or(""),
        row.true_verdict,
        row.true_reason.as_deref().unwrap_or(""),
        ramps.join(", "),
    )
}
