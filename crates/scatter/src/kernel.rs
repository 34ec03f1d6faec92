//! Radial kernels and the polynomial degree each needs.

use std::fmt;

use crate::FitError;

/// Highest polynomial degree implemented.
pub(crate) const MAX_DEGREE: u8 = 2;

/// Radial kernel φ(r), signed so that it is positive definite once polynomials are projected out.
///
/// # Source
/// Kernels, signs and least degrees: Fasshauer (2007), chapter 8 (title and chapter from memory).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Kernel {
    /// φ = −r, at least degree 0: continuous, with a kink at every site.
    Linear,
    /// φ = r² ln r, at least degree 1: differentiable everywhere.
    ThinPlate,
    /// φ = r³, at least degree 1: twice differentiable.
    Cubic,
}

impl Kernel {
    /// All kernels, smoothest last.
    pub const ALL: [Self; 3] = [Self::Linear, Self::ThinPlate, Self::Cubic];

    /// Lowest degree of the polynomial part for which the system has one solution.
    pub fn least_degree(self) -> u8 {
        match self {
            Self::Linear => 0,
            Self::ThinPlate | Self::Cubic => 1,
        }
    }

    /// The degree asked for, or the least one, if the kernel can be solved with it.
    pub(crate) fn checked_degree(self, degree: Option<u8>) -> Result<u8, FitError> {
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
        })
    }
}
