use evenstep_audit::Load;
use evenstep_compare::TourRow;

use crate::text::wrapped;

/// The table of the tour and what it says.
#[must_use]
pub fn tour_text(rows: &[TourRow]) -> String {
    let mut text = String::from("Held against what the panel really does\n\n");
    text += &line(
        "",
        &rows
            .iter()
            .map(|r| heading(&r.name)[0].clone())
            .collect::<Vec<_>>(),
    );
    text += &line(
        "",
        &rows
            .iter()
            .map(|r| heading(&r.name)[1].clone())
            .collect::<Vec<_>>(),
    );
    let patches = |r: &TourRow| r.patches.map_or("-".to_owned(), |p| p.to_string());
    text += &line(
        "patches read",
        &rows.iter().map(patches).collect::<Vec<_>>(),
    );
    let figure = |name: &str, decimals: usize, value: &dyn Fn(&TourRow) -> Option<f64>| {
        let cells: Vec<String> = rows
            .iter()
            .map(|r| value(r).map_or("-".to_owned(), |v| format!("{v:.decimals$}")))
            .collect();
        line(name, &cells)
    };
    text += "Colour\n";
    text += &figure("  CIEDE2000, mean", 2, &|r| Some(r.error.all.de2000_mean));
    text += &figure("  CIEDE2000, 95 %", 2, &|r| Some(r.error.all.de2000_p95));
    text += &figure("  CIEDE2000, largest", 2, &|r| Some(r.error.all.de2000_max));
    text += &figure("  ΔE ITP, mean", 2, &|r| Some(r.error.all.itp_mean));
    text += &figure("  ΔE ITP near black, mean", 2, &|r| {
        Some(r.error.near_black.itp_mean)
    });
    text += "Gradation, neutral ramp\n";
    text += &figure("  reversed steps", 0, &|r| {
        Some(neutral(r)?.figures.reversed_steps as f64)
    });
    text += &figure("  unevenness of steps, %", 0, &|r| {
        Some(100.0 * neutral(r)?.figures.unevenness?)
    });
    text += &figure("  the same near black, %", 0, &|r| {
        Some(100.0 * near_black(r)?)
    });
    text += &figure("  largest step, ΔE ITP", 2, &|r| {
        neutral(r)?.figures.step_itp_max
    });
    text += &figure("  wobble of tint, ΔE ITP", 2, &|r| {
        r.audit.neutral_wobble_itp
    });
    let verdicts: Vec<[String; 2]> = rows.iter().map(|r| short(r.audit.verdict.load)).collect();
    text += &line(
        "Verdict",
        &verdicts.iter().map(|v| v[0].clone()).collect::<Vec<_>>(),
    );
    text += &line(
        "",
        &verdicts.iter().map(|v| v[1].clone()).collect::<Vec<_>>(),
    );
    text += "\n";
    for row in rows {
        if let Some(reason) = row.audit.verdict.reasons.first() {
            text += &wrapped(&format!("{}: ", row.name), "    ", &reason.to_string());
        }
    }
    for sentence in accurate_and_harmful(rows) {
        text += "\n";
        text += &wrapped("", "", &sentence);
    }
    text += "\n";
    text += &wrapped("", "", &advice(rows));
    text
}

/// What a calibrator would take from the table: the corrections with the best verdict.
fn advice(rows: &[TourRow]) -> String {
    let corrections = || rows.iter().filter(|r| r.patches.is_some());
    let Some(best) = corrections().map(|r| r.audit.verdict.load).min() else {
        return String::new();
    };
    let names: Vec<&str> = corrections()
        .filter(|r| r.audit.verdict.load == best)
        .map(|r| r.name.as_str())
        .collect();
    if best == Load::DoNotLoad {
        return "Advice: load none of them.".to_owned();
    }
    format!(
        "Advice: of these, {best} only the {}; leave the others out.",
        names.join(" or the ")
    )
}

fn neutral(row: &TourRow) -> Option<&evenstep_audit::RampReport> {
    row.audit.ramps.iter().find(|r| r.is_neutral())
}

fn near_black(row: &TourRow) -> Option<f64> {
    neutral(row)?.near_black.as_ref()?.figures.unevenness
}

fn line(name: &str, cells: &[String]) -> String {
    let mut text = format!("{name:<25}");
    for cell in cells {
        text += &format!("{cell:>15}");
    }
    text = text.trim_end().to_owned();
    text.push('\n');
    text
}

/// A name on two lines, broken at the last space that fits.
fn heading(name: &str) -> [String; 2] {
    if name.chars().count() <= 14 {
        return [String::new(), name.to_owned()];
    }
    let at = name
        .match_indices(' ')
        .map(|(i, _)| i)
        .rfind(|i| *i <= 14)
        .unwrap_or(0);
    [name[..at].to_owned(), name[at..].trim().to_owned()]
}

fn short(load: Load) -> [String; 2] {
    match load {
        Load::Load => ["load".to_owned(), String::new()],
        Load::WithCare => ["load".to_owned(), "with care".to_owned()],
        Load::DoNotLoad => ["do not".to_owned(), "load".to_owned()],
    }
}

/// A correction is closer in colour than the base when its mean error is below this share of the base's. Our choice.
const CLOSER: f64 = 0.8;
/// Steps are rougher than the base's from this ratio, the audit's own.
const ROUGHER: f64 = evenstep_audit::thresholds::COMPARISON_RATIO;

/// One sentence for each correction that is closer in colour than the base's curves and yet harms gradation.
fn accurate_and_harmful(rows: &[TourRow]) -> Vec<String> {
    let Some(base) = rows.iter().find(|r| r.name.starts_with("base as curves")) else {
        return vec![];
    };
    let base_steps = near_black(base);
    rows.iter()
        .filter(|r| r.error.all.de2000_mean < CLOSER * base.error.all.de2000_mean)
        .filter_map(|row| {
            let (steps, base_steps) = (near_black(row)?, base_steps?);
            (steps > ROUGHER * base_steps).then(|| {
                format!(
                    "The {} is accurate and yet harms gradation: its colour errs by {:.2} CIEDE2000 in the mean where \
                     the base correction errs by {:.2}, but near black its steps are {:.1} times as uneven.",
                    row.name,
                    row.error.all.de2000_mean,
                    base.error.all.de2000_mean,
                    steps / base_steps
                )
            })
        })
        .collect()
}

/// The real display of the tour: why a 3D fit is declined, the base correction and its verdict.
#[must_use]
pub fn real_display_text(
    declined: &str,
    fit: &evenstep_fit::FitReport,
    audit: &evenstep_audit::AuditReport,
) -> String {
    let mut text =
        String::from("A real display: a cathode-ray tube, ramps only (examples/real)\n\n");
    text += &wrapped("", "", declined);
    text.push('\n');
    text += &crate::fit_text(fit);
    text.push('\n');
    text += &wrapped(
        "",
        "    ",
        &format!("Verdict of its base-only LUT: {}", audit.verdict),
    );
    text
}
