use nalgebra::Matrix3;

use crate::matrix::{Rows, apply, inverse, matrix3, product};
use crate::{Chromaticity, Primaries, Xyz, pq_eotf, pq_inverse_eotf};

/// ICtCp of PQ-encoded display light.
///
/// # Source
/// Rec. ITU-R BT.2100-2 (07/2018) table 7.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Ictcp {
    /// Intensity; a neutral's is the PQ signal of its luminance.
    pub i: f64,
    /// Tritan axis, blue against yellow; 0 for neutrals.
    pub ct: f64,
    /// Protan axis, red against green; 0 for neutrals.
    pub cp: f64,
}

/// ICtCp with the tritan axis halved, unscaled: distances times 720 are ΔE ITP.
///
/// # Source
/// Rec. ITU-R BT.2124-0 (01/2019) annex 1.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Itp {
    /// Intensity, as in [`Ictcp`].
    pub i: f64,
    /// Half of Ct.
    pub t: f64,
    /// Cp.
    pub p: f64,
}

/// BT.2124's scale: one unit is just noticeable in the most critical state of adaptation.
const UNITS_PER_JND: f64 = 720.0;

/// In units of 1/4096, as printed.
const LMS_FROM_BT2020: Rows = over_4096([
    [1688.0, 2146.0, 262.0],
    [683.0, 2951.0, 462.0],
    [99.0, 309.0, 3688.0],
]);

/// In units of 1/4096, as printed.
const ICTCP_FROM_LMS: Rows = over_4096([
    [2048.0, 2048.0, 0.0],
    [6610.0, -13613.0, 7003.0],
    [17933.0, -17390.0, -543.0],
]);

const LMS_FROM_XYZ_ROWS: Rows = product(
    &LMS_FROM_BT2020,
    &inverse(&Primaries::BT2020.rows(Chromaticity::D65)),
);
const XYZ_FROM_LMS_ROWS: Rows = inverse(&LMS_FROM_XYZ_ROWS);
const LMS_FROM_ICTCP: Rows = inverse(&ICTCP_FROM_LMS);

/// The matrix from XYZ to the LMS of BT.2100, both in cd/m²: D65 of unit luminance gives (1, 1, 1).
///
/// # Source
/// Rec. ITU-R BT.2100-2 (07/2018) table 7 for LMS from RGB, SMPTE RP 177:1993 for RGB from XYZ.
pub const LMS_FROM_XYZ: Matrix3<f64> = matrix3(&LMS_FROM_XYZ_ROWS);

/// Inverse of [`LMS_FROM_XYZ`].
pub const XYZ_FROM_LMS: Matrix3<f64> = matrix3(&XYZ_FROM_LMS_ROWS);

const fn over_4096(mut rows: Rows) -> Rows {
    let mut i = 0;
    while i < 9 {
        rows[i / 3][i % 3] /= 4096.0;
        i += 1;
    }
    rows
}

/// Cone-like LMS of BT.2100, in cd/m². Linear: negative light stays negative.
#[must_use]
pub fn lms_from_xyz(xyz: Xyz) -> [f64; 3] {
    apply(&LMS_FROM_XYZ_ROWS, xyz.0)
}

/// The inverse of [`lms_from_xyz`].
#[must_use]
pub fn xyz_from_lms(lms: [f64; 3]) -> Xyz {
    Xyz(apply(&XYZ_FROM_LMS_ROWS, lms))
}

/// ICtCp of absolute display light.
///
/// LMS components below 0 (noise near black, colours no eye sees) count as 0, since PQ is not
/// defined there.
///
/// # Source
/// Rec. ITU-R BT.2100-2 (07/2018) table 7, the PQ column.
#[must_use]
pub fn ictcp_from_xyz(xyz: Xyz) -> Ictcp {
    let encoded = lms_from_xyz(xyz).map(pq_inverse_eotf);
    let [i, ct, cp] = apply(&ICTCP_FROM_LMS, encoded);
    Ictcp { i, ct, cp }
}

/// The inverse of [`ictcp_from_xyz`] where no component was clamped.
#[must_use]
pub fn xyz_from_ictcp(colour: Ictcp) -> Xyz {
    let encoded = apply(&LMS_FROM_ICTCP, [colour.i, colour.ct, colour.cp]);
    xyz_from_lms(encoded.map(pq_eotf))
}

/// ITP of absolute display light; see [`ictcp_from_xyz`] for what happens to negative light.
///
/// # Source
/// Rec. ITU-R BT.2124-0 (01/2019) annex 1: T = Ct / 2, P = Cp.
#[must_use]
pub fn itp_from_xyz(xyz: Xyz) -> Itp {
    let Ictcp { i, ct, cp } = ictcp_from_xyz(xyz);
    Itp {
        i,
        t: 0.5 * ct,
        p: cp,
    }
}

/// The inverse of [`itp_from_xyz`] where no component was clamped.
#[must_use]
pub fn xyz_from_itp(itp: Itp) -> Xyz {
    xyz_from_ictcp(Ictcp {
        i: itp.i,
        ct: 2.0 * itp.t,
        cp: itp.p,
    })
}

/// Colour difference ΔE ITP: 720 times the distance in ITP. 1 is just noticeable in the most critical
/// state of adaptation.
///
/// # Source
/// Rec. ITU-R BT.2124-0 (01/2019) annex 1.
#[must_use]
pub fn delta_e_itp(first: Itp, second: Itp) -> f64 {
    let (d_i, d_t, d_p) = (second.i - first.i, second.t - first.t, second.p - first.p);
    UNITS_PER_JND * (d_i * d_i + d_t * d_t + d_p * d_p).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::array::uniform3;
    use proptest::prelude::*;

    // About 20 operations on encoded values up to 4.
    const ROUNDOFF: f64 = 1e-13;
    // The EOTF turns an encoding error of 1e-15 into a relative error of at most 1e-15·350.
    const LIGHT_ROUNDOFF: f64 = 1e-11;

    /// Light of BT.2020 RGB whose channels are spread over the logarithm, in cd/m².
    fn any_light() -> impl Strategy<Value = Xyz> {
        uniform3(-7.0_f64..9.2).prop_map(|ln| {
            let rgb = ln.map(f64::exp);
            Xyz(apply(&Primaries::BT2020.rows(Chromaticity::D65), rgb))
        })
    }

    proptest! {
        /// Light inside BT.2020 survives ITP, ICtCp and LMS and the way back.
        #[test]
        fn xyz_round_trip(xyz in any_light()) {
            let scale = xyz.0.iter().fold(0.0_f64, |m, v| m.max(v.abs()));
            for back in [
                xyz_from_itp(itp_from_xyz(xyz)),
                xyz_from_ictcp(ictcp_from_xyz(xyz)),
                xyz_from_lms(lms_from_xyz(xyz)),
            ] {
                for (got, sent) in back.0.iter().zip(xyz.0) {
                    prop_assert!((got - sent).abs() < LIGHT_ROUNDOFF * scale, "{sent}: {got}");
                }
            }
        }

        /// A neutral's I is the PQ signal of its luminance, and its T and P are 0.
        #[test]
        fn neutrals_have_no_chroma(ln_l in -9.0_f64..9.2) {
            let luminance = ln_l.exp();
            let itp = itp_from_xyz(Chromaticity::D65.xyz_at(luminance));
            prop_assert!((itp.i - pq_inverse_eotf(luminance)).abs() < ROUNDOFF);
            prop_assert!(itp.t.abs() < ROUNDOFF && itp.p.abs() < ROUNDOFF);
        }

        /// The difference is a distance: symmetric, 0 for equal colours, never longer by a detour.
        #[test]
        fn difference_is_a_distance(a in any_light(), b in any_light(), c in any_light()) {
            let [a, b, c] = [a, b, c].map(itp_from_xyz);
            prop_assert_eq!(delta_e_itp(a, b), delta_e_itp(b, a));
            prop_assert_eq!(delta_e_itp(a, a), 0.0);
            prop_assert!(delta_e_itp(a, c) <= delta_e_itp(a, b) + delta_e_itp(b, c) + UNITS_PER_JND * ROUNDOFF);
        }

        /// Noise below black is black.
        #[test]
        fn negative_light_is_black(depth in 0.0_f64..1.0) {
            let below = itp_from_xyz(Chromaticity::D65.xyz_at(-depth));
            let black = itp_from_xyz(Xyz::default());
            prop_assert_eq!(below, black);
        }
    }

    /// Integers of table 7: white gives equal LMS, and equal L′M′S′ no chroma.
    #[test]
    fn rows_sum_as_the_table_needs() {
        for row in LMS_FROM_BT2020 {
            assert_eq!(row.iter().sum::<f64>(), 1.0);
        }
        assert_eq!(
            ICTCP_FROM_LMS.map(|row| row.iter().sum::<f64>()),
            [1.0, 0.0, 0.0]
        );
        let white = LMS_FROM_XYZ * nalgebra::Vector3::from(Chromaticity::D65.xyz_at(1.0));
        assert!(white.iter().all(|v| (v - 1.0).abs() < ROUNDOFF));
    }
}
