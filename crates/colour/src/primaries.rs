use nalgebra::Matrix3;

use crate::Chromaticity;
use crate::matrix::{Rows, apply, inverse, matrix3};

/// The chromaticities of an additive RGB space.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Primaries {
    /// Chromaticity of the red primary.
    pub red: Chromaticity,
    /// Chromaticity of the green primary.
    pub green: Chromaticity,
    /// Chromaticity of the blue primary.
    pub blue: Chromaticity,
}

impl Primaries {
    /// High-definition television, and sRGB.
    ///
    /// # Source
    /// Rec. ITU-R BT.709-6 (06/2015) item 1.3; IEC 61966-2-1:1999.
    pub const BT709: Self = Self {
        red: Chromaticity { x: 0.640, y: 0.330 },
        green: Chromaticity { x: 0.300, y: 0.600 },
        blue: Chromaticity { x: 0.150, y: 0.060 },
    };

    /// Digital cinema primaries; with [`Chromaticity::D65`] as white they make P3-D65.
    ///
    /// # Source
    /// SMPTE RP 431-2:2011 for the primaries, SMPTE EG 432-1:2010 for their use with D65.
    pub const P3: Self = Self {
        red: Chromaticity { x: 0.680, y: 0.320 },
        green: Chromaticity { x: 0.265, y: 0.690 },
        blue: Chromaticity { x: 0.150, y: 0.060 },
    };

    /// Ultra-high-definition and HDR television.
    ///
    /// # Source
    /// Rec. ITU-R BT.2020-2 (10/2015) table 3; BT.2100-2 (07/2018) table 2.
    pub const BT2020: Self = Self {
        red: Chromaticity { x: 0.708, y: 0.292 },
        green: Chromaticity { x: 0.170, y: 0.797 },
        blue: Chromaticity { x: 0.131, y: 0.046 },
    };

    /// The sets that have a name: `bt709`, `p3-d65`, `bt2020`.
    pub const NAMED: [(&str, Self); 3] = [
        ("bt709", Self::BT709),
        ("p3-d65", Self::P3),
        ("bt2020", Self::BT2020),
    ];

    /// The primaries of a name in [`NAMED`](Self::NAMED).
    #[must_use]
    pub fn by_name(name: &str) -> Option<Self> {
        let named = Self::NAMED.iter().find(|(n, _)| *n == name);
        named.map(|(_, primaries)| *primaries)
    }

    /// The name of these primaries in [`NAMED`](Self::NAMED).
    #[must_use]
    pub fn name(&self) -> Option<&'static str> {
        let named = Self::NAMED.iter().find(|(_, p)| p == self);
        named.map(|(name, _)| *name)
    }

    /// The matrix from light-linear RGB in [0, 1] to XYZ in which the white has Y = 1.
    ///
    /// Columns are the primaries; their sum is the white. Multiply by the white's luminance for
    /// absolute light. Collinear primaries, or a coordinate `y = 0`, span no such matrix and give
    /// elements that are not finite.
    ///
    /// # Source
    /// SMPTE RP 177:1993: the primaries are scaled so that equal RGB makes the white.
    #[must_use]
    pub const fn xyz_from_rgb(&self, white: Chromaticity) -> Matrix3<f64> {
        matrix3(&self.rows(white))
    }

    pub(crate) const fn rows(&self, white: Chromaticity) -> Rows {
        let red = self.red.xyz_at(1.0).0;
        let green = self.green.xyz_at(1.0).0;
        let blue = self.blue.xyz_at(1.0).0;
        let mut rows = [
            [red[0], green[0], blue[0]],
            [red[1], green[1], blue[1]],
            [red[2], green[2], blue[2]],
        ];
        let luminances = apply(&inverse(&rows), white.xyz_at(1.0).0);
        let mut i = 0;
        while i < 9 {
            rows[i / 3][i % 3] *= luminances[i % 3];
            i += 1;
        }
        rows
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Xyz;
    use proptest::prelude::*;

    const ROUNDOFF: f64 = 1e-13; // about 20 operations on values up to 5

    proptest! {
        /// Equal RGB makes the white, and a lone channel has its primary's chromaticity: the two
        /// conditions that define the matrix.
        #[test]
        fn white_and_primaries_are_met(x in 0.28_f64..0.36, y in 0.29_f64..0.37, which in 0_usize..3) {
            let space = [Primaries::BT709, Primaries::P3, Primaries::BT2020][which];
            let white = Chromaticity { x, y };
            let matrix = space.xyz_from_rgb(white);
            for (got, expected) in matrix.column_sum().iter().zip(white.xyz_at(1.0).0) {
                prop_assert!((got - expected).abs() < ROUNDOFF);
            }
            for (c, primary) in [space.red, space.green, space.blue].into_iter().enumerate() {
                let seen = Xyz::from(matrix.column(c).into_owned()).chromaticity().expect("light");
                prop_assert!((seen.x - primary.x).abs() < ROUNDOFF);
                prop_assert!((seen.y - primary.y).abs() < ROUNDOFF);
            }
        }
    }

    #[test]
    fn collinear_primaries_are_not_finite_and_do_not_panic() {
        let flat = Primaries {
            blue: Primaries::BT709.red,
            ..Primaries::BT709
        };
        let matrix = flat.xyz_from_rgb(Chromaticity::D65);
        assert!(matrix.iter().any(|v| !v.is_finite()));
    }
}
