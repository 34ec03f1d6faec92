use evenstep_display::{
    AtFloor, BaseModel, Choice, ChosenModel, ForwardModel, LeaveOneOutError, ModelError, Outlier,
    SmoothingChoice, Target, choose_model, model_error, without_floor,
};
use evenstep_lut::{Correction, Lut, Lut3d};
use evenstep_readings::{Drift, Finding, Fitness, NoiseModel, Readings, Severity, check};
use evenstep_scatter::Scheme;

use crate::assess::assess;
use crate::gradation::{self, Problem};
use crate::lattice::fill_placed;
use crate::range::through_range;
use crate::request::base_correction;
use crate::shaper::{Placement, Shaped, Shaper};
use crate::{
    BaseCorrection, CodeRange, FitReport, GamutReport, GradationReport, NodeSolver, NoiseReport,
    PatchesReport, Settled, TargetReport, TargetRequest,
};

/// How node values come from the model.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Solve {
    /// All nodes together, so that ramps do not fall and the codes between nodes are right too.
    #[default]
    Gradation,
    /// Every node for itself; for comparison.
    Pointwise,
}

/// Choices of a fit.
#[derive(Clone, Debug)]
pub struct FitOptions {
    /// What to aim at.
    pub target: TargetRequest,
    /// Nodes along an axis, 2 to 65.
    pub nodes: usize,
    /// Scheme; `None` chooses.
    pub scheme: Option<Scheme>,
    /// Smoothing.
    pub smoothing: SmoothingChoice,
    /// Depth of stored node values, 8 to 16.
    pub node_bits: u8,
    /// How node values come from the model.
    pub solve: Solve,
    /// Whether to stop at the base correction.
    pub base_only: bool,
    /// How codes map to signals in the LUT.
    pub range: CodeRange,
    /// Patches to read next that the report names.
    pub next: usize,
    /// Whether a curve stands before the lattice that puts its nodes where the correction bends.
    pub shaper: bool,
}

impl Default for FitOptions {
    fn default() -> Self {
        Self {
            target: TargetRequest::default(),
            nodes: 33,
            scheme: None,
            smoothing: SmoothingChoice::LeaveOneOut,
            node_bits: 12,
            solve: Solve::default(),
            base_only: false,
            range: CodeRange::Full,
            next: 10,
            shaper: false,
        }
    }
}

/// A fitted correction with all it stands on.
pub struct Fit {
    /// The LUT, rounded to the node depth; where there is a shaper, what stands behind it.
    pub lut: Lut3d,
    /// The shaper, where one was asked for and the readings allow a base correction to shape it by.
    pub shaped: Option<Shaped>,
    /// Forward model of the panel.
    pub model: ForwardModel,
    /// Target as settled.
    pub settled: Settled,
    /// Base correction, where the readings allow one.
    pub base: Option<BaseCorrection>,
    /// Figures.
    pub report: FitReport,
}

impl Fit {
    /// What a panel loads: the shaper, where there is one, and the lattice behind it.
    #[must_use]
    pub fn loaded(&self) -> Lut {
        Lut {
            title: None,
            curves: self.shaped.as_ref().map(|s| s.shaper.curve()),
            lattice: Some(self.lut.clone()),
        }
    }
}

/// Why nothing was fitted.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum FitFailure {
    /// The readings do not span the colour cube.
    #[error(
        "a 3D correction is declined: {reason}; --base-only fits the curves and matrix that these readings support"
    )]
    Declined {
        /// What is missing.
        reason: String,
    },
    /// Nothing should be fitted to these readings.
    #[error("{finding}")]
    Refused {
        /// What was seen in them.
        finding: Finding,
    },
    /// Nothing to hold gradation against.
    #[error(
        "no base correction to hold gradation against: read black and a neutral ramp of at least five levels up to white"
    )]
    NoBase,
    /// No forward model.
    #[error(transparent)]
    Model(#[from] ModelError),
    /// A lattice size that is not offered.
    #[error("{nodes} nodes: a lattice has 2 to 65 along an axis; 17, 33 and 65 are usual")]
    Nodes {
        /// Nodes asked for.
        nodes: usize,
    },
    /// The target's white is not above the black.
    #[error(
        "the target's white of {white_cd_m2} cd/m² is not above its black of {black_cd_m2} cd/m²; check --peak and --black"
    )]
    WhiteBelowBlack {
        /// White luminance.
        white_cd_m2: f64,
        /// Black luminance.
        black_cd_m2: f64,
    },
}

/// A forward model with what is known of its error.
pub struct Modelled {
    /// The model.
    pub model: ForwardModel,
    /// Leave-one-out error (base alone: error over its own readings).
    pub error: Option<LeaveOneOutError>,
    /// Error of the base over the same readings.
    pub base_error: Option<LeaveOneOutError>,
    /// Whether the base alone does as well.
    pub base_suffices: bool,
    /// Why this model; `None` where there was nothing to choose.
    pub choice: Option<Choice>,
    /// Readings that the others contradict; `None` where the base alone was fitted.
    pub outliers: Option<Vec<Outlier>>,
    /// Change of all light over the readings, where patches that came back tell it.
    pub drift: Option<Drift>,
    /// What became of patches that read 0; `None` where there is none but black.
    pub at_floor: Option<AtFloor>,
}

impl From<ChosenModel> for Modelled {
    fn from(chosen: ChosenModel) -> Self {
        Self {
            model: chosen.model,
            error: Some(chosen.error),
            base_error: chosen.base_error,
            base_suffices: chosen.base_suffices,
            choice: Some(chosen.choice),
            outliers: Some(chosen.outliers),
            drift: chosen.drift,
            at_floor: chosen.at_floor,
        }
    }
}

/// Fits a correction to readings.
///
/// `progress` is called with nodes done out of all, from any thread.
///
/// # Errors
/// [`FitFailure`] says what is missing.
pub fn fit(
    readings: &Readings,
    options: &FitOptions,
    progress: &(dyn Fn(usize, usize) + Sync),
) -> Result<Fit, FitFailure> {
    let modelled = model(readings, options)?;
    let settled = options.target.settle(readings, &modelled.model);
    let mut fit = fit_with_model(readings, modelled, settled, options, progress)?;
    assess(&mut fit, readings, options);
    Ok(fit)
}

/// Refuses readings that nothing should be fitted to, and declines a 3D model where they do not span the cube.
///
/// # Errors
/// [`FitFailure::Refused`], [`FitFailure::Declined`].
pub fn examine(readings: &Readings, base_only: bool) -> Result<(), FitFailure> {
    let (noise, _) = noise_of(readings);
    let findings = check(readings, &noise);
    if let Some(finding) = findings.iter().find(|f| f.severity() == Severity::Refuse) {
        return Err(FitFailure::Refused {
            finding: finding.clone(),
        });
    }
    if !base_only && !Fitness::of(readings).supports_3d() {
        let reasons: Vec<String> = findings
            .iter()
            .filter(|f| forbids_3d(f))
            .map(ToString::to_string)
            .collect();
        return Err(FitFailure::Declined {
            reason: reasons.join("; "),
        });
    }
    Ok(())
}

/// Fits the forward model that a fit with these options stands on: refuses what should not be fitted, declines a 3D
/// model where the readings do not span the cube.
///
/// # Errors
/// [`FitFailure::Refused`], [`FitFailure::Declined`], [`FitFailure::Model`].
pub fn model(readings: &Readings, options: &FitOptions) -> Result<Modelled, FitFailure> {
    examine(readings, options.base_only)?;
    let (noise, _) = noise_of(readings);
    if options.base_only {
        let (bounded, at_floor) = without_floor(readings, &noise);
        let base = BaseModel::fit(&bounded, &noise).map_err(ModelError::Base)?;
        let error = model_error(&readings.seen(), &base);
        return Ok(Modelled {
            model: ForwardModel::from_base(base),
            error: Some(error.clone()),
            base_error: Some(error),
            base_suffices: true,
            choice: None,
            outliers: None,
            drift: None,
            at_floor,
        });
    }
    let chosen = choose_model(readings, &noise, options.scheme, options.smoothing)?;
    Ok(chosen.into())
}

/// Fits a correction through a model that is already there, for a target that is settled.
///
/// # Errors
/// [`FitFailure::Nodes`], [`FitFailure::WhiteBelowBlack`].
pub fn fit_with_model(
    readings: &Readings,
    modelled: Modelled,
    settled: Settled,
    options: &FitOptions,
    progress: &(dyn Fn(usize, usize) + Sync),
) -> Result<Fit, FitFailure> {
    if !(2..=65).contains(&options.nodes) {
        return Err(FitFailure::Nodes {
            nodes: options.nodes,
        });
    }
    let model = modelled.model;
    let (white_cd_m2, black_cd_m2) = (
        settled.target.white().luminance_cd_m2(),
        settled.target.black().luminance_cd_m2(),
    );
    if white_cd_m2 <= black_cd_m2 {
        return Err(FitFailure::WhiteBelowBlack {
            white_cd_m2,
            black_cd_m2,
        });
    }
    let base = base_correction(&model, &settled.target);
    let model_itp = modelled.error.as_ref().map_or(0.0, |e| e.itp_mean);
    let fill = |placement: &Placement| {
        let parts = (&model, &settled.target, base.as_ref());
        lattice(parts, model_itp, placement, options, progress)
    };
    let (plain, gamut, gradation) = fill(&Placement::new(options.range, None));
    let (lut, gamut, gradation, shaped) = match base.as_ref().filter(|_| options.shaper) {
        None => (plain, gamut, gradation, None),
        Some(base) => {
            let shaper = Shaper::new(base, options.nodes, options.range);
            let (lut, gamut, gradation) =
                fill(&Placement::new(options.range, Some(shaper.clone())));
            (lut, gamut, gradation, Some(Shaped { shaper, plain }))
        }
    };
    let structure = model.structure();
    let report = FitReport {
        target: target_report(&settled, options),
        scheme: structure.map_or_else(|| "base".to_owned(), |s| s.scheme.to_string()),
        encoding: structure.map(|s| s.encoding.to_string()),
        form: structure.map(|s| s.form.to_string()),
        smoothing: structure.map(|s| s.smoothing),
        sharing: model.sharing(),
        patches: patches_report(readings),
        noise: noise_report(readings),
        leave_one_out: modelled.error,
        base_error: modelled.base_error,
        base_suffices: modelled.base_suffices,
        choice: modelled.choice,
        outliers: modelled.outliers,
        drift: modelled.drift,
        at_floor: modelled.at_floor,
        gamut,
        gradation,
        nodes: options.nodes,
        node_bits: options.node_bits,
        notes: notes(readings),
        confidence: None,
        next_patches: None,
        shaper: None,
    };
    Ok(Fit {
        lut,
        shaped,
        model,
        settled,
        base,
        report,
    })
}

/// Fills a lattice through a model, for a target, from the base correction where there is one.
fn lattice(
    (model, target, base): (&ForwardModel, &Target, Option<&BaseCorrection>),
    model_itp: f64,
    placement: &Placement,
    options: &FitOptions,
    progress: &(dyn Fn(usize, usize) + Sync),
) -> (Lut3d, GamutReport, Option<GradationReport>) {
    if let (Some(base), None) = (base, model.structure()) {
        let lut = Lut3d::from_fn(options.nodes, |p| {
            let code = p.map(|v| placement.unshaped(v));
            through_range(options.range, code, |signal| base.drive(signal))
        });
        let gamut = GamutReport {
            nodes_reduced: None,
            de2000_max: None,
        };
        return (rounded(lut, options.node_bits), gamut, None);
    }
    let solver = NodeSolver::new(model, target, base);
    let filled = fill_placed(&solver, options.nodes, placement, progress);
    let gamut = GamutReport {
        nodes_reduced: Some(filled.nodes_reduced),
        de2000_max: (filled.nodes_reduced > 0).then_some(filled.reduced_de2000_max),
    };
    match options.solve {
        Solve::Gradation => {
            let problem = Problem {
                panel: model,
                target,
                base,
                placement,
                node_bits: options.node_bits,
                model_itp,
            };
            let (lut, report) = gradation::solve(&problem, &filled);
            (lut, gamut, Some(report))
        }
        Solve::Pointwise => (rounded(filled.lut, options.node_bits), gamut, None),
    }
}

/// Stored values rounded to whole codes of `bits`.
fn rounded(mut lut: Lut3d, bits: u8) -> Lut3d {
    let largest = f64::from((1_u32 << bits) - 1);
    for node in lut.nodes_mut() {
        *node = node.map(|v| (v * largest).round() / largest);
    }
    lut
}

/// Noise from the repeats, or the assumed one; the second value says which.
#[must_use]
pub fn noise_of(readings: &Readings) -> (NoiseModel, bool) {
    NoiseModel::from_repeats(readings)
        .map_or_else(|| (NoiseModel::assumed(), false), |noise| (noise, true))
}

fn noise_report(readings: &Readings) -> NoiseReport {
    let (noise, measured) = noise_of(readings);
    NoiseReport {
        relative: noise.relative_along,
        floor_cd_m2: noise.floor_cd_m2,
        source: if measured { "repeats" } else { "assumed" }.to_owned(),
    }
}

fn patches_report(readings: &Readings) -> PatchesReport {
    let floor = 3.0 * noise_of(readings).0.floor_cd_m2;
    let fitness = Fitness::of(readings);
    PatchesReport {
        used: readings.patches.len(),
        averaged: readings.patches.iter().map(|p| p.repeats.len()).sum(),
        below_floor: readings
            .patches
            .iter()
            .filter(|p| p.xyz().luminance_cd_m2() < floor)
            .count(),
        neutral_levels: fitness.neutral_levels,
        interior: fitness.interior,
    }
}

fn target_report(settled: &Settled, options: &FitOptions) -> TargetReport {
    let target = &settled.target;
    let xy = target
        .white()
        .chromaticity()
        .map_or([f64::NAN; 2], |xy| [xy.x, xy.y]);
    TargetReport {
        primaries: target.primaries().name().unwrap_or("custom").to_owned(),
        transfer: options.target.transfer.to_string(),
        white_cd_m2: target.white().luminance_cd_m2(),
        white_xy: xy,
        black_xyz: target.black().0,
        reach_cd_m2: settled.reach_cd_m2,
        lowered: settled.lowered,
        neutral_codes_missed: settled.neutral_codes_missed,
    }
}

/// Whether a finding is a reason to decline a 3D fit.
fn forbids_3d(finding: &Finding) -> bool {
    matches!(
        finding,
        Finding::TooFew { .. }
            | Finding::Flat { .. }
            | Finding::OnlyRamps
            | Finding::FewMixtures { .. }
    )
}

/// What was seen in the readings, but for what only counts them.
fn notes(readings: &Readings) -> Vec<String> {
    check(readings, &noise_of(readings).0)
        .iter()
        .filter(|f| f.severity() != Severity::Info)
        .map(ToString::to_string)
        .collect()
}
