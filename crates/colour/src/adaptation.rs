use nalgebra::Matrix3;

use crate::Xyz;
use crate::matrix::{Rows, apply, inverse, matrix3, product};

/// Chromatic adaptation by scaling in a cone-like space (complete adaptation, linear).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AdaptationTransform {
    /// The linearised Bradford transform, ICC's choice.
    ///
    /// # Source
    /// K. M. Lam, thesis, University of Bradford, 1985; ICC.1:2022 annex E.
    Bradford,
    /// The transform of CIECAM02.
    ///
    /// # Source
    /// CIE 159:2004.
    Cat02,
    /// The transform of CAM16.
    ///
    /// # Source
    /// Li et al., Color Res. Appl. 42(6), 2017; CIE 248:2022.
    Cat16,
}

const BRADFORD: Rows = [
    [0.8951, 0.2664, -0.1614],
    [-0.7502, 1.7135, 0.0367],
    [0.0389, -0.0685, 1.0296],
];
const CAT02: Rows = [
    [0.7328, 0.4296, -0.1624],
    [-0.7036, 1.6975, 0.0061],
    [0.0030, 0.0136, 0.9834],
];
const CAT16: Rows = [
    [0.401_288, 0.650_173, -0.051_461],
    [-0.250_268, 1.204_414, 0.045_854],
    [-0.002_079, 0.048_952, 0.953_127],
];

impl AdaptationTransform {
    /// The matrix that takes a colour seen under the white `from` to the corresponding colour under
    /// the white `to`.
    ///
    /// It maps `from` onto `to` exactly, luminance included: give both the same luminance for a change
    /// of chromaticity alone. A white with a cone response of 0 gives elements that are not finite.
    #[must_use]
    pub const fn matrix(self, from: Xyz, to: Xyz) -> Matrix3<f64> {
        let cones = match self {
            Self::Bradford => &BRADFORD,
            Self::Cat02 => &CAT02,
            Self::Cat16 => &CAT16,
        };
        let (before, after) = (apply(cones, from.0), apply(cones, to.0));
        let scale = [
            [after[0] / before[0], 0.0, 0.0],
            [0.0, after[1] / before[1], 0.0],
            [0.0, 0.0, after[2] / before[2]],
        ];
        matrix3(&product(&inverse(cones), &product(&scale, cones)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Chromaticity;
    use nalgebra::Vector3;
    use proptest::prelude::*;

    const ROUNDOFF: f64 = 1e-12; // about 60 operations, relative to the white

    fn any_transform() -> impl Strategy<Value = AdaptationTransform> {
        prop_oneof![
            Just(AdaptationTransform::Bradford),
            Just(AdaptationTransform::Cat02),
            Just(AdaptationTransform::Cat16),
        ]
    }

    fn any_white() -> impl Strategy<Value = Xyz> {
        (0.25_f64..0.45, 0.25_f64..0.45, 0.1_f64..1000.0)
            .prop_map(|(x, y, peak)| Chromaticity { x, y }.xyz_at(peak))
    }

    proptest! {
        /// One white goes to the other exactly, and the way back undoes it.
        #[test]
        fn white_goes_to_white(how in any_transform(), from in any_white(), to in any_white()) {
            let there = how.matrix(from, to);
            let shown = there * Vector3::from(from);
            prop_assert!((shown - Vector3::from(to)).amax() < ROUNDOFF * to.0[0].max(to.0[1]).max(to.0[2]));
            let round = how.matrix(to, from) * there;
            prop_assert!((round - Matrix3::identity()).amax() < ROUNDOFF);
        }

        /// Nothing changes under an unchanged white.
        #[test]
        fn same_white_is_the_identity(how in any_transform(), white in any_white()) {
            prop_assert!((how.matrix(white, white) - Matrix3::identity()).amax() < ROUNDOFF);
        }
    }

    /// CIE 159:2004 prints the inverse of CAT02 to six decimals (figures from memory of the
    /// publication).
    #[test]
    fn inverse_of_cat02_as_printed() {
        const SIXTH_DECIMAL: f64 = 0.5e-6;
        let printed = [
            [1.096_124, -0.278_869, 0.182_745],
            [0.454_369, 0.473_533, 0.072_098],
            [-0.009_628, -0.005_698, 1.015_326],
        ];
        let error = (matrix3(&inverse(&CAT02)) - matrix3(&printed)).amax();
        assert!(error <= SIXTH_DECIMAL, "off by {error:e}");
    }
}
