//! Readings made ready for a model: repeats that disagree, drift, outliers.

use evenstep_readings::{Drift, NoiseModel, Readings};

use crate::outliers::{doubt, named, screen_neutrals};
use crate::{BaseModel, Outlier, Scales, StructuredModel};

/// Rounds of fitting and doubting; the first finds what stands out, the next what it hid.
const ROUNDS: usize = 3;

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
    /// Sets aside repeats that disagree, takes out drift that repeated patches show, and doubts what the others
    /// contradict.
    pub(crate) fn new(given: &Readings, noise: &NoiseModel) -> Self {
        let (mut readings, repeats) = given.without_outlying_repeats();
        // Noise estimated from the same repeats holds what is now taken out of them.
        let own = NoiseModel::from_repeats(given).as_ref() == Some(noise);
        let again =
            |readings: &Readings, noise: NoiseModel| match NoiseModel::from_repeats(readings) {
                Some(found) if own => found,
                _ => noise,
            };
        let mut noise = *noise;
        if !repeats.is_empty() {
            noise = again(&readings, noise);
        }
        let drift = Drift::from_anchors(&readings, &noise);
        if let Some(drift) = drift.filter(|d| d.corrected) {
            readings = readings.without_drift(drift.total);
            noise = again(&readings, noise);
        }
        let outliers = repeats.iter().map(|r| Outlier {
            patch: given.patches[r.patch].id.clone(),
            order: r.order,
            sigma: r.sigma,
            de2000: None,
        });
        let outliers = outliers.collect();
        let mut ready = Self {
            readings,
            noise,
            drift,
            outliers,
            scales: None,
        };
        if ready.readings.patches.len() <= MOST_PATCHES {
            ready.doubt();
        }
        ready
    }

    fn doubt(&mut self) {
        let trusted = self.readings.clone();
        screen_neutrals(&mut self.readings, &self.noise);
        for round in 1..=ROUNDS {
            let (readings, noise) = (&mut self.readings, &self.noise);
            let fitted = BaseModel::fit(readings, noise).ok().and_then(|base| {
                StructuredModel::fit_from(readings, noise, &base, self.scales).ok()
            });
            let Some(model) = fitted else {
                // Nothing says otherwise: all are trusted.
                self.readings = trusted;
                return;
            };
            self.scales = Some(model.scales());
            if round == ROUNDS || !doubt(readings, noise, &model) {
                self.outliers.extend(named(readings, noise, &model));
                return;
            }
        }
    }
}
