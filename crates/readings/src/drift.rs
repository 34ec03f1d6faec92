//! Slow change of all light over a session, from patches that came back.

use evenstep_colour::Xyz;

use crate::{NoiseModel, Patch, Readings};

/// A standard error of the change over the session above which drift is not told from noise. Our choice: half the
/// change that a careful calibrator would repeat a session for.
const SEPARABLE: f64 = 0.0025;
/// Standard deviation of the drifts that are met, half a per cent: of a display that warms for an hour. Our choice.
const USUAL: f64 = 0.005;

/// Relative change of all light from the first reading to the last, taken as linear in reading order.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Drift {
    /// The change; 0.01 is 1 % brighter at the end.
    pub total: f64,
    /// One standard error of it.
    pub standard_error: f64,
    /// Whether the readings tell it from noise: a standard error below 0.25 %.
    pub separable: bool,
    /// Whether it is separable and likelier than none, so that the readings were corrected.
    pub corrected: bool,
}

impl Drift {
    /// An estimate and its standard error s, judged: with t the estimate and τ = 0.5 % the usual drift, a drift is likelier
    /// than none where `t²/s² · τ²/(τ² + s²) > ln(1 + τ²/s²)`. From 1.7 standard errors at 0.13 % to 2.3 at 0.04 %.
    ///
    /// # Source
    /// The ratio of the two normal densities of t, with and without drift, both as likely beforehand: Kass & Raftery
    /// (1995), "Bayes factors", J. Am. Stat. Assoc. 90(430) (title from memory).
    #[must_use]
    pub fn judged(total: f64, standard_error: f64) -> Self {
        let separable = standard_error < SEPARABLE;
        let (own, usual) = (standard_error.powi(2), USUAL.powi(2));
        let told = total.powi(2) / own * usual / (usual + own);
        Self {
            total,
            standard_error,
            separable,
            corrected: separable && told > (1.0 + usual / own).ln(),
        }
    }

    /// Estimates drift from patches read more than once: weighted least squares of their relative luminance on reading
    /// order, about the mean of each patch. The scale of the noise is that of what is left over.
    ///
    /// `None` where nothing came back, or all at once.
    #[must_use]
    pub fn from_anchors(readings: &Readings, noise: &NoiseModel) -> Option<Self> {
        let last = readings.last_order()?;
        let (mut square, mut cross, mut rows) = (0.0, 0.0, Vec::new());
        let mut groups = 0;
        for patch in readings.patches.iter().filter(|p| p.repeats.len() > 1) {
            let mean = patch.xyz().luminance_cd_m2();
            let weight = (mean / noise.luminance_sd(mean)).powi(2);
            if mean <= 0.0 || !weight.is_finite() {
                continue;
            }
            groups += 1;
            let at: Vec<f64> = patch.orders().map(|o| o as f64 / last).collect();
            let centre = at.iter().sum::<f64>() / at.len() as f64;
            for (at, xyz) in at.iter().zip(&patch.repeats) {
                let (x, y) = (at - centre, xyz.luminance_cd_m2() / mean - 1.0);
                square += weight * x * x;
                cross += weight * x * y;
                rows.push((weight, x, y));
            }
        }
        let freedom = rows.len().checked_sub(groups + 1).filter(|f| *f > 0)?;
        if square <= 0.0 {
            return None;
        }
        let total = cross / square;
        let left: f64 = rows
            .iter()
            .map(|(w, x, y)| w * (y - total * x).powi(2))
            .sum();
        // Noise estimated from the same repeats holds the drift, so the remainder sets the scale; few repeats may agree
        // by chance, so not below a third of the noise.
        let scale = (left / freedom as f64).max(1.0 / 9.0);
        Some(Self::judged(total, (scale / square).sqrt()))
    }
}

impl Patch {
    /// Positions of all its readings in the file.
    pub fn orders(&self) -> impl Iterator<Item = usize> + '_ {
        std::iter::once(self.order).chain(self.later.iter().copied())
    }
}

impl Readings {
    /// Position of the last reading, as a divisor; `None` for fewer than two readings.
    #[must_use]
    pub fn last_order(&self) -> Option<f64> {
        let last = self.patches.iter().flat_map(Patch::orders).max()?;
        (last > 0).then_some(last as f64)
    }

    /// The readings as they would have been at the time of the first.
    #[must_use]
    pub fn without_drift(&self, total: f64) -> Self {
        let Some(last) = self.last_order() else {
            return self.clone();
        };
        let mut readings = self.clone();
        for patch in &mut readings.patches {
            let orders: Vec<usize> = patch.orders().collect();
            for (xyz, order) in patch.repeats.iter_mut().zip(orders) {
                *xyz = Xyz(xyz.0.map(|v| v / (1.0 + total * order as f64 / last)));
            }
        }
        readings
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Three patches that come back four times each over 100 readings, with a drift and a wobble of 0.1 %.
    fn session(drift: f64) -> Readings {
        let patch = |i: usize| {
            let orders = [i, 33 + i, 66 + i, 97 + i];
            let read = |order: usize| {
                let wobble = 0.001 * (order as f64 * 2.4).sin();
                let light = 50.0 * (i + 1) as f64;
                Xyz([light * (1.0 + drift * order as f64 / 99.0) * (1.0 + wobble); 3])
            };
            Patch {
                id: i.to_string(),
                drive: [i as f64 / 3.0; 3],
                repeats: orders.map(read).to_vec(),
                order: orders[0],
                later: orders[1..].to_vec(),
                doubt: 1.0,
            }
        };
        Readings {
            patches: (0..3).map(patch).collect(),
        }
    }

    proptest! {
        /// A drift is found within three of its standard errors, and its correction leaves none that is significant.
        #[test]
        fn drift_is_found_and_removed(drift in -0.03..0.03_f64) {
            let noise = NoiseModel { relative_along: 0.001, relative_across: 0.0003, floor_cd_m2: 0.001 };
            let readings = session(drift);
            let found = Drift::from_anchors(&readings, &noise).unwrap();
            prop_assert!(found.separable);
            prop_assert!((found.total - drift).abs() < 3.0 * found.standard_error, "{found:?}");
            let rest = Drift::from_anchors(&readings.without_drift(found.total), &noise).unwrap();
            prop_assert!(!rest.corrected, "{rest:?}");
        }
    }

    /// An estimate of half a usual drift is corrected from two standard errors, not from one, and never where it is not
    /// separable.
    #[test]
    fn a_drift_is_corrected_where_it_is_likelier_than_none() {
        assert!(Drift::judged(0.0026, 0.0013).corrected);
        assert!(!Drift::judged(0.0013, 0.0013).corrected);
        assert!(!Drift::judged(0.0008, 0.0004).corrected);
        assert!(Drift::judged(0.0010, 0.0004).corrected);
        assert!(!Drift::judged(0.02, 0.003).corrected);
    }

    #[test]
    fn without_anchors_there_is_no_estimate() {
        let mut readings = session(0.01);
        for patch in &mut readings.patches {
            patch.repeats.truncate(1);
            patch.later.clear();
        }
        assert_eq!(Drift::from_anchors(&readings, &NoiseModel::assumed()), None);
    }
}
