use evenstep_audit::{
    AuditOptions, AuditReport, Load, PanelContext, ReadingFacts, Subject, Traces, audit, traces,
};
use evenstep_display::{PanelModel, Target};
use evenstep_fit::{CodeRange, Gamut, InSignal};
use evenstep_lut::{Correction, Lut};

use crate::places::places;
use crate::report::DriveDifference;
use crate::{
    ColourSummary, CompareReport, CompareVerdict, GradationFigure, Judge, Region, Regions,
    Standing, colour_between, colour_error, gradation_figures,
};

/// Two LUTs to compare.
#[derive(Clone, Copy)]
pub struct LutPair<'a> {
    /// The one that is judged.
    pub candidate: &'a Lut,
    /// The one it is judged against.
    pub reference: &'a Lut,
}

/// The panel both are seen on.
pub struct Seen<'a> {
    /// What shows the colours.
    pub panel: &'a dyn PanelModel,
    /// What is aimed at.
    pub target: &'a Target,
    /// What the panel reaches of it.
    pub gamut: &'a Gamut<'a>,
    /// The base correction.
    pub base: &'a dyn Correction,
    /// What the readings behind the panel's model cover.
    pub facts: ReadingFacts,
    /// Description for the report.
    pub judge: Judge,
}

impl Seen<'_> {
    fn context<'b>(&'b self, reachable: &'b (dyn Fn([f64; 3]) -> bool + Sync)) -> PanelContext<'b> {
        PanelContext {
            panel: self.panel,
            target: self.target,
            base: self.base,
            reachable,
            facts: self.facts,
        }
    }
}

/// Compares two LUTs, on a panel where one is known.
#[must_use]
pub fn compare_luts(
    pair: LutPair<'_>,
    options: &AuditOptions,
    seen: Option<&Seen<'_>>,
) -> CompareReport {
    let candidate = pair.candidate.evaluated(options.evaluation);
    let reference = pair.reference.evaluated(options.evaluation);
    let (a, b) = (
        InSignal {
            inner: &candidate,
            range: options.range,
        },
        InSignal {
            inner: &reference,
            range: options.range,
        },
    );
    let reachable = |signal| seen.is_none_or(|s| s.gamut.reaches(signal));
    let context = seen.map(|s| s.context(&reachable));
    let candidate_audit = audit(
        &Subject::of_lut(&candidate, pair.candidate),
        options,
        context.as_ref(),
    );
    let reference_audit = audit(
        &Subject::of_lut(&reference, pair.reference),
        options,
        context.as_ref(),
    );
    let full = AuditOptions {
        range: CodeRange::Full,
        ..options.clone()
    };
    let base_audit = seen.map(|s| audit(&Subject::new(s.base), &full, context.as_ref()));
    let error = |correction: &dyn Correction| {
        seen.map(|s| colour_error(s.panel, s.target, s.gamut, correction, options.near_black))
    };
    let (candidate_error, reference_error) = (error(&a), error(&b));
    let gradation = side_by_side(&candidate_audit, &reference_audit, base_audit.as_ref());
    let verdict = verdict(
        &candidate_audit,
        &reference_audit,
        &gradation,
        candidate_error.as_ref(),
        reference_error.as_ref(),
    );
    CompareReport {
        judge: seen.map_or_else(
            || Judge {
                description: "no panel: drives and figures of the LUTs alone".to_owned(),
                patches: None,
                de2000_mean: None,
            },
            |s| s.judge.clone(),
        ),
        colour: seen.map(|s| colour_between(s.panel, s.target, &a, &b, options.near_black)),
        candidate_error,
        reference_error,
        base_error: seen.and_then(|s| error(s.base)),
        drive_difference: drive_difference(&a, &b, options.near_black),
        gradation,
        verdict,
        places: seen
            .map(|s| places(s.panel, s.target, s.gamut, &a))
            .unwrap_or_default(),
        next_patches: None,
        reference_noise: None,
        candidate_audit,
        reference_audit,
    }
}

/// What a page draws of the candidate and of the reference, as their audits are.
#[must_use]
pub fn lut_traces(
    pair: LutPair<'_>,
    options: &AuditOptions,
    seen: Option<&Seen<'_>>,
) -> [Traces; 2] {
    let reachable = |signal| seen.is_none_or(|s| s.gamut.reaches(signal));
    let context = seen.map(|s| s.context(&reachable));
    [pair.candidate, pair.reference].map(|lut| {
        let correction = lut.evaluated(options.evaluation);
        traces(
            &Subject::of_lut(&correction, lut),
            options,
            context.as_ref(),
        )
    })
}

/// Figures of three audits by name.
fn side_by_side(
    candidate: &AuditReport,
    reference: &AuditReport,
    base: Option<&AuditReport>,
) -> Vec<GradationFigure> {
    let reference = gradation_figures(reference);
    let base = base.map(gradation_figures);
    gradation_figures(candidate)
        .into_iter()
        .enumerate()
        .map(|(i, (figure, value))| GradationFigure {
            figure,
            candidate: value,
            reference: reference[i].1,
            base: base.as_ref().and_then(|b| b[i].1),
            candidate_sd: None,
            reference_sd: None,
            beyond_noise: None,
        })
        .collect()
}

/// A value is better or worse when it differs by more than this factor. Our choice, equal to the audit's own.
const APART: f64 = evenstep_audit::thresholds::COMPARISON_RATIO;

fn standing(candidate: f64, reference: f64, slack: f64) -> Standing {
    if candidate > APART * reference && candidate - reference > slack {
        Standing::Worse
    } else if reference > APART * candidate && reference - candidate > slack {
        Standing::Better
    } else {
        Standing::Alike
    }
}

pub(crate) fn verdict(
    candidate: &AuditReport,
    reference: &AuditReport,
    gradation: &[GradationFigure],
    candidate_error: Option<&Regions<ColourSummary>>,
    reference_error: Option<&Regions<ColourSummary>>,
) -> CompareVerdict {
    let colour = candidate_error
        .zip(reference_error)
        .filter(|(a, b)| a.all.signals > 0 && b.all.signals > 0)
        .map(|(a, b)| standing(a.all.de2000_mean, b.all.de2000_mean, 0.05));
    let of = |name: &str, slack: f64| {
        let figure = gradation.iter().find(|g| g.figure == name)?;
        Some(standing(figure.candidate?, figure.reference?, slack))
    };
    let figures = [
        of(
            "neutral.unevenness",
            evenstep_audit::thresholds::COMPARISON_UNEVENNESS,
        ),
        of(
            "neutral.near_black.unevenness",
            evenstep_audit::thresholds::COMPARISON_UNEVENNESS,
        ),
        of(
            "neutral.reversal_depth_itp",
            evenstep_audit::thresholds::COMPARISON_DEPTH_ITP,
        ),
    ];
    let known: Vec<Standing> = figures.into_iter().flatten().collect();
    // One figure worse is worse: a smooth mid-tone does not make up for a broken near-black.
    let gradation = (!known.is_empty()).then(|| {
        if known.contains(&Standing::Worse) {
            Standing::Worse
        } else if known.contains(&Standing::Better) {
            Standing::Better
        } else {
            Standing::Alike
        }
    });
    let summary = summary(
        candidate.verdict.load,
        reference.verdict.load,
        colour,
        gradation,
    );
    CompareVerdict {
        candidate: candidate.verdict.load,
        reference: reference.verdict.load,
        colour,
        gradation,
        summary,
    }
}

fn summary(
    candidate: Load,
    reference: Load,
    colour: Option<Standing>,
    gradation: Option<Standing>,
) -> String {
    let word =
        |standing: Option<Standing>, better: &'static str, worse: &'static str| match standing {
            Some(Standing::Better) => better,
            Some(Standing::Alike) => "about the same",
            Some(Standing::Worse) => worse,
            None => "unknown",
        };
    format!(
        "Against the reference the candidate's colour is {} and its gradation {}. Candidate: {candidate}; reference: \
         {reference}.",
        word(colour, "closer to the target", "farther from the target"),
        word(gradation, "smoother", "rougher"),
    )
}

fn drive_difference(a: &dyn Correction, b: &dyn Correction, near_black: f64) -> DriveDifference {
    let mut signals = Region::All.signals(near_black);
    signals.extend(Region::Neutral.signals(near_black));
    signals.extend(Region::NearBlack.signals(near_black));
    let each: Vec<f64> = signals
        .iter()
        .map(|s| {
            a.drive(*s)
                .iter()
                .zip(b.drive(*s))
                .map(|(p, q)| (p - q).abs())
                .fold(0.0, f64::max)
        })
        .collect();
    DriveDifference {
        mean: each.iter().sum::<f64>() / each.len() as f64,
        max: each.iter().copied().fold(0.0, f64::max),
    }
}
