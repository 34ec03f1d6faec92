use evenstep_display::{
    BaseError, BaseModel, ForwardModel, LeaveOneOutError, ModelError, SmoothingChoice,
    choose_model, halves,
};
use evenstep_fit::{FitFailure, examine, noise_of};
use evenstep_readings::{Finding, NoiseModel, Readings};
use serde::{Deserialize, Serialize};

use crate::figures::six_digits;

/// Fewest distinct patches of a display that are shared between a judge and what it judges. Our choice: the halves are
/// then of fifty, as many as the smallest case of the plans and as a usual sparse set.
pub const FEWEST_READINGS: usize = 100;

/// How often a set is dealt anew until either half holds what a base needs. Our choice: where even ramps of eleven
/// levels hold so few that one deal in two fails, sixteen fail once in many thousand.
const DEALS: u64 = 16;

/// Why readings of a display cannot judge schemes.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum MeasuredError {
    /// Too few to be shared.
    #[error(
        "{found} distinct patches: a study gives half of them to the judge and needs {FEWEST_READINGS} or more; read more"
    )]
    TooFew {
        /// Distinct patches.
        found: usize,
    },
    /// Nothing should be fitted to these readings.
    #[error("{finding}")]
    Refused {
        /// What was seen in them.
        finding: Box<Finding>,
    },
    /// They do not span the cube.
    #[error("no 3D model of these readings, or of half of them, can judge: {reason}")]
    Declined {
        /// What is missing.
        reason: String,
    },
    /// Full drive was not read.
    #[error("no white reading (drive 1 1 1): measure it, the target stands on it")]
    NoWhite,
    /// A half that allows no base correction.
    #[error("half of the readings allows no base correction: {source}")]
    Base {
        /// What it lacks.
        source: BaseError,
    },
    /// No model for the judge.
    #[error("no model of half of the readings: {source}")]
    Judge {
        /// Why.
        source: ModelError,
    },
    /// The white the panel reaches is not above its black.
    #[error(
        "the panel reaches {white_cd_m2} cd/m² at the target's white and its black is {black_cd_m2} cd/m²: no target lies between"
    )]
    NoRange {
        /// White luminance.
        white_cd_m2: f64,
        /// Black luminance.
        black_cd_m2: f64,
    },
}

/// What is known of a model that judges in the place of a panel: differences below its own error mean nothing.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct JudgeRecord {
    /// Name of the panel it stands for.
    pub panel: String,
    /// Distinct patches it was fitted to.
    pub patches: usize,
    /// Distinct patches left to be fitted.
    pub training: usize,
    /// Its scheme; `base` for none.
    pub scheme: String,
    /// Mean CIEDE2000 of its patches, each left out; six significant digits, as all figures.
    pub leave_one_out_de2000_mean: Option<f64>,
    /// Mean ΔE ITP of the same.
    pub leave_one_out_itp_mean: Option<f64>,
}

/// A display known by its readings, half of them for the judge.
pub(crate) struct Measured {
    /// The model that stands for the display.
    pub(crate) judge: ForwardModel,
    /// Base of the same half.
    pub(crate) base: BaseModel,
    /// The half it was fitted to.
    pub(crate) judging: Readings,
    /// The other half.
    pub(crate) training: Readings,
    /// Noise of all readings: it is the instrument's, and half of the repeats tell less of it.
    pub(crate) noise: NoiseModel,
    error: LeaveOneOutError,
}

impl Measured {
    pub(crate) fn new(readings: &Readings) -> Result<Self, MeasuredError> {
        let found = readings.distinct();
        if found < FEWEST_READINGS {
            return Err(MeasuredError::TooFew { found });
        }
        let readings = sorted(readings);
        examined(&readings)?;
        readings.white().ok_or(MeasuredError::NoWhite)?;
        let (noise, _) = noise_of(&readings);
        let ([judging, training], base) =
            dealt(&readings, &noise).map_err(|source| MeasuredError::Base { source })?;
        examined(&judging)?;
        let chosen = choose_model(&judging, &noise, None, SmoothingChoice::LeaveOneOut)
            .map_err(|source| MeasuredError::Judge { source })?;
        Ok(Self {
            judge: chosen.model,
            base,
            judging,
            training,
            noise,
            error: chosen.error,
        })
    }

    pub(crate) fn record(&self, panel: &str) -> JudgeRecord {
        JudgeRecord {
            panel: panel.to_owned(),
            patches: self.judging.distinct(),
            training: self.training.distinct(),
            scheme: self
                .judge
                .structure()
                .map_or_else(|| "base".to_owned(), |s| s.scheme.to_string()),
            leave_one_out_de2000_mean: six_digits(self.error.de2000_mean),
            leave_one_out_itp_mean: six_digits(self.error.itp_mean),
        }
    }
}

/// Patches by drive and repeats by light, so that nothing depends on the order in which they were read.
fn sorted(readings: &Readings) -> Readings {
    let mut patches = readings.patches.clone();
    patches.sort_by(|a, b| by_numbers(a.drive, b.drive));
    for (order, patch) in patches.iter_mut().enumerate() {
        patch.order = order;
        patch.repeats.sort_by(|a, b| by_numbers(a.0, b.0));
    }
    Readings { patches }
}

fn by_numbers(a: [f64; 3], b: [f64; 3]) -> std::cmp::Ordering {
    let pairs = a.iter().zip(&b);
    pairs.fold(std::cmp::Ordering::Equal, |known, (a, b)| {
        known.then(a.total_cmp(b))
    })
}

fn examined(readings: &Readings) -> Result<(), MeasuredError> {
    examine(readings, false).map_err(|failure| match failure {
        FitFailure::Refused { finding } => MeasuredError::Refused {
            finding: Box::new(finding),
        },
        FitFailure::Declined { reason } => MeasuredError::Declined { reason },
        // Nothing else is looked at there, but the type allows it.
        other => MeasuredError::Declined {
            reason: other.to_string(),
        },
    })
}

/// The halves of a set, the judge's first with its base. Where there are few neutrals a base needs ramps of the channels,
/// and those fall by chance: the first deal that leaves enough of them in either half is taken.
fn dealt(readings: &Readings, noise: &NoiseModel) -> Result<([Readings; 2], BaseModel), BaseError> {
    let deal = |seed| {
        let two = halves(readings, seed);
        let base = BaseModel::fit(&two[0], noise)?;
        BaseModel::fit(&two[1], noise)?;
        Ok((two, base))
    };
    let first = (0..DEALS).find_map(|seed| deal(seed).ok());
    first.map_or_else(|| deal(0), Ok)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Stage, patches};
    use evenstep_display::{Disturbance, SimulatedPanel, simulate};
    use evenstep_readings::{PatchRequest, Reading, merged};

    fn shown(patches: &[PatchRequest]) -> Vec<Reading> {
        let usual = Disturbance {
            noise: 1.0,
            drift: 0.0,
            outliers: 0.0,
        };
        let panel = SimulatedPanel::by_name("lcd").unwrap();
        simulate(&panel, patches, usual, 1)
    }

    fn sequence(count: usize) -> Vec<Reading> {
        shown(&patches(count))
    }

    /// The halves share corners alone, and are the same in whatever order the patches were read.
    #[test]
    fn the_split_shares_corners_and_knows_no_order() {
        let mut sequence = sequence(200);
        let split = |sequence: &[Reading]| {
            let readings = sorted(&merged(sequence.to_vec()));
            let (noise, _) = noise_of(&readings);
            dealt(&readings, &noise).unwrap().0
        };
        let drives = |half: &Readings| half.patches.iter().map(|p| p.drive).collect::<Vec<_>>();
        let two = split(&sequence);
        let shared: Vec<[f64; 3]> = drives(&two[0])
            .into_iter()
            .filter(|d| drives(&two[1]).contains(d))
            .collect();
        assert_eq!(shared.len(), 8);
        assert!(shared.iter().flatten().all(|v| *v == 0.0 || *v == 1.0));
        assert_eq!(two[0].distinct() + two[1].distinct(), 200 + 8);
        sequence.reverse();
        let again = split(&sequence);
        for (one, other) in two.iter().zip(&again) {
            assert_eq!(drives(one), drives(other));
            let light =
                |half: &Readings| half.patches.iter().map(|p| p.xyz().0).collect::<Vec<_>>();
            assert_eq!(light(one), light(other));
        }
    }

    #[test]
    fn readings_that_cannot_judge_are_refused_with_the_reason() {
        let said = |keep: &dyn Fn(&Reading) -> bool, count| {
            let kept = sequence(count).into_iter().filter(keep).collect();
            let refused = Stage::measured("read:wall", &merged(kept));
            refused.map(|_| ()).unwrap_err().to_string()
        };
        let few = said(&|_| true, 99);
        assert!(few.contains("99 distinct patches"), "{few}");
        let black = said(&|r| r.drive != [0.0; 3], 150);
        assert!(black.contains("no black"), "{black}");
        let white = said(&|r| r.drive != [1.0; 3], 150);
        assert!(white.contains("no white reading"), "{white}");
        // A hundred and sixty levels of four ramps, and not one mixture.
        let masks = [[1.0; 3], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
        let ramps = (0..160).map(|i| {
            let level = f64::from(i / 4) / 39.0;
            PatchRequest {
                id: i.to_string(),
                drive: masks[i as usize % 4].map(|m: f64| m * level),
            }
        });
        let ramps = shown(&ramps.collect::<Vec<_>>());
        let ramps = Stage::measured("read:wall", &merged(ramps)).map(|_| ());
        assert!(
            matches!(ramps, Err(MeasuredError::Declined { .. })),
            "{ramps:?}"
        );
    }
}
