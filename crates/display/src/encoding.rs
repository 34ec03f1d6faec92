use std::fmt;

use std::sync::LazyLock;

use evenstep_colour::{
    LMS_FROM_XYZ, XYZ_FROM_LMS, Xyz, lms_from_xyz, pq_eotf_with_slope, pq_inverse_eotf_with_slope,
    xyz_from_lms,
};
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
            Self::PqLms => lms_from_xyz(xyz).map(|lms| pq_with_toe(lms).0),
            Self::CubeRoot { white } => std::array::from_fn(|i| cube_root(xyz.0[i] / white.0[i]).0),
            Self::Linear { white_cd_m2 } => xyz.0.map(|v| v / white_cd_m2),
        }
    }

    /// Encoded value of a colour and ∂encode/∂XYZ, per cd/m².
    #[must_use]
    pub fn encode_with_derivative(self, xyz: Xyz) -> ([f64; 3], Matrix3<f64>) {
        match self {
            Self::PqLms => {
                let both = lms_from_xyz(xyz).map(pq_with_toe);
                let slope = Vector3::from(both.map(|b| b.1));
                (
                    both.map(|b| b.0),
                    Matrix3::from_diagonal(&slope) * LMS_FROM_XYZ,
                )
            }
            Self::CubeRoot { white } => {
                let both: [_; 3] = std::array::from_fn(|i| cube_root(xyz.0[i] / white.0[i]));
                let slope = Vector3::from_fn(|i, _| both[i].1 / white.0[i]);
                (both.map(|b| b.0), Matrix3::from_diagonal(&slope))
            }
            Self::Linear { white_cd_m2 } => (self.encode(xyz), Matrix3::identity() / white_cd_m2),
        }
    }

    /// ∂encode/∂XYZ at a colour, per cd/m².
    #[must_use]
    pub fn derivative(self, xyz: Xyz) -> Matrix3<f64> {
        self.encode_with_derivative(xyz).1
    }

    /// Colour of an encoded value; inverse of [`encode`](Self::encode).
    #[must_use]
    pub fn decode(self, value: [f64; 3]) -> Xyz {
        match self {
            Self::PqLms => xyz_from_lms(value.map(|v| pq_inverse_with_toe(v).0)),
            Self::CubeRoot { white } => Xyz(std::array::from_fn(|i| cube(value[i]).0 * white.0[i])),
            Self::Linear { white_cd_m2 } => Xyz(value.map(|v| v * white_cd_m2)),
        }
    }

    /// Colour of an encoded value and ∂XYZ/∂value, in cd/m².
    #[must_use]
    pub fn decode_with_derivative(self, value: [f64; 3]) -> (Xyz, Matrix3<f64>) {
        match self {
            Self::PqLms => {
                let both = value.map(pq_inverse_with_toe);
                let slope = Vector3::from(both.map(|b| b.1));
                let xyz = xyz_from_lms(both.map(|b| b.0));
                (xyz, XYZ_FROM_LMS * Matrix3::from_diagonal(&slope))
            }
            Self::CubeRoot { white } => {
                let both = value.map(cube);
                let slope = Vector3::from_fn(|i, _| both[i].1 * white.0[i]);
                let xyz = std::array::from_fn(|i| both[i].0 * white.0[i]);
                (Xyz(xyz), Matrix3::from_diagonal(&slope))
            }
            Self::Linear { white_cd_m2 } => (self.decode(value), Matrix3::identity() * white_cd_m2),
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

/// PQ signal and its slope where the tangent takes over.
static TOE: LazyLock<(f64, f64)> = LazyLock::new(|| pq_inverse_eotf_with_slope(PQ_TOE_CD_M2));

/// Signal of a light and its derivative.
pub(crate) fn pq_with_toe(cd_m2: f64) -> (f64, f64) {
    if cd_m2 >= PQ_TOE_CD_M2 {
        pq_inverse_eotf_with_slope(cd_m2)
    } else {
        let (signal, slope) = *TOE;
        (signal + (cd_m2 - PQ_TOE_CD_M2) * slope, slope)
    }
}

/// Light of a signal and its derivative.
fn pq_inverse_with_toe(value: f64) -> (f64, f64) {
    let (toe, slope) = *TOE;
    if value >= toe {
        pq_eotf_with_slope(value.min(1.0))
    } else {
        (PQ_TOE_CD_M2 + (value - toe) / slope, 1.0 / slope)
    }
}

/// CIELAB's f and its derivative.
fn cube_root(t: f64) -> (f64, f64) {
    if t > CUBE_TOE {
        let root = t.cbrt();
        (root, 1.0 / (3.0 * root * root))
    } else {
        (CUBE_SLOPE * t + CUBE_OFFSET, CUBE_SLOPE)
    }
}

/// Its inverse and the inverse's derivative.
fn cube(f: f64) -> (f64, f64) {
    if f > 6.0 / 29.0 {
        (f * f * f, 3.0 * f * f)
    } else {
        ((f - CUBE_OFFSET) / CUBE_SLOPE, 1.0 / CUBE_SLOPE)
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

        /// The two derivatives are each other's inverse, and come with the plain values.
        #[test]
        fn derivatives_are_inverse(x in 0.001..300.0_f64, y in 0.001..300.0_f64, z in 0.001..300.0_f64) {
            for q in encodings() {
                let xyz = Xyz::new(x, y, z);
                let (value, slope) = q.encode_with_derivative(xyz);
                prop_assert_eq!(value, q.encode(xyz));
                let (back, inverse) = q.decode_with_derivative(value);
                prop_assert_eq!(back, q.decode(value));
                // At the joins of two pieces rounding may take either.
                let lms = lms_from_xyz(xyz);
                prop_assume!(lms.iter().all(|v| (v / PQ_TOE_CD_M2 - 1.0).abs() > 1e-9));
                prop_assume!((0..3).all(|i| (xyz.0[i] / WHITE.0[i] / CUBE_TOE - 1.0).abs() > 1e-9));
                // Slopes differ a thousandfold between black and white.
                prop_assert!((slope * inverse - Matrix3::identity()).amax() < 1e-8, "{q}");
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
