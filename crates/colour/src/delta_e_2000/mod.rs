#![allow(
    clippy::needless_range_loop,
    reason = "a loop over the pairs of a block reads several arrays at one index"
)]

mod formula;
mod series;

use multiversion::multiversion;

use crate::Lab;

/// Pairs that are worked on together.
const BLOCK: usize = 32;

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
    formula::difference(first, second)
}

/// [`delta_e_2000`] of each colour of `first` and the one at the same place of `second`, bit for bit, several at a time.
///
/// # Panics
/// When the two have not the same length.
#[must_use]
pub fn delta_e_2000_of_pairs(first: &[Lab], second: &[Lab]) -> Vec<f64> {
    assert_eq!(
        first.len(),
        second.len(),
        "colours are compared pair by pair"
    );
    let mut differences = Vec::with_capacity(first.len());
    of_pairs(first, second, &mut differences);
    differences
}

#[multiversion(targets("x86_64+avx512f+avx512dq+avx512vl", "x86_64+avx2"))]
fn of_pairs(first: &[Lab], second: &[Lab], out: &mut Vec<f64>) {
    let mut sides = [[[0.0; BLOCK]; 3]; 2];
    let mut differences = [0.0; BLOCK];
    for (first, second) in first.chunks(BLOCK).zip(second.chunks(BLOCK)) {
        for (side, colours) in sides.iter_mut().zip([first, second]) {
            for (i, colour) in colours.iter().enumerate() {
                (side[0][i], side[1][i], side[2][i]) = (colour.l, colour.a, colour.b);
            }
        }
        // No closure: one that is compiled for a target is not inlined into a function that is not, and nothing in it
        // becomes a vector instruction.
        for i in 0..BLOCK {
            let [one, two] = &sides;
            differences[i] = formula::difference(
                Lab::new(one[0][i], one[1][i], one[2][i]),
                Lab::new(two[0][i], two[1][i], two[2][i]),
            );
        }
        out.extend_from_slice(&differences[..first.len()]);
    }
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

    /// The formula by angles in degrees, word for word as in the paper named above, equations 2 to 22, with the slack for
    /// opposite hues.
    fn as_published(first: Lab, second: Lab) -> f64 {
        let seventh = |c: f64| (c.powi(7) / (c.powi(7) + 25.0_f64.powi(7))).sqrt();
        let mean_ab = 0.5 * (first.a.hypot(first.b) + second.a.hypot(second.b));
        let g = 0.5 * (1.0 - seventh(mean_ab));
        let [(c1, h1), (c2, h2)] = [first, second].map(|colour| {
            let a = (1.0 + g) * colour.a;
            (
                a.hypot(colour.b),
                colour.b.atan2(a).to_degrees().rem_euclid(360.0),
            )
        });
        let is_near = (h2 - h1).abs() <= 180.0 + 1e-9;
        let (step, mean) = match (c1 * c2 == 0.0, is_near) {
            (true, _) => (0.0, h1 + h2),
            (_, true) => (h2 - h1, 0.5 * (h1 + h2)),
            (..) if h1 + h2 < 360.0 => (h2 - h1, 0.5 * (h1 + h2 + 360.0)),
            (..) => (h2 - h1, 0.5 * (h1 + h2 - 360.0)),
        };
        let step = match step {
            _ if is_near => step,
            s if s > 0.0 => s - 360.0,
            s => s + 360.0,
        };
        let (d_l, d_c) = (second.l - first.l, c2 - c1);
        let d_h = 2.0 * (c1 * c2).sqrt() * (0.5 * step).to_radians().sin();
        let (l, c) = (0.5 * (first.l + second.l) - 50.0, 0.5 * (c1 + c2));
        let cos = |degrees: f64| degrees.to_radians().cos();
        let t =
            1.0 - 0.17 * cos(mean - 30.0) + 0.24 * cos(2.0 * mean) + 0.32 * cos(3.0 * mean + 6.0)
                - 0.20 * cos(4.0 * mean - 63.0);
        let turn = 30.0 * (-((mean - 275.0) / 25.0).powi(2)).exp();
        let rotation = -2.0 * seventh(c) * (2.0 * turn).to_radians().sin();
        let l = d_l / (1.0 + 0.015 * l * l / (20.0 + l * l).sqrt());
        let (c, h) = (d_c / (1.0 + 0.045 * c), d_h / (1.0 + 0.015 * c * t));
        (l * l + c * c + h * h + rotation * c * h).max(0.0).sqrt()
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(2000))]

        /// Directions give what angles give.
        #[test]
        fn is_the_published_formula(first in any_lab(), second in any_lab(), near in prop::array::uniform3(-3.0_f64..3.0)) {
            let beside = Lab::new(first.l + near[0], first.a + near[1], first.b + near[2]);
            for other in [second, beside] {
                let (got, want) = (delta_e_2000(first, other), as_published(first, other));
                prop_assert!((got - want).abs() <= ROUNDOFF * (1.0 + want), "{} and {}: {:?}", got, want, other);
            }
        }
    }

    proptest! {
        /// The formula is symmetric, to the last bit, and never negative or undefined.
        #[test]
        fn is_symmetric(first in any_lab(), second in any_lab()) {
            let (there, back) = (delta_e_2000(first, second), delta_e_2000(second, first));
            prop_assert!(there.is_finite() && there >= 0.0);
            prop_assert_eq!(there, back);
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

        /// Many pairs at once give the bits of each by itself, wherever blocks end.
        #[test]
        fn many_are_each(pairs in prop::collection::vec((any_lab(), any_lab()), 0..100)) {
            let (first, second): (Vec<Lab>, Vec<Lab>) = pairs.into_iter().unzip();
            let each = first.iter().zip(&second).map(|(a, b)| delta_e_2000(*a, *b).to_bits());
            let many = delta_e_2000_of_pairs(&first, &second).into_iter().map(f64::to_bits);
            prop_assert!(many.eq(each));
        }
    }
}
