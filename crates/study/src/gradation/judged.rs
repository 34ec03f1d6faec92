use evenstep_audit::{
    AuditOptions, AuditReport, NoiseGain, PanelContext, RampReport, ReadingFacts, Subject, Verdict,
    audit,
};
use evenstep_colour::root_mean_square;
use evenstep_display::ForwardModel;
use evenstep_fit::{BaseCorrection, Doubt, Gamut};
use evenstep_lut::{Correction, Evaluation, Lut, Lut3d, NEAR_BLACK};
use evenstep_readings::Readings;

use super::{BandHeld, GradationRow, MadeBy};
use crate::Judge;
use crate::figures::six_digits;
use crate::judge::merged_excess;

/// A LUT as a display would hold it, with what it was made from.
pub(super) struct Lut33<'a> {
    /// Rounded to the node depth.
    pub(super) lattice: Lut3d,
    /// Base correction that gradation is held against.
    pub(super) base: &'a BaseCorrection,
    /// The model it was made with; none where the panel itself was inverted.
    pub(super) model: Option<&'a ForwardModel>,
    pub(super) scheme: Option<String>,
    /// What was read.
    pub(super) facts: ReadingFacts,
}

impl Lut33<'_> {
    /// Nodes along an axis.
    pub(super) const NODES: usize = 33;
}

/// How the row is judged: both ways in which panels read a lattice.
const EVALUATIONS: [Evaluation; 2] = [Evaluation::Tetrahedral, Evaluation::Trilinear];

/// A row for each evaluation.
pub(super) fn judged(judge: &Judge<'_>, by: &MadeBy, made: &Lut33<'_>) -> Vec<GradationRow> {
    let lut = Lut::from(made.lattice.clone());
    let target = judge.stage().target();
    // Shared by both evaluations: they walk the same signals.
    let own = made
        .model
        .map(|model| (model, Gamut::new(model, target, Some(made.base))));
    EVALUATIONS
        .into_iter()
        .map(|evaluation| {
            let read = lut.evaluated(evaluation);
            let subject = Subject::of_lut(&read, &lut);
            let options = AuditOptions {
                evaluation,
                ..AuditOptions::default()
            };
            let verdict = own.as_ref().map(|(model, gamut)| {
                let reachable = |signal| gamut.reaches(signal);
                let context = PanelContext {
                    panel: *model,
                    target,
                    base: made.base,
                    reachable: &reachable,
                    facts: made.facts,
                };
                audit(&subject, &options, Some(&context)).verdict
            });
            let truth = judge.audit(&subject, &options, made.base);
            row(judge, by, made, &read, &truth, verdict)
        })
        .collect()
}

fn row(
    judge: &Judge<'_>,
    by: &MadeBy,
    made: &Lut33<'_>,
    read: &dyn Correction,
    truth: &AuditReport,
    verdict: Option<Verdict>,
) -> GradationRow {
    let drives = |signals: &[[f64; 3]]| -> Vec<[f64; 3]> {
        signals.iter().map(|s| read.drive(*s)).collect()
    };
    let all = judge.difference(judge.all(), &drives(judge.all()));
    let near_black = judge.difference(judge.near_black(), &drives(judge.near_black()));
    // The audit walks the neutral ramp first.
    let (grey, others) = (&truth.ramps[0], &truth.ramps[1..]);
    let steps = |of: &dyn Fn(&RampReport) -> usize| -> Vec<(String, usize)> {
        let named = |r: &RampReport| (r.name.clone(), of(r));
        others.iter().map(named).filter(|(_, n)| *n > 0).collect()
    };
    let over = |figure: &dyn Fn(&RampReport) -> Option<f64>| {
        let known: Vec<f64> = others.iter().filter_map(figure).collect();
        let mean = known.iter().sum::<f64>() / known.len() as f64;
        let largest = known.iter().copied().max_by(f64::total_cmp);
        (six_digits(mean), largest.and_then(six_digits))
    };
    let dark = |r: &RampReport| r.near_black.as_ref()?.figures.unevenness;
    let depth = |r: &RampReport| r.figures.reversal_depth_itp.unwrap_or(0.0);
    let whole = over(&|r| r.figures.unevenness);
    let near = over(&dark);
    let short = |value: Option<f64>| value.and_then(six_digits);
    let gain =
        |of: &dyn Fn(&NoiseGain) -> Option<f64>| short(truth.noise_gain.as_ref().and_then(of));
    let finite = |value: f64| six_digits(value).unwrap_or(f64::MAX);
    GradationRow {
        by: by.clone(),
        evaluation: truth.evaluation.clone(),
        scheme: made.scheme.clone(),
        neutral_reversed: grey.figures.reversed_steps,
        neutral_reversed_rounded: grey.rounded.figures.reversed_steps,
        neutral_depth_itp: finite(depth(grey)),
        neutral_depth_rounded_itp: finite(grey.rounded.figures.reversal_depth_itp.unwrap_or(0.0)),
        ramps_reversed: steps(&|r| r.figures.reversed_steps),
        ramps_reversed_rounded: steps(&|r| r.rounded.figures.reversed_steps),
        ramps_depth_itp: finite(others.iter().map(depth).fold(0.0, f64::max)),
        neutral_unevenness: short(grey.figures.unevenness),
        neutral_unevenness_near_black: short(dark(grey)),
        ramps_unevenness_mean: whole.0,
        ramps_unevenness_max: whole.1,
        ramps_unevenness_near_black_mean: near.0,
        ramps_unevenness_near_black_max: near.1,
        merged_excess: truth.ramps.iter().map(merged_excess).sum(),
        noise_gain_near_black_p95: gain(&|g| g.near_black_p95),
        noise_gain_mid_p95: gain(&|g| g.mid_p95),
        folds: truth.lattice.as_ref().map_or(0, |l| l.folds.folded),
        wobble_itp: short(truth.neutral_wobble_itp),
        de2000_mean: short(all.de2000[0]),
        de2000_p95: short(all.de2000[1]),
        de2000_max: short(all.de2000[2]),
        near_black_itp_mean: short(near_black.itp[0]),
        reason: verdict.as_ref().and_then(first_reason),
        verdict: verdict.map(|v| v.load.to_string()),
        true_verdict: truth.verdict.load.to_string(),
        true_reason: first_reason(&truth.verdict),
        band: None,
    }
}

/// Label, figure and value of the first reason, and the ramp where it has one.
fn first_reason(verdict: &Verdict) -> Option<String> {
    let reason = verdict.reasons.first()?;
    let mut text = format!("{}: {}", reason.label, reason.figure);
    if let Some(value) = reason.value {
        text += &format!(" {value:.2}");
    }
    if let Some(ramp) = &reason.ramp {
        text += &format!(" on {ramp}");
    }
    if let Some(between) = reason.between {
        text += &format!(" from code {}", between.from_code);
    }
    Some(text)
}

/// Holds the band that left-out patches promise against the true panel; `None` where nothing can be left out.
pub(super) fn band_held(
    judge: &Judge<'_>,
    readings: &Readings,
    model: &ForwardModel,
    lut: &Lut,
) -> Option<BandHeld> {
    let read = lut.evaluated(Evaluation::Tetrahedral);
    let bands = Doubt::new(readings, model)?.bands(judge.stage().target(), &read, NEAR_BLACK);
    let errors = |signals: &[[f64; 3]]| -> Vec<f64> {
        let drives: Vec<[f64; 3]> = signals.iter().map(|s| read.drive(*s)).collect();
        judge.errors_itp(signals, &drives)
    };
    let within = |errors: &[f64], band: f64| {
        let count = errors.iter().filter(|e| **e <= band).count();
        (!errors.is_empty()).then(|| count as f64 / errors.len() as f64)
    };
    let [all, near_black] = judge.promised().each_ref().map(|signals| errors(signals));
    Some(BandHeld {
        coverage: within(&all, bands.all.itp_q95)?,
        near_black_coverage: within(&near_black, bands.near_black.itp_q95),
        itp_q95: six_digits(bands.all.itp_q95)?,
        itp_rms: six_digits(root_mean_square(all.iter().copied())?)?,
    })
}
