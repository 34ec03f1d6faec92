use std::f64::consts::{PI, TAU};

use crate::Lab;

/// 25⁷, the chroma at which the formula's two chroma weights reach half strength, to the seventh.
const HALF_CHROMA_7: f64 = 6_103_515_625.0;

/// 1e-9 degrees. Opposite hues are 180° apart only up to the last bits of the arctangent; without
/// this slack pair 14 of the published table depends on the platform's `atan2`.
const OPPOSITE_HUE_SLACK: f64 = 1e-9 * PI / 180.0;

// sin and cos of the fixed angles of T, so that one `sin_cos` of the mean hue serves all four terms.
const COS_30: f64 = 0.866_025_403_784_438_6;
const SIN_30: f64 = 0.5;
const COS_6: f64 = 0.994_521_895_368_273_3;
const SIN_6: f64 = 0.104_528_463_267_653_47;
const COS_63: f64 = 0.453_990_499_739_546_8;
const SIN_63: f64 = 0.891_006_524_188_367_9;

/// CIEDE2000 colour difference with k_L = k_C = k_H = 1.
///
/// Symmetric in its arguments, not a metric (it has no triangle inequality) and, by design of its
/// mean-hue rule, not continuous for opposite hues.
///
/// # Source
/// CIE 142-2001 and ISO/CIE 11664-6:2014; hue rules as in Sharma, Wu & Dalal, "The CIEDE2000
/// Color-Difference Formula: Implementation Notes, Supplementary Test Data, and Mathematical
/// Observations", Color Res. Appl. 30(1):21-30, 2005, equations 2 to 22.
#[must_use]
pub fn delta_e_2000(first: Lab, second: Lab) -> f64 {
    let mean_chroma_ab = 0.5 * (chroma(first.a, first.b) + chroma(second.a, second.b));
    let stretch = 1.5 - 0.5 * chroma_share(mean_chroma_ab);
    let (chroma_1, hue_1) = polar(first.a * stretch, first.b);
    let (chroma_2, hue_2) = polar(second.a * stretch, second.b);

    // The published rule for neutrals (hue difference 0, mean hue the sum) needs no branch: with either
    // chroma 0, ΔH′ is 0 whatever the hues are, and the mean hue enters through ΔH′ alone.
    let (hue_step, mean_hue) = hue_step_and_mean(hue_1, hue_2);

    let mean_lightness = 0.5 * (first.l + second.l);
    let mean_chroma = 0.5 * (chroma_1 + chroma_2);
    let lightness_offset = (mean_lightness - 50.0) * (mean_lightness - 50.0);
    let weight_l = 1.0 + 0.015 * lightness_offset / (20.0 + lightness_offset).sqrt();
    let weight_c = 1.0 + 0.045 * mean_chroma;
    let weight_h = 1.0 + 0.015 * mean_chroma * hue_weight(mean_hue);

    let d_l = (second.l - first.l) / weight_l;
    let d_c = (chroma_2 - chroma_1) / weight_c;
    let d_h = 2.0 * (chroma_1 * chroma_2).sqrt() * (0.5 * hue_step).sin() / weight_h;

    let from_blue = (mean_hue.to_degrees() - 275.0) / 25.0;
    let rotation_angle = (60.0 * (-from_blue * from_blue).exp()).to_radians(); // 2·Δθ
    let rotation = -2.0 * chroma_share(mean_chroma) * rotation_angle.sin();

    // Rounding can leave a tiny negative sum when the rotation term cancels the squares.
    (d_l * d_l + d_c * d_c + d_h * d_h + rotation * d_c * d_h)
        .max(0.0)
        .sqrt()
}

/// √(C⁷ / (C⁷ + 25⁷)), by multiplication: `powi` and `powf` cost more than the rest of the term.
fn chroma_share(chroma: f64) -> f64 {
    let squared = chroma * chroma;
    let seventh = squared * squared * squared * chroma;
    (seventh / (seventh + HALF_CHROMA_7)).sqrt()
}

/// Length by the plain root: `hypot` guards against squares that overflow, which no colour reaches, and
/// took a third of the time of the whole formula.
fn chroma(a: f64, b: f64) -> f64 {
    (a * a + b * b).sqrt()
}

/// Chroma, and hue in [0, 2π]; that of a neutral means nothing.
fn polar(a: f64, b: f64) -> (f64, f64) {
    let angle = b.atan2(a);
    let hue = if angle < 0.0 { angle + TAU } else { angle };
    (chroma(a, b), hue)
}

/// Signed hue difference in [−π, π] and mean hue in [0, 2π), both over the shorter arc.
fn hue_step_and_mean(hue_1: f64, hue_2: f64) -> (f64, f64) {
    let step = hue_2 - hue_1;
    let sum = hue_1 + hue_2;
    if step.abs() <= PI + OPPOSITE_HUE_SLACK {
        return (step, 0.5 * sum);
    }
    let short_step = if step > 0.0 { step - TAU } else { step + TAU };
    let mean = if sum < TAU {
        0.5 * (sum + TAU)
    } else {
        0.5 * (sum - TAU)
    };
    (short_step, mean)
}

/// T of the formula, by the multiple-angle identities.
fn hue_weight(hue: f64) -> f64 {
    let (sin_1, cos_1) = hue.sin_cos();
    let (sin_2, cos_2) = (2.0 * sin_1 * cos_1, cos_1 * cos_1 - sin_1 * sin_1);
    let (sin_3, cos_3) = (sin_2 * cos_1 + cos_2 * sin_1, cos_2 * cos_1 - sin_2 * sin_1);
    let (sin_4, cos_4) = (2.0 * sin_2 * cos_2, cos_2 * cos_2 - sin_2 * sin_2);
    1.0 - 0.17 * (cos_1 * COS_30 + sin_1 * SIN_30)
        + 0.24 * cos_2
        + 0.32 * (cos_3 * COS_6 - sin_3 * SIN_6)
        - 0.20 * (cos_4 * COS_63 + sin_4 * SIN_63)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const ROUNDOFF: f64 = 1e-12; // about 60 operations on values up to 150

    fn any_lab() -> impl Strategy<Value = Lab> {
        let axis = || prop_oneof![4 => -120.0_f64..120.0, 1 => Just(0.0), 1 => Just(-0.0)];
        (0.0_f64..100.0, axis(), axis()).prop_map(|(l, a, b)| Lab::new(l, a, b))
    }

    proptest! {
        /// The formula is symmetric and never negative or undefined.
        #[test]
        fn is_symmetric(first in any_lab(), second in any_lab()) {
            let (there, back) = (delta_e_2000(first, second), delta_e_2000(second, first));
            prop_assert!(there.is_finite() && there >= 0.0);
            prop_assert!((there - back).abs() <= ROUNDOFF * (1.0 + there), "{there} and {back}");
        }

        /// A colour does not differ from itself.
        #[test]
        fn is_zero_for_equal_colours(colour in any_lab()) {
            prop_assert_eq!(delta_e_2000(colour, colour), 0.0);
        }

        /// A neutral has no hue: the signs of its zeros do not matter, and only lightness and chroma
        /// differ.
        #[test]
        fn neutrals_have_no_hue(l in 0.0_f64..100.0, colour in any_lab()) {
            let zeros = [(0.0, 0.0), (-0.0, 0.0), (0.0, -0.0), (-0.0, -0.0)];
            let all = zeros.map(|(a, b)| delta_e_2000(Lab::new(l, a, b), colour));
            prop_assert_eq!(all, [all[0]; 4]);
        }

        /// The multiple-angle form of T is T as published.
        #[test]
        fn hue_weight_is_the_published_sum(hue in 0.0_f64..TAU) {
            let degrees = |d: f64| d.to_radians();
            let published = 1.0 - 0.17 * (hue - degrees(30.0)).cos() + 0.24 * (2.0 * hue).cos()
                + 0.32 * (3.0 * hue + degrees(6.0)).cos()
                - 0.20 * (4.0 * hue - degrees(63.0)).cos();
            prop_assert!((hue_weight(hue) - published).abs() < ROUNDOFF);
        }
    }

    #[test]
    fn constant_is_25_to_the_seventh() {
        assert_eq!(HALF_CHROMA_7, 25.0_f64.powi(7));
    }
}
