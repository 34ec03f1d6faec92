//! Kriging against tables, against the radial schemes that solve the same system by another route, and against the
//! block system of universal kriging.

use evenstep_scatter::{
    Estimate, FitError, Interpolant, Kernel, Kriging, Rbf, Rule, Sites, Smoothness,
};
use nalgebra::{DMatrix, DVector};
use proptest::prelude::*;
use shared::{Triples, spread};

mod shared;

mod table;

/// Ten printed digits, and two solvers of one system.
const ABSOLUTE: f64 = 1e-9;
/// Two solvers of systems with conditions up to about 1e7.
const SOLVED: f64 = 1e-8;

const SMOOTHNESS: [Smoothness; 3] = [
    Smoothness::Matern32,
    Smoothness::Matern52,
    Smoothness::SquaredExponential,
];

fn wavy(sites: &[[f64; 3]]) -> Triples {
    let wave = |s: &[f64; 3]| {
        [
            (4.0 * s[0]).sin() + s[1],
            s[1] * s[2],
            (2.0 * s[0] - s[2]).cos(),
        ]
    };
    sites.iter().map(wave).collect()
}

/// A noise that repeats its pattern, about `size` large.
fn noisy(values: &[[f64; 3]], size: f64) -> Triples {
    let noise = |i: usize| size * ((i * 7919 % 101) as f64 / 50.0 - 1.0);
    let rough = |(i, v): (usize, &[f64; 3])| std::array::from_fn(|k| v[k] + noise(3 * i + k));
    values.iter().enumerate().map(rough).collect()
}

fn close(a: [f64; 3], b: [f64; 3], tolerance: f64) -> bool {
    // False for NaN too.
    (0..3).all(|k| (a[k] - b[k]).abs() <= tolerance * (1.0 + b[k].abs()))
}

/// scikit-learn's GaussianProcessRegressor, kernel 1.0 · Matérn(ν = 2.5, length 0.4), alpha 1e-6, mean 0: tables of
/// `reference/interpolation`. Its standard deviation is that of signal variance 1.
#[test]
fn tabulated_mean_and_standard_deviation() {
    for points in [100, 500] {
        let (sites, values, queries, expected) = table::functions(points);
        let kriging = Kriging {
            degree: -1,
            length: Some(0.4),
            ..Kriging::DEFAULT
        };
        let fitted = kriging.fit(Sites::new(&sites, &values), 1e-6).unwrap();
        let signal = fitted.signal_variance();
        for (i, at) in queries.iter().enumerate() {
            let (mean, error) = (fitted.eval(*at), fitted.standard_error(*at).unwrap());
            for k in 0..3 {
                let (tabled, std) = (
                    expected[k]["gpr_matern52_mean"][i],
                    expected[k]["gpr_matern52_std"][i],
                );
                assert!((mean[k] - tabled).abs() < ABSOLUTE, "mean of query {i}");
                let unit = error[k] / signal[k].sqrt();
                assert!(
                    (unit - std).abs() < ABSOLUTE,
                    "deviation of query {i}: {unit}, {std}"
                );
            }
        }
    }
}

/// The same mean, left-out residuals and scores as the radial scheme of that kernel, which projects the trend out and
/// decomposes into eigenvalues.
#[test]
fn one_route_agrees_with_the_other() {
    let sites = spread(60);
    let values = noisy(&wavy(&sites), 0.01);
    let variance: Vec<f64> = (0..60).map(|i| 0.5 + f64::from(i % 4) / 3.0).collect();
    let data = Sites::new(&sites, &values).with_relative_variance(&variance);
    let root2 = std::f64::consts::SQRT_2;
    for (smoothness, kernel, per_length) in [
        (Smoothness::Matern32, Kernel::Matern32, 1.0),
        (Smoothness::Matern52, Kernel::Matern52, 1.0),
        (
            Smoothness::SquaredExponential,
            Kernel::Gaussian,
            1.0 / root2,
        ),
    ] {
        for degree in -1..=2 {
            let kriging = Kriging {
                smoothness,
                degree,
                length: Some(0.5),
                ..Kriging::DEFAULT
            };
            let radial = Rbf::new(kernel)
                .with_degree(degree)
                .with_shape(per_length / 0.5);
            let candidates = [1e-4, 1e-3, 1e-2];
            for (a, b) in (kriging.leave_one_out(data, &candidates).unwrap().iter())
                .zip(&radial.leave_one_out(data, &candidates).unwrap())
            {
                for (a, b) in a.residual.iter().zip(&b.residual) {
                    assert!(close(*a, *b, SOLVED));
                }
            }
            for smoothing in candidates {
                let (ours, theirs) = (
                    kriging.fit(data, smoothing).unwrap(),
                    radial.fit(data, smoothing).unwrap(),
                );
                for at in spread(90).iter().map(|at| at.map(|v| 1.4 * v - 0.2)) {
                    assert!(close(ours.eval(at), theirs.eval(at), SOLVED));
                }
            }
            for rule in [
                Rule::GeneralisedCrossValidation,
                Rule::LeaveOneOut,
                Rule::NoiseMatched { variance: 1e-4 },
            ] {
                let scores = |selected: evenstep_scatter::Selected| selected.scores;
                let ours = scores(kriging.select(data, rule, &candidates).unwrap());
                let theirs = scores(radial.select(data, rule, &candidates).unwrap());
                for (a, b) in ours.iter().zip(&theirs) {
                    assert!((a.1 - b.1).abs() < SOLVED * (1.0 + b.1.abs()), "{rule:?}");
                }
            }
            // The likelihoods differ by a constant.
            let ours = kriging
                .select(data, Rule::MarginalLikelihood, &candidates)
                .unwrap();
            let theirs = radial
                .select(data, Rule::MarginalLikelihood, &candidates)
                .unwrap();
            let constant = ours.scores[0].1 - theirs.scores[0].1;
            for (a, b) in ours.scores.iter().zip(&theirs.scores) {
                assert!((a.1 - b.1 - constant).abs() < SOLVED * b.1.abs());
            }
            assert_eq!(ours.smoothing, theirs.smoothing);
        }
    }
}

/// σ²(1 − bᵀA⁻¹b) with A the block matrix of covariance and trend, b the correlations and monomials of the query
/// (Cressie, Statistics for Spatial Data, 1993, section 3.4; from memory).
#[test]
fn standard_errors_are_those_of_the_block_system() {
    let sites = spread(40);
    let values = wavy(&sites);
    let (length, smoothing, m) = (0.5, 1e-3, 4);
    let kriging = Kriging {
        degree: 1,
        length: Some(length),
        ..Kriging::DEFAULT
    };
    let fitted = kriging.fit(Sites::new(&sites, &values), smoothing).unwrap();
    let correlation = |a: [f64; 3], b: [f64; 3]| {
        let r = (0..3).map(|c| (a[c] - b[c]).powi(2)).sum::<f64>().sqrt() / length;
        let t = 5.0_f64.sqrt() * r;
        (1.0 + t + t * t / 3.0) * (-t).exp()
    };
    let monomials = |at: [f64; 3]| [1.0, at[0], at[1], at[2]];
    let n = sites.len();
    let block = DMatrix::from_fn(n + m, n + m, |i, j| match (i < n, j < n) {
        (true, true) => correlation(sites[i], sites[j]) + if i == j { smoothing } else { 0.0 },
        (true, false) => monomials(sites[i])[j - n],
        (false, true) => monomials(sites[j])[i - n],
        (false, false) => 0.0,
    });
    let factors = block.lu();
    for at in spread(30).iter().map(|at| at.map(|v| 1.4 * v - 0.2)) {
        let side = DVector::from_fn(n + m, |i, _| {
            if i < n {
                correlation(at, sites[i])
            } else {
                monomials(at)[i - n]
            }
        });
        let relative = 1.0 - side.dot(&factors.solve(&side).unwrap());
        let expected = fitted.signal_variance().map(|v| (v * relative).sqrt());
        assert!(close(fitted.standard_error(at).unwrap(), expected, SOLVED));
    }
}

/// What is estimated is a minimum: no length or smoothing near it scores better by the same rule.
#[test]
fn estimates_are_minima_of_their_score() {
    let sites = spread(70);
    let values = noisy(&wavy(&sites), 0.02);
    let data = Sites::new(&sites, &values);
    for (by, rule) in [
        (Estimate::Likelihood, Rule::MarginalLikelihood),
        (Estimate::LeaveOneOut, Rule::LeaveOneOut),
    ] {
        let kriging = Kriging {
            by,
            ..Kriging::DEFAULT
        };
        let selected = kriging
            .select(data, rule, &[1e-5, 1e-4, 1e-3, 1e-2])
            .unwrap();
        let best = selected.scores.last().unwrap().1;
        assert!(selected.scores.iter().all(|s| s.1 >= best));
        let length = kriging.fit(data, selected.smoothing).unwrap().lengths()[0];
        for factor in [0.9, 0.99, 1.0, 1.01, 1.1] {
            for other in [0.8, 0.98, 1.0, 1.02, 1.25] {
                let near = Kriging {
                    length: Some(factor * length),
                    ..kriging
                };
                let scored = near
                    .select(data, rule, &[other * selected.smoothing])
                    .unwrap();
                // Both are at rounding of the score in the middle.
                assert!(
                    scored.scores[0].1 >= best - 1e-7 * best.abs(),
                    "{by:?} {factor} {other}"
                );
            }
        }
    }
}

/// A sum of functions of one coordinate needs main effects only, and 40 sites show it.
#[test]
fn an_additive_function_is_recognised() {
    let sites = spread(40);
    let sum = |s: &[f64; 3]| (3.0 * s[0]).sin() + (4.0 * s[1]).cos() + s[2] * s[2];
    let values: Triples = sites
        .iter()
        .map(|s| [sum(s), -sum(s), 2.0 * sum(s)])
        .collect();
    let data = Sites::new(&sites, &values);
    let anova = Kriging::ANOVA.fit(data, 1e-6).unwrap();
    assert!(anova.effects().unwrap()[0] > 0.9, "{:?}", anova.effects());
    let plain = Kriging::DEFAULT.fit(data, 1e-6).unwrap();
    let worst = |fitted: &dyn Interpolant| {
        let off = |at: &[f64; 3]| (fitted.eval(*at)[0] - sum(at)).abs();
        spread(200).iter().map(off).fold(0.0, f64::max)
    };
    assert!(worst(&anova) < 0.5 * worst(&plain));
}

/// By axis and point by point, on a lattice of unequal sides that leaves the sites' range, and for a scheme without a
/// way of its own.
#[test]
fn a_lattice_by_axis_is_the_lattice_by_points() {
    let sites = spread(45);
    let values = wavy(&sites);
    let axes: [&[f64]; 3] = [&[-0.2, 0.0, 0.3, 1.0], &[0.1, 0.9, 1.3], &[0.5, 0.7]];
    let data = Sites::new(&sites, &values);
    for smoothness in SMOOTHNESS {
        for (anova, degree) in [(true, -1), (true, 1), (false, 0)] {
            let kriging = Kriging {
                smoothness,
                anova,
                degree,
                ..Kriging::DEFAULT
            };
            let fitted = kriging.fit(data, 1e-4).unwrap();
            let mut out = vec![[0.0; 3]; 24];
            fitted.eval_lattice(axes, &mut out);
            for (i, got) in out.iter().enumerate() {
                let at = [axes[0][i % 4], axes[1][i / 4 % 3], axes[2][i / 12]];
                // The same products in another order; weights of up to some 1e3 cancel.
                assert!(close(*got, fitted.eval(at), 1e-10), "{kriging:?} {at:?}");
            }
        }
    }
    let shepard = evenstep_scatter::Shepard::fit(data).unwrap();
    let mut out = vec![[0.0; 3]; 24];
    shepard.eval_lattice(axes, &mut out);
    assert_eq!(out[4 + 1], shepard.eval([0.0, 0.9, 0.5]));
}

/// The isotropic form moves with the sites, its length seven times; the error too. The ANOVA form is bound to the axes.
#[test]
fn the_isotropic_form_moves_with_the_sites() {
    let sites = spread(40);
    let values = wavy(&sites);
    for smoothness in SMOOTHNESS {
        let kriging = Kriging {
            smoothness,
            degree: 1,
            length: Some(0.5),
            ..Kriging::DEFAULT
        };
        let here = kriging.fit(Sites::new(&sites, &values), 1e-4).unwrap();
        let larger = Kriging {
            length: Some(3.5),
            ..kriging
        };
        let there = larger
            .fit(Sites::new(&shared::moved(&sites), &values), 1e-4)
            .unwrap();
        for at in spread(20).iter().map(|at| at.map(|v| 1.4 * v - 0.2)) {
            let moved = shared::moved(&[at])[0];
            assert!(close(there.eval(moved), here.eval(at), SOLVED));
            let (a, b) = (there.standard_error(moved), here.standard_error(at));
            assert!(close(a.unwrap(), b.unwrap(), SOLVED));
        }
    }
}

#[test]
fn values_that_the_trend_explains_need_no_estimate() {
    let sites = spread(20);
    for kriging in [Kriging::DEFAULT, Kriging::ANOVA] {
        let fitted = kriging
            .fit(Sites::new(&sites, &vec![[0.0, 2.0, -3.0]; 20]), 0.0)
            .unwrap();
        assert!(close(fitted.eval([0.3, 1.4, 0.2]), [0.0, 2.0, -3.0], 1e-12));
        assert!(fitted.standard_error([0.3, 1.4, 0.2]).unwrap()[1] < 1e-12);
    }
}

#[test]
fn degenerate_sites_are_named_or_answered() {
    let mut sites = spread(20);
    let values = wavy(&sites);
    for kriging in [Kriging::DEFAULT, Kriging::ANOVA] {
        let fit = |sites: &[[f64; 3]], smoothing| {
            kriging.fit(Sites::new(sites, &values), smoothing).err()
        };
        // In a plane, and on a line: a constant trend is determined.
        let flat: Triples = sites.iter().map(|s| [s[0], s[1], 0.5]).collect();
        assert_eq!(fit(&flat, 0.0), None);
        let line: Triples = sites.iter().map(|s| [s[0]; 3]).collect();
        assert_eq!(fit(&line, 1e-6), None);
        let linear = Kriging {
            degree: 1,
            ..kriging
        };
        let refused = linear.fit(Sites::new(&flat, &values), 0.0).err();
        assert_eq!(refused, Some(FitError::Degenerate { degree: 1 }));
        let bad = Kriging {
            length: Some(-1.0),
            ..kriging
        };
        let refused = bad.fit(Sites::new(&sites, &values), 0.0).err();
        assert_eq!(refused, Some(FitError::CorrelationLength { found: -1.0 }));
        // All sites at one place: the mean, with noise.
        assert_eq!(fit(&[[0.5; 3]; 20], 1e-3), None);
    }
    sites[7] = sites[3];
    let twice = Kriging::DEFAULT.fit(Sites::new(&sites, &values), 0.0).err();
    assert_eq!(
        twice,
        Some(FitError::Coincident {
            first: 3,
            second: 7
        })
    );
    sites[7][0] += 1e-12;
    let nearly = Kriging::DEFAULT.fit(Sites::new(&sites, &values), 0.0).err();
    assert!(
        matches!(
            nearly,
            Some(FitError::Singular {
                first: 3,
                second: 7,
                ..
            })
        ),
        "{nearly:?}"
    );
    assert!(
        Kriging::DEFAULT
            .fit(Sites::new(&sites, &values), 1e-6)
            .is_ok()
    );
}

fn any_kriging() -> impl Strategy<Value = Kriging> {
    (
        prop::sample::select(SMOOTHNESS.to_vec()),
        any::<bool>(),
        -1_i8..=2,
    )
        .prop_map(|(smoothness, anova, degree)| Kriging {
            smoothness,
            anova,
            degree,
            length: Some(0.6),
            ..Kriging::DEFAULT
        })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// Left-out residuals equal refits with the same correlation.
    #[test]
    fn leave_one_out_equals_refits(kriging in any_kriging(), values in prop::collection::vec(prop::array::uniform3(-1.0..1.0), 40)) {
        let sites = spread(40);
        let closed = kriging.leave_one_out(Sites::new(&sites, &values), &[1e-3]).unwrap();
        for i in (0..40).step_by(7) {
            let without = |v: &[[f64; 3]]| [&v[..i], &v[i + 1..]].concat();
            let (s, v) = (without(&sites), without(&values));
            let predicted = kriging.fit(Sites::new(&s, &v), 1e-3).unwrap().eval(sites[i]);
            let expected = std::array::from_fn(|k| values[i][k] - predicted[k]);
            prop_assert!(close(closed[0].residual[i], expected, SOLVED));
        }
    }

    /// Sure at a site without noise, less sure away from it, and never surer than the noise allows at a noisy one.
    #[test]
    fn standard_errors_follow_the_sites(kriging in any_kriging(), i in 0_usize..40) {
        let sites = spread(40);
        let values = wavy(&sites);
        let exact = kriging.fit(Sites::new(&sites, &values), 1e-9).unwrap();
        let noisy = kriging.fit(Sites::new(&sites, &values), 1e-2).unwrap();
        for k in 0..3 {
            let unit = |f: &evenstep_scatter::KrigingInterpolant, at| {
                f.standard_error(at).unwrap()[k] / f.signal_variance()[k].sqrt()
            };
            // √λ is the standard error of a lone reading.
            prop_assert!(unit(&exact, sites[i]) < 2e-4);
            prop_assert!(unit(&exact, [1.5, -0.5, 1.5]) > unit(&exact, sites[i]));
            prop_assert!(unit(&noisy, sites[i]) <= 0.1 * (1.0 + 1e-9));
        }
    }
}
