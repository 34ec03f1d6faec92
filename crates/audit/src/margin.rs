use serde::Serialize;

use crate::reason::VerdictReason;
use crate::verdict::{
    Evidence, bump, merged_excess, plateau_jump, rounded_reversal, uneven_parts, wobble_limit,
    worst_gain,
};

/// The scale on which the verdict calls something visible.
pub const VISIBILITY_SCALE: &str =
    "ΔE ITP (Rec. ITU-R BT.2124-0): 1 is just noticeable in the most critical state of adaptation";

/// The scale of a figure, by its name.
pub(crate) fn scale_of(figure: &str) -> &'static str {
    if figure.ends_with("_itp") {
        "ΔE ITP"
    } else if figure.ends_with("unevenness") {
        "share of the ideal step, root mean square"
    } else if figure.ends_with("longest_plateau") || figure.ends_with("merged_codes") {
        "codes"
    } else if figure.starts_with("noise_gain") {
        "times the target's noise"
    } else if figure.ends_with("_drive") {
        "drive"
    } else {
        "count"
    }
}

/// The name of an unevenness.
pub(crate) fn unevenness_of(near_black: bool) -> &'static str {
    if near_black {
        "near_black.unevenness"
    } else {
        "unevenness"
    }
}

/// The figure that decides: that of the gravest reason, or, where nothing is wrong or only knowledge is missing, the one that
/// comes nearest to its limit.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Margin {
    /// The report's field.
    pub figure: &'static str,
    /// Its value.
    pub value: f64,
    /// Its limit.
    pub threshold: f64,
    /// The scale of both.
    pub scale: &'static str,
    /// Value over limit: above 1 it is passed. Left out where the limit is 0.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub times: Option<f64>,
    /// The ramp concerned.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ramp: Option<String>,
}

impl Margin {
    fn new(figure: &'static str, value: f64, threshold: f64, ramp: Option<&str>) -> Self {
        Self {
            figure,
            value,
            threshold,
            scale: scale_of(figure),
            times: (threshold > 0.0).then(|| value / threshold),
            ramp: ramp.map(str::to_owned),
        }
    }
}

/// The margin of a verdict with these reasons, ranked.
pub(crate) fn margin(evidence: &Evidence, reasons: &[VerdictReason]) -> Option<Margin> {
    if let Some(first) = reasons.first()
        && let (Some(value), Some(threshold)) = (first.value, first.threshold)
    {
        return Some(Margin::new(
            first.figure,
            value,
            threshold,
            first.ramp.as_deref(),
        ));
    }
    let all = figures_with_limits(evidence).into_iter();
    all.reduce(|best, here| if here.times > best.times { here } else { best })
}

/// Every figure that can come near to a limit of its own without passing it, by the values and limits that the verdict's
/// reasons are drawn from. Faults of which a single one is a reason cannot, nor can the comparison with the base correction.
fn figures_with_limits(evidence: &Evidence) -> Vec<Margin> {
    let limits = evidence.limits;
    let mut all = Vec::new();
    let mut add = |figure, value: Option<f64>, limit, ramp: Option<&str>| {
        all.extend(value.map(|value| Margin::new(figure, value, limit, ramp)));
    };
    for (i, ramp) in evidence.ramps.iter().enumerate() {
        let (name, figures) = (Some(ramp.name.as_str()), &ramp.figures);
        // One code is no plateau.
        let plateau = Some(figures.longest_plateau).filter(|&length| length > 1);
        add(
            "longest_plateau",
            plateau.map(|length| length as f64),
            limits.plateau_codes as f64,
            name,
        );
        let (excess, allowed) = merged_excess(limits, ramp);
        add("rounded.merged_codes", Some(excess as f64), allowed, name);
        add(
            "near_black.plateau_jump_excess_itp",
            plateau_jump(ramp).map(|(value, _)| value),
            limits.plateau_jump_itp,
            name,
        );
        if let Some(base) = evidence.base.and_then(|base| base.get(i)) {
            for part in uneven_parts(limits, ramp, base) {
                let figure = unevenness_of(part.is_near_black);
                add(figure, Some(part.value), part.limit, name);
            }
        }
        add(
            "rounded.reversal_depth_itp",
            rounded_reversal(ramp),
            limits.visible_reversal_itp,
            name,
        );
        if let Some((figure, find, limit)) = bump(limits, ramp) {
            add(figure, Some(find.value), limit, name);
        }
        if ramp.is_neutral() {
            add(
                "reversal_depth_itp",
                figures.reversal_depth_itp,
                limits.visible_reversal_itp,
                name,
            );
        }
    }
    add(
        "neutral_wobble_seen_itp",
        evidence.wobble_seen.map(|(v, _)| v),
        wobble_limit(evidence),
        Some("neutral"),
    );
    let folded = evidence.lattice.filter(|lattice| lattice.folds.folded > 0);
    add(
        "lattice.fold_depth_itp",
        folded.and_then(|lattice| lattice.fold_depth_itp),
        limits.visible_fold_itp,
        None,
    );
    if let Some((figure, gain)) = evidence.noise_gain.as_ref().and_then(worst_gain) {
        add(figure, Some(gain), limits.noise_gain, None);
    }
    all
}
