use std::fmt;

use serde::Serialize;

use crate::against::{Effect, Worse};
use crate::context::ReadingFacts;
use crate::margin::Margin;
use crate::noise_gain::NoiseGain;
use crate::reason::{Find, VerdictReason};
use crate::report::{LatticeReport, NearBlack, RampReport, ReferenceRamp, RoundedFigures};
use crate::thresholds::Thresholds;
use crate::walk::Span;
use crate::why::Why;

/// Whether to load a LUT.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub enum Load {
    /// Nothing is wrong.
    #[serde(rename = "load")]
    Load,
    /// Something to look at first.
    #[serde(rename = "load with care")]
    WithCare,
    /// It takes gradation away, visibly.
    #[serde(rename = "do not load")]
    DoNotLoad,
}

impl fmt::Display for Load {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Load => "load",
            Self::WithCare => "load with care",
            Self::DoNotLoad => "do not load",
        })
    }
}

/// The judgement, with its reasons ranked: graver first, then the farther beyond its limit.
///
/// Prints as its first line, for example `load with care: panel unknown`.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Verdict {
    /// The gravest of the reasons; [`Load::Load`] without any.
    pub load: Load,
    /// The scale that says what is visible.
    pub scale: &'static str,
    /// How far the gravest reason's figure passes its limit, or how near to its limit the nearest figure comes.
    pub margin: Option<Margin>,
    /// Against the base correction; `null` without readings.
    pub against_base: Option<Effect>,
    /// Against no correction; `null` without readings.
    pub against_uncorrected: Option<Effect>,
    /// Ranked.
    pub reasons: Vec<VerdictReason>,
    /// Reasons for the `null` fields.
    #[serde(skip_serializing_if = "Why::is_empty")]
    pub why: Why,
}

impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.reasons.first() {
            Some(reason) => write!(f, "{}: {}", self.load, reason.label),
            None => write!(f, "{}", self.load),
        }
    }
}

/// What the verdict is drawn from.
pub(crate) struct Evidence<'a> {
    pub(crate) limits: &'a Thresholds,
    pub(crate) ramps: &'a [RampReport],
    pub(crate) lattice: Option<&'a LatticeReport>,
    /// How far folds in cells that a named ramp crosses go back, in ΔE ITP; 0 where the panel is not known.
    pub(crate) fold_on_ramps_itp: f64,
    pub(crate) non_finite: usize,
    /// Of greys in which colour can be seen.
    pub(crate) wobble_seen: Option<(f64, Span)>,
    pub(crate) base: Option<&'a [ReferenceRamp]>,
    /// `None` when the panel is unknown.
    pub(crate) facts: Option<ReadingFacts>,
    /// `None` where no grey can be judged.
    pub(crate) noise_gain: Option<NoiseGain>,
    pub(crate) worse_than_base: Option<Worse>,
}

/// All reasons, ranked.
pub(crate) fn reasons(evidence: &Evidence) -> Vec<VerdictReason> {
    let mut found = Vec::new();
    whole(evidence, &mut found);
    for (i, ramp) in evidence.ramps.iter().enumerate() {
        reversals(evidence, ramp, &mut found);
        plateaus(evidence, ramp, &mut found);
        bumps(evidence, ramp, &mut found);
        if let Some(base) = evidence.base.and_then(|base| base.get(i)) {
            unevenness(evidence.limits, ramp, base, &mut found);
        }
    }
    if let Some(worse) = &evidence.worse_than_base
        && found.is_empty()
    {
        found.push(VerdictReason::worse_than_base(worse));
    }
    if let Some(facts) = evidence.facts {
        let levels = (facts.neutral_levels, evidence.limits.neutral_levels);
        let interior = (facts.interior, evidence.limits.interior_patches);
        if levels.0 < levels.1 {
            found.push(VerdictReason::too_few_readings(
                "neutral_levels",
                "neutral levels",
                levels,
            ));
        }
        if interior.0 < interior.1 {
            found.push(VerdictReason::too_few_readings(
                "interior",
                "patches inside the drive cube and off the neutral axis",
                interior,
            ));
        }
    } else {
        found.push(VerdictReason::panel_unknown());
    }
    // Stable: equal excess keeps the order of the ramps.
    found.sort_by(|a, b| {
        b.severity
            .cmp(&a.severity)
            .then(b.excess().total_cmp(&a.excess()))
    });
    found
}

fn whole(evidence: &Evidence, found: &mut Vec<VerdictReason>) {
    let not_numbers = evidence.non_finite + evidence.lattice.map_or(0, |l| l.non_finite);
    if not_numbers > 0 {
        found.push(VerdictReason::not_numbers(not_numbers));
    }
    if let Some(lattice) = evidence.lattice
        && lattice.folds.folded > 0
    {
        let limit = evidence.limits.visible_fold_itp;
        match lattice.fold_depth_itp {
            // Which cells the panel reaches, and what it shows, is not known without it, so a fold alone cannot stop a
            // LUT then.
            None => found.push(VerdictReason::folds(&lattice.folds)),
            Some(depth) if depth >= limit => {
                let stops = evidence.fold_on_ramps_itp >= limit;
                found.push(VerdictReason::visible_folds(lattice, depth, limit, stops));
            }
            Some(_) => {}
        }
    }
    let limit = wobble_limit(evidence);
    if let Some((wobble, at)) = evidence.wobble_seen
        && wobble > limit
    {
        found.push(VerdictReason::wobble(wobble, limit, at));
    }
    if let Some((figure, gain)) = evidence.noise_gain.as_ref().and_then(worst_gain)
        && gain > evidence.limits.noise_gain
    {
        found.push(VerdictReason::noise_gain(
            figure,
            gain,
            evidence.limits.noise_gain,
        ));
    }
}

/// From where a wobble is a reason: what is visible, or what the base correction does.
pub(crate) fn wobble_limit(evidence: &Evidence) -> f64 {
    let limits = evidence.limits;
    // The first ramp is the neutral one.
    let base = evidence.base.and_then(|base| base.first());
    let base = base.and_then(|ramp| ramp.wobble_seen_itp).unwrap_or(0.0);
    limits.wobble_itp.max(limits.wobble_times_base * base)
}

/// The larger of the two 95th percentiles, with its part.
pub(crate) fn worst_gain(gain: &NoiseGain) -> Option<(&'static str, f64)> {
    let parts = [
        ("noise_gain.near_black_p95", gain.near_black_p95),
        ("noise_gain.mid_p95", gain.mid_p95),
    ];
    let known = parts
        .into_iter()
        .filter_map(|(part, gain)| Some((part, gain?)));
    known.reduce(|a, b| if b.1 > a.1 { b } else { a })
}

/// The bump of a ramp that the verdict looks at, with its limit: of the light, or of the drive where the panel is unknown.
pub(crate) fn bump<'a>(
    limits: &Thresholds,
    ramp: &'a RampReport,
) -> Option<(&'static str, Find<'a>, f64)> {
    let find = |value, between| Find {
        ramp,
        value,
        between,
    };
    match (ramp.figures.reversal_depth_itp, ramp.bump_itp) {
        (_, Some(value)) => Some((
            "bump_itp",
            find(value, ramp.bump_between),
            limits.visible_bump_itp,
        )),
        // Too short a ramp on a known panel has none.
        (Some(_), None) => None,
        (None, None) => Some((
            "bump_drive",
            find(ramp.bump_drive?, ramp.bump_drive_between),
            limits.bump_drive,
        )),
    }
}

fn bumps(evidence: &Evidence, ramp: &RampReport, found: &mut Vec<VerdictReason>) {
    if let Some((figure, find, limit)) = bump(evidence.limits, ramp)
        && find.value >= limit
    {
        found.push(VerdictReason::bump(figure, find, limit));
    }
}

fn reversals(evidence: &Evidence, ramp: &RampReport, found: &mut Vec<VerdictReason>) {
    let limits = evidence.limits;
    let figures = &ramp.figures;
    let Some(depth) = figures.reversal_depth_itp else {
        if figures.reversed_steps > 0 {
            let stops =
                ramp.is_neutral() && figures.certain_fall_drive >= limits.certain_fall_drive;
            found.push(VerdictReason::drive_reversal(
                ramp,
                stops,
                limits.certain_fall_drive,
            ));
        }
        return;
    };
    let find = Find {
        ramp,
        value: depth,
        between: figures.reversal_between,
    };
    if ramp.is_neutral() && depth >= limits.visible_reversal_itp {
        found.push(VerdictReason::visible_reversal(
            find,
            limits.visible_reversal_itp,
        ));
        return;
    }
    if let Some(value) = rounded_reversal(ramp)
        && value >= limits.visible_reversal_itp
    {
        let rounded = Find {
            ramp,
            value,
            between: ramp.rounded.figures.reversal_between,
        };
        found.push(VerdictReason::visible_reversal_when_rounded(
            rounded,
            limits.visible_reversal_itp,
        ));
    }
    if figures.reversed_steps > 0 {
        found.push(VerdictReason::reversed_steps(
            find,
            limits.visible_reversal_itp,
        ));
    }
}

/// What the neutral ramp falls, rounded, beyond a smooth curve; `None` on other ramps and without a panel.
pub(crate) fn rounded_reversal(ramp: &RampReport) -> Option<f64> {
    let RoundedFigures { figures, floor } = &ramp.rounded;
    let depth = figures.reversal_depth_itp.filter(|_| ramp.is_neutral())?;
    Some(depth - floor.reversal_depth_itp.unwrap_or(0.0))
}

/// The largest jump after a near-black plateau above its ideal, unrounded or, beyond a smooth curve's, rounded.
pub(crate) fn plateau_jump(ramp: &RampReport) -> Option<(f64, Option<Span>)> {
    let NearBlack { figures, rounded } = ramp.near_black.as_ref()?;
    let jump = figures.plateau_jump_excess_itp?;
    let rounded_jump = rounded.figures.plateau_jump_excess_itp.unwrap_or(0.0)
        - rounded.floor.plateau_jump_excess_itp.unwrap_or(0.0);
    Some(if jump >= rounded_jump {
        (jump, figures.plateau_jump_between)
    } else {
        (rounded_jump, rounded.figures.plateau_jump_between)
    })
}

/// Codes that rounding merges beyond the floor, and how many it may.
pub(crate) fn merged_excess(limits: &Thresholds, ramp: &RampReport) -> (usize, f64) {
    let rounded = &ramp.rounded.figures;
    let excess = rounded.merged_codes.saturating_sub(rounded.merged_floor);
    let allowed = limits.merged_excess_share * (rounded.codes - 1) as f64;
    (excess, allowed)
}

fn plateaus(evidence: &Evidence, ramp: &RampReport, found: &mut Vec<VerdictReason>) {
    let limits = evidence.limits;
    if let Some((value, between)) = plateau_jump(ramp)
        && value >= limits.plateau_jump_itp
    {
        let find = Find {
            ramp,
            value,
            between,
        };
        found.push(VerdictReason::plateau_jump(find, limits.plateau_jump_itp));
    }
    let figures = &ramp.figures;
    if figures.longest_plateau >= limits.plateau_codes {
        found.push(VerdictReason::plateau(ramp, limits.plateau_codes));
        return;
    }
    let (excess, allowed) = merged_excess(limits, ramp);
    if excess as f64 > allowed {
        found.push(VerdictReason::merged(ramp, excess, allowed));
    }
}

/// Unevenness of a ramp, or of its near-black part, with what it is judged by.
pub(crate) struct Uneven {
    pub(crate) is_near_black: bool,
    pub(crate) value: f64,
    base: f64,
    /// From where a LUT is not to be loaded: on the neutral ramp alone.
    stop: Option<f64>,
    /// From where there is a reason at all.
    pub(crate) limit: f64,
}

/// What of a ramp's unevenness can be judged.
pub(crate) fn uneven_parts(
    limits: &Thresholds,
    ramp: &RampReport,
    base: &ReferenceRamp,
) -> impl Iterator<Item = Uneven> {
    let near_black = ramp.near_black.as_ref().and_then(|n| n.figures.unevenness);
    let parts = [
        (false, ramp.figures.unevenness.zip(base.unevenness)),
        (true, near_black.zip(base.near_black_unevenness)),
    ];
    let is_neutral = ramp.is_neutral();
    parts
        .into_iter()
        .filter_map(move |(is_near_black, values)| {
            let (value, base) = values?;
            let times = |times: f64| limits.unevenness_ignored.max(times * base);
            let stop = times(limits.unevenness_times_base_stop);
            let care = times(limits.unevenness_times_base_care);
            // Off the neutral axis a step's ΔE ITP holds colour as well, so only twice the base's counts, as care.
            Some(Uneven {
                is_near_black,
                value,
                base,
                stop: is_neutral.then_some(stop),
                limit: if is_neutral { care } else { stop },
            })
        })
}

fn unevenness(
    limits: &Thresholds,
    ramp: &RampReport,
    base: &ReferenceRamp,
    found: &mut Vec<VerdictReason>,
) {
    for part in uneven_parts(limits, ramp, base) {
        let stop = part.stop.filter(|&stop| part.value > stop);
        let limit = stop.unwrap_or(part.limit);
        if part.value > limit {
            found.push(VerdictReason::uneven(
                ramp,
                part.is_near_black,
                stop.is_some(),
                part.value,
                part.base,
                limit,
            ));
        }
    }
}
