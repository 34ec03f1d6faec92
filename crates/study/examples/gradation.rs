//! Prints what corrections from few patches do to gradation, a line for each LUT and evaluation, as they are made:
//!
//! ```text
//! cargo run --release -p evenstep-study --example gradation -- --panels wrgb,lcd --patches 101 --seeds 1
//! ```
//!
//! `--seeds N` runs seeds 1 to N, `--condition rough` takes rough readings, `--contenders` names who makes LUTs.
#![allow(clippy::print_stdout, reason = "prints its table")]

use std::error::Error;
use std::time::Instant;

use evenstep_study::gradation::{
    Condition, Contender, GradationCase, GradationRow, run_gradation_case,
};
use evenstep_study::{Judge, Stage};

fn main() -> Result<(), Box<dyn Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let given = |name: &str, usual: &str| -> String {
        let at = args.iter().position(|a| a == name);
        at.and_then(|i| args.get(i + 1))
            .map_or_else(|| usual.to_owned(), Clone::clone)
    };
    let panels = given("--panels", "wrgb,lcd,wide-gamut,twist,hdr-wrgb");
    let seeds: u64 = given("--seeds", "1").parse()?;
    let condition = match given("--condition", "ordinary").as_str() {
        "rough" => Condition::Rough,
        _ => Condition::Ordinary,
    };
    let contenders: Vec<Contender> = given(
        "--contenders",
        "base-only,thin-plate,pointwise,gradation,true-inverse",
    )
    .split(',')
    .map(str::parse)
    .collect::<Result<_, _>>()?;
    println!("{HEADER}");
    for panel in panels.split(',') {
        let stage = Stage::new(panel)?;
        let judge = Judge::new(&stage);
        for patches in given("--patches", "101,343").split(',') {
            for seed in 1..=seeds {
                let case = GradationCase {
                    panel: panel.to_owned(),
                    patches: patches.parse()?,
                    condition,
                    seed,
                    contenders: contenders.clone(),
                };
                let started = Instant::now();
                for row in run_gradation_case(&case, &judge)? {
                    println!("{}", line(&row));
                }
                println!("  {:.2} s", started.elapsed().as_secs_f64());
            }
        }
    }
    Ok(())
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
        "{:10} {:4} {:2} {:12} {:4.4} | {} {} {:6} {} {} | {:4} {:3} {:5.2} | {:4} {:3} {:6.2} | {} {} {} {} {} | {:5} {:5} {} {} | {} / {} {} {}",
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
        row.true_verdict,
        row.true_reason.as_deref().unwrap_or(""),
        ramps.join(", "),
    )
}
