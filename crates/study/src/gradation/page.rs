use std::fmt::Write as _;

use super::{Bound, Condition, Contender, GradationRow};

/// Failing cases listed under a bound; the table of cases holds the rest.
const LISTED: usize = 40;

/// The page of a table: every bound with its outcome, each failing case, and the figures averaged over the seeds.
#[must_use]
pub fn gradation_page(rows: &[GradationRow], bounds: &[Bound]) -> String {
    let mut text = format!(
        "# Gradation of corrections from few patches\n\n{} LUTs and evaluations, made and judged anew by \
         `cargo run --release -p evenstep-study --example gradation -- -o DIR`. LUTs have 33 nodes of 12 bits; ramps are \
         walked at 10 bits; truth is the panel without noise.\n\n\
         ## Bounds\n\n| bound | cases | failing | worst | |\n| --- | ---: | ---: | ---: | --- |\n",
        rows.len()
    );
    for bound in bounds {
        // Writing to a string does not fail.
        let _ = writeln!(
            text,
            "| {} | {} | {} | {} | {} |",
            bound.name,
            bound.cases,
            bound.failing.len(),
            cell(bound.worst),
            bound.outcome.name()
        );
    }
    text += "\n*Worst* is the largest figure over its limit, the figure itself where the limit is 0, and the share of the \
             last two bounds.\n";
    for bound in bounds.iter().filter(|b| !b.failing.is_empty()) {
        let _ = write!(text, "\n### {}\n\n", bound.name);
        for case in bound.failing.iter().take(LISTED) {
            let _ = writeln!(text, "- {case}");
        }
        if bound.failing.len() > LISTED {
            let _ = writeln!(
                text,
                "- and {} more; see `cases.csv`",
                bound.failing.len() - LISTED
            );
        }
    }
    text += &figures(rows);
    text
}

fn cell(value: Option<f64>) -> String {
    value
        .filter(|v| v.is_finite())
        .map_or_else(|| "-".to_owned(), |v| format!("{v:.3}"))
}

/// Groups of rows that differ in the seed alone, in the order in which they are met.
fn groups(rows: &[GradationRow]) -> Vec<Vec<&GradationRow>> {
    let key = |r: &GradationRow| {
        (
            r.by.panel.clone(),
            r.by.patches,
            r.by.contender,
            r.by.condition,
            r.evaluation.clone(),
        )
    };
    let mut at = std::collections::HashMap::new();
    let mut groups: Vec<Vec<&GradationRow>> = Vec::new();
    for row in rows {
        let place = *at.entry(key(row)).or_insert(groups.len());
        match groups.get_mut(place) {
            Some(group) => group.push(row),
            None => groups.push(vec![row]),
        }
    }
    groups
}

fn figures(rows: &[GradationRow]) -> String {
    let mut text = String::from(
        "\n## Figures, mean over the seeds\n\nReversed steps are sums over the seeds; *others* are the nine ramps off the \
         neutral axis; *near* is near black.\n\n\
         | panel | patches | made by | read | CIEDE2000 | 95th | near ITP | neutral reversed | rounded | depth ITP | \
         others reversed | unevenness | near | others | near | merged | noise gain near | folds |\n\
         | --- | ---: | --- | --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | \
         ---: | ---: |\n",
    );
    for group in groups(rows) {
        let Some(first) = group.first() else { continue };
        let mean = |figure: &dyn Fn(&GradationRow) -> Option<f64>| {
            let known: Vec<f64> = group.iter().filter_map(|r| figure(r)).collect();
            cell(Some(known.iter().sum::<f64>() / known.len() as f64))
        };
        let sum = |figure: &dyn Fn(&GradationRow) -> usize| {
            group.iter().map(|r| figure(r)).sum::<usize>()
        };
        let rough = match first.by.condition {
            Condition::Ordinary => "",
            Condition::Rough => ", rough",
        };
        let patches = match first.by.contender {
            Contender::TrueInverse => "-".to_owned(),
            _ => first.by.patches.to_string(),
        };
        let depth = group
            .iter()
            .map(|r| r.neutral_depth_itp)
            .fold(0.0, f64::max);
        let _ = writeln!(
            text,
            "| {} | {patches} | {}{rough} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} |",
            first.by.panel,
            first.by.contender,
            first.evaluation,
            mean(&|r| r.de2000_mean),
            mean(&|r| r.de2000_p95),
            mean(&|r| r.near_black_itp_mean),
            sum(&|r| r.neutral_reversed),
            sum(&|r| r.neutral_reversed_rounded),
            cell(Some(depth)),
            sum(&GradationRow::ramps_reversed_sum),
            mean(&|r| r.neutral_unevenness),
            mean(&|r| r.neutral_unevenness_near_black),
            mean(&|r| r.ramps_unevenness_mean),
            mean(&|r| r.ramps_unevenness_near_black_mean),
            mean(&|r| Some(r.merged_excess)),
            mean(&|r| r.noise_gain_near_black_p95),
            sum(&|r| r.folds),
        );
    }
    text
}
