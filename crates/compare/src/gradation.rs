use evenstep_audit::{AuditReport, RampReport};

/// Figures of an audit that a comparison shows side by side, by name; smaller is better in all of them.
#[must_use]
pub fn gradation_figures(audit: &AuditReport) -> Vec<(String, Option<f64>)> {
    let mut all = Vec::new();
    for ramp in &audit.ramps {
        let name = &ramp.name;
        let mut add =
            |figure: &str, value: Option<f64>| all.push((format!("{name}.{figure}"), value));
        add("reversed_steps", Some(ramp.figures.reversed_steps as f64));
        add("reversal_depth_itp", ramp.figures.reversal_depth_itp);
        if ramp.is_neutral() {
            neutral(ramp, &mut add);
        }
        add("unevenness", ramp.figures.unevenness);
    }
    all.push(("neutral_wobble_itp".to_owned(), audit.neutral_wobble_itp));
    all
}

fn neutral(ramp: &RampReport, add: &mut impl FnMut(&str, Option<f64>)) {
    let excess = |figures: &evenstep_audit::RampFigures| {
        Some(figures.merged_codes.saturating_sub(figures.merged_floor) as f64)
    };
    add("step_itp_max", ramp.figures.step_itp_max);
    add(
        "rounded.merged_codes_above_floor",
        excess(&ramp.rounded.figures),
    );
    if let Some(dark) = &ramp.near_black {
        add("near_black.unevenness", dark.figures.unevenness);
        add(
            "near_black.reversal_depth_itp",
            dark.figures.reversal_depth_itp,
        );
        add(
            "near_black.plateau_jump_excess_itp",
            dark.figures.plateau_jump_excess_itp,
        );
    }
}
