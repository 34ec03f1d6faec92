//! Radial kernels and the polynomial degree each needs.

use std::fmt;

use crate::FitError;

/// Highest polynomial degree implemented.
pub(crate) const MAX_DEGREE: i8 = 2;

/// Radial kernel φ of the scaled distance t = ε r, signed so that it is positive definite once polynomials of its
/// least degree are projected out.
///
/// The first four have no scale of their own: ε is 1 for them, and another would only rescale the weights.
///
/// # Source
/// Kernels, signs and least degrees: Fasshauer (2007), chapters 4, 8 and 11; the compact ones: Wendland (1995)
/// (titles and chapters from memory).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Kernel {
    /// φ = −r, at least degree 0: continuous, with a kink at every site.
    Linear,
    /// φ = r² ln r, at least degree 1: differentiable everywhere.
    ThinPlate,
    /// φ = r³, at least degree 1: twice differentiable.
    Cubic,
    /// φ = −r⁵, at least degree 2: four times differentiable.
    Quintic,
    /// φ = −√(1 + t²), at least degree 0: analytic.
    Multiquadric,
    /// φ = 1/√(1 + t²), no polynomial needed: analytic.
    InverseMultiquadric,
    /// φ = exp(−t²), no polynomial needed: analytic.
    Gaussian,
    /// φ = (1 − t)⁴₊ (4t + 1), no polynomial needed: twice differentiable, 0 beyond r = 1/ε.
    WendlandC2,
    /// φ = (1 − t)⁶₊ (35t² + 18t + 3)/3, no polynomial needed: four times differentiable, 0 beyond r = 1/ε.
    WendlandC4,
    /// φ = (1 + √3 t) exp(−√3 t), no polynomial needed: once differentiable in the mean square.
    Matern32,
    /// φ = (1 + √5 t + 5t²/3) exp(−√5 t), no polynomial needed: twice differentiable in the mean square.
    Matern52,
}

impl Kernel {
    /// All kernels.
    pub const ALL: [Self; 11] = [
        Self::Linear,
        Self::ThinPlate,
        Self::Cubic,
        Self::Quintic,
        Self::Multiquadric,
        Self::InverseMultiquadric,
        Self::Gaussian,
        Self::WendlandC2,
        Self::WendlandC4,
        Self::Matern32,
        Self::Matern52,
    ];

    /// Lowest degree of the polynomial part for which the system has one solution; −1 is no polynomial.
    pub fn least_degree(self) -> i8 {
        match self {
            Self::Linear | Self::Multiquadric => 0,
            Self::ThinPlate | Self::Cubic => 1,
            Self::Quintic => 2,
            _ => -1,
        }
    }

    /// Whether the kernel has a scale ε.
    pub fn has_shape(self) -> bool {
        self.spacings().is_some()
    }

    /// 1/ε in mean spacings of the sites, largest side ÷ ∛n, where no shape is given; `None` for the kernels
    /// without a scale.
    ///
    /// Our choice, because of the errors listed in `docs/methods/radial-basis-functions.md`: wider
    /// kernels are more accurate on smooth data until rounding takes over, and these still leave a positive definite
    /// matrix in double precision at 500 scattered sites.
    pub(crate) fn spacings(self) -> Option<f64> {
        match self {
            Self::Linear | Self::ThinPlate | Self::Cubic | Self::Quintic => None,
            Self::Multiquadric | Self::InverseMultiquadric => Some(1.5),
            Self::Gaussian => Some(1.5),
            Self::WendlandC2 | Self::WendlandC4 => Some(8.0),
            Self::Matern32 | Self::Matern52 => Some(4.0),
        }
    }

    /// The degree asked for, or the least one, if the kernel can be solved with it.
    pub(crate) fn checked_degree(self, degree: Option<i8>) -> Result<i8, FitError> {
        let least = self.least_degree();
        let found = degree.unwrap_or(least);
        if (least..=MAX_DEGREE).contains(&found) {
            Ok(found)
        } else {
            Err(FitError::Degree {
                kernel: self,
                found,
                least,
                most: MAX_DEGREE,
            })
        }
    }
}

impl fmt::Display for Kernel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Linear => "linear",
            Self::ThinPlate => "thin-plate",
            Self::Cubic => "cubic",
            Self::Quintic => "quintic",
            Self::Multiquadric => "multiquadric",
            Self::InverseMultiquadric => "inverse-multiquadric",
            Self::Gaussian => "gaussian",
            Self::WendlandC2 => "wendland-c2",
            Self::WendlandC4 => "wendland-c4",
            Self::Matern32 => "matern32",
            Self::Matern52 => "matern52",
        })
    }
}
