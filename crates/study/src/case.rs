use evenstep_display::{
    BaseModel, Encoding, ForwardModel, ModelError, PanelModel, SmoothingChoice, fit_residual,
};
use evenstep_fit::{BaseCorrection, NodeSolver};
use evenstep_lut::{Correction, Lut, Lut3d};

use crate::cost::metered;
use crate::judge::Corrected;
use crate::training::TooMany;
use crate::{Contender, Cost, Judge, Meter, Row, Spent, Status};

/// One scheme fitted to one set of readings.
#[derive(Clone, Debug, PartialEq)]
pub struct Case {
    /// Scheme or mark.
    pub scheme: Contender,
    /// Name of the panel; see [`Stage::name`](crate::Stage::name).
    pub panel: String,
    /// Distinct patches read.
    pub patches: usize,
    /// Scale of the noise; 1 is that of [`evenstep_display::Disturbance`], or of the readings of a display.
    pub noise: f64,
    /// Seed of the noise; for a display, of the choice among its readings.
    pub seed: u64,
}

impl Case {
    /// The name of the case in journals and messages: `panel/scheme/patches/noise/seed`.
    #[must_use]
    pub fn key(&self) -> String {
        let scheme = self.scheme.to_string();
        key(&self.panel, &scheme, self.patches, self.noise, self.seed)
    }
}

pub(crate) fn key(panel: &str, scheme: &str, patches: usize, noise: f64, seed: u64) -> String {
    format!("{panel}/{scheme}/{patches}/{noise}/{seed}")
}

/// The forward model that is inverted.
enum Model<'a> {
    Base,
    Truth(&'a dyn PanelModel),
    Fitted(Box<ForwardModel>),
}

/// Reads a panel, fits base and scheme, inverts, and judges the correction on the panel itself, or on the model that
/// stands for it.
///
/// Panel readings that base or scheme refuse make a row with a reason and without figures. The row depends on the case
/// alone; what it took is measured by `meter`.
#[must_use]
pub fn run_case(case: &Case, judge: &Judge<'_>, meter: &Meter<'_>) -> (Row, Cost) {
    let (fitted, fit) = metered(meter, || fitted(case, judge));
    let (base, model) = match fitted {
        Ok(fitted) => fitted,
        Err(error) => {
            let row = Row::without_figures(case, Status::Refused, error.to_string());
            return (row, Cost::of([fit, Spent::default(), Spent::default()]));
        }
    };
    let (corrected, correct) = metered(meter, || corrected(&base, &model, judge));
    let (figures, judged) = metered(meter, || judge.figures(&corrected));
    let smoothing = match &model {
        Model::Fitted(model) => model.structure().map(|s| s.smoothing),
        Model::Base | Model::Truth(_) => None,
    };
    let row = Row::fitted(case, smoothing, &figures);
    (row, Cost::of([fit, correct, judged]))
}

/// Why a case has no figures.
#[derive(Debug, thiserror::Error)]
enum Refusal {
    #[error(transparent)]
    TooMany(#[from] TooMany),
    #[error(transparent)]
    Model(#[from] ModelError),
}

fn fitted<'a>(case: &Case, judge: &Judge<'a>) -> Result<(BaseCorrection, Model<'a>), Refusal> {
    let stage = judge.stage();
    let (readings, noise) = stage.readings(case.patches, case.noise, case.seed)?;
    let base = BaseModel::fit(&readings, &noise).map_err(ModelError::Base)?;
    let model = match case.scheme {
        Contender::BaseOnly => Model::Base,
        Contender::TrueInverse => Model::Truth(stage.panel()),
        Contender::Scheme(scheme) => Model::Fitted(Box::new(fit_residual(
            &readings,
            &noise,
            base.clone(),
            Encoding::PqLms,
            scheme,
            SmoothingChoice::LeaveOneOut,
        )?)),
    };
    Ok((BaseCorrection::new(base, stage.target().clone()), model))
}

fn corrected<'a>(base: &'a BaseCorrection, model: &Model<'_>, judge: &Judge<'_>) -> Corrected<'a> {
    let panel: &dyn PanelModel = match model {
        // As a fit without a 3D part does: the base is its own inverse.
        Model::Base => return drives(base, judge, |signal| base.drive(signal)),
        Model::Truth(panel) => *panel,
        Model::Fitted(model) => &**model,
    };
    let solver = NodeSolver::new(panel, judge.stage().target(), Some(base));
    drives(base, judge, |signal| solver.solve(signal).drive)
}

fn drives<'a>(
    base: &'a BaseCorrection,
    judge: &Judge<'_>,
    drive: impl Fn([f64; 3]) -> [f64; 3],
) -> Corrected<'a> {
    // Only the nodes that the ramps read: fifty times as cheap, and no figure differs.
    let mut lattice = Lut3d::identity(judge.size());
    for &node in judge.nodes() {
        let signal = lattice.nodes()[node];
        lattice.nodes_mut()[node] = drive(signal);
    }
    Corrected {
        lattice: Lut::from(lattice),
        all: judge.all().iter().map(|s| drive(*s)).collect(),
        near_black: judge.near_black().iter().map(|s| drive(*s)).collect(),
        base,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Stage, unmetered};
    use evenstep_fit::{CodeRange, fill_lattice};
    use evenstep_scatter::{Kernel, Rbf, Scheme};

    fn case(scheme: &str, panel: &str) -> Case {
        Case {
            scheme: scheme.parse().unwrap(),
            panel: panel.to_owned(),
            patches: 50,
            noise: 1.0,
            seed: 1,
        }
    }

    /// The marks are where they should be: the true inverse misses by rounding alone, a scheme lies between it and
    /// the base.
    #[test]
    fn a_scheme_lies_between_the_marks() {
        /// The search ends at a thousandth of a ΔE ITP; CIEDE2000 is of the same size or smaller.
        const SOLVED: f64 = 0.01;
        let stage = Stage::new("wrgb").unwrap();
        let judge = Judge::new(&stage);
        let error = |scheme| {
            let (row, _) = run_case(&case(scheme, "wrgb"), &judge, &unmetered);
            assert_eq!(row.status, Status::Fitted);
            row.figures.all_de2000_mean.unwrap()
        };
        let (base, scheme, truth) = (
            error("base-only"),
            error("rbf-linear"),
            error("true-inverse"),
        );
        assert!(truth < SOLVED, "{truth}");
        assert!(truth < scheme && scheme < base, "{truth} {scheme} {base}");
    }

    /// The lattice with the ramps' nodes alone gives the figures of one that is inverted everywhere.
    #[test]
    fn the_sparse_lattice_is_judged_as_the_whole_one() {
        let stage = Stage::new("twist").unwrap();
        let judge = Judge::of_lattices(&stage, 17);
        let case = case("rbf-linear", "twist");
        let (base, model) = fitted(&case, &judge).unwrap();
        let sparse = corrected(&base, &model, &judge);
        let Model::Fitted(model) = &model else {
            panic!("a scheme was fitted")
        };
        let solver = NodeSolver::new(&**model, stage.target(), Some(&base));
        let whole = fill_lattice(&solver, judge.size(), CodeRange::Full, &|_, _| {}).lut;
        let whole = Corrected {
            lattice: Lut::from(whole),
            all: sparse.all.clone(),
            near_black: sparse.near_black.clone(),
            base: &base,
        };
        assert_eq!(
            judge.figures(&sparse).rounded(),
            judge.figures(&whole).rounded()
        );
    }

    /// A scheme whose system cannot be solved refuses: the row says so.
    #[test]
    fn what_is_refused_is_a_row_with_a_reason() {
        let stage = Stage::new("lcd").unwrap();
        let judge = Judge::new(&stage);
        // Thin plates need at least the linear polynomials; no spec says otherwise, the type does.
        let unsolvable = Scheme::Rbf(Rbf::new(Kernel::ThinPlate).with_degree(0));
        let case = Case {
            scheme: Contender::Scheme(unsolvable),
            ..case("nearest", "lcd")
        };
        let (row, cost) = run_case(&case, &judge, &unmetered);
        assert_eq!(row.status, Status::Refused);
        assert!(row.reason.is_some_and(|r| r.contains("degree 0")));
        assert!(row.figures.values().iter().all(Option::is_none));
        assert_eq!(cost.correct_seconds, 0.0);
    }
}
