use std::fmt;

use evenstep_colour::{Xyz, lms_from_xyz, pq_eotf, pq_inverse_eotf, xyz_from_lms};
use nalgebra::{Matrix3, Vector3};

/// A perceptual encoding of XYZ in which a residual is smooth and the eye's threshold about constant.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Encoding {
    /// PQ-encoded LMS as in BT.2100 ICtCp, absolute luminance; linear below [`PQ_TOE_CD_M2`].
    PqLms,
    /// CIELAB's f of XYZ over the panel's white: cube root with a linear toe.
    CubeRoot {
        /// Panel white the values are divided by.
        white: Xyz,
    },
    /// XYZ over the luminance of the panel's white.
    Linear {
        /// Panel white, in cd/m².
        white_cd_m2: f64,
    },
}

/// Below this light the PQ curve is continued by its tangent, so that noisy readings about zero stay finite and
/// the encoding stays invertible. Our choice: about the floor of an instrument that still reads a dark panel.
pub const PQ_TOE_CD_M2: f64 = 0.005;

/// Linear part of CIELAB's f: t ≤ (6/29)³, CIE 015:2018 §8.2.
const CUBE_TOE: f64 = 216.0 / 24389.0;
const CUBE_SLOPE: f64 = 841.0 / 108.0;
const CUBE_OFFSET: f64 = 4.0 / 29.0;

impl Encoding {
    /// Encoded value of a colour.
    #[must_use]
    pub fn encode(self, xyz: Xyz) -> [f64; 3] {
        match self {
            Self::PqLms => lms_from_xyz(xyz).map(pq_with_toe),
            Self::CubeRoot { white } => std::array::from_fn(|i| cube_root(xyz.0[i] / white.0[i])),
            Self::Linear { white_cd_m2 } => xyz.0.map(|v| v / white_cd_m2),
        }
    }

    /// Colour of an encoded value; inverse of [`encode`](Self::encode).
    #[must_use]
    pub fn decode(self, value: [f64; 3]) -> Xyz {
        match self {
            Self::PqLms => xyz_from_lms(value.map(pq_inverse_with_toe)),
            Self::CubeRoot { white } => Xyz(std::array::from_fn(|i| cube(value[i]) * white.0[i])),
            Self::Linear { white_cd_m2 } => Xyz(value.map(|v| v * white_cd_m2)),
        }
    }

    /// ∂encode/∂XYZ at a colour, per cd/m².
    #[must_use]
    pub fn derivative(self, xyz: Xyz) -> Matrix3<f64> {
        match self {
            Self::PqLms => {
                let slope = Vector3::from(lms_from_xyz(xyz).map(pq_slope));
                Matrix3::from_diagonal(&slope) * evenstep_colour::LMS_FROM_XYZ
            }
            Self::CubeRoot { white } => Matrix3::from_diagonal(&Vector3::from_fn(|i, _| {
                cube_root_slope(xyz.0[i] / white.0[i]) / white.0[i]
            })),
            Self::Linear { white_cd_m2 } => Matrix3::identity() / white_cd_m2,
        }
    }
}

impl fmt::Display for Encoding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::PqLms => "pq-lms",
            Self::CubeRoot { .. } => "cube-root",
            Self::Linear { .. } => "linear",
        })
    }
}

/// Derivative of the PQ inverse EOTF, per cd/m².
fn pq_slope(cd_m2: f64) -> f64 {
    // A symmetric relative difference: the curve is smooth above the toe and 1e-5 balances both errors.
    const STEP: f64 = 1e-5;
    let at = cd_m2.max(PQ_TOE_CD_M2);
    (pq_inverse_eotf(at * (1.0 + STEP)) - pq_inverse_eotf(at * (1.0 - STEP))) / (2.0 * STEP * at)
}

fn pq_with_toe(cd_m2: f64) -> f64 {
    if cd_m2 >= PQ_TOE_CD_M2 {
        pq_inverse_eotf(cd_m2)
    } else {
        pq_inverse_eotf(PQ_TOE_CD_M2) + (cd_m2 - PQ_TOE_CD_M2) * pq_slope(PQ_TOE_CD_M2)
    }
}

fn pq_inverse_with_toe(value: f64) -> f64 {
    let toe = pq_inverse_eotf(PQ_TOE_CD_M2);
    if value >= toe {
        pq_eotf(value.min(1.0))
    } else {
        PQ_TOE_CD_M2 + (value - toe) / pq_slope(PQ_TOE_CD_M2)
    }
}

fn cube_root(t: f64) -> f64 {
    if t > CUBE_TOE {
        t.cbrt()
    } else {
        CUBE_SLOPE * t + CUBE_OFFSET
    }
}

fn cube(f: f64) -> f64 {
    if f > 6.0 / 29.0 {
        f.powi(3)
    } else {
        (f - CUBE_OFFSET) / CUBE_SLOPE
    }
}

fn cube_root_slope(t: f64) -> f64 {
    if t > CUBE_TOE {
        t.cbrt().powi(-2) / 3.0
    } else {
        CUBE_SLOPE
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const WHITE: Xyz = Xyz::new(171.0, 180.0, 196.0);

    fn encodings() -> [Encoding; 3] {
        [
            Encoding::PqLms,
            Encoding::CubeRoot { white: WHITE },
            Encoding::Linear { white_cd_m2: 180.0 },
        ]
    }

    proptest! {
        /// Decoding undoes encoding, also for the slightly negative readings that occur near black.
        #[test]
        fn decode_inverts_encode(x in -0.01..300.0_f64, y in -0.01..300.0_f64, z in -0.01..300.0_f64) {
            // The 1e-9 floor of PQ's own inverse: two powers of large exponent.
            for q in encodings() {
                let back = q.decode(q.encode(Xyz::new(x, y, z)));
                for (a, b) in back.0.iter().zip([x, y, z]) {
                    prop_assert!((a - b).abs() < 1e-7 * (1.0 + b.abs()), "{q}: {a} {b}");
                }
            }
        }

        /// The derivative agrees with central differences.
        #[test]
        fn derivative_agrees_with_differences(x in 0.1..300.0_f64, y in 0.1..300.0_f64, z in 0.1..300.0_f64) {
            for q in encodings() {
                let slope = q.derivative(Xyz::new(x, y, z));
                let h = 1e-4;
                for c in 0..3 {
                    let (mut low, mut high) = ([x, y, z], [x, y, z]);
                    low[c] -= h;
                    high[c] += h;
                    // Both points on the same side of every toe, where the slope itself jumps.
                    let lms = (lms_from_xyz(Xyz(low)), lms_from_xyz(Xyz(high)));
                    prop_assume!(lms.0.iter().chain(&lms.1).all(|v| *v > 2.0 * PQ_TOE_CD_M2));
                    prop_assume!([low, high].iter().all(|p| (0..3).all(|i| p[i] / WHITE.0[i] > 0.01)));
                    let (a, b) = (q.encode(Xyz(low)), q.encode(Xyz(high)));
                    for i in 0..3 {
                        let difference = (b[i] - a[i]) / (2.0 * h);
                        prop_assert!((difference - slope[(i, c)]).abs() < 1e-4 * (1.0 + slope[(i, c)].abs()),
                            "{q} {i} {c}: {difference} {}", slope[(i, c)]);
                    }
                }
            }
        }
    }
}
