use evenstep_display::{
    BaseError, BaseModel, Disturbance, PanelModel, SimulatedPanel, Target, simulate,
};
use evenstep_fit::{BaseCorrection, TargetRequest, noise_of};
use evenstep_readings::{NoiseModel, Readings, merged};

use crate::measured::Measured;
use crate::training::{TooMany, training};
use crate::{JudgeRecord, MeasuredError, PlanError, patches};

/// Patches behind the base correction that starts the search for what a simulated panel reaches.
const STAGE_PATCHES: usize = 343;

/// A panel with the target that corrections for it aim at: the usual one for such a panel, settled on the panel itself,
/// so that it does not depend on any training readings.
///
/// A simulated panel is known through and through; a display that was measured is a model of half of its readings.
pub struct Stage {
    name: String,
    source: Source,
    target: Target,
    start: BaseCorrection,
}

/// What stands for the panel, and where readings to fit come from.
enum Source {
    Simulated(SimulatedPanel),
    Measured(Box<Measured>),
}

impl Stage {
    /// The stage of a simulated panel.
    ///
    /// # Errors
    /// [`PlanError::Panel`] for a name that no panel has.
    ///
    /// # Panics
    /// When a simulated panel without noise allows no base correction: a bug in the panel.
    pub fn new(name: &str) -> Result<Self, PlanError> {
        let panel = SimulatedPanel::by_name(name).ok_or_else(|| PlanError::Panel {
            found: name.to_owned(),
        })?;
        let quiet = Disturbance {
            noise: 0.0,
            drift: 0.0,
            outliers: 0.0,
        };
        let readings = merged(simulate(&panel, &patches(STAGE_PATCHES), quiet, 0));
        let (primaries, transfer) = panel.usual_target();
        let request = TargetRequest {
            primaries,
            transfer,
            ..TargetRequest::default()
        };
        let target = request.settle(&readings, &panel).target;
        let base: Result<_, BaseError> = BaseModel::fit(&readings, &noise_of(&readings).0);
        let base = base.expect("readings of a simulated panel hold black and its ramps");
        Ok(Self {
            name: name.to_owned(),
            source: Source::Simulated(panel),
            start: BaseCorrection::new(base, target.clone()),
            target,
        })
    }

    /// The stage of a display that was measured: the model that best predicts one half of the readings stands for it,
    /// the other half is there to be fitted. The order of the readings does not matter.
    ///
    /// `name` is that of the panel in cases; see [`ReadingsId::panel`](crate::ReadingsId::panel). The target is the
    /// default of a fit.
    ///
    /// # Errors
    /// [`MeasuredError`] says what the readings lack.
    pub fn measured(name: &str, readings: &Readings) -> Result<Self, MeasuredError> {
        let measured = Measured::new(readings)?;
        let judge = &measured.judge;
        let target = TargetRequest::default()
            .settle(&measured.judging, judge)
            .target;
        let [white_cd_m2, black_cd_m2] =
            [target.white(), target.black()].map(|xyz| xyz.luminance_cd_m2());
        if white_cd_m2 <= black_cd_m2 {
            return Err(MeasuredError::NoRange {
                white_cd_m2,
                black_cd_m2,
            });
        }
        Ok(Self {
            name: name.to_owned(),
            start: BaseCorrection::new(measured.base.clone(), target.clone()),
            target,
            source: Source::Measured(Box::new(measured)),
        })
    }

    /// Name of the panel.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// What is known of the model that judges; `None` where the panel itself does.
    #[must_use]
    pub fn judge_record(&self) -> Option<JudgeRecord> {
        match &self.source {
            Source::Simulated(_) => None,
            Source::Measured(measured) => Some(measured.record(&self.name)),
        }
    }

    /// What corrections are judged on.
    pub(crate) fn panel(&self) -> &dyn PanelModel {
        match &self.source {
            Source::Simulated(panel) => panel,
            Source::Measured(measured) => &measured.judge,
        }
    }

    /// The simulated panel, where it is one.
    pub(crate) fn simulated(&self) -> Option<&SimulatedPanel> {
        match &self.source {
            Source::Simulated(panel) => Some(panel),
            Source::Measured(_) => None,
        }
    }

    /// What corrections aim at.
    pub(crate) fn target(&self) -> &Target {
        &self.target
    }

    /// The correction that starts the search for what the panel reaches.
    pub(crate) fn start(&self) -> &BaseCorrection {
        &self.start
    }

    /// Readings of `count` distinct patches to fit, and their noise. Readings of a display come with their own noise:
    /// there the seed decides which are taken.
    pub(crate) fn readings(
        &self,
        count: usize,
        noise: f64,
        seed: u64,
    ) -> Result<(Readings, NoiseModel), TooMany> {
        match &self.source {
            Source::Simulated(panel) => {
                let disturbance = Disturbance {
                    noise,
                    drift: 0.0,
                    outliers: 0.0,
                };
                let readings = merged(simulate(panel, &patches(count), disturbance, seed));
                let (noise, _) = noise_of(&readings);
                Ok((readings, noise))
            }
            Source::Measured(measured) => {
                let readings = training(&measured.training, count, seed)?;
                Ok((readings, measured.noise))
            }
        }
    }
}
