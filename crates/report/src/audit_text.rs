use evenstep_audit::{
    AuditReport, CurvesReport, Effect, LIMITS, LatticeReport, Load, MeasuredOn, VerdictReason,
};

use crate::depth_text::depth_text;
use crate::ramp_table::ramp_table;
use crate::text::{counted, labelled, three_digits, wrapped};

/// The audit of one LUT for a calibrator to read in a minute: verdict, reasons, ramps, lattice.
///
/// `name` is what the user calls the LUT.
#[must_use]
pub fn audit_text(name: &str, report: &AuditReport) -> String {
    let mut text = wrapped("", "  ", &format!("{name}: {}", report.verdict));
    text += &wrapped("", "", &effects(report));
    text += &reasons(&report.verdict.reasons);
    text += &scale(report);
    text += &own_limits(report);
    text.push('\n');
    text += &ramp_table(report);
    text += &legend(report);
    text.push('\n');
    match &report.lattice {
        Some(found) => text += &lattice(found),
        None => text += &labelled("Lattice", "none: curves alone"),
    }
    if let Some(found) = &report.curves {
        text += &labelled("Curves", &curves(found));
    }
    text += &labelled("Tint", &wobble(report));
    text += &labelled("Visibility", &steps(report));
    text += &depth_text(report);
    let ends = |drive: [f64; 3]| drive.map(|v| format!("{v:.4}")).join(" ");
    text += &labelled(
        "End points",
        &format!(
            "signal black gives drive {}, signal white gives drive {}",
            ends(report.end_points.black),
            ends(report.end_points.white)
        ),
    );
    text
}

/// What the LUT does to gradation, in a sentence.
pub(crate) fn effects(report: &AuditReport) -> String {
    let verb = |effect: Effect| match effect {
        Effect::Improves => "improves",
        Effect::Keeps => "keeps",
        Effect::Harms => "harms",
    };
    match (report.verdict.against_base, report.verdict.against_uncorrected) {
        (Some(base), Some(uncorrected)) => format!(
            "Gradation: {} that of the base correction, {} that of the uncorrected panel.",
            verb(base),
            verb(uncorrected)
        ),
        _ => "Gradation against the base correction and the uncorrected panel: not known, it needs readings.".to_owned(),
    }
}

/// Reasons of one kind are told once, by the gravest, with the other ramps named after it.
pub(crate) fn kinds(all: &[VerdictReason]) -> Vec<(&VerdictReason, Vec<&str>)> {
    let mut kinds: Vec<(&VerdictReason, Vec<&str>)> = Vec::new();
    for reason in all {
        let is_alike = |first: &VerdictReason| {
            (first.severity, first.figure) == (reason.severity, reason.figure)
        };
        match kinds.iter_mut().find(|(first, _)| is_alike(first)) {
            Some((_, others)) => others.extend(reason.ramp.as_deref()),
            None => kinds.push((reason, Vec::new())),
        }
    }
    kinds
}

fn reasons(all: &[VerdictReason]) -> String {
    if all.is_empty() {
        return "No fault was found.\n".to_owned();
    }
    let mut text = "\nReasons\n".to_owned();
    for (i, (reason, others)) in kinds(all).iter().enumerate() {
        let severity = match reason.severity {
            Load::DoNotLoad => "do not load",
            Load::Load | Load::WithCare => "with care",
        };
        let also = if others.is_empty() {
            String::new()
        } else {
            format!(". Also, less: {}", others.join(", "))
        };
        let sentence = format!("{}{also}", reason.sentence);
        text += &wrapped(&format!("{:>2}. {severity}: ", i + 1), "    ", &sentence);
    }
    text
}

/// The scale of the verdict and how far its figure is from its limit.
fn scale(report: &AuditReport) -> String {
    let margin = report
        .verdict
        .margin
        .as_ref()
        .map_or_else(String::new, |margin| {
            let name = margin
                .ramp
                .as_ref()
                .map_or_else(String::new, |ramp| format!(" of {ramp}"));
            let times = margin
                .times
                .map_or_else(String::new, |t| format!(", {t:.2} times the limit"));
            let role = match margin.times {
                Some(times) if times < 1.0 => "Nearest to its limit",
                _ => "Deciding",
            };
            format!(
                "{role}: {}{name}, {} against {} ({}){times}. ",
                margin.figure,
                three_digits(margin.value),
                three_digits(margin.threshold),
                margin.scale
            )
        });
    wrapped(
        "",
        "",
        &format!(
            "{margin}What is visible is judged in {}.",
            report.verdict.scale
        ),
    )
}

/// Limits that are not the defaults, with the reasons that were given for them.
fn own_limits(report: &AuditReport) -> String {
    let mut text = String::new();
    for (limit, value) in LIMITS.iter().zip(report.thresholds.values()) {
        if let Some(reason) = report.threshold_reasons.get(limit.name) {
            let (name, unit) = (limit.name, limit.unit);
            text += &wrapped(
                "",
                "  ",
                &format!("Own limit: {name} {value} ({unit}): {reason}"),
            );
        }
    }
    text
}

/// The steps on the three published scales.
fn steps(report: &AuditReport) -> String {
    let Some(neutral) = report.ramps.first().map(|r| &r.figures) else {
        return String::new();
    };
    match (neutral.step_itp_max, neutral.step_barten_max) {
        (Some(itp), Some(barten)) => {
            let gsdf = neutral
                .step_gsdf_max
                .map_or_else(|| "not defined".to_owned(), |gsdf| format!("{gsdf:.2}"));
            format!(
                "the neutral ramp's largest is {itp:.2} ΔE ITP, {barten:.2} Barten thresholds, {gsdf} DICOM indices: \
                 three scales that must not be mixed; viewing: {}",
                report.viewing
            )
        }
        _ => "on the three scales of visibility not known, they need readings".to_owned(),
    }
}

fn legend(report: &AuditReport) -> String {
    let bits = report.output_bits.bits();
    let near = 100.0 * report.near_black_end;
    let (subject, ideal) = match report.measured_on {
        MeasuredOn::Panel => ("luminance", "the target's step"),
        MeasuredOn::Drive => ("the drive", "the LUT's own trend"),
    };
    let mut text = format!(
        "Ramps walk every {}-bit code, {} evaluation. Reversed steps: neighbouring codes between which {subject} \
         falls. Depth: the deepest fall, 1 is just noticeable. Unevenness: how far steps differ from {ideal}, root \
         mean square. exact: unrounded; {bits}-bit: output rounded; floor: a smooth curve rounded alike. Near black: \
         up to {near:.1} % signal.",
        report.source_bits.bits(),
        report.evaluation
    );
    if report.measured_on == MeasuredOn::Drive {
        text += " A dash: not known without readings.";
    }
    wrapped("", "", &text)
}

fn lattice(found: &LatticeReport) -> String {
    let axes = |values: [f64; 3]| values.map(three_digits).join(" ");
    let mut text = labelled(
        "Lattice",
        &format!(
            "{} nodes an axis; drives R {:.3} to {:.3}, G {:.3} to {:.3}, B {:.3} to {:.3}; {} at the end of their range",
            found.nodes,
            found.min[0],
            found.max[0],
            found.min[1],
            found.max[1],
            found.min[2],
            found.max[2],
            counted(found.clipped_nodes, "node", "nodes")
        ),
    );
    let folds = &found.folds;
    let beyond = match (folds.unreachable, folds.folded_at_clips) {
        (Some(n), _) => format!(", and {n} where the target is out of reach"),
        (None, Some(n)) if n > 0 => {
            format!(", and {n} folded beside clipped nodes, as at the edge of what a panel reaches")
        }
        (None, _) => String::new(),
    };
    text += &labelled(
        "Folds",
        &format!(
            "{} folded back, {} collapsed, of {} tetrahedra{beyond}",
            folds.folded,
            folds.collapsed,
            6 * (found.nodes - 1).pow(3)
        ),
    );
    if let Some(local) = &found.local_step_variance {
        text += &labelled(
            "Steps",
            &format!(
                "variance about a line through five: mean {}, 95 % below {}, largest {} (0 is perfectly even)",
                three_digits(local.mean),
                three_digits(local.p95),
                three_digits(local.max)
            ),
        );
    }
    text += &labelled(
        "Curvature",
        &format!(
            "root mean square of second differences along R G B: {} (the identity has 0, a square law 2)",
            axes(found.second_difference.rms)
        ),
    );
    let planes: usize = found.duplicate_planes.iter().sum();
    if planes > 0 {
        text += &labelled("Planes", &format!("{planes} equal the plane before them"));
    }
    let broken = found.non_finite;
    if broken > 0 {
        text += &labelled("Values", &format!("{broken} are not numbers"));
    }
    text += &labelled(
        "Distance",
        &format!(
            "from the identity, in drive: {} root mean square, {} at most",
            three_digits(found.distance_from_identity.rms),
            three_digits(found.distance_from_identity.max)
        ),
    );
    text
}

fn curves(found: &CurvesReport) -> String {
    let falls: usize = found.falls.iter().sum();
    let longest = found.longest_plateau.iter().max().copied().unwrap_or(1);
    format!(
        "{} rows; {} below the row before; {} in the longest run of equal values; from the identity at most {}",
        found.rows,
        counted(falls, "row", "rows"),
        counted(longest, "row", "rows"),
        three_digits(found.distance_from_identity.max)
    )
}

fn wobble(report: &AuditReport) -> String {
    match (report.neutral_wobble_itp, report.neutral_wobble_code) {
        (Some(itp), Some(code)) => {
            format!(
                "the neutral ramp's tint leaves its trend by at most {itp:.2} ΔE ITP, at code {code}"
            )
        }
        _ => "wobble of the neutral ramp is not known, it needs readings".to_owned(),
    }
}
