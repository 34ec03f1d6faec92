use evenstep_compare::{ColourSummary, CompareReport, GradationFigure, Regions};

use crate::text::{labelled, next_in_words};

/// Gradation figures shown in the text; the JSON holds those of every ramp.
const SHOWN: [(&str, &str); 8] = [
    ("neutral.reversed_steps", "reversed steps, neutral ramp"),
    (
        "neutral.reversal_depth_itp",
        "deepest reversal, ΔE ITP (visible from 1)",
    ),
    (
        "neutral.unevenness",
        "unevenness of steps, neutral ramp (0 is even)",
    ),
    ("neutral.near_black.unevenness", "the same near black"),
    ("neutral.step_itp_max", "largest step, ΔE ITP"),
    ("neutral_wobble_itp", "wobble of the neutral tint, ΔE ITP"),
    ("skin.unevenness", "unevenness of steps, skin ramp"),
    ("sky.unevenness", "unevenness of steps, sky ramp"),
];

/// Two corrections side by side, for a calibrator to read in a minute.
#[must_use]
pub fn compare_text(report: &CompareReport, candidate: &str, reference: &str) -> String {
    let mut text = labelled("Verdict", &report.verdict.summary);
    text += &labelled("Candidate", candidate);
    text += &labelled("Reference", reference);
    text += &labelled("Judge", &judge(report));
    text += &labelled(
        "Drives",
        &format!(
            "the two differ by {:.2} % of full drive in the mean and {:.2} % at most",
            100.0 * report.drive_difference.mean,
            100.0 * report.drive_difference.max
        ),
    );
    if let Some(between) = &report.colour {
        text += &colour(report, between);
    }
    text += &gradation(&report.gradation);
    text += &places(report);
    text
}

fn judge(report: &CompareReport) -> String {
    let judge = &report.judge;
    let mut text = judge.description.clone();
    if let Some(patches) = judge.patches {
        text += &format!(" ({patches} patches");
        if let Some(error) = judge.de2000_mean {
            text += &format!(
                ", each predicted from the others within {error:.2} CIEDE2000 in the mean"
            );
        }
        text += ")";
    }
    text
}

fn colour(report: &CompareReport, between: &Regions<ColourSummary>) -> String {
    let mut text = format!(
        "\n{:<28}{:>17}{:>17}{:>17}{:>19}\n",
        "CIEDE2000, mean / largest", "candidate", "reference", "base", "between the two"
    );
    let pair = |one: Option<&ColourSummary>| {
        one.filter(|s| s.signals > 0).map_or("-".to_owned(), |s| {
            format!("{:.2} / {:.2}", s.de2000_mean, s.de2000_max)
        })
    };
    type Pick = fn(&Regions<ColourSummary>) -> &ColourSummary;
    let regions: [(&str, Pick); 5] = [
        ("whole cube", |r| &r.all),
        ("near black", |r| &r.near_black),
        ("neutral", |r| &r.neutral),
        ("skin", |r| &r.skin),
        ("saturated", |r| &r.saturated),
    ];
    for (name, region) in regions {
        text += &format!(
            "{name:<28}{:>17}{:>17}{:>17}{:>19}\n",
            pair(report.candidate_error.as_ref().map(region)),
            pair(report.reference_error.as_ref().map(region)),
            pair(report.base_error.as_ref().map(region)),
            pair(Some(region(between))),
        );
    }
    text
}

fn gradation(figures: &[GradationFigure]) -> String {
    let mut text = format!(
        "\n{:<48}{:>11}{:>11}{:>11}{:>14}\n",
        "Gradation (smaller is better)", "candidate", "reference", "base", "beyond noise"
    );
    let value = |v: Option<f64>| v.map_or("-".to_owned(), |v| format!("{v:.2}"));
    for (figure, words) in SHOWN {
        let Some(found) = figures.iter().find(|f| f.figure == figure) else {
            continue;
        };
        let beyond = match found.beyond_noise {
            Some(true) => "yes",
            Some(false) => "no",
            None => "-",
        };
        text += &format!(
            "{words:<48}{:>11}{:>11}{:>11}{beyond:>14}\n",
            value(found.candidate),
            value(found.reference),
            value(found.base)
        );
    }
    text
}

fn places(report: &CompareReport) -> String {
    let mut text = String::new();
    let three = |v: [f64; 3]| v.map(|c| format!("{:.0}", 100.0 * c)).join(" ");
    if !report.places.is_empty() {
        let list: Vec<String> = report
            .places
            .iter()
            .take(5)
            .map(|p| format!("{} ({:.1})", three(p.signal), p.de2000))
            .collect();
        text += "\n";
        text += &labelled(
            "Farthest",
            &format!(
                "signals in per cent, CIEDE2000 in brackets: {}",
                list.join(", ")
            ),
        );
    }
    if let Some(next) = report.next_patches.as_deref().filter(|n| !n.is_empty()) {
        text += &labelled("Read next", &next_in_words(next));
    }
    text
}
