//! Moving least squares against its definition, its theorems and its edges.

mod shared;

use evenstep_scatter::{FitError, Interpolant, MovingLeastSquares, Sites};
use nalgebra::DMatrix;
use proptest::prelude::*;
use shared::*;

/// A condition of the weighted monomials up to about 1e5 against another factorisation, on values up to 3.
const SOLVED: f64 = 1e-11;
/// Interpolation: the floor of 1e-12 times the residual and the weights of the others, up to 1e4 at a third of a radius.
const MET: f64 = 1e-9;
/// Step of central differences, and what they leave: rounding 1e-15 ÷ step, third derivatives up to 1e4 × step².
const STEP: f64 = 1e-5;
const DIFFERENCE: f64 = 1e-5;

fn schemes() -> [MovingLeastSquares; 2] {
    [1, 2].map(|degree| MovingLeastSquares { degree })
}

/// The definition, computed by the singular value decomposition of the weighted monomials.
fn by_definition(
    degree: i8,
    sites: &[[f64; 3]],
    values: &[[f64; 3]],
    variance: &[f64],
    smoothing: f64,
    at: [f64; 3],
) -> [f64; 3] {
    let squared = |a: [f64; 3], b: [f64; 3]| (0..3).map(|c| (a[c] - b[c]).powi(2)).sum::<f64>();
    let root_weight: Vec<f64> = (0..sites.len())
        .map(|i| {
            let mut others: Vec<f64> = sites.iter().map(|s| squared(*s, sites[i])).collect();
            others.sort_by(f64::total_cmp);
            let s = squared(at, sites[i]) / others[6]; // others[0] is the site itself
            (smoothing * variance[i] + 1e-12 + s.powi(i32::from(degree) + 2)).powf(-0.5)
        })
        .collect();
    let terms = if degree == 1 { 4 } else { 10 };
    // About x, so that the first coefficient is the value.
    let monomials = |site: [f64; 3]| {
        let [x, y, z]: [f64; 3] = std::array::from_fn(|c| site[c] - at[c]);
        [1.0, x, y, z, x * x, y * y, z * z, x * y, x * z, y * z]
    };
    let matrix = DMatrix::from_fn(sites.len(), terms, |i, j| {
        root_weight[i] * monomials(sites[i])[j]
    });
    let right = DMatrix::from_fn(sites.len(), 3, |i, k| root_weight[i] * values[i][k]);
    let solved = matrix.svd(true, true).solve(&right, 0.0).unwrap();
    [0, 1, 2].map(|k| solved[(0, k)])
}

#[test]
fn the_definition_solved_by_another_factorisation_gives_the_same() {
    for sites in [spread(120), patches()] {
        let values: Triples = sites.iter().map(|s| curved(*s)).collect();
        let variance: Vec<f64> = (0..sites.len()).map(|i| 0.5 + (i % 5) as f64).collect();
        let data = Sites::new(&sites, &values).with_relative_variance(&variance);
        for scheme in schemes() {
            for smoothing in [0.0, 1e-3, 1.0] {
                let fitted = scheme.fit(data, smoothing).unwrap();
                for at in spread(25).iter().map(|s| s.map(|v| 1.4 * v - 0.2)) {
                    let expected =
                        by_definition(scheme.degree, &sites, &values, &variance, smoothing, at);
                    let got = fitted.eval(at);
                    assert!(
                        distance(got, expected) < SOLVED,
                        "{scheme:?}, {smoothing}, {at:?}: {got:?}, {expected:?}"
                    );
                }
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(32))]

    /// Polynomials of the degree are exact, inside and outside, whatever the smoothing.
    #[test]
    fn polynomials_of_the_degree_are_reproduced(at in prop::array::uniform3(-1.0..2.0), smoothing in 0.0..2.0,
                                                count in 30_u32..150, practice: bool) {
        let sites = if practice { patches() } else { spread(count) };
        for scheme in schemes() {
            let values: Triples = sites.iter().map(|s| polynomial(scheme.degree, *s)).collect();
            let fitted = scheme.fit(Sites::new(&sites, &values), smoothing).unwrap();
            prop_assert!(distance(fitted.eval(at), polynomial(scheme.degree, at)) < SOLVED * 10.0, "{scheme:?}");
        }
    }

    /// The analytic Jacobian is that of the whole map, with the weights' derivatives, near sites too.
    #[test]
    fn jacobian_is_the_derivative(at in prop::array::uniform3(-0.3..1.3), smoothing in prop::option::of(0.0..1.0),
                                  near in 0_usize..90, beside: bool) {
        let sites = patches();
        let values: Triples = sites.iter().map(|s| curved(*s)).collect();
        let at = if beside { sites[near].map(|v| v + 3e-3 * at[0]) } else { at };
        for scheme in schemes() {
            let fitted = scheme.fit(Sites::new(&sites, &values), smoothing.unwrap_or(0.0)).unwrap();
            let error = jacobian_error(&fitted, at, STEP);
            prop_assert!(error < DIFFERENCE, "{scheme:?}: {error:e}");
        }
    }

    /// Turning, shifting and scaling all sites and the point changes nothing, nor does their order.
    #[test]
    fn similar_sites_give_the_same_map(at in prop::array::uniform3(-0.2..1.2), smoothing in 0.0..0.1, turn in 1_usize..90) {
        let sites = patches();
        let values: Triples = sites.iter().map(|s| curved(*s)).collect();
        let (mut far, mut turned) = (moved(&sites), values.clone());
        far.rotate_left(turn);
        turned.rotate_left(turn);
        for scheme in schemes() {
            let near = scheme.fit(Sites::new(&sites, &values), smoothing).unwrap().eval(at);
            let other = scheme.fit(Sites::new(&far, &turned), smoothing).unwrap().eval(moved(&[at])[0]);
            prop_assert!(distance(near, other) < SOLVED, "{scheme:?}: {near:?}, {other:?}");
        }
    }
}

#[test]
fn sites_are_met_without_smoothing_and_not_with() {
    for sites in [spread(60), patches(), lattice(7)] {
        let values: Triples = sites.iter().map(|s| curved(*s)).collect();
        let data = Sites::new(&sites, &values);
        for scheme in schemes() {
            let (exact, smooth) = (
                scheme.fit(data, 0.0).unwrap(),
                scheme.fit(data, 1.0).unwrap(),
            );
            let missed = |f: &dyn Interpolant| {
                (sites.iter().zip(&values))
                    .map(|(s, v)| distance(f.eval(*s), *v))
                    .fold(0.0, f64::max)
            };
            assert!(missed(&exact) < MET, "{scheme:?}: {:e}", missed(&exact));
            assert!(missed(&smooth) > 1e-4, "{scheme:?}");
        }
    }
}

/// Sites that coincide, or nearly, count as one with their mean, however many, and their neighbourhood is left in peace.
#[test]
fn coincident_sites_act_as_their_mean() {
    for (gap, smoothing) in [
        (0.0, 0.0),
        (1e-12, 0.0),
        (1e-9, 1e-9),
        (1e-6, 1e-4),
        (1e-4, 1e-2),
    ] {
        for more in [1_u32, 9] {
            let mut sites = spread(60);
            let mut values: Triples = sites.iter().map(|s| curved(*s)).collect();
            for i in 1..=more {
                sites.push([sites[4][0], sites[4][1] + gap * f64::from(i), sites[4][2]]);
                values.push(values[4].map(|v| v + 1e-3 * f64::from(i)));
            }
            let mean = values[4].map(|v| v + 0.5e-3 * f64::from(more));
            let alone = (&sites[..60], &values[..60]);
            for scheme in schemes() {
                let fitted = scheme.fit(Sites::new(&sites, &values), smoothing).unwrap();
                let single = scheme.fit(Sites::new(alone.0, alone.1), smoothing).unwrap();
                let (got, slope) = fitted.eval_with_gradient(sites[4]);
                // A slope up to 3 over the ten gaps, and what the smoothing leaves.
                let off = 3e-5 + 30.0 * gap + 0.1 * smoothing;
                assert!(
                    distance(got, mean) < off,
                    "{scheme:?}, {gap:e}, {more}: {got:?}, {mean:?}"
                );
                assert!(
                    (slope - single.eval_with_gradient(sites[4]).1).amax() < 5.0,
                    "{gap:e}, {more}: {slope}"
                );
                let near = sites[4].map(|v| v + 0.02);
                // Twice what the mean has moved.
                let change = distance(fitted.eval(near), single.eval(near));
                assert!(
                    change < 1e-3 * f64::from(more) + off,
                    "{scheme:?}, {gap:e}, {more}: {change:e}"
                );
            }
        }
    }
}

/// A pair 1e-9 apart that disagrees needs no smoothing to be harmless.
#[test]
fn a_nearly_equal_pair_that_disagrees_makes_no_slope() {
    let mut sites = spread(60);
    let mut values: Triples = sites.iter().map(|s| curved(*s)).collect();
    let single = schemes().map(|s| s.fit(Sites::new(&sites, &values), 0.0).unwrap());
    sites.push([sites[4][0], sites[4][1] + 1e-9, sites[4][2]]);
    values.push(values[4].map(|v| v + 1e-3));
    for (scheme, single) in schemes().iter().zip(single) {
        let fitted = scheme.fit(Sites::new(&sites, &values), 0.0).unwrap();
        for step in [0.0, 1e-6, 1e-4, 1e-3, 1e-2, 0.1] {
            let at = sites[4].map(|v| v + step);
            // The pair's mean has moved by 5e-4; what is left of the slope between them adds at most thrice that.
            let change = distance(fitted.eval(at), single.eval(at));
            assert!(change < 2e-3, "{scheme:?}, {step}: {change:e}");
        }
    }
}

/// On a line or a plane the map is that of the line or the plane, constant across it.
#[test]
fn flat_sets_have_no_slope_across() {
    let plane: Triples = spread(40).iter().map(|[x, y, _]| [*x, *y, 0.25]).collect();
    let line: Triples = (0..21).map(|i| [f64::from(i) / 20.0, 0.5, 0.25]).collect();
    for scheme in schemes() {
        for (sites, across) in [(&plane, [0.0, 0.0, 0.1]), (&line, [0.0, 0.1, -0.1])] {
            let values: Triples = sites
                .iter()
                .map(|s| polynomial(scheme.degree, *s))
                .collect();
            let fitted = scheme.fit(Sites::new(sites, &values), 0.0).unwrap();
            let at = [0.33, 0.5, 0.25];
            let off: [f64; 3] = std::array::from_fn(|c| at[c] + across[c]);
            assert!(distance(fitted.eval(at), polynomial(scheme.degree, at)) < SOLVED);
            assert!(
                distance(fitted.eval(off), fitted.eval(at)) < SOLVED,
                "{scheme:?}"
            );
            assert!(jacobian_error(&fitted, off, STEP) < DIFFERENCE);
        }
    }
}

#[test]
fn few_sites_give_what_they_determine() {
    let sites = [[0.1, 0.2, 0.3], [0.9, 0.2, 0.3], [0.1, 0.7, 0.3]];
    let values = [[0.0, 1.0, 2.0], [1.0, 1.0, 0.0], [0.5, 3.0, 2.0]];
    for scheme in schemes() {
        let fit = |n: usize| scheme.fit(Sites::new(&sites[..n], &values[..n]), 0.0);
        assert_eq!(
            fit(0).err(),
            Some(FitError::TooFewSites { found: 0, need: 1 })
        );
        assert_eq!(fit(1).unwrap().eval([0.7; 3]), values[0]);
        let half = fit(2).unwrap().eval([0.5, 0.9, 0.0]);
        assert!(
            distance(half, [0.5, 1.0, 1.0]) < 1e-9,
            "{scheme:?}: {half:?}"
        );
        assert!(distance(fit(3).unwrap().eval(sites[2]), values[2]) < 1e-9);
    }
    let one =
        MovingLeastSquares::DEFAULT.leave_one_out(Sites::new(&sites[..1], &values[..1]), &[0.0]);
    assert_eq!(one, Err(FitError::TooFewSites { found: 1, need: 2 }));
}

#[test]
fn smoothing_that_is_no_variance_is_refused() {
    let sites = spread(20);
    for bad in [-1.0, f64::NAN, f64::INFINITY] {
        let refused = MovingLeastSquares::DEFAULT.fit(Sites::new(&sites, &sites), bad);
        assert!(
            matches!(refused.err(), Some(FitError::Smoothing { .. })),
            "{bad}"
        );
    }
}

#[test]
fn leaving_out_equals_refits() {
    let mut sites = patches();
    sites.push(sites[10]);
    let values: Triples = sites.iter().map(|s| curved(*s)).collect();
    let variance: Vec<f64> = (0..sites.len()).map(|i| 0.5 + (i % 4) as f64).collect();
    let data = Sites::new(&sites, &values).with_relative_variance(&variance);
    let smoothings = [0.0, 1e-2];
    for scheme in schemes() {
        let left_out = scheme.leave_one_out(data, &smoothings).unwrap();
        for (one, smoothing) in left_out.iter().zip(smoothings) {
            for i in (0..sites.len()).step_by(5) {
                let (s, v) = (without(&sites, i), without(&values, i));
                let w = [&variance[..i], &variance[i + 1..]].concat();
                let data = Sites::new(&s, &v).with_relative_variance(&w);
                let predicted = scheme.fit(data, smoothing).unwrap().eval(sites[i]);
                let expected = std::array::from_fn(|k| values[i][k] - predicted[k]);
                assert!(
                    distance(one.residual[i], expected) < 1e-12,
                    "{scheme:?}, {i}"
                );
            }
        }
    }
}

#[test]
fn threads_do_not_change_a_bit() {
    let (sites, at) = (lattice(7), spread(500));
    let values: Triples = sites.iter().map(|s| curved(*s)).collect();
    for scheme in schemes() {
        let fitted = scheme.fit(Sites::new(&sites, &values), 1e-3).unwrap();
        assert!(values_on(1, &fitted, &at) == values_on(2, &fitted, &at));
    }
}
