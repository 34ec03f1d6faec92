//! Modified quadratic Shepard against its definition, its theorems and its edges.

mod shared;

use evenstep_scatter::{FitError, Interpolant, QuadraticShepard, Sites};
use nalgebra::DMatrix;
use proptest::prelude::*;
use shared::*;

/// Normal equations of condition up to 1e4 squared against singular values, on values up to 3.
const SOLVED: f64 = 1e-8;
/// Step of central differences, and what they leave: rounding 1e-15 ÷ step, third derivatives up to 1e4 × step².
const STEP: f64 = 1e-5;
const DIFFERENCE: f64 = 1e-5;

/// The published check of algorithm 661 (Renka 1988, from memory): 64 nodes of a lattice, ((x + 2y + 3z) / 6)², 17 and 32
/// neighbours; the method is exact, so the error is a small multiple of the machine epsilon.
#[test]
fn the_published_quadratic_is_exact() {
    let sites = lattice(4);
    let exact = |[x, y, z]: [f64; 3]| [((x + 2.0 * y + 3.0 * z) / 6.0).powi(2); 3];
    let values: Triples = sites.iter().map(|s| exact(*s)).collect();
    let fitted = QuadraticShepard::fit(Sites::new(&sites, &values)).unwrap();
    let worst = (spread(500).iter())
        .map(|at| distance(fitted.eval(*at), exact(*at)))
        .fold(0.0, f64::max);
    assert!(worst < 40.0 * f64::EPSILON, "{:.1}", worst / f64::EPSILON);
}

/// The definition, with sorted distances, normal equations and no tree; for points within some radius.
fn by_definition(sites: &[[f64; 3]], values: &[[f64; 3]], at: [f64; 3]) -> [f64; 3] {
    let apart =
        |a: [f64; 3], b: [f64; 3]| (0..3).map(|c| (a[c] - b[c]).powi(2)).sum::<f64>().sqrt();
    let (mut above, mut below) = ([0.0; 3], 0.0);
    for k in 0..sites.len() {
        let mut order: Vec<usize> = (0..sites.len()).filter(|i| *i != k).collect();
        let to = |i: usize| apart(sites[i], sites[k]);
        order.sort_by(|a, b| to(*a).total_cmp(&to(*b)));
        // No two distances are equal here. Beyond the last: 1.1 in the square.
        let radius = |count: usize| match order.get(count) {
            Some(next) => to(*next),
            None => 1.1_f64.sqrt() * to(order[order.len() - 1]),
        };
        let d = apart(at, sites[k]);
        if d >= radius(32) {
            continue;
        }
        let mut count = 17;
        let value = loop {
            let members = &order[..count.min(order.len())];
            let r = radius(count);
            let scale =
                (members.iter().map(|i| to(*i).powi(2)).sum::<f64>() / members.len() as f64).sqrt();
            let terms = |site: [f64; 3]| {
                let [x, y, z]: [f64; 3] = std::array::from_fn(|c| (site[c] - sites[k][c]) / scale);
                let root = 2.0_f64.sqrt();
                [
                    x,
                    y,
                    z,
                    x * x,
                    y * y,
                    z * z,
                    root * x * y,
                    root * x * z,
                    root * y * z,
                ]
            };
            let weight = |i: usize| (r - to(i)) / (r * to(i));
            let a = DMatrix::from_fn(members.len(), 9, |i, j| {
                weight(members[i]) * terms(sites[members[i]])[j]
            });
            let b = DMatrix::from_fn(members.len(), 3, |i, j| {
                weight(members[i]) * (values[members[i]][j] - values[k][j])
            });
            let normal = a.transpose() * &a;
            let eigen = normal.clone().symmetric_eigenvalues();
            if eigen.min().max(0.0).sqrt() < 0.01 * eigen.max().sqrt() && count < order.len() {
                count *= 2;
                continue;
            }
            let c = normal.lu().solve(&(a.transpose() * b)).unwrap();
            let t = terms(at);
            break std::array::from_fn::<f64, 3, _>(|j| {
                values[k][j] + (0..9).map(|m| c[(m, j)] * t[m]).sum::<f64>()
            });
        };
        let w = ((radius(32) - d) / (radius(32) * d)).powi(2);
        below += w;
        for j in 0..3 {
            above[j] += w * value[j];
        }
    }
    above.map(|sum| sum / below)
}

#[test]
fn the_definition_solved_by_normal_equations_gives_the_same() {
    // The points of the sequence differ by the same steps: squared, no distance is tied.
    let spread = |count| -> Triples { spread(count).iter().map(|s| s.map(|v| v * v)).collect() };
    // The last set has neighbourhoods on a line, which are widened; the one before few sites, all of which are taken in.
    let mut ramp = spread(45);
    ramp.extend((0..25).map(|i| {
        [
            0.2 + 0.0201 * f64::from(i) + 1e-5 * f64::from(i * i),
            0.41,
            0.37,
        ]
    }));
    for sites in [spread(150), spread(30), ramp] {
        let values: Triples = sites.iter().map(|s| curved(*s)).collect();
        let fitted = QuadraticShepard::fit(Sites::new(&sites, &values)).unwrap();
        for at in spread(60) {
            let (got, expected) = (fitted.eval(at), by_definition(&sites, &values, at));
            assert!(
                distance(got, expected) < SOLVED,
                "{at:?}: {got:?}, {expected:?}"
            );
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// Quadratics are exact, inside, outside and beyond all radii.
    #[test]
    fn quadratics_are_reproduced(at in prop::array::uniform3(-2.0..3.0), count in 30_u32..150, practice: bool) {
        let sites = if practice { patches() } else { spread(count) };
        let values: Triples = sites.iter().map(|s| polynomial(2, *s)).collect();
        let fitted = QuadraticShepard::fit(Sites::new(&sites, &values)).unwrap();
        let (got, expected) = (fitted.eval(at), polynomial(2, at));
        prop_assert!(distance(got, expected) < SOLVED, "{got:?}, {expected:?}");
    }

    /// The analytic Jacobian is the limit of central differences, beside sites and beyond all radii too.
    #[test]
    fn jacobian_is_the_derivative(at in prop::array::uniform3(-2.0..3.0), near in 0_usize..90, beside: bool) {
        let sites = patches();
        let values: Triples = sites.iter().map(|s| curved(*s)).collect();
        let at = if beside { sites[near].map(|v| v + 3e-3 * at[0]) } else { at };
        let fitted = QuadraticShepard::fit(Sites::new(&sites, &values)).unwrap();
        let error = jacobian_error(&fitted, at, STEP);
        prop_assert!(error < DIFFERENCE, "{error:e}");
    }

    /// Turning, shifting and scaling all sites and the point changes nothing, nor does their order.
    #[test]
    fn similar_sites_give_the_same_map(at in prop::array::uniform3(-0.2..1.2), turn in 1_usize..90) {
        let sites = patches();
        let values: Triples = sites.iter().map(|s| curved(*s)).collect();
        let (mut far, mut turned) = (moved(&sites), values.clone());
        far.rotate_left(turn);
        turned.rotate_left(turn);
        let near = QuadraticShepard::fit(Sites::new(&sites, &values)).unwrap().eval(at);
        let other = QuadraticShepard::fit(Sites::new(&far, &turned)).unwrap().eval(moved(&[at])[0]);
        prop_assert!(distance(near, other) < SOLVED, "{near:?}, {other:?}");
    }
}

/// At a site the value is met exactly and the slope is that of its quadratic: no flat spots.
#[test]
fn sites_are_met_with_a_slope() {
    for sites in [spread(60), patches(), lattice(7)] {
        let values: Triples = sites.iter().map(|s| curved(*s)).collect();
        let fitted = QuadraticShepard::fit(Sites::new(&sites, &values)).unwrap();
        for (i, value) in values.iter().enumerate() {
            if sites.iter().filter(|s| **s == sites[i]).count() > 1 {
                continue;
            }
            let (got, slope) = fitted.eval_with_gradient(sites[i]);
            assert_eq!(got, *value);
            assert!(slope.amax() > 0.1, "{slope}");
        }
    }
}

/// Crossing the border of all radii makes no step: the nearest border decides from both sides.
#[test]
fn the_map_is_continuous_where_the_radii_end() {
    let sites = spread(80);
    let values: Triples = sites.iter().map(|s| curved(*s)).collect();
    let fitted = QuadraticShepard::fit(Sites::new(&sites, &values)).unwrap();
    let line = |t: f64| [0.3 + 0.9 * t, 0.4 + t, 0.6 - 0.8 * t];
    let mut steepest = 0.0_f64;
    for i in 0..40_000 {
        let t = f64::from(i) * 1e-4;
        steepest = steepest.max(distance(fitted.eval(line(t)), fitted.eval(line(t + 1e-4))) / 1e-4);
    }
    // A quadratic that reaches 4 units far has slopes of some tens; a step of 0.01 would count as 100.
    let fine = (0..40_000).map(|i| {
        let t = f64::from(i) * 1e-4;
        fitted.eval_with_gradient(line(t)).1 * nalgebra::Vector3::new(0.9, 1.0, -0.8)
    });
    let slope = fine.map(|s| s.amax()).fold(0.0, f64::max);
    assert!(steepest < 1.01 * slope, "{steepest}, {slope}");
}

/// Equal sites give their mean; nearly equal ones are both met, and their disagreement stays between them.
#[test]
fn coincident_sites_give_their_mean_and_near_ones_keep_theirs() {
    for gap in [0.0, 1e-12, 1e-9, 1e-6] {
        let mut sites = spread(60);
        let mut values: Triples = sites.iter().map(|s| curved(*s)).collect();
        let single = QuadraticShepard::fit(Sites::new(&sites, &values)).unwrap();
        for i in 1..=9 {
            sites.push([sites[4][0], sites[4][1] + gap * f64::from(i), sites[4][2]]);
            values.push(values[4].map(|v| v + 1e-3 * f64::from(i)));
        }
        let fitted = QuadraticShepard::fit(Sites::new(&sites, &values)).unwrap();
        let expected = if gap == 0.0 {
            values[4].map(|v| v + 4.5e-3)
        } else {
            values[4]
        };
        assert!(distance(fitted.eval(sites[4]), expected) < 1e-12, "{gap:e}");
        for step in [1e-3, 1e-2, 0.1] {
            let at = sites[4].map(|v| v + step);
            let change = distance(fitted.eval(at), single.eval(at));
            assert!(change < 9e-3, "{gap:e}, {step}: {change:e}");
        }
    }
}

/// On a line or a plane the quadratics of least norm have no part across it.
#[test]
fn flat_sets_have_no_slope_across() {
    let plane: Triples = spread(40).iter().map(|[x, y, _]| [*x, *y, 0.25]).collect();
    let line: Triples = (0..21).map(|i| [f64::from(i) / 20.0, 0.5, 0.25]).collect();
    for (sites, across) in [(&plane, [0.0, 0.0, 1e-3]), (&line, [0.0, 1e-3, -1e-3])] {
        let values: Triples = sites.iter().map(|s| polynomial(2, *s)).collect();
        let fitted = QuadraticShepard::fit(Sites::new(sites, &values)).unwrap();
        let at = [0.33, 0.5, 0.25];
        assert!(distance(fitted.eval(at), polynomial(2, at)) < SOLVED);
        let off: [f64; 3] = std::array::from_fn(|c| at[c] + across[c]);
        // Symmetric about the plane, so the slope across is 0 on it.
        assert!(distance(fitted.eval(off), fitted.eval(at)) < SOLVED);
        let slope = fitted.eval_with_gradient(at).1;
        assert!(slope.column(2).amax() < SOLVED, "{slope}");
    }
}

#[test]
fn few_sites_give_what_they_determine() {
    let sites = [[0.1, 0.2, 0.3], [0.9, 0.2, 0.3], [0.1, 0.7, 0.3], [0.1; 3]];
    let values = [[0.0, 1.0, 2.0], [1.0, 1.0, 0.0], [0.5, 3.0, 2.0], [0.25; 3]];
    let fit = |n: usize| QuadraticShepard::fit(Sites::new(&sites[..n], &values[..n]));
    assert_eq!(
        fit(0).err(),
        Some(FitError::TooFewSites { found: 0, need: 1 })
    );
    for n in 1..=4 {
        let fitted = fit(n).unwrap();
        for i in 0..n {
            assert!(distance(fitted.eval(sites[i]), values[i]) < 1e-15);
        }
        assert!(fitted.eval([9.0, -3.0, 0.5]).iter().all(|v| v.is_finite()));
    }
    assert_eq!(fit(1).unwrap().eval([0.7; 3]), values[0]);
    let same = QuadraticShepard::fit(Sites::new(&[[0.5; 3]; 3], &values[..3])).unwrap();
    assert!(distance(same.eval([7.0; 3]), [0.5, 5.0 / 3.0, 4.0 / 3.0]) < 1e-15);
}

#[test]
fn leaving_out_equals_refits() {
    let mut sites = patches();
    sites.push(sites[10]);
    for sites in [sites, spread(150), lattice(4)] {
        let values: Triples = sites.iter().map(|s| curved(*s)).collect();
        let left_out =
            QuadraticShepard::leave_one_out(Sites::new(&sites, &values), &[0.0]).unwrap();
        for i in (0..sites.len()).step_by(7) {
            let (s, v) = (without(&sites, i), without(&values, i));
            let predicted = QuadraticShepard::fit(Sites::new(&s, &v))
                .unwrap()
                .eval(sites[i]);
            let expected = std::array::from_fn(|k| values[i][k] - predicted[k]);
            assert!(distance(left_out[0].residual[i], expected) < 1e-12, "{i}");
        }
    }
}

#[test]
fn threads_do_not_change_a_bit() {
    let (sites, at) = (lattice(7), spread(500));
    let values: Triples = sites.iter().map(|s| curved(*s)).collect();
    let fitted = QuadraticShepard::fit(Sites::new(&sites, &values)).unwrap();
    assert!(values_on(1, &fitted, &at) == values_on(2, &fitted, &at));
}
