use evenstep_display::PanelModel;
use evenstep_solve::{Grid, Penalised};
use nalgebra::Matrix3;
use rayon::prelude::*;

use super::Problem;
use crate::invert::itp_from_lms;

/// Weight of a node whose target is out of reach against one within: what is shown there is a compromise anyhow, and
/// its kinks must not print into the cells beside it. Our choice.
const OUT_OF_REACH: f64 = 1.0;
/// Share of the model's own error by which smoothing may move what is shown, root mean square: in quadrature it adds
/// three per cent to that error. Our choice.
const SHARE: f64 = 0.25;
/// Residual of a solve, relative: what is solved for is a small difference, of which this is far below a code.
const TOLERANCE: f64 = 1e-4;
/// λ over the median weight: from nothing worth mentioning to a lattice that only bends over five nodes; a decade at a
/// time.
const LAMBDAS: [f64; 4] = [0.01, 0.1, 1.0, 10.0];

pub(super) struct Smoothed {
    pub(super) drives: Vec<[f64; 3]>,
    pub(super) lambda: f64,
    pub(super) misfit_itp: f64,
}

/// The smoothest difference from the base that moves what is shown by less than a share of the model's error.
pub(super) fn smooth(
    problem: &Problem<'_>,
    grid: Grid,
    base: &[[f64; 3]],
    aim: &[[f64; 3]],
    reached: &[bool],
) -> Smoothed {
    let itp = itp_from_lms();
    let weights: Vec<Matrix3<f64>> = aim
        .par_iter()
        .zip(reached)
        .map(|(drive, reached)| {
            let legal = drive.map(|v| v.clamp(0.0, 1.0));
            let (_, slope) = match problem.base {
                Some(base) => base.model().pq_lms_with_jacobian(legal),
                None => problem.panel.pq_lms_with_jacobian(legal),
            };
            let slope = itp * slope;
            let weight = if *reached { 1.0 } else { OUT_OF_REACH };
            slope.transpose() * slope * weight
        })
        .collect();
    let difference: Vec<[f64; 3]> = aim
        .iter()
        .zip(base)
        .map(|(a, b)| std::array::from_fn(|c| a[c] - b[c]))
        .collect();
    let mut traces: Vec<f64> = weights.iter().map(|w| w.trace() / 3.0).collect();
    let middle = traces.len() / 2;
    let median = *traces.select_nth_unstable_by(middle, f64::total_cmp).1;
    let penalised = Penalised::new(grid, weights, difference.clone());
    let mut best = Smoothed {
        drives: difference,
        lambda: 0.0,
        misfit_itp: 0.0,
    };
    for factor in LAMBDAS {
        let lambda = factor * median;
        let solved = penalised.solve(lambda, best.drives.clone(), TOLERANCE);
        if solved.misfit > SHARE * problem.model_itp {
            break;
        }
        best = Smoothed {
            drives: solved.values,
            lambda,
            misfit_itp: solved.misfit,
        };
    }
    for (drive, base) in best.drives.iter_mut().zip(base) {
        for c in 0..3 {
            drive[c] += base[c];
        }
    }
    best
}
