use evenstep_audit::{
    AuditOptions, AuditReport, PanelContext, ReadingFacts, Subject, Traces, audit, traces,
};
use evenstep_display::{Disturbance, PanelModel, SimulatedPanel, simulate};
use evenstep_fit::{BaseCorrection, Fit, FitFailure, FitOptions, Gamut, Peak, fit, fit_with_model};
use evenstep_lut::{Correction, Lut, Lut3d};
use evenstep_readings::{Fitness, PatchRequest, Readings, merged};
use serde::Serialize;

use crate::CompareReport;
use crate::dense::facts;
use crate::{ColourSummary, DenseOptions, Regions, colour_error, compare_dense};

/// White the foyer's panel is set to, in cd/m²: our own scenario's choice for a room with some light in it.
const FOYER_WHITE_CD_M2: f64 = 120.0;
/// Levels along an axis of the dense set.
const DENSE_LEVELS: usize = 17;
/// In the dense set white, grey and black come back after every so many patches, for the noise.
const ANCHOR_EVERY: usize = 250;

/// Choices of the tour.
#[derive(Clone, Debug)]
pub struct TourOptions {
    /// Seed of the simulated readings.
    pub seed: u64,
    /// Draws for the noise of the comparison.
    pub draws: usize,
    /// Nodes along an axis of the LUTs.
    pub nodes: usize,
}

/// One way to correct the panel, held against what the panel really does.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TourRow {
    /// What it is.
    pub name: String,
    /// Distinct patches behind it.
    pub patches: Option<usize>,
    /// Colour error against the target on the true panel.
    pub error: Regions<ColourSummary>,
    /// Audit on the true panel.
    pub audit: AuditReport,
}

/// The scenario end to end.
pub struct Tour {
    /// Sparse readings.
    pub sparse_readings: Readings,
    /// Dense readings.
    pub dense_readings: Readings,
    /// Correction from the sparse readings.
    pub sparse: Fit,
    /// Correction from the dense readings.
    pub dense: Fit,
    /// Base correction of the sparse readings, as a lattice.
    pub base_only: Fit,
    /// The base correction itself.
    pub base: BaseCorrection,
    /// Sparse, dense, base only, base as curves and matrix, uncorrected.
    pub rows: Vec<TourRow>,
    /// Sparse against dense as someone without the truth would compare them.
    pub comparison: CompareReport,
}

/// Patches of the dense set: a lattice with anchors.
#[must_use]
pub fn dense_patches() -> Vec<PatchRequest> {
    let at = |i: usize| i as f64 / (DENSE_LEVELS - 1) as f64;
    let mut all = Vec::new();
    for r in 0..DENSE_LEVELS {
        for g in 0..DENSE_LEVELS {
            for b in 0..DENSE_LEVELS {
                all.push(PatchRequest {
                    id: format!("D{r:02}-{g:02}-{b:02}"),
                    drive: [at(r), at(g), at(b)],
                });
                if all.len() % ANCHOR_EVERY == 0 {
                    let anchors = [("A-white", 1.0), ("A-grey", 0.5), ("A-black", 0.0)];
                    all.extend(anchors.map(|(id, v)| PatchRequest {
                        id: id.to_owned(),
                        drive: [v; 3],
                    }));
                }
            }
        }
    }
    all
}

/// Simulates the readings, fits, audits and compares. `progress` is called with steps done out of all.
///
/// # Errors
/// [`FitFailure`] of whichever fit fails.
pub fn tour(
    sparse_patches: &[PatchRequest],
    options: &TourOptions,
    progress: &(dyn Fn(usize, usize) + Sync),
) -> Result<Tour, FitFailure> {
    let comparison_steps = 4 + 2 * options.draws;
    let total = 5 + comparison_steps;
    let panel = SimulatedPanel::wrgb();
    let noisy = Disturbance {
        noise: 1.0,
        drift: 0.0,
        outliers: 0.0,
    };
    let sparse_readings = merged(simulate(&panel, sparse_patches, noisy, options.seed));
    let dense_readings = merged(simulate(
        &panel,
        &dense_patches(),
        noisy,
        options.seed.wrapping_add(1),
    ));
    let mut choices = FitOptions {
        nodes: options.nodes,
        ..FitOptions::default()
    };
    choices.target.peak = Peak::Given(FOYER_WHITE_CD_M2);
    progress(1, total);
    let sparse = fit(&sparse_readings, &choices, &|_, _| {})?;
    progress(2, total);
    let modelled = evenstep_fit::model(&dense_readings, &choices)?;
    let dense = fit_with_model(
        &dense_readings,
        modelled,
        sparse.settled.clone(),
        &choices,
        &|_, _| {},
    )?;
    progress(3, total);
    let base_choices = FitOptions {
        base_only: true,
        ..choices.clone()
    };
    let modelled = evenstep_fit::model(&sparse_readings, &base_choices)?;
    let base_only = fit_with_model(
        &sparse_readings,
        modelled,
        sparse.settled.clone(),
        &base_choices,
        &|_, _| {},
    )?;
    let Some(base) = base_only.base.clone() else {
        unreachable!("a base-only fit has a base")
    };
    let rows = rows(
        &panel,
        &sparse,
        &dense,
        &base_only,
        &base,
        [&sparse_readings, &dense_readings],
    );
    progress(5, total);
    let options = DenseOptions {
        fit: choices,
        audit: AuditOptions::default(),
        draws: options.draws,
        seed: options.seed.wrapping_add(2),
    };
    let step = |done: usize, _| progress(5 + done, total);
    let comparison = compare_dense(&sparse_readings, &dense_readings, &options, &step)?.report;
    Ok(Tour {
        sparse_readings,
        dense_readings,
        sparse,
        dense,
        base_only,
        base,
        rows,
        comparison,
    })
}

/// Audits a fit on the model it was made from: what someone without the truth sees.
#[must_use]
pub fn audit_fit(fit: &Fit, readings: &Readings, options: &AuditOptions) -> AuditReport {
    audit_on_model(fit, &fit.loaded(), readings, options)
}

/// The same with the traces that a page draws, made with the same options.
#[must_use]
pub fn audit_fit_traced(
    fit: &Fit,
    readings: &Readings,
    options: &AuditOptions,
) -> (AuditReport, Traces) {
    let lut = fit.loaded();
    let correction = lut.evaluated(options.evaluation);
    let subject = Subject::of_lut(&correction, &lut);
    on_model(fit, readings, |context| {
        (
            audit(&subject, options, context),
            traces(&subject, options, context),
        )
    })
}

/// Audits a LUT on the model of a fit.
pub(crate) fn audit_on_model(
    fit: &Fit,
    lut: &Lut,
    readings: &Readings,
    options: &AuditOptions,
) -> AuditReport {
    let correction = lut.evaluated(options.evaluation);
    let subject = Subject::of_lut(&correction, lut);
    on_model(fit, readings, |context| audit(&subject, options, context))
}

/// Runs `job` with the model of a fit as the panel; without one where the readings allow no base correction.
fn on_model<T>(fit: &Fit, readings: &Readings, job: impl FnOnce(Option<&PanelContext>) -> T) -> T {
    let Some(base) = &fit.base else {
        return job(None);
    };
    let target = &fit.settled.target;
    let gamut = Gamut::new(&fit.model, target, Some(base));
    let reachable = |signal| gamut.reaches(signal);
    job(Some(&PanelContext {
        panel: &fit.model,
        target,
        base,
        reachable: &reachable,
        facts: facts(readings),
    }))
}

impl Tour {
    /// What a page draws of the sparse and of the dense LUT, on the true panel, as their audits are.
    #[must_use]
    pub fn traces(&self) -> [Traces; 2] {
        let panel = SimulatedPanel::wrgb();
        let target = &self.sparse.settled.target;
        let gamut = Gamut::new(&panel, target, Some(&self.base));
        let reachable = |signal| gamut.reaches(signal);
        let options = AuditOptions::default();
        [
            (&self.sparse, &self.sparse_readings),
            (&self.dense, &self.dense_readings),
        ]
        .map(|(fit, readings)| {
            let lut = fit.loaded();
            let correction = lut.evaluated(options.evaluation);
            let context = PanelContext {
                panel: &panel,
                target,
                base: &self.base,
                reachable: &reachable,
                facts: facts(readings),
            };
            traces(
                &Subject::of_lut(&correction, &lut),
                &options,
                Some(&context),
            )
        })
    }
}

fn rows(
    panel: &dyn PanelModel,
    sparse: &Fit,
    dense: &Fit,
    base_only: &Fit,
    base: &BaseCorrection,
    readings: [&Readings; 2],
) -> Vec<TourRow> {
    let target = &sparse.settled.target;
    let gamut = Gamut::new(panel, target, Some(base));
    let reachable = |signal| gamut.reaches(signal);
    let audit_options = AuditOptions::default();
    let row =
        |name: &str, from: Option<&Readings>, correction: &dyn Correction, lut: Option<&Lut>| {
            let fitness = from.map(Fitness::of);
            let facts = ReadingFacts {
                neutral_levels: fitness.as_ref().map_or(usize::MAX, |f| f.neutral_levels),
                interior: fitness.as_ref().map_or(usize::MAX, |f| f.interior),
            };
            let context = PanelContext {
                panel,
                target,
                base,
                reachable: &reachable,
                facts,
            };
            let subject = lut.map_or_else(
                || Subject::new(correction),
                |lut| Subject::of_lut(correction, lut),
            );
            TourRow {
                name: name.to_owned(),
                patches: from.map(|r| r.patches.len()),
                error: colour_error(panel, target, &gamut, correction, audit_options.near_black),
                audit: audit(&subject, &audit_options, Some(&context)),
            }
        };
    let identity = Lut {
        title: None,
        curves: None,
        lattice: Some(Lut3d::identity(sparse.lut.size())),
    };
    let luts = [
        sparse.loaded(),
        dense.loaded(),
        base_only.loaded(),
        identity,
    ];
    let evaluated: Vec<_> = luts
        .iter()
        .map(|lut| lut.evaluated(audit_options.evaluation))
        .collect();
    vec![
        row(
            "sparse LUT",
            Some(readings[0]),
            &evaluated[0],
            Some(&luts[0]),
        ),
        row(
            "dense LUT",
            Some(readings[1]),
            &evaluated[1],
            Some(&luts[1]),
        ),
        row(
            "base-only LUT",
            Some(readings[0]),
            &evaluated[2],
            Some(&luts[2]),
        ),
        row("base as curves and matrix", Some(readings[0]), base, None),
        row("uncorrected", None, &evaluated[3], Some(&luts[3])),
    ]
}
