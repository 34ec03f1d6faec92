use evenstep_audit::AuditReport;

use crate::text::three_digits;

/// Widest a name gets; longer ones keep their end, which tells files of one folder apart.
const NAME: usize = 30;

/// Several audits side by side, one line each, and a line that says what the columns are.
///
/// Figures are those of the neutral ramp but for the folds; a dash stands for what needs readings or a lattice.
#[must_use]
pub fn audits_table(reports: &[(String, AuditReport)]) -> String {
    let mut table = format!(
        "{:<NAME$} {:>8} {:>9} {:>7} {:>7} {:>6} {:>6}  {}\n",
        "LUT", "reversed", "depth", "uneven", "wobble", "gain", "folds", "verdict"
    );
    for (name, report) in reports {
        table += &row(name, report);
    }
    table += "Neutral ramp: reversed steps; depth and wobble in ΔE ITP; unevenness in %; noise gain of mid-tones\n\n";
    table
}

fn row(name: &str, report: &AuditReport) -> String {
    let dash = |value: Option<f64>| value.map_or_else(|| "-".to_owned(), three_digits);
    let neutral = report.ramps.first().map(|r| &r.figures);
    let line = format!(
        "{:<NAME$} {:>8} {:>9} {:>7} {:>7} {:>6} {:>6}  {}",
        shortened(name),
        neutral.map_or(0, |n| n.reversed_steps),
        dash(neutral.and_then(|n| n.reversal_depth_itp)),
        dash(neutral.and_then(|n| n.unevenness).map(|u| 100.0 * u)),
        dash(report.neutral_wobble_itp),
        dash(report.noise_gain.and_then(|g| g.mid_p95)),
        report
            .lattice
            .as_ref()
            .map_or_else(|| "-".to_owned(), |l| l.folds.folded.to_string()),
        report.verdict.load
    );
    format!("{}\n", line.trim_end())
}

fn shortened(name: &str) -> String {
    let length = name.chars().count();
    if length <= NAME {
        return name.to_owned();
    }
    let end: String = name.chars().skip(length - NAME + 1).collect();
    format!("…{end}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::TEXT_WIDTH;
    use evenstep_audit::{AuditOptions, Subject, audit};
    use evenstep_lut::{Evaluation, Lut, Lut3d};

    #[test]
    fn every_lut_has_a_line_within_the_width() {
        let lut = Lut::from(Lut3d::identity(5));
        let correction = lut.evaluated(Evaluation::Tetrahedral);
        let report = audit(
            &Subject::of_lut(&correction, &lut),
            &AuditOptions::default(),
            None,
        );
        let name = "a-very-long-folder-name/with/one.cube".to_owned();
        let table = audits_table(&[("one.cube".to_owned(), report.clone()), (name, report)]);
        let lines: Vec<&str> = table.lines().collect();
        assert!(lines[1].starts_with("one.cube") && lines[1].ends_with("load with care"));
        assert!(lines[2].starts_with('…') && lines[2].contains("one.cube"));
        assert!(lines.iter().all(|l| l.chars().count() <= TEXT_WIDTH));
    }
}
