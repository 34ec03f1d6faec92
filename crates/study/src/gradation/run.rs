use std::collections::BTreeMap;

use super::{CaseError, GradationCase, GradationRow, run_gradation_case};
use crate::cost::metered;
use crate::run::spread;
use crate::{Judge, Meter, PlanError, Spent, Stage};

/// A case that is done.
#[derive(Debug)]
pub struct GradationDone {
    /// Name of the case.
    pub case: String,
    /// Its rows.
    pub rows: Result<Vec<GradationRow>, CaseError>,
    /// What it took.
    pub spent: Spent,
}

/// Runs cases on `workers` threads, each case on one of them alone, and hands over each as it finishes. Rows do not
/// depend on the number of workers, the order in which they finish does.
///
/// # Errors
/// Those of `done`, and [`PlanError`] of a panel nobody knows.
pub fn run_gradation<E: From<PlanError>>(
    cases: &[GradationCase],
    workers: usize,
    meter: &Meter<'_>,
    done: impl FnMut(GradationDone) -> Result<(), E>,
) -> Result<(), E> {
    let mut stages: BTreeMap<&str, Stage> = BTreeMap::new();
    for case in cases {
        if !stages.contains_key(case.panel.as_str()) {
            stages.insert(&case.panel, Stage::new(&case.panel)?);
        }
    }
    let judges: BTreeMap<&str, Judge<'_>> = stages
        .iter()
        .map(|(name, stage)| (*name, Judge::new(stage)))
        .collect();
    let work = |case: &GradationCase| {
        let judge = &judges[case.panel.as_str()];
        let (rows, spent) = metered(meter, || run_gradation_case(case, judge));
        GradationDone {
            case: case.key(),
            rows,
            spent,
        }
    };
    spread(cases, workers, work, done)
}
