//! Readings made ready for a model: repeats that disagree, drift, outliers.

use evenstep_readings::{Drift, NoiseModel, Readings};

use crate::at_floor::{Bounded, bounded};
use crate::outliers::{NAMED, Zeros, doubt, left_out, named, screen_neutrals};
use crate::structured::NoiseOf;
use crate::{AtFloor, BaseModel, Outlier, Scales, StructuredModel};

/// Distances beyond which a patch is doubted, round by round: several faults hide each other, so that many are doubted
/// first, and those the rest does not contradict get their weight back. Our choice.
const DOUBTED: [f64; 3] = [2.5, 3.5, NAMED];
/// A set none of whose patches is further is left alone: of 300 normal deviates one is beyond 3.
const ALL_WELL: f64 = 3.2;

/// A drift by which the effect of drift is told: of the size that is to be found.
const SMALL: f64 = 0.005;

/// Patches above which nothing is doubted: three dense systems, inverted. Our choice.
pub(crate) const MOST_PATCHES: usize = 2500;

/// Readings with their doubts, and what was found on the way.
pub(crate) struct Ready {
    pub(crate) readings: Readings,
    pub(crate) noise: NoiseModel,
    pub(crate) drift: Option<Drift>,
    pub(crate) at_floor: Option<AtFloor>,
    zeros: Zeros,
    pub(crate) outliers: Vec<Outlier>,
    /// Of the last process fitted; `None` where there was none.
    pub(crate) scales: Option<Scales>,
}

impl Ready {
    /// Sets aside repeats that disagree, takes out drift where it is told from noise, and doubts what the others
    /// contradict.
    pub(crate) fn new(given: &Readings, noise: &NoiseModel) -> Self {
        // Noise estimated from the same repeats holds what is taken out of them.
        let own = NoiseModel::from_repeats(given).as_ref() == Some(noise);
        let Bounded {
            readings: given,
            at_floor,
            faults,
            held,
        } = bounded(given, noise);
        let (readings, repeats) = given.without_outlying_repeats();
        let outliers = repeats.iter().map(|r| Outlier {
            patch: given.patches[r.patch].id.clone(),
            order: r.order,
            sigma: r.sigma,
            de2000: None,
        });
        let mut ready = Self {
            readings,
            noise: *noise,
            drift: None,
            at_floor,
            zeros: Zeros { faults, held },
            outliers: outliers.collect(),
            scales: None,
        };
        if own && !repeats.is_empty() {
            ready.noise = NoiseModel::from_repeats(&ready.readings).unwrap_or(*noise);
        }
        let anchors = Drift::from_anchors(&ready.readings, &ready.noise);
        if ready.readings.patches.len() <= MOST_PATCHES {
            ready.settle(anchors, own);
        } else {
            ready.correct(anchors, own);
        }
        ready
    }

    /// Takes a significant drift out, and estimates the noise anew where it came from the repeats.
    fn correct(&mut self, drift: Option<Drift>, own: bool) {
        self.drift = drift;
        if let Some(drift) = drift.filter(|d| d.corrected) {
            self.readings = self.readings.without_drift(drift.total);
            if own {
                self.noise = NoiseModel::from_repeats(&self.readings).unwrap_or(self.noise);
            }
        }
    }

    /// Fits and doubts in turn; drift is told after the first doubts, from repeated patches and from the order of all.
    fn settle(&mut self, anchors: Option<Drift>, own: bool) {
        screen_neutrals(&mut self.readings, &self.noise);
        for (round, from) in DOUBTED.into_iter().enumerate() {
            let Some(model) = self.fitted() else {
                // Nothing says otherwise: all are trusted.
                for patch in &mut self.readings.patches {
                    patch.doubt = 1.0;
                }
                self.correct(anchors, own);
                return;
            };
            self.scales = Some(model.scales());
            let left_out = left_out(&self.readings, &self.noise, &model, &self.zeros);
            let from = match round {
                0 if left_out.iter().all(|l| l.distance < ALL_WELL) => NAMED,
                _ => from,
            };
            let changed = doubt(&mut self.readings, &left_out, from);
            if round == 0 {
                let drift = self.drift_beside(&model, anchors);
                self.correct(drift, own);
            }
            let corrected = round == 0 && self.drift.is_some_and(|d| d.corrected);
            if from == NAMED && (round + 1 == DOUBTED.len() || !(changed || corrected)) {
                self.outliers.extend(named(&self.readings, &left_out));
                return;
            }
        }
    }

    fn fitted(&self) -> Option<StructuredModel> {
        let base = BaseModel::fit(&self.readings, &self.noise).ok()?;
        let (readings, noise) = (&self.readings, &self.noise);
        StructuredModel::fit_from(readings, noise, &base, self.scales, NoiseOf::Components).ok()
    }

    /// Drift as what the model leaves that goes with reading order, weighed together with what repeats say.
    fn drift_beside(&self, model: &StructuredModel, anchors: Option<Drift>) -> Option<Drift> {
        // What a small drift would do to the residual, the base fitted anew: the base takes its part of it.
        let with = self.readings.without_drift(-SMALL);
        let base = BaseModel::fit(&with, &self.noise).ok()?;
        let residual = |readings, base| model.base_residual(readings, &self.noise, base);
        let (before, after) = (
            residual(&self.readings, model.base()),
            residual(&with, &base),
        );
        let direction: Vec<[f64; 3]> = before
            .iter()
            .zip(&after)
            .map(|(a, b)| std::array::from_fn(|k| (b[k] - a[k]) / SMALL))
            .collect();
        let (total, error) = model.coefficient(&direction);
        // No model could tell a slope better than from readings of known light: where it says so, a tone curve chose another
        // smoothing for the drifted readings, and the direction is that jump's.
        let noise = self.noise.relative_along * model.scales().noise;
        if error < noise * (12.0 / direction.len() as f64).sqrt() {
            return anchors;
        }
        let (mut weight, mut sum) = (error.powi(-2), total * error.powi(-2));
        if let Some(anchors) = anchors {
            let own = anchors.standard_error.powi(-2);
            weight += own;
            sum += own * anchors.total;
        }
        Some(Drift::judged(sum / weight, weight.powf(-0.5)))
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::{Disturbance, SimulatedPanel, simulate};
    use evenstep_readings::{PatchRequest, merged};

    /// 21 neutrals, seven levels of each channel and 62 places between by the golden ratio, with three readings of white,
    /// a grey and black among them and three at the end.
    fn requests() -> Vec<PatchRequest> {
        let level = |i: usize, of: f64| (i as f64 / of).powf(1.5);
        let mut drives: Vec<[f64; 3]> = (0..=20).map(|i| [level(i, 20.0); 3]).collect();
        for c in 0..3 {
            let one = |i| std::array::from_fn(|k| if k == c { level(i, 7.0) } else { 0.0 });
            drives.extend((1..=7).map(one));
        }
        let anchors = [[1.0; 3], [level(10, 20.0); 3], [0.0; 3]];
        let step = [0.819_172_513_396, 0.671_043_606_704, 0.549_700_477_901];
        for i in 1..=62 {
            drives.push(step.map(|s| (s * f64::from(i)).fract()));
            if i % 20 == 0 {
                drives.extend(anchors);
            }
        }
        for corner in [[0.0, 1.0, 1.0], [1.0, 0.0, 1.0], [1.0, 1.0, 0.0]] {
            drives.push(corner);
        }
        drives.extend(anchors);
        let request = |(i, drive): (usize, [f64; 3])| PatchRequest {
            id: i.to_string(),
            drive,
        };
        drives.into_iter().enumerate().map(request).collect()
    }

    pub(crate) fn session(panel: &SimulatedPanel, rough: Disturbance, seed: u64) -> Readings {
        merged(simulate(panel, &requests(), rough, seed))
    }

    fn ready(readings: &Readings) -> Ready {
        Ready::new(readings, &NoiseModel::from_repeats(readings).unwrap())
    }

    /// A reading that is 5 % off is named, wherever it stands, and nothing else: on the neutral ramp, at the end of a
    /// channel's, between, and among repeats.
    #[test]
    fn a_faulty_reading_is_named_and_no_other() {
        let panel = SimulatedPanel::by_name("wide-gamut").unwrap();
        let rough = Disturbance {
            noise: 1.0,
            drift: 0.0,
            outliers: 0.0,
        };
        for (faulty, factor) in [(12, 1.05), (17, 0.95), (26, 1.05), (60, 0.95), (66, 1.05)] {
            let mut sequence = simulate(&panel, &requests(), rough, 3);
            sequence[faulty].xyz.0 = sequence[faulty].xyz.0.map(|v| v * factor);
            let found = ready(&merged(sequence)).outliers;
            let orders: Vec<usize> = found.iter().map(|o| o.order).collect();
            assert_eq!(orders, [faulty], "{found:?}");
        }
        assert_eq!(ready(&session(&panel, rough, 3)).outliers, []);
    }

    /// So is a reading of nothing where there is light: a bound for what is dark is none for it.
    #[test]
    fn a_bright_patch_that_reads_nothing_is_named() {
        let panel = SimulatedPanel::by_name("wide-gamut").unwrap();
        let rough = Disturbance {
            noise: 1.0,
            drift: 0.0,
            outliers: 0.0,
        };
        for faulty in [12, 26, 60] {
            let mut sequence = simulate(&panel, &requests(), rough, 3);
            sequence[faulty].xyz.0 = [0.0; 3];
            let found = ready(&merged(sequence));
            let orders: Vec<usize> = found.outliers.iter().map(|o| o.order).collect();
            assert_eq!(orders, [faulty], "{:?}", found.outliers);
            let floor = found.at_floor.unwrap();
            assert_eq!(floor.as_read, [faulty.to_string()]);
            assert_eq!(floor.left_out.len() + floor.held.len(), 0);
        }
    }

    /// Drift of 1 % is found within three standard errors, and without drift nothing is corrected.
    #[test]
    fn drift_is_told_from_anchors_and_order() {
        let panel = SimulatedPanel::by_name("wide-gamut").unwrap();
        for drift in [0.0, 0.01] {
            let rough = Disturbance {
                noise: 1.0,
                drift,
                outliers: 0.0,
            };
            let found = ready(&session(&panel, rough, 5)).drift.unwrap();
            assert_eq!(found.corrected, drift > 0.0, "{found:?}");
            let apart = (found.total - drift).abs();
            assert!(apart < 3.0 * found.standard_error, "{found:?}");
        }
    }
}
