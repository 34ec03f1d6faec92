use crate::Xyz;

/// A colour in CIE 1976 L\*a\*b\*.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Lab {
    /// Lightness: 0 is black, 100 the reference white.
    pub l: f64,
    /// Red (positive) against green.
    pub a: f64,
    /// Yellow (positive) against blue.
    pub b: f64,
}

impl Lab {
    /// A colour from its three coordinates.
    #[must_use]
    pub const fn new(l: f64, a: f64, b: f64) -> Self {
        Self { l, a, b }
    }
}

// The exact fractions. The rounded 0.008856 and 903.3 of older editions leave a step where the cube
// root meets the straight line.
const DELTA: f64 = 6.0 / 29.0;
const EPSILON: f64 = DELTA * DELTA * DELTA;
const SLOPE: f64 = 841.0 / 108.0; // 1 / (3·DELTA²)
const OFFSET: f64 = 4.0 / 29.0;

/// CIELAB of a colour seen against a reference white.
///
/// Both are in the same unit (cd/m² here) and only their ratio counts. Values below zero, as noisy
/// readings near black have, follow the straight line through black. Each component of `white` must
/// be positive, or the result is not finite.
///
/// # Source
/// CIE 015:2018 clause 8.2.1; ISO/CIE 11664-4:2019.
#[must_use]
pub fn lab_from_xyz(xyz: Xyz, white: Xyz) -> Lab {
    let compress = |t: f64| {
        if t > EPSILON {
            t.cbrt()
        } else {
            SLOPE * t + OFFSET
        }
    };
    let fx = compress(xyz.0[0] / white.0[0]);
    let fy = compress(xyz.0[1] / white.0[1]);
    let fz = compress(xyz.0[2] / white.0[2]);
    Lab {
        l: 116.0 * fy - 16.0,
        a: 500.0 * (fx - fy),
        b: 200.0 * (fy - fz),
    }
}

/// The inverse of [`lab_from_xyz`], for the same reference white.
///
/// # Source
/// CIE 015:2018 clause 8.2.1 solved for XYZ.
#[must_use]
pub fn xyz_from_lab(lab: Lab, white: Xyz) -> Xyz {
    let expand = |f: f64| {
        if f > DELTA {
            f * f * f
        } else {
            (f - OFFSET) / SLOPE
        }
    };
    let fy = (lab.l + 16.0) / 116.0;
    Xyz::new(
        white.0[0] * expand(fy + lab.a / 500.0),
        white.0[1] * expand(fy),
        white.0[2] * expand(fy - lab.b / 200.0),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Chromaticity;
    use proptest::prelude::*;

    // About ten operations on values up to 500, and a cube on the way back: relative to the white.
    const ROUNDOFF: f64 = 1e-12;

    proptest! {
        /// XYZ survives the way to CIELAB and back, below black too.
        #[test]
        fn xyz_round_trip(x in -0.02_f64..1.2, y in -0.02_f64..1.2, z in -0.02_f64..1.2,
                          peak in 0.1_f64..10_000.0) {
            let white = Chromaticity::D65.xyz_at(peak);
            let xyz = Xyz::new(x * peak, y * peak, z * peak);
            let back = xyz_from_lab(lab_from_xyz(xyz, white), white);
            for (got, sent) in back.0.iter().zip(xyz.0) {
                prop_assert!((got - sent).abs() < ROUNDOFF * peak, "{sent} came back as {got}");
            }
        }

        /// The white's own chromaticity is neutral, and lightness rises with luminance across the
        /// join of line and root.
        #[test]
        fn greys_are_neutral_and_ordered(y in 0.0_f64..1.0, step in 1e-9_f64..0.1) {
            let white = Chromaticity::D65.xyz_at(1.0);
            let dark = lab_from_xyz(Chromaticity::D65.xyz_at(y), white);
            let light = lab_from_xyz(Chromaticity::D65.xyz_at(y + step), white);
            prop_assert!(dark.a.abs() < ROUNDOFF && dark.b.abs() < ROUNDOFF);
            prop_assert!(dark.l < light.l);
        }
    }

    /// The exact fractions meet in value; the rounded ones of older editions do not.
    #[test]
    fn line_and_root_meet() {
        assert!((EPSILON.cbrt() - (SLOPE * EPSILON + OFFSET)).abs() < ROUNDOFF);
        assert!((EPSILON - 216.0 / 24389.0).abs() < ROUNDOFF);
    }
}
