/// The ends of the scale of JND indices.
const FIRST: f64 = 1.0;
const LAST: f64 = 1023.0;

// Coefficients of log₁₀ L over x = ln j, lowest power first, as printed.
const NUMERATOR: [f64; 5] = [
    -1.301_187_7,
    8.024_263_6e-2,
    1.364_669_9e-1,
    -2.546_840_4e-2,
    1.363_533_4e-3,
];
const DENOMINATOR: [f64; 6] = [
    1.0,
    -2.584_019_1e-2,
    -1.032_022_9e-1,
    2.874_562_0e-2,
    -3.197_897_7e-3,
    1.299_263_4e-4,
];

/// Halvings of [ln 1, ln 1023]: 6.93 / 2⁵⁶ is below the rounding of x itself.
const HALVINGS: usize = 56;

/// Luminance in cd/m² of a (real-valued) JND index of DICOM's Grayscale Standard Display Function.
///
/// Defined for 1 ≤ `index` ≤ 1023, from 0.04998 to 3993.33 cd/m²; NaN outside.
///
/// # Source
/// DICOM PS3.14 (2024c) clause 7.1. Its table B-1 ends 2e-5 higher than its printed coefficients do;
/// this is the formula.
#[must_use]
pub fn gsdf_luminance(index: f64) -> f64 {
    if (FIRST..=LAST).contains(&index) {
        10.0_f64.powf(log10_luminance(index.ln()))
    } else {
        f64::NAN
    }
}

/// The JND index of a luminance in cd/m², or `None` where the scale is not defined: below 0.04998 and
/// above 3993.33 cd/m².
///
/// DIFFERENCE: the standard's own inverse polynomial errs by up to 0.09 index and, between
/// neighbouring codes near black, by 12 % of their step. This inverts [`gsdf_luminance`] by bisection,
/// which is safe because it rises strictly.
///
/// # Source
/// DICOM PS3.14 (2024c) clause 7.1.
#[must_use]
pub fn gsdf_index(luminance_cd_m2: f64) -> Option<f64> {
    if !(gsdf_luminance(FIRST)..=gsdf_luminance(LAST)).contains(&luminance_cd_m2) {
        return None; // so is NaN, which is in no range
    }
    let wanted = luminance_cd_m2.log10();
    let (mut low, mut high) = (FIRST.ln(), LAST.ln());
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        if log10_luminance(middle) <= wanted {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some((0.5 * (low + high)).exp().clamp(FIRST, LAST))
}

fn log10_luminance(x: f64) -> f64 {
    polynomial(&NUMERATOR, x) / polynomial(&DENOMINATOR, x)
}

fn polynomial(coefficients: &[f64], x: f64) -> f64 {
    coefficients
        .iter()
        .rev()
        .fold(0.0, |sum, coefficient| sum * x + coefficient)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    // log₁₀ L carries some 30 roundings on values up to 7 (1e-14), and one index is at least 2.8e-3
    // of it: 4e-12, with a wide margin.
    const INDEX_ROUNDOFF: f64 = 1e-9;

    proptest! {
        /// The inversion is exact.
        #[test]
        fn index_undoes_luminance(index in 1.0_f64..=1023.0) {
            let back = gsdf_index(gsdf_luminance(index)).expect("the luminance is on the scale");
            prop_assert!((back - index).abs() < INDEX_ROUNDOFF, "{index} came back as {back}");
        }

        /// A brighter light never has a lower index.
        #[test]
        fn index_rises_with_luminance(index in 1.0_f64..1022.9, step in 1e-6_f64..0.1) {
            let (low, high) = (gsdf_luminance(index), gsdf_luminance(index + step));
            prop_assert!(low < high);
            prop_assert!(gsdf_index(low) < gsdf_index(high));
        }
    }

    #[test]
    fn the_scale_ends_where_it_is_not_defined() {
        for outside in [-1.0, 0.0, 0.0499, 3994.0, f64::NAN, f64::INFINITY] {
            assert_eq!(gsdf_index(outside), None, "{outside}");
        }
        for outside in [0.999, 1023.001, -5.0, f64::NAN] {
            assert!(gsdf_luminance(outside).is_nan(), "{outside}");
        }
        for end in [FIRST, LAST] {
            let back = gsdf_index(gsdf_luminance(end)).expect("the ends belong to the scale");
            assert!((back - end).abs() < INDEX_ROUNDOFF);
        }
    }
}
