use std::collections::BTreeMap;

use evenstep_lut::{Correction, Evaluation};
use rayon::prelude::*;

use crate::against;
use crate::carried::base_in_lattice;
use crate::context::{PanelContext, Subject};
use crate::curves::curves_report;
use crate::evaluation;
use crate::in_depth::InDepth;
use crate::margin::{VISIBILITY_SCALE, margin};
use crate::node_figures::lattice_report;
use crate::noise_gain::noise_gain;
use crate::report::{AuditReport, EndPoints, MeasuredOn, ReferenceRamp, References, SCHEMA};
use crate::thresholds::Thresholds;
use crate::verdict::{self, Evidence, Load, Verdict};
use crate::viewing::Viewing;
use crate::walk::drive_of_positions;
use crate::walked::{Walked, walk};
use crate::why::{NEEDS_READINGS, Why};
use crate::worst::{Gazetteer, WorstPlace};
use evenstep_lut::Ramp;
use evenstep_lut::{BitDepth, CodeRange, CodeScale};

/// How an audit is made.
#[derive(Clone, Debug, PartialEq)]
pub struct AuditOptions {
    /// Depth at which ramps are walked; 10 bits.
    pub source_bits: BitDepth,
    /// Depth to which the drive is rounded after evaluation; 12 bits.
    pub output_bits: BitDepth,
    /// Range of source and output codes; full.
    pub range: CodeRange,
    /// Share of the signal that is near black; 0.10.
    pub near_black: f64,
    /// How the subject's lattice is read: recorded in the report, not applied, because the subject is the whole
    /// chain.
    pub evaluation: Evaluation,
    /// Ramps walked after the named ones.
    pub extra_ramps: Vec<Ramp>,
    /// Whether the figures that no verdict rests on and that take as long as all others are computed too: the
    /// 26-neighbour test, evaluation sensitivity, and the summaries by region. Off unless asked for, because fits, repairs
    /// and studies audit hundreds of times.
    pub in_depth: bool,
    /// Under which conditions luminance steps are looked at; the verdict takes none.
    pub viewing: Viewing,
    /// Limits of the verdict.
    pub thresholds: Thresholds,
    /// Reasons of the limits that are not the defaults, by name: recorded in the report.
    pub threshold_reasons: BTreeMap<&'static str, String>,
}

impl Default for AuditOptions {
    fn default() -> Self {
        Self {
            source_bits: BitDepth::TEN,
            output_bits: BitDepth::TWELVE,
            range: CodeRange::Full,
            near_black: evenstep_lut::NEAR_BLACK,
            evaluation: Evaluation::default(),
            extra_ramps: Vec::new(),
            in_depth: false,
            viewing: Viewing::default(),
            thresholds: Thresholds::default(),
            threshold_reasons: BTreeMap::new(),
        }
    }
}

/// Audits a correction: lattice figures, ramp figures, verdict.
///
/// Without `context` every figure that needs the panel is `null`, reversals and unevenness are those of the drive,
/// and the best verdict is *load with care: panel unknown*. The result does not depend on the number of threads.
///
/// Cost: about five panel evaluations per code and ramp, and a few passes over the lattice.
#[must_use]
pub fn audit(
    subject: &Subject,
    options: &AuditOptions,
    context: Option<&PanelContext>,
) -> AuditReport {
    let near_black_end = context.map_or(options.near_black, |c| {
        c.target.near_black_end(options.near_black)
    });
    let scale = CodeScale {
        depth: options.source_bits,
        range: options.range,
    };
    let mut ramps = Ramp::named();
    ramps.extend(options.extra_ramps.iter().cloned());
    let base = context.and_then(|c| base_in_lattice(c.base, subject, scale));
    let base = base.as_ref().map(|lut| lut.evaluated(options.evaluation));
    let base = base.as_ref().map(|base| base as &dyn Correction);
    let walked: Vec<Walked> = ramps
        .par_iter()
        .map(|ramp| walk(ramp, subject, options, context, base, near_black_end))
        .collect();

    let signals = walked.iter().flat_map(|w| &w.guide.signals);
    let weight_bits = evaluation::weight_bits(options.evaluation);
    let lattice = subject
        .lattice
        .map(|lattice| lattice_report(subject, lattice, scale, context, signals, weight_bits));
    let (lattice, finds) = lattice.unzip();
    let non_finite = walked.iter().map(|w| w.non_finite).sum();
    // The first ramp is the neutral one.
    let placed = |of: fn(&Walked) -> Option<(f64, usize)>| {
        let first = walked.first()?;
        of(first).map(|(value, at)| (value, first.guide.span(at, at)))
    };
    let (wobble, wobble_seen) = (placed(|w| w.wobble), placed(|w| w.wobble_seen));
    let depth = if options.in_depth {
        let ramps: Vec<&[[f64; 3]]> = walked.iter().map(|w| w.guide.signals.as_slice()).collect();
        InDepth::find(
            subject,
            finds.as_ref(),
            weight_bits,
            scale,
            context,
            near_black_end,
            &ramps,
        )
    } else {
        InDepth::not_asked_for()
    };
    let (mut reports, mut base, mut uncorrected) = (Vec::new(), Vec::new(), Vec::new());
    for one in walked {
        reports.push(one.report);
        base.extend(one.base);
        uncorrected.extend(one.uncorrected);
    }
    let references = context.map(|_| References { base, uncorrected });

    let limits = &options.thresholds;
    let against = |reference: &Vec<ReferenceRamp>| against::compare(&reports, reference, limits);
    let against_base = references.as_ref().map(|r| against(&r.base));
    let against_uncorrected = references.as_ref().map(|r| against(&r.uncorrected).0);
    let gain = context.map_or(Err(NEEDS_READINGS), |context| {
        noise_gain(subject.correction, context, scale, near_black_end)
    });
    let evidence = Evidence {
        limits,
        ramps: &reports,
        lattice: lattice.as_ref(),
        fold_on_ramps_itp: finds
            .as_ref()
            .and_then(|f| f.fold_depth)
            .map_or(0.0, |d| d.on_ramps_itp),
        non_finite,
        wobble_seen,
        base: references.as_ref().map(|r| r.base.as_slice()),
        facts: context.map(|c| c.facts),
        noise_gain: gain.ok(),
        worse_than_base: against_base.as_ref().and_then(|(_, worse)| worse.clone()),
    };
    let reasons = verdict::reasons(&evidence);
    let mut unsaid = Why::default();
    let verdict = Verdict {
        load: reasons.first().map_or(Load::Load, |r| r.severity),
        scale: VISIBILITY_SCALE,
        margin: unsaid.note(
            "margin",
            margin(&evidence, &reasons).ok_or("no figure has a limit here"),
        ),
        against_base: unsaid.note(
            "against_base",
            against_base.map(|(effect, _)| effect).ok_or(NEEDS_READINGS),
        ),
        against_uncorrected: unsaid.note(
            "against_uncorrected",
            against_uncorrected.ok_or(NEEDS_READINGS),
        ),
        reasons,
        why: unsaid,
    };

    let gazetteer = Gazetteer {
        lattice: subject.lattice,
        curves: subject.curves,
        scale,
    };
    let mut worst = Vec::new();
    if let Some((lattice, finds)) = subject.lattice.zip(finds.as_ref()) {
        worst.extend(gazetteer.of_lattice(lattice, finds));
    }
    worst.extend(gazetteer.of_ramps(&reports));
    worst.extend(wobble.map(|(value, at)| {
        gazetteer.at_signal("neutral_wobble_itp", value, Some("neutral"), at.from_signal)
    }));
    worst.extend(depth.worst(&gazetteer));
    worst.retain(WorstPlace::is_a_fault);

    let mut why = Why::default();
    let needs = || {
        if context.is_some() {
            "no neutral code can be judged"
        } else {
            NEEDS_READINGS
        }
    };
    let unseen = || {
        if wobble.is_some() {
            "every neutral code that can be judged is too dark for colour"
        } else {
            needs()
        }
    };
    let [black, white] =
        [0.0, 1.0].map(|end| drive_of_positions(subject.correction, &[[end; 3]], scale)[0]);
    AuditReport {
        schema: SCHEMA,
        verdict,
        measured_on: if context.is_some() {
            MeasuredOn::Panel
        } else {
            MeasuredOn::Drive
        },
        source_bits: options.source_bits,
        output_bits: options.output_bits,
        range: options.range,
        evaluation: options.evaluation.to_string(),
        near_black_end,
        barten: options.viewing.barten_name(),
        viewing: options.viewing.source,
        end_points: EndPoints { black, white },
        non_finite,
        lattice: why.note("lattice", lattice.ok_or("the correction has no lattice")),
        curves: why.note(
            "curves",
            subject
                .curves
                .map(curves_report)
                .ok_or("the correction has no curves"),
        ),
        ramps: reports,
        neutral_wobble_itp: why.note(
            "neutral_wobble_itp",
            wobble.map(|(value, _)| value).ok_or_else(needs),
        ),
        neutral_wobble_code: why.note(
            "neutral_wobble_code",
            wobble.map(|(_, at)| at.from_code).ok_or_else(needs),
        ),
        neutral_wobble_seen_itp: why.note(
            "neutral_wobble_seen_itp",
            wobble_seen.map(|(value, _)| value).ok_or_else(unseen),
        ),
        neutral_wobble_seen_code: why.note(
            "neutral_wobble_seen_code",
            wobble_seen.map(|(_, at)| at.from_code).ok_or_else(unseen),
        ),
        references: why.note("references", references.ok_or(NEEDS_READINGS)),
        neighbours26: why.note("neighbours26", depth.neighbours26),
        noise_gain: why.note("noise_gain", gain),
        evaluation_sensitivity: why.note("evaluation_sensitivity", depth.evaluation),
        regions: why.note("regions", depth.regions),
        image: why.note("image", Err("no picture was given")),
        worst,
        thresholds: *limits,
        threshold_reasons: options.threshold_reasons.clone(),
        why,
    }
}
