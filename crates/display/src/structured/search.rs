use evenstep_scatter::Cholesky;
use faer::Mat;
use rayon::prelude::*;

use super::covariance::{Pairs, Sites};
use super::emission::Emission;
use super::{PARTS, Scales, Training};

/// Patches the scales are found from where there are more, evenly picked: a step costs the cube of their number.
const MOST: usize = 120;

/// Steps in the logarithms: the first from the median of the prior, the first from near the goal, and the last that is
/// tried.
const FIRST_STEP: f64 = 0.6;
const NEAR_STEP: f64 = 0.3;
const LAST_STEP: f64 = 0.15;

/// The most probable scales, by a pattern search along the logarithms from near them, or from the median of the prior.
pub(super) fn scales(
    training: &Training,
    emission: &Emission,
    near: Option<Scales>,
) -> Option<Scales> {
    let n = training.drives.len();
    let (sites, residual) = training.linearised(emission, &vec![[[0.0; PARTS]; 3]; n]);
    let picked: Vec<usize> = if n <= MOST {
        (0..n).collect()
    } else {
        (0..MOST).map(|i| i * n / MOST).collect()
    };
    let sites = Sites {
        places: picked.iter().map(|i| sites.places[*i]).collect(),
        noise: picked.iter().map(|i| sites.noise[*i]).collect(),
    };
    let residual: Vec<[f64; 3]> = picked.iter().map(|i| residual[*i]).collect();
    let mut pairs = Pairs::new(&sites);
    let mut cost = |logs| surprise(&mut pairs, &residual, &Scales::from_logs(logs));
    let mut logs = near.unwrap_or_else(Scales::median).logs();
    let mut best = cost(logs)?;
    let mut step = if near.is_some() {
        NEAR_STEP
    } else {
        FIRST_STEP
    };
    while step >= LAST_STEP {
        let mut moved = false;
        for p in 0..logs.len() {
            for sign in [1.0, -1.0] {
                let mut tried = logs;
                tried[p] += sign * step;
                if let Some(found) = cost(tried).filter(|c| *c < best) {
                    (best, logs, moved) = (found, tried, true);
                    break;
                }
            }
        }
        if !moved {
            step *= 0.5;
        }
    }
    Some(Scales::from_logs(logs))
}

/// −2 ln of likelihood times prior, up to a constant.
fn surprise(pairs: &mut Pairs<'_>, residual: &[[f64; 3]], scales: &Scales) -> Option<f64> {
    let [x, y, z] = pairs.covariance(scales);
    let of = |(k, matrix): (usize, Mat<f64>)| {
        let factor = Cholesky::new(matrix)?;
        let right = Mat::from_fn(residual.len(), 1, |i, _| residual[i][k]);
        let solved = factor.solve(right.as_ref());
        Some((right.transpose() * &solved)[(0, 0)] + factor.log_determinant())
    };
    // Added in order, so that the sum is the same for any number of threads.
    let parts: Vec<Option<f64>> = [(0, x), (1, y), (2, z)].into_par_iter().map(of).collect();
    let parts: Option<Vec<f64>> = parts.into_iter().collect();
    let sum = scales.surprise() + parts?.iter().sum::<f64>();
    sum.is_finite().then_some(sum)
}
