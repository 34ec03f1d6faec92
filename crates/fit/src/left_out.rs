use std::sync::LazyLock;

use evenstep_colour::Xyz;
use evenstep_display::{BaseModel, Encoding, Form, ForwardModel, PanelModel};
use evenstep_readings::{NoiseModel, Patch, Readings};
use evenstep_scatter::{Coverage, Smoothness};
use nalgebra::{Matrix3, Vector3};
use rayon::prelude::*;

use crate::invert::itp_from_lms;

/// Parts the patches are dealt into, each predicted by a model of the others. Common practice, no source.
const FOLDS: usize = 5;
/// Patches that are enough to tell how far a model is off; parts beyond are not left out. Our choice: the 95 % quantile of
/// so many is known to about one in a hundred (√(0.05·0.95/300)).
const ENOUGH: usize = 300;

/// The model of a structure refitted to other readings, its base included; `None` where these do not allow it.
#[must_use]
pub fn refitted(
    model: &ForwardModel,
    readings: &Readings,
    noise: &NoiseModel,
) -> Option<ForwardModel> {
    let base = BaseModel::fit(readings, noise).ok();
    match (model.structure(), base) {
        (Some(structure), None) if structure.form != Form::Value => None,
        (Some(structure), base) => ForwardModel::fit(readings, noise, base, structure).ok(),
        (None, Some(base)) => Some(ForwardModel::from_base(base)),
        (None, None) => None,
    }
}

/// Colour in ΔE ITP units, linear below the toe of [`Encoding::PqLms`] so that a reading below zero keeps its distance.
pub(crate) fn itp_units(xyz: Xyz) -> Vector3<f64> {
    itp_from_lms() * Vector3::from(Encoding::PqLms.encode(xyz))
}

/// Inverse of [`itp_units`].
pub(crate) fn xyz_from_itp_units(itp: Vector3<f64>) -> Xyz {
    Encoding::PqLms.decode((*LMS_FROM_ITP * itp).into())
}

static LMS_FROM_ITP: LazyLock<Matrix3<f64>> = LazyLock::new(|| {
    let inverse = itp_from_lms().try_inverse();
    inverse.unwrap_or_else(|| unreachable!("the matrix of BT.2100 has an inverse"))
});

/// Change of [`itp_units`] per cd/m².
fn itp_slope(xyz: Xyz) -> Matrix3<f64> {
    itp_from_lms() * Encoding::PqLms.derivative(xyz)
}

/// Shape of the process that misses between patches are taken for, and its length in drive. Our choice, tuned on two
/// seeds of the simulated panels and tried on others (`docs/methods/confidence.md`).
const SMOOTHNESS: Smoothness = Smoothness::Matern52;
const LENGTH: f64 = 1.0;
/// Variance of a reading over that of the process: no model is quite right at its own patches. Our choice, likewise.
const NUGGET: f64 = 1e-2;
/// Patches that coverage is reckoned with when there are more, evenly picked: its cost grows with their cube.
const MOST_SITES: usize = 500;

/// How well readings cover the drives between them; `None` for drives that are not numbers.
pub(crate) fn covering(readings: &Readings) -> Option<Coverage> {
    let step = readings.patches.len().div_ceil(MOST_SITES).max(1);
    let picked = readings.patches.iter().step_by(step);
    let sites: Vec<[f64; 3]> = picked.map(|p| p.drive).collect();
    Coverage::new(&sites, SMOOTHNESS, LENGTH, NUGGET)
}

/// A patch predicted from a model that does not know it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct LeftOut {
    /// Which patch of the readings.
    pub(crate) patch: usize,
    /// Colour shown less the colour predicted, in ΔE ITP along I, T and P.
    pub(crate) miss: Vector3<f64>,
    /// Colour predicted, in the same units.
    pub(crate) colour: Vector3<f64>,
    /// Variance that the other parts leave at the patch, for a process of unit variance ([`covering`]).
    pub(crate) variance: f64,
    /// Variance that the reading's own noise adds to the squared length of `miss`.
    pub(crate) noise: f64,
}

/// Patches predicted from the other parts: all but the corners, or so many parts as hold enough; `None` where a part cannot be done without.
///
/// Readings are those of which something was seen: what was not is no value to be missed.
///
/// The corners of the cube (each channel 0 or 1) are in every part: no base stands without black and white, and a corner
/// predicted from the inside says how well the model extrapolates, which a LUT hardly asks of it.
pub(crate) fn left_out(
    readings: &Readings,
    noise: &NoiseModel,
    model: &ForwardModel,
) -> Option<Vec<LeftOut>> {
    let corner = |p: &Patch| p.drive.iter().all(|d| *d == 0.0 || *d == 1.0);
    let mut inner: Vec<usize> = (0..readings.patches.len())
        .filter(|i| !corner(&readings.patches[*i]))
        .collect();
    // Neutrals by level, so that each part lacks single levels and never two neighbours.
    let neutral_level = |i: &usize| {
        let patch = &readings.patches[*i];
        if patch.is_neutral() {
            patch.drive[0]
        } else {
            f64::INFINITY
        }
    };
    inner.sort_by(|a, b| neutral_level(a).total_cmp(&neutral_level(b)));
    let folds = FOLDS.min(inner.len());
    let used = (folds * ENOUGH).div_ceil(inner.len().max(1)).min(folds);
    let parts: Vec<Option<Vec<LeftOut>>> = (0..used)
        .into_par_iter()
        .map(|fold| {
            let out: Vec<usize> = inner.iter().copied().skip(fold).step_by(folds).collect();
            let patches = readings.patches.iter().enumerate();
            let kept = patches.filter(|(i, _)| !out.contains(i));
            let others = Readings {
                patches: kept.map(|(_, p)| p.clone()).collect(),
            };
            let model = refitted(model, &others, noise)?;
            let drives: Vec<[f64; 3]> = out.iter().map(|i| readings.patches[*i].drive).collect();
            let variance = covering(&others)?.variance(&drives);
            let each = out.into_iter().zip(variance);
            Some(
                each.map(|(i, variance)| one(readings, i, variance, &model, noise))
                    .collect(),
            )
        })
        .collect();
    let all: Option<Vec<Vec<LeftOut>>> = parts.into_iter().collect();
    all.map(|parts| parts.into_iter().flatten().collect())
}

fn one(
    readings: &Readings,
    patch: usize,
    variance: f64,
    model: &ForwardModel,
    noise: &NoiseModel,
) -> LeftOut {
    let shown = &readings.patches[patch];
    let (read, predicted) = (shown.xyz(), model.xyz(shown.drive));
    let slope = itp_slope(predicted);
    let spread = slope * noise.variance_of(predicted) * slope.transpose();
    let colour = itp_units(predicted);
    LeftOut {
        patch,
        miss: itp_units(read) - colour,
        colour,
        variance,
        noise: spread.trace() / shown.repeats.len() as f64,
    }
}
