use evenstep_repair::{Fault, FaultKind, RepairReport, SizeUnit};

use crate::text::{counted, labelled, three_digits, wrapped};

/// A repair for a calibrator to read: what was wrong, what is left, what it cost.
///
/// `lut` is what the user calls the LUT.
#[must_use]
pub fn repair_text(lut: &str, report: &RepairReport) -> String {
    let headline = match (
        report.faults_before.is_empty(),
        report.faults_after.is_empty(),
    ) {
        (true, _) => "no fault found, nothing changed".to_owned(),
        (false, true) => "all faults removed".to_owned(),
        (false, false) => format!("faults remain: {}", list(&report.faults_after)),
    };
    let mut text = wrapped("", "  ", &format!("{lut}: {headline}"));
    text.push('\n');
    for fault in &report.faults_before {
        text += &labelled("Fault", &described(fault));
    }
    for fault in &report.faults_after {
        text += &labelled("Left", &described(fault));
    }
    if report.kept > 0 {
        text += &labelled(
            "Kept",
            &format!(
                "{} that may be meant: clips, folds at clipped nodes, signals outside the domain; with readings of \
                 the panel (--panel) clips can be judged",
                counted(report.kept, "place", "places")
            ),
        );
    }
    text += &labelled(
        "Changed",
        &format!("{} of {} nodes", report.nodes_changed, report.nodes),
    );
    let cost = &report.cost;
    text += &labelled(
        "Cost",
        &format!(
            "CIEDE2000 mean {}, 95 % below {}, largest {}, over {} colours: all nodes and the centres of all cells",
            three_digits(cost.de2000_mean),
            three_digits(cost.de2000_p95),
            three_digits(cost.de2000_max),
            cost.colours
        ),
    );
    text += &labelled("Panel", &cost.panel);
    text += &labelled(
        "Verdict",
        &format!(
            "before: {}; after: {}",
            report.audit_before.verdict, report.audit_after.verdict
        ),
    );
    text
}

/// "reversal (neutral), fold".
fn list(faults: &[Fault]) -> String {
    let name = |fault: &Fault| match &fault.ramp {
        Some(ramp) => format!("{} ({ramp})", fault.kind),
        None => fault.kind.to_string(),
    };
    faults.iter().map(name).collect::<Vec<_>>().join(", ")
}

fn described(fault: &Fault) -> String {
    let worst = three_digits(fault.worst);
    let size = match fault.unit {
        SizeUnit::Itp if fault.kind == FaultKind::Tint => format!("{worst} ΔE ITP off its trend"),
        SizeUnit::Itp if fault.kind == FaultKind::Bump => format!("{worst} ΔE ITP off its course"),
        SizeUnit::Itp => format!("{worst} ΔE ITP deep"),
        SizeUnit::Drive if fault.kind == FaultKind::Bump => {
            format!("{worst} of drive off its course")
        }
        SizeUnit::Drive => format!("{worst} of drive deep"),
        SizeUnit::Codes => format!("{worst} codes long"),
        SizeUnit::StepShare => format!("steps differ by {worst} of a step"),
        SizeUnit::Volume => format!("volume {worst}, 1 for the identity"),
    };
    let place = match (&fault.ramp, &fault.between, fault.node) {
        (Some(ramp), Some(span), _) if span.from_code == span.to_code => format!(
            " on the {ramp} ramp, the largest at code {}: {size}",
            span.from_code
        ),
        (Some(ramp), Some(span), _) => format!(
            " on the {ramp} ramp, the largest between codes {} and {}: {size}",
            span.from_code, span.to_code
        ),
        (_, _, Some([r, g, b])) => format!(", the largest at node ({r}, {g}, {b}): {size}"),
        _ => format!(": {size}"),
    };
    format!(
        "{}, {}{place}",
        fault.kind,
        counted(fault.places, "place", "places")
    )
}
