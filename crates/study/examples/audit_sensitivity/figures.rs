//! The figures of an audit that may see a fault, larger for worse.

use evenstep_audit::{AuditReport, NearBlack, RampReport};

/// Names, in the order of [`values`].
pub(crate) const FIGURES: [&str; 26] = [
    "reversed_steps, all ramps",
    "reversal_depth_itp, worst ramp",
    "certain_fall_drive, worst ramp",
    "longest_plateau, worst ramp",
    "plateau_jump_excess_itp, worst ramp",
    "unevenness, neutral",
    "unevenness near black, neutral",
    "unevenness, worst other ramp",
    "step_itp_max, neutral",
    "step_barten_max, neutral",
    "step_gsdf_max, neutral",
    "roughness_de2000 rms, neutral",
    "roughness_de2000 rms, red",
    "roughness_drive rms, worst ramp",
    "neutral_wobble_itp",
    "neutral_wobble_seen_itp",
    "bump_itp, worst ramp",
    "bump_drive, worst ramp",
    "noise_gain p95, near black",
    "noise_gain max, near black",
    "noise_gain p95, mid-tones",
    "noise_gain max, mid-tones",
    "local_step_variance max",
    "second_difference p99",
    "folds",
    "fold_depth_itp",
];

/// The figures of one audit.
pub(crate) fn values(report: &AuditReport) -> Vec<Option<f64>> {
    let largest = |figure: &dyn Fn(&RampReport) -> Option<f64>| {
        report
            .ramps
            .iter()
            .filter_map(figure)
            .max_by(f64::total_cmp)
    };
    let others = || report.ramps.iter().filter(|r| !r.is_neutral());
    let neutral = &report.ramps[0].figures;
    let near = |n: &NearBlack| n.figures.unevenness;
    let red = report.ramps.iter().find(|r| r.name == "red");
    let rough = |r: &RampReport| r.figures.roughness_de2000.map(|r| r.rms);
    let gain = report.noise_gain;
    let lattice = report.lattice.as_ref();
    vec![
        Some(
            report
                .ramps
                .iter()
                .map(|r| r.figures.reversed_steps as f64)
                .sum(),
        ),
        largest(&|r| r.figures.reversal_depth_itp),
        largest(&|r| Some(r.figures.certain_fall_drive)),
        largest(&|r| Some(r.figures.longest_plateau as f64)),
        largest(&|r| r.figures.plateau_jump_excess_itp),
        neutral.unevenness,
        report.ramps[0].near_black.as_ref().and_then(near),
        others()
            .filter_map(|r| r.figures.unevenness)
            .max_by(f64::total_cmp),
        neutral.step_itp_max,
        neutral.step_barten_max,
        neutral.step_gsdf_max,
        neutral.roughness_de2000.map(|r| r.rms),
        red.and_then(rough),
        largest(&|r| r.figures.roughness_drive.map(|r| r.rms)),
        report.neutral_wobble_itp,
        report.neutral_wobble_seen_itp,
        largest(&|r| r.bump_itp),
        largest(&|r| r.bump_drive),
        gain.and_then(|g| g.near_black_p95),
        gain.and_then(|g| g.near_black_max),
        gain.and_then(|g| g.mid_p95),
        gain.and_then(|g| g.mid_max),
        lattice.and_then(|l| l.local_step_variance).map(|l| l.max),
        lattice.map(|l| l.second_difference.p99.into_iter().fold(0.0, f64::max)),
        lattice.map(|l| l.folds.folded as f64),
        lattice.and_then(|l| l.fold_depth_itp),
    ]
}
