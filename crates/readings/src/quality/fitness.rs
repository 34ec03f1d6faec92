use nalgebra::{Matrix3, Vector3};

use crate::{Ramp, Readings};

/// Distinct patches a base correction needs. Our choice, because black (3 numbers), a matrix (9) and three tone
/// curves of at least 3 numbers each are 21 unknowns, which 7 patches of 3 numbers fix; three more leave
/// something to check the fit with.
pub const MIN_DISTINCT_BASE: usize = 10;

/// Distinct patches a 3D correction needs. Our choice, because 27 are what a lattice with one middle level a
/// channel has: with fewer, some interaction of two channels is not seen at all.
pub const MIN_DISTINCT_3D: usize = 27;

/// Of these, patches off the ramps. Our choice, because mixtures alone tell how the channels act on each other:
/// three pairs of channels and all three together, seen at two levels each, are eight.
pub const MIN_OFF_RAMPS_3D: usize = 8;

/// What a set of readings covers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Fitness {
    /// Drive (0, 0, 0) was read.
    pub black: bool,
    /// Drive (1, 1, 1) was read.
    pub white: bool,
    /// Distinct neutral drives, black and white included.
    pub neutral_levels: usize,
    /// Distinct drives on the red, green and blue ramps, black included.
    pub ramp_levels: [usize; 3],
    /// Distinct drives inside the cube, neutrals left out.
    pub interior: usize,
    /// Distinct drives on none of the four ramps: interior and faces.
    pub off_ramps: usize,
    /// Distinct drives.
    pub distinct: usize,
    /// Whether the drives lie neither on one line nor in one plane.
    pub spans_3d: bool,
}

impl Fitness {
    /// Takes stock of a set of readings.
    #[must_use]
    pub fn of(readings: &Readings) -> Self {
        Self {
            black: readings.black().is_some(),
            white: readings.white().is_some(),
            neutral_levels: readings.neutral_ramp().len(),
            ramp_levels: [0, 1, 2].map(|c| readings.ramp(Ramp::Channel(c)).len()),
            interior: readings.interior(),
            off_ramps: readings.off_ramps(),
            distinct: readings.distinct(),
            spans_3d: dimensions(readings) == 3,
        }
    }

    /// Whether black, a matrix and tone curves can be fitted.
    #[must_use]
    pub fn supports_base(&self) -> bool {
        self.black && self.spans_3d && self.distinct >= MIN_DISTINCT_BASE
    }

    /// Whether a correction beyond the base can be fitted: how the channels act on each other was read.
    #[must_use]
    pub fn supports_3d(&self) -> bool {
        self.supports_base()
            && self.distinct >= MIN_DISTINCT_3D
            && self.off_ramps >= MIN_OFF_RAMPS_3D
    }
}

/// Dimensions that the drives span: 0 for one point, 1 for a line, 2 for a plane, 3.
pub(super) fn dimensions(readings: &Readings) -> usize {
    // Drives are exact numbers; their scatter about the mean is rounded at the sixteenth digit.
    const ROUNDING: f64 = 1e-12;
    let drives = || readings.patches.iter().map(|p| Vector3::from(p.drive));
    let count = readings.patches.len().max(1) as f64;
    let mean = drives().sum::<Vector3<f64>>() / count;
    let scatter: Matrix3<f64> = drives().map(|d| (d - mean) * (d - mean).transpose()).sum();
    let spread = scatter.symmetric_eigenvalues();
    let least = ROUNDING * count.max(spread.max());
    spread.iter().filter(|v| **v > least).count()
}
