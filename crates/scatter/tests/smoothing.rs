//! Scores of the smoothing rules against the same figures from dense matrices, formed without their shortcuts.

use evenstep_scatter::{Kernel, Rbf, Rule, Sites};
use nalgebra::{DMatrix, DVector};

/// Two ways of the same arithmetic with matrices of 30 rows and conditions up to about 1e5.
const DENSE: f64 = 1e-8;

const SMOOTHINGS: [f64; 4] = [1e-4, 1e-3, 1e-2, 1e-1];

type Triples = Vec<[f64; 3]>;

/// Sites, noisy values, relative variances.
fn data() -> (Triples, Triples, Vec<f64>) {
    let step = [0.819_172_513_396, 0.671_043_606_704, 0.549_700_477_901];
    let sites: Triples = (1..=30)
        .map(|i| step.map(|s| (s * f64::from(i)).fract()))
        .collect();
    let noise = |i: usize| 0.02 * ((i * 7919 % 101) as f64 / 50.0 - 1.0);
    let values = sites
        .iter()
        .enumerate()
        .map(|(i, [x, y, z])| {
            [
                (3.0 * x).sin() + noise(i),
                y * z + noise(i + 40),
                x - y + noise(i + 80),
            ]
        })
        .collect();
    let variance = (0..30).map(|i| 0.5 + (i % 4) as f64 / 3.0).collect();
    (sites, values, variance)
}

/// Whitened residual maker I − W H W⁻¹, from fits to unit vectors.
fn residual_maker(rbf: Rbf, sites: &[[f64; 3]], variance: &[f64], smoothing: f64) -> DMatrix<f64> {
    let n = sites.len();
    let mut maker = DMatrix::identity(n, n);
    for j in 0..n {
        let unit: Triples = (0..n).map(|i| [f64::from(u8::from(i == j)); 3]).collect();
        let data = Sites::new(sites, &unit).with_relative_variance(variance);
        let fitted = rbf.fit(data, smoothing).unwrap();
        for i in 0..n {
            let influence = evenstep_scatter::Interpolant::eval(&fitted, sites[i])[0];
            maker[(i, j)] -= influence * (variance[j] / variance[i]).sqrt();
        }
    }
    maker
}

/// RSS over all outputs and tr(I − H).
fn dense(rbf: Rbf, smoothing: f64) -> (f64, f64) {
    let (sites, values, variance) = data();
    let maker = residual_maker(rbf, &sites, &variance, smoothing);
    let rss = (0..3)
        .map(|k| {
            let whitened = (0..sites.len()).map(|i| values[i][k] / variance[i].sqrt());
            (&maker * DVector::from_iterator(sites.len(), whitened)).norm_squared()
        })
        .sum();
    (rss, maker.trace())
}

fn scores(rbf: Rbf, rule: Rule) -> Vec<(f64, f64)> {
    let (sites, values, variance) = data();
    let data = Sites::new(&sites, &values).with_relative_variance(&variance);
    rbf.select(data, rule, &SMOOTHINGS).unwrap().scores
}

fn close(got: f64, expected: f64, what: &str) {
    let error = (got - expected).abs() / expected.abs().max(1.0);
    assert!(error < DENSE, "{what}: {got} instead of {expected}");
}

#[test]
fn generalised_cross_validation_is_its_definition() {
    for kernel in Kernel::ALL {
        let rbf = Rbf::new(kernel);
        for (smoothing, score) in scores(rbf, Rule::GeneralisedCrossValidation) {
            let (rss, trace) = dense(rbf, smoothing);
            close(
                score,
                30.0 * rss / (trace * trace),
                &format!("{kernel} {smoothing}"),
            );
        }
    }
}

#[test]
fn the_implied_noise_is_its_definition() {
    let variance = 1e-4;
    for kernel in Kernel::ALL {
        let rbf = Rbf::new(kernel);
        for (smoothing, score) in scores(rbf, Rule::NoiseMatched { variance }) {
            let (rss, trace) = dense(rbf, smoothing);
            let expected = (rss / (3.0 * trace) / variance).ln().abs();
            close(score, expected, &format!("{kernel} {smoothing}"));
        }
    }
}

#[test]
fn leave_one_out_is_the_sum_of_refits() {
    let (sites, values, variance) = data();
    let rbf = Rbf::new(Kernel::Cubic);
    for (smoothing, score) in scores(rbf, Rule::LeaveOneOut) {
        let mut expected = 0.0;
        for i in 0..sites.len() {
            let without = |list: &Triples| -> Triples {
                let kept = list.iter().enumerate().filter(|(j, _)| *j != i);
                kept.map(|(_, v)| *v).collect()
            };
            let mut rest = variance.clone();
            rest.remove(i);
            let (s, v) = (without(&sites), without(&values));
            let fitted = rbf
                .fit(Sites::new(&s, &v).with_relative_variance(&rest), smoothing)
                .unwrap();
            let predicted = evenstep_scatter::Interpolant::eval(&fitted, sites[i]);
            expected += (0..3)
                .map(|k| (values[i][k] - predicted[k]).powi(2) / variance[i])
                .sum::<f64>();
        }
        close(score, expected, &format!("{smoothing}"));
    }
}

/// −2 ln L of zᵀf ~ N(0, s²(ZᵀKZ + λ ZᵀVZ)) with Z any basis of the vectors orthogonal to the polynomials and s² at
/// its best value. Another basis only adds a constant, the same for every λ, so differences are compared.
#[test]
fn the_likelihood_is_that_of_the_contrasts() {
    let (sites, values, variance) = data();
    let n = sites.len();
    let rbf = Rbf::new(Kernel::Cubic);
    let polynomials = DMatrix::from_fn(n, 4, |i, j| if j == 0 { 1.0 } else { sites[i][j - 1] });
    // The last left singular vectors of [P | 0] span the complement.
    let mut padded = DMatrix::zeros(n, n);
    padded.columns_mut(0, 4).copy_from(&polynomials);
    let svd = padded.svd(true, false);
    let u = svd.u.unwrap();
    let null: Vec<_> = (0..n)
        .filter(|&k| svd.singular_values[k] < 1e-10)
        .map(|k| u.column(k).into_owned())
        .collect();
    let z = DMatrix::from_columns(&null);
    assert_eq!(z.ncols(), n - 4);
    let kernel = DMatrix::from_fn(n, n, |i, j| {
        let square: f64 = (0..3).map(|c| (sites[i][c] - sites[j][c]).powi(2)).sum();
        square.powf(1.5)
    });
    let noise = DMatrix::from_diagonal(&DVector::from_vec(variance.clone()));
    let dense = |smoothing: f64| -> f64 {
        let covariance = z.transpose() * (&kernel + &noise * smoothing) * &z;
        let factor = covariance.cholesky().unwrap();
        let log_volume: f64 = 2.0 * factor.l().diagonal().iter().map(|d| d.ln()).sum::<f64>();
        (0..3)
            .map(|k| {
                let f = DVector::from_iterator(n, values.iter().map(|v| v[k]));
                let contrasts = z.transpose() * f;
                let q = contrasts.dot(&factor.solve(&contrasts));
                (n - 4) as f64 * q.ln() + log_volume
            })
            .sum()
    };
    let got = scores(rbf, Rule::MarginalLikelihood);
    let offset = got[0].1 - dense(got[0].0);
    for (smoothing, score) in got {
        close(score - offset, dense(smoothing), &format!("{smoothing}"));
    }
}

#[test]
fn a_best_value_at_the_end_of_the_candidates_is_said() {
    let (sites, values, variance) = data();
    let data = Sites::new(&sites, &values).with_relative_variance(&variance);
    let rbf = Rbf::new(Kernel::Cubic);
    // The implied noise grows from 0 with the smoothing, so some value between matches.
    let rule = Rule::NoiseMatched { variance: 1e-4 };
    let wide = rbf
        .select(data, rule, &[1e-9, 1e-6, 1e-3, 1e-2, 1e-1, 1.0, 1e3])
        .unwrap();
    assert!(!wide.at_edge, "{wide:?}");
    let narrow = rbf.select(data, rule, &[1e-9, 1e-8]).unwrap();
    assert!(narrow.at_edge, "{narrow:?}");
}

/// A kernel so wide that its matrix is singular without smoothing: what is chosen can be fitted.
#[test]
fn a_chosen_smoothing_can_be_fitted() {
    let (sites, values, variance) = data();
    let data = Sites::new(&sites, &values).with_relative_variance(&variance);
    let flat = Rbf::new(Kernel::Gaussian).with_shape(0.1);
    assert!(flat.fit(data, 0.0).is_err());
    for rule in [
        Rule::LeaveOneOut,
        Rule::GeneralisedCrossValidation,
        Rule::MarginalLikelihood,
        Rule::NoiseMatched { variance: 1e-4 },
    ] {
        let chosen = flat.select(data, rule, &[0.0, 1e-18, 1e-6, 1e-3]).unwrap();
        assert!(
            flat.fit(data, chosen.smoothing).is_ok(),
            "{rule:?}: {chosen:?}"
        );
        assert!(chosen.scores[0].1.is_infinite(), "{rule:?}: {chosen:?}");
    }
    let none = flat.select(data, Rule::LeaveOneOut, &[0.0]);
    assert_eq!(none, Err(evenstep_scatter::FitError::NoSmoothing));
}
