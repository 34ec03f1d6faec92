use evenstep_audit::{AuditOptions, PanelContext, ReadingFacts, Traces};
use evenstep_display::{choose_model, halves};
use evenstep_fit::{
    BaseCorrection, Fit, FitFailure, FitOptions, Gamut, examine, fit, fit_with_model, noise_of,
};
use evenstep_readings::{Fitness, NoiseModel, Readings};

use crate::luts::verdict;
use crate::places::patches_to_add;
use crate::redraw::Redraw;
use crate::{CompareReport, GradationFigure, Judge, LutPair, Seen, compare_luts, lut_traces};

/// Choices of a comparison of sparse and dense readings.
#[derive(Clone, Debug)]
pub struct DenseOptions {
    /// How both are fitted.
    pub fit: FitOptions,
    /// How both are audited.
    pub audit: AuditOptions,
    /// Draws of the readings from their noise; at least 50 for a trustworthy standard deviation.
    pub draws: usize,
    /// Seed of the split and of the draws.
    pub seed: u64,
}

/// A comparison of sparse and dense readings with the corrections it made.
pub struct DenseComparison {
    /// The figures, averaged over the two halves.
    pub report: CompareReport,
    /// The correction from the sparse readings.
    pub candidate: Fit,
    /// The correction from all dense readings is not made: these are the two from its halves.
    pub references: [Fit; 2],
}

/// Fits the sparse set and each half of the dense one, and judges both with a model of the other half, so that no
/// LUT is judged by the readings it was made from. The two ways round are averaged.
///
/// Corner patches (every channel at 0 or 1) are in both halves, since no base can be fitted without them.
/// `progress` is called with steps done out of all, from any thread.
///
/// # Errors
/// [`FitFailure`] of whichever fit fails.
pub fn compare_dense(
    sparse: &Readings,
    dense: &Readings,
    options: &DenseOptions,
    progress: &(dyn Fn(usize, usize) + Sync),
) -> Result<DenseComparison, FitFailure> {
    let total = 4 + 2 * options.draws;
    examine(dense, false)?;
    let candidate = fit(sparse, &options.fit, &|_, _| {})?;
    progress(1, total);
    let noise = NoiseModel::from_repeats(dense).unwrap_or(noise_of(sparse).0);
    let halves = halves(dense, options.seed);
    let mut references = Vec::new();
    for half in &halves {
        examine(half, false)?;
        let chosen = choose_model(half, &noise, options.fit.scheme, options.fit.smoothing)?;
        references.push(fit_with_model(
            half,
            chosen.into(),
            candidate.settled.clone(),
            &options.fit,
            &|_, _| {},
        )?);
        progress(1 + references.len(), total);
    }
    let mut reports = Vec::new();
    for (judge, reference) in [(1, 0), (0, 1)] {
        let (a, b) = (candidate.loaded(), references[reference].loaded());
        let pair = LutPair {
            candidate: &a,
            reference: &b,
        };
        let job = |seen: &Seen| compare_luts(pair, &options.audit, Some(seen));
        let patches = halves[judge].patches.len();
        reports.push(judged(&candidate, &references[judge], dense, patches, job)?);
    }
    progress(4, total);
    let second = reports.pop();
    let mut report = match (reports.pop(), second) {
        (Some(first), Some(second)) => averaged(first, &second),
        _ => unreachable!("two reports were pushed"),
    };
    let done = std::sync::atomic::AtomicUsize::new(4);
    let step = || {
        progress(
            done.fetch_add(1, std::sync::atomic::Ordering::Relaxed) + 1,
            total,
        )
    };
    add_noise(
        &mut report,
        sparse,
        &halves[0],
        &noise,
        &candidate,
        &references[0],
        options,
        &step,
    )?;
    report.next_patches = patches_to_add(sparse, &candidate.model, dense, options.fit.next);
    report.reference_noise = NoiseModel::from_repeats(dense).map(|n| n.relative_along);
    let references =
        <[Fit; 2]>::try_from(references).unwrap_or_else(|_| unreachable!("two halves, two fits"));
    Ok(DenseComparison {
        report,
        candidate,
        references,
    })
}

/// Runs `job` with the model of `judge` as the panel.
fn judged<T>(
    candidate: &Fit,
    judge: &Fit,
    dense: &Readings,
    patches: usize,
    job: impl FnOnce(&Seen) -> T,
) -> Result<T, FitFailure> {
    let target = &candidate.settled.target;
    let base = judge_base(candidate, judge, target)?;
    let gamut = Gamut::new(&judge.model, target, Some(&base));
    Ok(job(&Seen {
        panel: &judge.model,
        target,
        gamut: &gamut,
        base: candidate.base.as_ref().unwrap_or(&base),
        facts: facts(dense),
        judge: Judge {
            description: "a model of the half of the dense readings that the reference was not made from; figures are \
                          the mean of the two ways round, verdicts and pictures those of the first"
                .to_owned(),
            patches: Some(patches),
            de2000_mean: judge.report.leave_one_out.as_ref().map(|e| e.de2000_mean),
        },
    }))
}

impl DenseComparison {
    /// What a page draws of the candidate and of the first reference, on the judge of the report's audits.
    ///
    /// # Errors
    /// [`FitFailure::NoBase`] where neither side has a base correction; then there is no report either.
    pub fn traces(
        &self,
        dense: &Readings,
        options: &AuditOptions,
    ) -> Result<[Traces; 2], FitFailure> {
        let (a, b) = (self.candidate.loaded(), self.references[0].loaded());
        let pair = LutPair {
            candidate: &a,
            reference: &b,
        };
        let job = |seen: &Seen| lut_traces(pair, options, Some(seen));
        judged(&self.candidate, &self.references[1], dense, 0, job)
    }
}

/// Base correction that starts the judge's searches: its own, or the candidate's, or the reference's.
fn judge_base(
    candidate: &Fit,
    judge: &Fit,
    target: &evenstep_display::Target,
) -> Result<BaseCorrection, FitFailure> {
    let model = judge.model.base().or_else(|| candidate.model.base());
    let base = model.ok_or(FitFailure::NoBase)?;
    Ok(BaseCorrection::new(base.clone(), target.clone()))
}

pub(crate) fn facts(readings: &Readings) -> ReadingFacts {
    let fitness = Fitness::of(readings);
    ReadingFacts {
        neutral_levels: fitness.neutral_levels,
        interior: fitness.interior,
    }
}

fn averaged(mut first: CompareReport, second: &CompareReport) -> CompareReport {
    let both = |a: Option<_>, b: Option<&crate::Regions<crate::ColourSummary>>| {
        a.zip(b)
            .map(|(a, b): (crate::Regions<crate::ColourSummary>, _)| {
                a.zip_with(b, crate::ColourSummary::averaged)
            })
    };
    first.colour = both(first.colour, second.colour.as_ref());
    first.candidate_error = both(first.candidate_error, second.candidate_error.as_ref());
    first.reference_error = both(first.reference_error, second.reference_error.as_ref());
    first.base_error = both(first.base_error, second.base_error.as_ref());
    let half = |a: Option<f64>, b: Option<f64>| a.zip(b).map(|(a, b)| 0.5 * (a + b));
    for (a, b) in first.gradation.iter_mut().zip(&second.gradation) {
        a.candidate = half(a.candidate, b.candidate);
        a.reference = half(a.reference, b.reference);
        a.base = half(a.base, b.base);
    }
    first.verdict = verdict(
        &first.candidate_audit,
        &first.reference_audit,
        &first.gradation,
        first.candidate_error.as_ref(),
        first.reference_error.as_ref(),
    );
    first
}

#[expect(
    clippy::too_many_arguments,
    reason = "two sides of a comparison, each with its readings and its fit"
)]
fn add_noise(
    report: &mut CompareReport,
    sparse: &Readings,
    half: &Readings,
    dense_noise: &NoiseModel,
    candidate: &Fit,
    reference: &Fit,
    options: &DenseOptions,
    step: &(dyn Fn() + Sync),
) -> Result<(), FitFailure> {
    let target = &candidate.settled.target;
    let base = judge_base(candidate, reference, target)?;
    // Seen on the candidate's own model: what is looked for is how the LUT moves, and that model is quick.
    let gamut = Gamut::new(&candidate.model, target, Some(&base));
    let reachable = |signal| gamut.reaches(signal);
    let context = PanelContext {
        panel: &candidate.model,
        target,
        base: candidate.base.as_ref().unwrap_or(&base),
        reachable: &reachable,
        facts: facts(sparse),
    };
    let draw = |readings, noise, fit: &Fit, seed| {
        Redraw {
            readings,
            noise,
            model: &fit.model,
            target,
            nodes: options.fit.nodes,
            draws: options.draws,
            seed,
        }
        .deviations(&options.audit, &context, step)
    };
    let sparse_noise = noise_of(sparse).0;
    let own = draw(
        sparse,
        &sparse_noise,
        candidate,
        options.seed.wrapping_add(1),
    );
    let other = draw(half, dense_noise, reference, options.seed.wrapping_add(2));
    for (i, figure) in report.gradation.iter_mut().enumerate() {
        figure.candidate_sd = own.get(i).copied().flatten();
        figure.reference_sd = other.get(i).copied().flatten();
        figure.beyond_noise = beyond_noise(figure);
    }
    Ok(())
}

/// Common practice, no source: two standard deviations. Not known where the draws move neither value and yet they
/// differ: then the noise that separates them, if any, is the judge's, and that is not drawn.
fn beyond_noise(figure: &GradationFigure) -> Option<bool> {
    let spread = figure.candidate_sd?.hypot(figure.reference_sd?);
    let apart = (figure.candidate? - figure.reference?).abs();
    if spread == 0.0 && apart > 0.0 {
        return None;
    }
    Some(apart > 2.0 * spread)
}
