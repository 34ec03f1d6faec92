//! CIEDE2000 of one pair without a branch: hues are directions, never angles.
//!
//! Sums and products, roots and divisions alone, each rounded as IEEE 754 says and never fused: a pair gives the same bits
//! by itself, among others and on every processor.

use std::f64::consts::{FRAC_PI_3, LOG2_E, PI};

use super::series::{power_of_two, sine, squared_arcsine};
use crate::Lab;

/// 25⁷, the chroma at which the formula's two chroma weights reach half strength, to the seventh.
const HALF_CHROMA_7: f64 = 6_103_515_625.0;

/// 1e-9 degrees. Opposite hues are 180° apart only up to the last bits; without this slack pair 14 of the published table
/// depends on how they fall.
const OPPOSITE_HUE_SLACK: f64 = 1e-9 * PI / 180.0;

/// Below this a chroma, or a product of two, counts as none: far below what any colour differs by, and its inverse is
/// finite.
const NOTHING: f64 = 1e-150;

// sin and cos of the fixed angles of T, so that the mean hue's own serve all four terms, and of the blue at 275°.
const COS_30: f64 = 0.866_025_403_784_438_6;
const SIN_30: f64 = 0.5;
const COS_6: f64 = 0.994_521_895_368_273_3;
const SIN_6: f64 = 0.104_528_463_267_653_47;
const COS_63: f64 = 0.453_990_499_739_546_8;
const SIN_63: f64 = 0.891_006_524_188_367_9;
const COS_275: f64 = 0.087_155_742_747_658_17;
const SIN_275: f64 = -0.996_194_698_091_745_5;

/// Bits of exponent by which the bell around blue falls for each arcsin² of the sine of a quarter of the angle from it: the
/// angle is four times that arcsine, and the bell is exp(−(angle / 25°)²).
const FALL: f64 = 16.0 * LOG2_E * (180.0 / PI / 25.0) * (180.0 / PI / 25.0);

/// The difference of two colours.
#[inline(always)]
pub(super) fn difference(first: Lab, second: Lab) -> f64 {
    let mean_chroma_ab = 0.5 * (length(first.a, first.b) + length(second.a, second.b));
    let stretch = 1.5 - 0.5 * chroma_share(mean_chroma_ab);
    let (one, two) = ([first.a * stretch, first.b], [second.a * stretch, second.b]);
    let (chroma_1, chroma_2) = (length(one[0], one[1]), length(two[0], two[1]));
    let (hue_step, mean_hue) = hue_step_and_mean(one, chroma_1, two, chroma_2);

    let mean_lightness = 0.5 * (first.l + second.l);
    let mean_chroma = 0.5 * (chroma_1 + chroma_2);
    let offset = (mean_lightness - 50.0) * (mean_lightness - 50.0);
    let root = (20.0 + offset).sqrt();
    let weight_c = 1.0 + 0.045 * mean_chroma;
    let weight_h = 1.0 + 0.015 * mean_chroma * hue_weight(mean_hue);

    // S_L is 1 + 0.015·offset/root; one division serves both.
    let d_l = (second.l - first.l) * root / (root + 0.015 * offset);
    let d_c = (chroma_2 - chroma_1) / weight_c;
    let d_h = hue_step / weight_h;
    let rotation = -2.0 * chroma_share(mean_chroma) * rotation_sine(mean_hue);

    // Rounding can leave a tiny negative sum when the rotation term cancels the squares.
    let sum = d_l * d_l + d_c * d_c + d_h * d_h + rotation * d_c * d_h;
    larger(sum, 0.0).sqrt()
}

/// √(C⁷ / (C⁷ + 25⁷)).
#[inline(always)]
fn chroma_share(chroma: f64) -> f64 {
    let squared = chroma * chroma;
    let seventh = squared * squared * squared * chroma;
    (seventh / (seventh + HALF_CHROMA_7)).sqrt()
}

/// Length by the plain root: `hypot` guards against squares that overflow, which no colour reaches.
#[inline(always)]
fn length(a: f64, b: f64) -> f64 {
    (a * a + b * b).sqrt()
}

/// `f64::max` asks for more than a processor's own instruction gives.
#[inline(always)]
fn larger(a: f64, b: f64) -> f64 {
    if a > b { a } else { b }
}

/// ΔH′ = 2·√(C₁C₂)·sin(Δh/2), and the cosine and sine of the mean hue, both over the shorter arc.
///
/// The published rule for neutrals (hue difference 0, mean hue the sum) needs no case: with either chroma 0, ΔH′ is 0
/// whatever the hues are, and the mean hue enters through ΔH′ alone.
#[inline(always)]
fn hue_step_and_mean(
    one: [f64; 2],
    chroma_1: f64,
    two: [f64; 2],
    chroma_2: f64,
) -> (f64, [f64; 2]) {
    let product = chroma_1 * chroma_2;
    let along = one[0] * two[0] + one[1] * two[1]; // C₁C₂·cos Δh
    let across = one[0] * two[1] - one[1] * two[0]; // C₁C₂·sin Δh
    // Above 90° sums cancel, below it differences; each form is taken where it is sound.
    let is_wide = along < 0.0;
    // Opposite hues have two arcs; the published mean, half the sum of the angles, lies on the one that does not cross 0°,
    // the way round from the hue below 180°.
    let is_opposite = is_wide & (across.abs() <= OPPOSITE_HUE_SLACK * product);
    let (upper_1, upper_2) = (is_upper(one), is_upper(two));
    let is_left = if is_opposite & (upper_1 != upper_2) {
        upper_1
    } else {
        across >= 0.0
    };
    let turn = if is_left { 1.0 } else { -1.0 };

    // sin(Δh/2) is √((1 − cos Δh)/2), and sin Δh / √(2 + 2·cos Δh).
    let (outer, inner) = if is_wide {
        (turn, 2.0 * (product - along))
    } else {
        (across, 2.0 / larger(product + along, NOTHING))
    };
    let step = outer * inner.sqrt();

    // The sum of the two unit vectors, or their difference turned by 90°; each times C₁C₂.
    let (u, v) = (
        [one[0] * chroma_2, one[1] * chroma_2],
        [two[0] * chroma_1, two[1] * chroma_1],
    );
    let mean = if is_wide {
        [turn * (v[1] - u[1]), turn * (u[0] - v[0])]
    } else {
        [u[0] + v[0], u[1] + v[1]]
    };
    let scale = 1.0 / larger(length(mean[0], mean[1]), NOTHING);
    (step, [mean[0] * scale, mean[1] * scale])
}

/// Whether the hue lies in [0°, 180°).
#[inline(always)]
fn is_upper([a, b]: [f64; 2]) -> bool {
    (b > 0.0) | ((b == 0.0) & (a > 0.0))
}

/// T of the formula, by the multiple-angle identities.
#[inline(always)]
fn hue_weight([cos_1, sin_1]: [f64; 2]) -> f64 {
    let (sin_2, cos_2) = (2.0 * sin_1 * cos_1, cos_1 * cos_1 - sin_1 * sin_1);
    let (sin_3, cos_3) = (sin_2 * cos_1 + cos_2 * sin_1, cos_2 * cos_1 - sin_2 * sin_1);
    let (sin_4, cos_4) = (2.0 * sin_2 * cos_2, cos_2 * cos_2 - sin_2 * sin_2);
    1.0 - 0.17 * (cos_1 * COS_30 + sin_1 * SIN_30)
        + 0.24 * cos_2
        + 0.32 * (cos_3 * COS_6 - sin_3 * SIN_6)
        - 0.20 * (cos_4 * COS_63 + sin_4 * SIN_63)
}

/// sin 2Δθ of the rotation term: 2Δθ is 60° at the blue of 275° and falls as a bell.
#[inline(always)]
fn rotation_sine([cos, sin]: [f64; 2]) -> f64 {
    let cos_from_blue = cos * COS_275 + sin * SIN_275;
    // The cosine of half the angle; rounding can leave less than −1 under the root.
    let cos_half = larger(0.5 + 0.5 * cos_from_blue, 0.0).sqrt();
    let bell = power_of_two(-FALL * squared_arcsine(0.5 - 0.5 * cos_half));
    // The formula counts from 0°, not round the circle: hues up to 90° are 185° or more below the blue, where nothing is
    // left of the bell, though they are nearer the other way round.
    let bell = if (cos > 0.0) & (sin >= 0.0) {
        0.0
    } else {
        bell
    };
    sine(FRAC_PI_3 * bell)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const ROUNDOFF: f64 = 1e-12; // about 60 operations on values up to 150

    #[test]
    fn constants_are_what_they_are_called() {
        // Turning degrees into radians rounds the angle by up to 1.1e-16, the function its value by as much.
        const LAST_BITS: f64 = 2.5e-16;
        assert_eq!(HALF_CHROMA_7, 25.0_f64.powi(7));
        for (degrees, cos, sin) in [
            (30.0_f64, COS_30, SIN_30),
            (6.0, COS_6, SIN_6),
            (63.0, COS_63, SIN_63),
        ] {
            let (s, c) = degrees.to_radians().sin_cos();
            assert!((c - cos).abs() <= LAST_BITS && (s - sin).abs() <= LAST_BITS);
        }
        // 275° is 270° and 5°.
        let (s, c) = 5.0_f64.to_radians().sin_cos();
        assert!((s - COS_275).abs() <= LAST_BITS && (-c - SIN_275).abs() <= LAST_BITS);
    }

    proptest! {
        /// The multiple-angle form of T is T as published.
        #[test]
        fn hue_weight_is_the_published_sum(hue in 0.0_f64..std::f64::consts::TAU) {
            let degrees = |d: f64| d.to_radians();
            let published = 1.0 - 0.17 * (hue - degrees(30.0)).cos() + 0.24 * (2.0 * hue).cos()
                + 0.32 * (3.0 * hue + degrees(6.0)).cos()
                - 0.20 * (4.0 * hue - degrees(63.0)).cos();
            let (sin, cos) = hue.sin_cos();
            prop_assert!((hue_weight([cos, sin]) - published).abs() < ROUNDOFF);
        }

        /// The rotation by direction is the rotation by angle as published, all round.
        #[test]
        fn rotation_is_the_published_bell(degrees in 0.0_f64..360.0) {
            let from_blue = (degrees - 275.0) / 25.0;
            let published = (60.0 * (-from_blue * from_blue).exp()).to_radians().sin();
            let (sin, cos) = degrees.to_radians().sin_cos();
            let got = rotation_sine([cos, sin]);
            prop_assert!((got - published).abs() < 1e-14, "{} {}", got, published);
        }
    }
}
