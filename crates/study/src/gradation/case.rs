use evenstep_audit::ReadingFacts;
use evenstep_display::{
    BaseModel, Encoding, ForwardModel, ModelError, SimulatedPanel, SmoothingChoice, fit_residual,
};
use evenstep_fit::{
    BaseCorrection, CodeRange, Fit, FitFailure, FitOptions, Modelled, NodeSolver, Settled, Solve,
    fill_lattice, fit_with_model, model, noise_of,
};
use evenstep_lut::{Lut, Lut3d};
use evenstep_readings::{Readings, merged};
use evenstep_scatter::Scheme;
use serde::{Deserialize, Serialize};

use super::judged::{Lut33, band_held, judged};
use super::{Condition, Contender, DENSE, GradationRow, MadeBy};
use crate::patches::lattice_patches;
use crate::{Judge, patches};

/// One set of readings and the contenders that make a LUT from it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct GradationCase {
    /// Name of the simulated panel.
    pub panel: String,
    /// Distinct patches read; not looked at by [`Contender::Dense`] and [`Contender::TrueInverse`].
    pub patches: usize,
    /// How they are read.
    pub condition: Condition,
    /// Seed of the noise.
    pub seed: u64,
    /// Who makes a LUT of them.
    pub contenders: Vec<Contender>,
}

impl GradationCase {
    /// Name of the case in journals and messages: `panel/patches/condition/seed/contenders`.
    #[must_use]
    pub fn key(&self) -> String {
        let contenders = self.contenders.iter().map(|c| c.name());
        let contenders: Vec<&str> = contenders.collect();
        format!(
            "{}/{}/{}/{}/{}",
            self.panel,
            self.patches,
            self.condition,
            self.seed,
            contenders.join("+")
        )
    }
}

/// Why a case has no rows.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum CaseError {
    /// The stage is of a display of which only readings are known.
    #[error("{panel}: only the truth of a simulated panel is known; use one of {}", SimulatedPanel::NAMES.join(", "))]
    NotSimulated {
        /// Name of the stage.
        panel: String,
    },
    /// Readings that a fit refuses.
    #[error("{case}: {source}")]
    Fit {
        /// Name of the case.
        case: String,
        /// Why.
        source: FitFailure,
    },
}

/// Makes and judges the LUTs of a case: for each contender, in their order, a row for tetrahedral and one for trilinear
/// evaluation. Rows depend on the case alone.
///
/// Every contender aims at the target of the stage, so that none gains by a dimmer white.
///
/// # Errors
/// [`CaseError`] where the readings allow no fit.
pub fn run_gradation_case(
    case: &GradationCase,
    judge: &Judge<'_>,
) -> Result<Vec<GradationRow>, CaseError> {
    let stage = judge.stage();
    let Some(panel) = stage.simulated() else {
        return Err(CaseError::NotSimulated {
            panel: stage.name().to_owned(),
        });
    };
    let settled = Settled {
        target: stage.target().clone(),
        reach_cd_m2: stage.target().white().luminance_cd_m2(),
        lowered: 0.0,
        neutral_codes_missed: 0,
    };
    let dense = case.contenders.contains(&Contender::Dense);
    let requests = if dense {
        lattice_patches(DENSE)
    } else {
        patches(case.patches)
    };
    let (sequence, _) = case.condition.read(panel, &requests, case.seed);
    let readings = merged(sequence);
    let failed = |source| CaseError::Fit {
        case: case.key(),
        source,
    };
    let mut maker = Maker {
        readings: &readings,
        settled,
        chosen: None,
    };
    let mut rows = Vec::new();
    for &contender in &case.contenders {
        let by = MadeBy {
            panel: case.panel.clone(),
            contender,
            patches: case.patches,
            condition: case.condition,
            seed: case.seed,
        };
        if contender == Contender::TrueInverse {
            let solver = NodeSolver::new(panel, stage.target(), Some(stage.start()));
            let lattice = fill_lattice(&solver, Lut33::NODES, CodeRange::Full, &|_, _| {}).lut;
            rows.extend(judged(judge, &by, &Lut33::of_truth(lattice, stage.start())));
            continue;
        }
        let fit = maker.make(contender).map_err(failed)?;
        let mut made = judged(judge, &by, &Lut33::of_fit(&fit, stage.start()));
        if contender == Contender::Gradation
            && let Some(row) = made.first_mut()
        {
            let lut = Lut::from(fit.lut.clone());
            row.band = band_held(judge, &readings, &fit.model, &lut);
        }
        rows.extend(made);
        maker.keep(contender, fit);
    }
    Ok(rows)
}

/// Fits of one set of readings; the model chosen is used by all contenders that stand on it.
struct Maker<'a> {
    readings: &'a Readings,
    settled: Settled,
    chosen: Option<Modelled>,
}

impl Maker<'_> {
    fn make(&mut self, contender: Contender) -> Result<Fit, FitFailure> {
        let options = FitOptions {
            base_only: contender == Contender::BaseOnly,
            solve: match contender {
                Contender::Gradation => Solve::Gradation,
                _ => Solve::Pointwise,
            },
            ..FitOptions::default()
        };
        let modelled = match contender {
            Contender::ThinPlate => self.thin_plate()?,
            Contender::BaseOnly => model(self.readings, &options)?,
            _ => match self.chosen.take() {
                Some(modelled) => modelled,
                None => model(self.readings, &options)?,
            },
        };
        let settled = self.settled.clone();
        fit_with_model(self.readings, modelled, settled, &options, &|_, _| {})
    }

    /// The model of a fit that chose it serves the next contender too: choosing costs more than everything else.
    fn keep(&mut self, contender: Contender, fit: Fit) {
        if matches!(contender, Contender::Pointwise | Contender::Gradation) {
            self.chosen = Some(Modelled {
                model: fit.model,
                error: fit.report.leave_one_out,
                base_error: fit.report.base_error,
                base_suffices: fit.report.base_suffices,
                choice: fit.report.choice,
                outliers: fit.report.outliers,
                drift: fit.report.drift,
                at_floor: fit.report.at_floor,
            });
        }
    }

    fn thin_plate(&self) -> Result<Modelled, FitFailure> {
        let noise = noise_of(self.readings).0;
        let base = BaseModel::fit(self.readings, &noise).map_err(ModelError::Base)?;
        let scheme = Scheme::Rbf(evenstep_scatter::Rbf::new(
            evenstep_scatter::Kernel::ThinPlate,
        ));
        let model: ForwardModel = fit_residual(
            self.readings,
            &noise,
            base,
            Encoding::PqLms,
            scheme,
            SmoothingChoice::LeaveOneOut,
        )?;
        Ok(Modelled {
            model,
            error: None,
            base_error: None,
            base_suffices: false,
            choice: None,
            outliers: None,
            drift: None,
            at_floor: None,
        })
    }
}

impl<'a> Lut33<'a> {
    fn of_truth(lattice: Lut3d, base: &'a BaseCorrection) -> Self {
        Self {
            lattice: rounded(lattice),
            base,
            model: None,
            scheme: None,
            facts: ReadingFacts {
                neutral_levels: usize::MAX,
                interior: usize::MAX,
            },
        }
    }

    fn of_fit(fit: &'a Fit, start: &'a BaseCorrection) -> Self {
        Self {
            lattice: fit.lut.clone(),
            base: fit.base.as_ref().unwrap_or(start),
            model: Some(&fit.model),
            scheme: Some(fit.report.scheme.clone()),
            facts: ReadingFacts {
                neutral_levels: fit.report.patches.neutral_levels,
                interior: fit.report.patches.interior,
            },
        }
    }
}

/// Node values as a LUT of 12 bits holds them.
fn rounded(mut lattice: Lut3d) -> Lut3d {
    let largest = f64::from((1_u32 << FitOptions::default().node_bits) - 1);
    for node in lattice.nodes_mut() {
        *node = node.map(|v| (v * largest).round() / largest);
    }
    lattice
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Stage;

    /// Of these readings the search for the white that all clipped signals ask for once ended on flat ground, 9.4 CIEDE2000
    /// off, and the mean was 2.5; 0.7 with that white found, 0.28 since the panel's saturation is modelled.
    #[test]
    fn the_white_of_an_hdr_panel_is_found_from_flat_ground() {
        let stage = Stage::new("hdr-wrgb").unwrap();
        let case = GradationCase {
            panel: "hdr-wrgb".to_owned(),
            patches: 200,
            condition: Condition::Ordinary,
            seed: 3,
            contenders: vec![Contender::Gradation],
        };
        let rows = run_gradation_case(&case, &Judge::new(&stage)).unwrap();
        let mean = rows[0].de2000_mean;
        assert!(mean.is_some_and(|mean| mean < 0.5), "{:?}", rows[0]);
    }
}
