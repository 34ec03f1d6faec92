//! Readings that their own repeats contradict.

use evenstep_colour::percentile;

use crate::{NoiseModel, Readings};

/// Robust standard deviations beyond which one of several repeats is set aside. Our choice: beyond what noise does in a
/// million readings, and well below a gross error.
const BEYOND: f64 = 6.0;
/// Fewest repeats of which one can be told to be wrong: of two, either may be.
const FEWEST: usize = 3;
/// Median of the absolute value of a standard normal deviate.
const MEDIAN_DEVIATE: f64 = 0.6745;

/// One reading of a patch that its repeats contradict.
#[derive(Clone, Debug, PartialEq)]
pub struct OutlyingRepeat {
    /// Index of the patch.
    pub patch: usize,
    /// Position of the reading in the file, from 0.
    pub order: usize,
    /// Distance from the median of the repeats in robust standard deviations of the luminance.
    pub sigma: f64,
}

impl Readings {
    /// The readings without those that their repeats contradict, and which those are.
    ///
    /// Distances are from the median of a patch's repeats, in units of [`NoiseModel::assumed`], or of the spread found
    /// over all repeats where that is larger.
    #[must_use]
    pub fn without_outlying_repeats(&self) -> (Self, Vec<OutlyingRepeat>) {
        let noise = NoiseModel::assumed();
        let mut all = Vec::new();
        for (index, patch) in self.patches.iter().enumerate() {
            if patch.repeats.len() < FEWEST {
                continue;
            }
            let light: Vec<f64> = patch.repeats.iter().map(|r| r.luminance_cd_m2()).collect();
            let median = percentile(&mut light.clone(), 50.0).unwrap_or(0.0);
            let sd = noise.luminance_sd(median);
            for (k, (light, order)) in light.iter().zip(patch.orders()).enumerate() {
                all.push((index, k, order, (light - median).abs() / sd));
            }
        }
        let mut spread: Vec<f64> = all.iter().map(|a| a.3).collect();
        let typical = percentile(&mut spread, 50.0).unwrap_or(0.0) / MEDIAN_DEVIATE;
        let scale = typical.max(1.0);
        let (mut readings, mut outlying) = (self.clone(), Vec::new());
        // From the back, so that positions stay valid; a patch keeps at least two.
        for (index, k, order, distance) in all.into_iter().rev() {
            let patch = &mut readings.patches[index];
            if distance <= BEYOND * scale || patch.repeats.len() <= 2 {
                continue;
            }
            let mut orders: Vec<usize> = patch.orders().collect();
            orders.remove(k);
            patch.repeats.remove(k);
            (patch.order, patch.later) = (orders[0], orders[1..].to_vec());
            outlying.push(OutlyingRepeat {
                patch: index,
                order,
                sigma: distance / scale,
            });
        }
        outlying.reverse();
        (readings, outlying)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Patch, merged};
    use evenstep_colour::Xyz;
    use proptest::prelude::*;

    fn anchors(wrong: Option<(usize, f64)>) -> Readings {
        let reading = |order: usize| {
            let light = [120.0, 20.0, 0.01][order % 3] * (1.0 + 0.002 * (order as f64 * 1.7).sin());
            let factor = wrong.filter(|w| w.0 == order).map_or(1.0, |w| w.1);
            crate::Reading {
                id: order.to_string(),
                drive: [(order % 3) as f64 / 3.0; 3],
                xyz: Xyz([light * factor; 3]),
                seconds: None,
            }
        };
        merged((0..15).map(reading).collect())
    }

    proptest! {
        /// One reading of the bright anchors that is off by 5 % or more is the one set aside.
        #[test]
        fn a_gross_error_among_repeats_is_set_aside(at in 0..15_usize, off in 0.05..0.5_f64, up: bool) {
            prop_assume!(at % 3 != 2);
            let factor = if up { 1.0 + off } else { 1.0 - off };
            let (clean, outlying) = anchors(Some((at, factor))).without_outlying_repeats();
            prop_assert_eq!(outlying.iter().map(|o| o.order).collect::<Vec<_>>(), vec![at]);
            prop_assert!(clean.patches.iter().flat_map(Patch::orders).all(|o| o != at));
        }
    }

    #[test]
    fn good_repeats_stay() {
        let set = anchors(None);
        assert_eq!(set.without_outlying_repeats(), (set.clone(), Vec::new()));
    }
}
