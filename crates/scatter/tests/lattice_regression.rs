//! Lattice regression against published-form numbers, dense normal equations and theorems.

use evenstep_scatter::{FitError, Interpolant, LatticeRegression, Penalty, Sites};
use nalgebra::{DMatrix, DVector};
use proptest::prelude::*;
use shared::{Triples, spread};

mod shared;

/// Two solvers of one system with a condition of about 1e7.
const SOLVED: f64 = 1e-8;

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

/// The numeric check for one dimension of `reference/metrics.md`, section 3 (recomputed there with NumPy after Garcia,
/// Arora & Gupta 2012): nodes 0, .25 … 1, five samples, objective (1/n)‖Bw − y‖² + α·tr(BKBᵀ).
///
/// Here it stands in space: the samples repeated at every node of the two other axes, so that the node values along the
/// first axis solve the same problem. n = 5 samples a line make α = λ·(our weight)/5; our weights are h and 1/h.
#[test]
fn one_dimensional_rows_of_the_reference() {
    let x = [0.05, 0.2, 0.45, 0.55, 0.9];
    let y = [0.02, 0.10, 0.35, 0.50, 0.95];
    let rows = [
        (
            Penalty::Laplacian,
            0.01,
            [
                0.0006975265057,
                0.1314474283,
                0.4184070601,
                0.8012639999,
                1.018926439,
            ],
        ),
        (
            Penalty::Laplacian,
            0.1,
            [
                0.05810455984,
                0.1809076701,
                0.4314775639,
                0.7125301117,
                0.8782067779,
            ],
        ),
        (
            Penalty::Hessian,
            0.01,
            [
                -0.02232837176,
                0.1423952495,
                0.4194551301,
                0.7513411002,
                1.08253534,
            ],
        ),
        (
            Penalty::Hessian,
            0.1,
            [
                -0.05575099141,
                0.1674512529,
                0.4313060436,
                0.7409988237,
                1.06686754,
            ],
        ),
    ];
    let level = |i: usize| 0.25 * i as f64;
    let (mut sites, mut values): (Triples, Triples) = (Vec::new(), Vec::new());
    for across in 0..25 {
        for (x, y) in x.iter().zip(y) {
            sites.push([*x, level(across % 5), level(across / 5)]);
            values.push([y, -y, 2.0 * y]);
        }
    }
    // Two samples of no weight at the ends of the first axis, so that the lattice reaches from 0 to 1.
    let mut variance = vec![1.0; sites.len()];
    for end in [0.0, 1.0] {
        sites.push([end, 0.0, 0.0]);
        values.push([0.0; 3]);
        variance.push(1e14);
    }
    for (penalty, alpha, expected) in rows {
        let ours = LatticeRegression { penalty, nodes: 5 };
        let smoothing = 5.0
            * alpha
            * match penalty {
                Penalty::Laplacian => 4.0,
                Penalty::Hessian => 0.25,
            };
        let data = Sites::new(&sites, &values).with_relative_variance(&variance);
        let fitted = ours.fit(data, smoothing).unwrap();
        for (i, expected) in expected.iter().enumerate() {
            for across in 0..25 {
                let b = fitted.node_values()[i + 5 * across];
                // Half a unit of the tenth printed digit.
                assert!(
                    (b[0] - expected).abs() < 5e-10 && (b[2] - 2.0 * expected).abs() < 1e-9,
                    "{penalty:?} {alpha}: {b:?}, {expected}"
                );
            }
        }
    }
}

/// Weights and differences formed densely, from coordinates of nodes instead of strides.
struct Dense {
    weights: DMatrix<f64>,
    penalty: DMatrix<f64>,
}

fn dense(sites: &[[f64; 3]], penalty: Penalty, nodes: usize) -> Dense {
    let low: [f64; 3] =
        std::array::from_fn(|c| sites.iter().map(|s| s[c]).fold(f64::INFINITY, f64::min));
    let side = (0..3)
        .map(|c| sites.iter().map(|s| s[c]).fold(0.0, f64::max) - low[c])
        .fold(0.0, f64::max);
    let h = side / (nodes - 1) as f64;
    let count = nodes.pow(3);
    let node = |i: usize| [i % nodes, i / nodes % nodes, i / nodes / nodes];
    // The trilinear weight is the product of hats.
    let hat = |t: f64| (1.0 - t.abs()).max(0.0);
    let weights = DMatrix::from_fn(sites.len(), count, |s, i| {
        (0..3)
            .map(|c| hat((sites[s][c] - low[c]) / h - node(i)[c] as f64))
            .product()
    });
    // Second differences of the nodes as products of one-dimensional ones.
    let one = |from: usize, to: usize, order: usize| -> f64 {
        let binomial: &[f64] = [&[1.0][..], &[-1.0, 1.0], &[1.0, -2.0, 1.0]][order];
        to.checked_sub(from)
            .and_then(|d| binomial.get(d))
            .copied()
            .unwrap_or(0.0)
    };
    let orders: &[([usize; 3], f64)] = match penalty {
        Penalty::Laplacian => &[([1, 0, 0], 1.0), ([0, 1, 0], 1.0), ([0, 0, 1], 1.0)],
        Penalty::Hessian => &[
            ([2, 0, 0], 1.0),
            ([0, 2, 0], 1.0),
            ([0, 0, 2], 1.0),
            ([1, 1, 0], 2.0),
            ([0, 1, 1], 2.0),
            ([1, 0, 1], 2.0),
        ],
    };
    let power = match penalty {
        Penalty::Laplacian => h,
        Penalty::Hessian => 1.0 / h,
    };
    let mut matrix = DMatrix::zeros(count, count);
    for (order, weight) in orders {
        for from in 0..count {
            let at = node(from);
            if (0..3).any(|c| at[c] + order[c] >= nodes) {
                continue;
            }
            let row = DVector::from_fn(count, |i, _| {
                (0..3).map(|c| one(at[c], node(i)[c], order[c])).product()
            });
            matrix += *weight * power * &row * row.transpose();
        }
    }
    Dense {
        weights,
        penalty: matrix,
    }
}

#[test]
fn dense_normal_equations_and_left_out_residuals() {
    let sites = spread(50);
    let values = wavy(&sites);
    let variance: Vec<f64> = (0..50).map(|i| 0.5 + f64::from(i % 4) / 3.0).collect();
    for penalty in [Penalty::Laplacian, Penalty::Hessian] {
        let ours = LatticeRegression { penalty, nodes: 5 };
        let Dense {
            weights,
            penalty: matrix,
        } = dense(&sites, penalty, 5);
        for smoothing in [1e-5, 1e-2] {
            // Without site `left`; more than any index keeps all.
            let solve = |left: usize| {
                let inverse = DMatrix::from_diagonal(&DVector::from_fn(50, |i, _| {
                    if i == left { 0.0 } else { 1.0 / variance[i] }
                }));
                let system = weights.transpose() * &inverse * &weights + smoothing * &matrix;
                let f = DMatrix::from_fn(50, 3, |i, k| values[i][k]);
                system
                    .cholesky()
                    .unwrap()
                    .solve(&(weights.transpose() * inverse * f))
            };
            let data = Sites::new(&sites, &values).with_relative_variance(&variance);
            let fitted = ours.fit(data, smoothing).unwrap();
            let expected = solve(usize::MAX);
            for (i, b) in fitted.node_values().iter().enumerate() {
                for k in 0..3 {
                    assert!((b[k] - expected[(i, k)]).abs() < SOLVED, "node {i}");
                }
            }
            let left_out = ours.leave_one_out(data, &[smoothing]).unwrap();
            for i in (0..50).step_by(7) {
                let predicted = weights.row(i) * solve(i);
                for k in 0..3 {
                    let expected = values[i][k] - predicted[k];
                    assert!((left_out[0].residual[i][k] - expected).abs() < SOLVED);
                }
            }
        }
    }
}

#[test]
fn poor_sites_are_named_or_answered() {
    let hessian = LatticeRegression {
        nodes: 5,
        ..LatticeRegression::DEFAULT
    };
    let laplacian = LatticeRegression {
        penalty: Penalty::Laplacian,
        ..hessian
    };
    let fit = |scheme: LatticeRegression, sites: &[[f64; 3]], smoothing| {
        scheme.fit(Sites::new(sites, &wavy(sites)), smoothing).err()
    };
    let plane: Triples = spread(20).iter().map(|s| [s[0], s[1], 0.5]).collect();
    let line: Triples = spread(20).iter().map(|s| [s[0]; 3]).collect();
    for flat in [&plane, &line] {
        assert_eq!(
            fit(hessian, flat, 1e-3),
            Some(FitError::Degenerate { degree: 1 })
        );
        assert_eq!(fit(laplacian, flat, 1e-3), None);
    }
    let mut sites = spread(20);
    sites[7] = sites[3];
    assert_eq!(fit(hessian, &sites, 0.0), None);
    assert_eq!(fit(laplacian, &[[0.5; 3]; 4], 0.0), None);
    sites[7][0] += 1e-12;
    assert_eq!(fit(hessian, &sites, 0.0), None);
    // Sites so far apart that the penalty is nothing beside the data: no definite system.
    let far: Triples = sites.iter().map(|s| s.map(|v| 1e200 * v)).collect();
    let refused = hessian.fit(Sites::new(&far, &wavy(&sites)), 1e-3).err();
    assert!(
        matches!(refused, Some(FitError::Singular { .. })),
        "{refused:?}"
    );
    for nodes in [0, 1, 34] {
        let refused = fit(LatticeRegression { nodes, ..hessian }, &sites, 0.0);
        assert_eq!(
            refused,
            Some(FitError::Nodes {
                found: nodes,
                least: 2,
                most: 33
            })
        );
    }
    assert_eq!(
        fit(hessian, &sites, -1.0),
        Some(FitError::Smoothing { found: -1.0 })
    );
    let nan = hessian.fit(Sites::new(&sites, &wavy(&sites)), 0.0).unwrap();
    assert!(nan.eval([f64::NAN, 0.5, 0.5]).iter().all(|v| v.is_nan()));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// Constants by both, linear functions by the Hessian, whatever the smoothing, inside and beyond the lattice.
    #[test]
    fn what_the_penalty_leaves_free_is_reproduced(c in prop::array::uniform4(-1.0..1.0), smoothing in 1e-6..10.0,
                                                  at in prop::array::uniform3(-0.5..1.5)) {
        let sites = spread(40);
        let linear = |s: &[f64; 3]| [c[0] + c[1] * s[0] + c[2] * s[1] + c[3] * s[2]; 3];
        let values: Triples = sites.iter().map(linear).collect();
        let hessian = LatticeRegression { nodes: 5, ..LatticeRegression::DEFAULT };
        let got = hessian.fit(Sites::new(&sites, &values), smoothing).unwrap().eval(at)[0];
        prop_assert!((got - linear(&at)[0]).abs() < SOLVED);
        let laplacian = LatticeRegression { penalty: Penalty::Laplacian, ..hessian };
        let got = laplacian.fit(Sites::new(&sites, &[[c[0]; 3]; 40]), smoothing).unwrap().eval(at)[0];
        prop_assert!((got - c[0]).abs() < SOLVED);
    }

    /// Moved and enlarged with the sites, λ with the unit of its integral: ∫|∇|² grows with the length, ∫|∇²|² falls.
    #[test]
    fn shift_and_scale_with_the_sites(shift in prop::array::uniform3(-3.0..3.0), size in 0.2..5.0_f64,
                                      at in prop::array::uniform3(-0.2..1.2)) {
        let sites = spread(40);
        let values = wavy(&sites);
        let moved = |s: &[f64; 3]| -> [f64; 3] { std::array::from_fn(|c| size * s[c] + shift[c]) };
        let elsewhere: Triples = sites.iter().map(moved).collect();
        for (penalty, power) in [(Penalty::Laplacian, -1), (Penalty::Hessian, 1)] {
            let ours = LatticeRegression { penalty, nodes: 5 };
            let here = ours.fit(Sites::new(&sites, &values), 1e-3).unwrap().eval(at);
            let there = ours.fit(Sites::new(&elsewhere, &values), 1e-3 * size.powi(power)).unwrap().eval(moved(&at));
            for k in 0..3 {
                prop_assert!((here[k] - there[k]).abs() < SOLVED);
            }
        }
    }

    /// Little smoothing passes through sites that have cells of their own.
    #[test]
    fn sites_are_approached(values in prop::collection::vec(prop::array::uniform3(-1.0..1.0), 30)) {
        let sites = spread(30);
        let fitted = LatticeRegression::DEFAULT.fit(Sites::new(&sites, &values), 0.0).unwrap();
        for (at, value) in sites.iter().zip(&values) {
            let got = fitted.eval(*at);
            // λ = 1e-7 times forces of up to some 1e3.
            prop_assert!((0..3).all(|k| (got[k] - value[k]).abs() < 1e-3));
        }
    }

    /// Inside a cell the Jacobian is that of central differences, which are exact for each coordinate by itself.
    #[test]
    fn jacobian_is_the_derivative(at in prop::array::uniform3(-0.2..1.2)) {
        let sites = spread(40);
        let fitted = LatticeRegression { nodes: 5, ..LatticeRegression::DEFAULT }
            .fit(Sites::new(&sites, &wavy(&sites)), 1e-3).unwrap();
        let (value, jacobian) = fitted.eval_with_gradient(at);
        prop_assert_eq!(value, fitted.eval(at));
        for input in 0..3 {
            let moved = |by: f64| { let mut to = at; to[input] += by; fitted.eval_with_gradient(to) };
            let ((low, before), (high, after)) = (moved(-1e-5), moved(1e-5));
            if before.column(input) != after.column(input) {
                continue; // a face lies between
            }
            for output in 0..3 {
                let slope = (high[output] - low[output]) / 2e-5;
                prop_assert!((jacobian[(output, input)] - slope).abs() < 1e-9 * (1.0 + slope.abs()));
            }
        }
    }
}
