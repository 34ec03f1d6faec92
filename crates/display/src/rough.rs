//! Readings made ready for a model: repeats that disagree, drift, outliers.

use evenstep_readings::{Drift, NoiseModel, Readings};

use crate::outliers::{NAMED, doubt, left_out, named, screen_neutrals};
use crate::{BaseModel, Outlier, Scales, StructuredModel};

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
    pub(crate) outliers: Vec<Outlier>,
    /// Of the last process fitted; `None` where there was none.
    pub(crate) scales: Option<Scales>,
}

impl Ready {
    /// Sets aside repeats that disagree, takes out drift where it is told from noise, and doubts what the others
    /// contradict.
    pub(crate) fn new(given: &Readings, noise: &NoiseModel) -> Self {
        let (readings, repeats) = given.without_outlying_repeats();
        let outliers = repeats.iter().map(|r| Outlier {
            patch: given.patches[r.patch].id.clone(),
            order: r.order,
            sigma: r.sigma,
            de2000: None,
        });
        // Noise estimated from the same repeats holds what is taken out of them.
        let own = NoiseModel::from_repeats(given).as_ref() == Some(noise);
        let mut ready = Self {
            readings,
            noise: *noise,
            drift: None,
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
            let left_out = left_out(&self.readings, &self.noise, &model);
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
        StructuredModel::fit_from(&self.readings, &self.noise, &base, self.scales).ok()
    }

    /// Drift as what the model leaves that goes with reading order, weighed together with what repeats say.
    fn drift_beside(&self, model: &StructuredModel, anchors: Option<Drift>) -> Option<Drift> {
        // What a small drift would do to the residual, the base fitted anew: the base takes its part of it.
        let with = self.readings.without_drift(-SMALL);
        let base = BaseModel::fit(&with, &self.noise).ok()?;
        let residual = |readings, base| StructuredModel::base_residual(readings, &self.noise, base);
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
