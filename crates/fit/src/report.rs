use evenstep_display::{AtFloor, Choice, LeaveOneOutError, Outlier, Sharing};
use evenstep_readings::Drift;
use serde::Serialize;

use crate::{Band, GradationReport, NextPatch, Regions};

/// What was fitted and how well, for people and for machines.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FitReport {
    /// The target as settled on the panel.
    pub target: TargetReport,
    /// Scheme of the interpolant; `base` where only the base correction was fitted.
    pub scheme: String,
    /// Space the interpolant lives in; absent for the base alone.
    pub encoding: Option<String>,
    /// `residual` of the base or `value`; absent for the base alone.
    pub form: Option<String>,
    /// Smoothing of the scheme; absent for the base alone.
    pub smoothing: Option<f64>,
    /// How the panel's sub-pixels share light; absent where it adds, and for other models than one of channels.
    pub sharing: Option<Sharing>,
    /// Patches used.
    pub patches: PatchesReport,
    /// Noise of the readings.
    pub noise: NoiseReport,
    /// Leave-one-out error of the model; for the base alone, its error over the readings it was fitted to.
    pub leave_one_out: Option<LeaveOneOutError>,
    /// Error of the base over the same readings.
    pub base_error: Option<LeaveOneOutError>,
    /// Whether the base alone does as well, so that the readings support no 3D correction.
    pub base_suffices: bool,
    /// Why this model was chosen among its candidates; absent where there was nothing to choose.
    pub choice: Option<Choice>,
    /// Readings that the others contradict: weighed down, never left out. Absent for the base alone.
    pub outliers: Option<Vec<Outlier>>,
    /// Change of all light over the readings; absent where no patch came back to tell it.
    pub drift: Option<Drift>,
    /// What became of patches other than black that read 0; `None` without any.
    pub at_floor: Option<AtFloor>,
    /// Nodes whose target is out of reach.
    pub gamut: GamutReport,
    /// What the gradation-safe solve did; absent for the base alone and for a pointwise solve.
    pub gradation: Option<GradationReport>,
    /// Nodes along an axis.
    pub nodes: usize,
    /// Depth the stored values are rounded to.
    pub node_bits: u8,
    /// What the reader should know about the readings, one sentence each.
    pub notes: Vec<String>,
    /// How sure the correction is, by region, `None` where nothing of one is within reach; absent where the readings
    /// cannot be parted, and where the model came from elsewhere.
    pub confidence: Option<Regions<Option<Band>>>,
    /// Patches to read next, most useful first; absent as `confidence` is.
    pub next_patches: Option<Vec<NextPatch>>,
    /// What the shaper gains; absent where none was asked for, or nobody has measured it yet.
    pub shaper: Option<ShaperReport>,
}

/// A lattice behind a shaper and the same without, both seen through the model.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct ShaperReport {
    /// With the shaper.
    pub with: ShaperFigures,
    /// Without it.
    pub without: ShaperFigures,
}

/// What a shaper changes.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct ShaperFigures {
    /// Unevenness of the neutral ramp near black, unrounded; 0 is even.
    pub near_black_unevenness: f64,
    /// Mean ΔE ITP to the target near black.
    pub near_black_itp_mean: f64,
    /// Its 95th percentile.
    pub near_black_itp_p95: f64,
    /// Mean ΔE ITP to the target over the whole cube.
    pub all_itp_mean: f64,
}

/// Target of a fit.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TargetReport {
    /// Name of the primaries.
    pub primaries: String,
    /// Name of the transfer function.
    pub transfer: String,
    /// Luminance of the white in cd/m².
    pub white_cd_m2: f64,
    /// Chromaticity of the white.
    pub white_xy: [f64; 2],
    /// Black in cd/m².
    pub black_xyz: [f64; 3],
    /// Largest luminance the panel reaches at that chromaticity, in cd/m².
    pub reach_cd_m2: f64,
    /// Share by which the white was lowered below 0.995 of the reach to keep the neutral axis invertible.
    pub lowered: f64,
    /// 10-bit neutral codes darker than the panel's own black.
    pub neutral_codes_missed: usize,
}

/// Patches of a fit.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PatchesReport {
    /// Distinct drives used.
    pub used: usize,
    /// Readings averaged into them.
    pub averaged: usize,
    /// Patches whose luminance is below three times the noise floor.
    pub below_floor: usize,
    /// Neutral levels, black included.
    pub neutral_levels: usize,
    /// Patches inside the cube.
    pub interior: usize,
}

/// Noise of a set of readings.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NoiseReport {
    /// Standard deviation along the XYZ vector, relative.
    pub relative: f64,
    /// Floor in cd/m².
    pub floor_cd_m2: f64,
    /// `repeats` or `assumed`.
    pub source: String,
}

/// Targets out of the panel's reach.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct GamutReport {
    /// Nodes reduced to the nearest colour shown; absent for the base alone, which clips.
    pub nodes_reduced: Option<usize>,
    /// Largest CIEDE2000 of that.
    pub de2000_max: Option<f64>,
}
