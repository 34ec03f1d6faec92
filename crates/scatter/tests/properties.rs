//! Theorems of the schemes, on random sites.

use evenstep_scatter::{Interpolant, Kernel, Nearest, Rbf, Scheme, Shepard, Sites};
use nalgebra::Matrix3;
use proptest::prelude::*;

mod shared;

/// Rounding of a solve with a condition up to about 1e7, on values up to 1.
const SOLVED: f64 = 1e-8;
/// Step of the central differences; sites keep farther than this from the query.
const STEP: f64 = 1e-5;
/// Rounding 1e-15 ÷ step, and third derivatives up to about 1e4 times step² / 6.
const DIFFERENCE: f64 = 1e-5;

type Triples = Vec<[f64; 3]>;

/// A jittered 4³ lattice: distinct sites that are neither coplanar nor close. A random subset of at
/// least 30 of them, with values in [−1, 1].
fn data() -> impl Strategy<Value = (Triples, Triples)> {
    let jitter = prop::collection::vec(prop::array::uniform3(-0.35..0.35), 64);
    let values = prop::collection::vec(prop::array::uniform3(-1.0..1.0), 64);
    (jitter, values, 30_usize..=64, any::<u64>()).prop_map(|(jitter, values, keep, salt)| {
        let mut order: Vec<u64> = (0..64).collect();
        order.sort_by_key(|i| (i ^ salt).wrapping_mul(0x9E37_79B9_7F4A_7C15));
        let site = |i: u64| {
            let cell = [i % 4, i / 4 % 4, i / 16].map(|c| c as f64);
            std::array::from_fn(|c| (cell[c] + jitter[i as usize][c]) / 3.0)
        };
        (
            order[..keep].iter().map(|&i| site(i)).collect(),
            values[..keep].to_vec(),
        )
    })
}

fn any_rbf() -> impl Strategy<Value = Rbf> {
    (
        prop::sample::select(Kernel::ALL.to_vec()),
        prop::option::of(1_i8..=2),
    )
        .prop_map(|(kernel, degree)| Rbf {
            kernel,
            degree: degree.filter(|d| *d >= kernel.least_degree()),
            // Given, because the shape taken from the sites changes with their number.
            shape: kernel.has_shape().then_some(2.0),
        })
}

fn any_scheme() -> impl Strategy<Value = Scheme> {
    prop::sample::select(Scheme::all())
}

fn any_point() -> impl Strategy<Value = [f64; 3]> {
    prop::array::uniform3(-0.2..1.2)
}

fn distance(a: [f64; 3], b: [f64; 3]) -> f64 {
    (0..3).map(|c| (a[c] - b[c]).abs()).fold(0.0, f64::max)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// Every scheme but those that only approach them passes through its values when nothing is smoothed.
    #[test]
    fn sites_are_interpolated((sites, values) in data(), scheme in any_scheme()) {
        prop_assume!(!matches!(scheme, Scheme::LatticeRegression(_)));
        let fitted = scheme.fit(Sites::new(&sites, &values), 0.0).unwrap();
        for (at, value) in sites.iter().zip(&values) {
            prop_assert!(distance(fitted.eval(*at), *value) < SOLVED, "{scheme}");
        }
    }

    /// Polynomials up to the degree of the tail are reproduced, whatever the smoothing and the noise.
    #[test]
    fn polynomials_are_reproduced((sites, _) in data(), rbf in any_rbf(), smoothing in 0.0..1.0,
                                  c in prop::array::uniform10(-1.0..1.0), at in any_point(),
                                  noise in prop::collection::vec(0.1..10.0, 64)) {
        let degree = rbf.degree.unwrap_or(rbf.kernel.least_degree());
        let exact = |[x, y, z]: [f64; 3]| {
            let linear = if degree >= 1 { c[1] * x + c[2] * y + c[3] * z } else { 0.0 };
            let quadratic = if degree >= 2 {
                c[4] * x * x + c[5] * y * y + c[6] * z * z + c[7] * x * y + c[8] * x * z + c[9] * y * z
            } else { 0.0 };
            if degree < 0 { [0.0; 3] } else { [c[0], c[0] + linear, c[0] - linear + quadratic] }
        };
        let values: Triples = sites.iter().map(|s| exact(*s)).collect();
        let data = Sites::new(&sites, &values).with_relative_variance(&noise[..sites.len()]);
        let fitted = rbf.fit(data, smoothing).unwrap();
        prop_assert!(distance(fitted.eval(at), exact(at)) < SOLVED, "{rbf:?}");
    }

    /// The order of the sites does not matter.
    #[test]
    fn order_does_not_matter((sites, values) in data(), scheme in any_scheme(), at in any_point(),
                             smoothing in 0.0..0.1, turn in 1_usize..30) {
        let fitted = scheme.fit(Sites::new(&sites, &values), smoothing).unwrap();
        let (mut sites, mut values) = (sites, values);
        sites.rotate_left(turn);
        values.rotate_left(turn);
        let turned = scheme.fit(Sites::new(&sites, &values), smoothing).unwrap();
        prop_assert!(distance(fitted.eval(at), turned.eval(at)) < SOLVED, "{scheme}");
    }

    /// The analytic Jacobian is the limit of central differences, and the value comes with it.
    #[test]
    fn jacobian_is_the_derivative((sites, values) in data(), scheme in any_scheme(), at in any_point(),
                                  smoothing in 0.0..0.1) {
        // Away from the kinks of the linear kernel, where third derivatives grow without limit;
        // and, for the nearest site, away from the borders of the cells.
        let mut near: Vec<f64> = sites.iter().map(|s| distance(*s, at)).collect();
        near.sort_by(f64::total_cmp);
        prop_assume!(near[0] > 0.02);
        let fitted = scheme.fit(Sites::new(&sites, &values), smoothing).unwrap();
        let (value, jacobian) = fitted.eval_with_gradient(at);
        prop_assert!(distance(value, fitted.eval(at)) < 1e-12);
        for input in 0..3 {
            let (mut low, mut high) = (at, at);
            low[input] -= STEP;
            high[input] += STEP;
            let (low, high) = (fitted.eval(low), fitted.eval(high));
            let jumps = match scheme {
                Scheme::Nearest => low != high,
                // Linear between the faces of cells: its slope there is the same on both sides of the point.
                Scheme::LatticeRegression(_) => {
                    let slope = |by: f64| { let mut to = at; to[input] += by; fitted.eval_with_gradient(to).1.column(input).into_owned() };
                    slope(-STEP) != slope(STEP)
                }
                _ => false,
            };
            if jumps {
                continue; // a border of a cell lies between
            }
            // Where a facet lies between, the difference is between the slopes on either side.
            let kink = match scheme {
                Scheme::DelaunayLinear | Scheme::NaturalNeighbour => {
                    let mut end = at;
                    end[input] -= STEP;
                    let one = fitted.eval_with_gradient(end).1;
                    end[input] = at[input] + STEP;
                    (fitted.eval_with_gradient(end).1 - one).abs()
                }
                _ => Matrix3::zeros(),
            };
            for output in 0..3 {
                let slope = (high[output] - low[output]) / (2.0 * STEP);
                let got = jacobian[(output, input)];
                prop_assert!((got - slope).abs() < DIFFERENCE * (1.0 + slope.abs()) + kink[(output, input)],
                             "{scheme}, [{output}, {input}]: got {got}, differences {slope}");
            }
        }
    }

    /// The closed form equals refits without each site, with unequal noise too.
    #[test]
    fn leave_one_out_equals_refits((sites, values) in data(), rbf in any_rbf(),
                                   noise in prop::collection::vec(0.1..10.0, 64)) {
        let smoothings = [0.0, 1e-4, 0.1];
        let noise = &noise[..sites.len()];
        let all = Sites::new(&sites, &values).with_relative_variance(noise);
        let closed = rbf.leave_one_out(all, &smoothings).unwrap();
        for (loo, smoothing) in closed.iter().zip(smoothings) {
            prop_assert_eq!(loo.smoothing, smoothing);
            for i in (0..sites.len()).step_by(7) {
                let without = |v: &[[f64; 3]]| [&v[..i], &v[i + 1..]].concat();
                let (s, v) = (without(&sites), without(&values));
                let w = [&noise[..i], &noise[i + 1..]].concat();
                let refit = rbf.fit(Sites::new(&s, &v).with_relative_variance(&w), smoothing).unwrap();
                let predicted = refit.eval(sites[i]);
                let expected: [f64; 3] = std::array::from_fn(|k| values[i][k] - predicted[k]);
                let scale = 1.0 + distance(expected, [0.0; 3]);
                prop_assert!(distance(loo.residual[i], expected) < SOLVED * scale, "{rbf:?}, λ = {smoothing}");
            }
        }
    }

    /// The direct leave-one-out of the schemes without smoothing equals refits.
    #[test]
    fn direct_leave_one_out_equals_refits((sites, values) in data()) {
        let all = Sites::new(&sites, &values);
        let nearest = Nearest::leave_one_out(all, &[0.0]).unwrap();
        let shepard = Shepard::leave_one_out(all, &[0.0]).unwrap();
        for i in 0..sites.len() {
            let (mut s, mut v) = (sites.clone(), values.clone());
            s.remove(i);
            v.remove(i);
            let data = Sites::new(&s, &v);
            for (loo, predicted) in [(&nearest, Nearest::fit(data).unwrap().eval(sites[i])),
                                     (&shepard, Shepard::fit(data).unwrap().eval(sites[i]))] {
                let expected: [f64; 3] = std::array::from_fn(|k| values[i][k] - predicted[k]);
                prop_assert!(distance(loo[0].residual[i], expected) < 1e-12);
            }
        }
    }

    /// Turned, enlarged seven times and shifted with the sites, lengths with them; the compact and the analytic kernels by
    /// their shape, the others by themselves once polynomials of their degree are there.
    #[test]
    fn radial_schemes_move_with_the_sites((sites, values) in data(), rbf in any_rbf(), at in any_point()) {
        let here = rbf.fit(Sites::new(&sites, &values), 0.0).unwrap().eval(at);
        let rbf = Rbf { shape: rbf.shape.map(|shape| shape / 7.0), ..rbf };
        let there = rbf.fit(Sites::new(&shared::moved(&sites), &values), 0.0).unwrap();
        prop_assert!(distance(here, there.eval(shared::moved(&[at])[0])) < SOLVED, "{rbf:?}");
    }

    /// A site of boundless variance is as good as absent.
    #[test]
    fn noise_without_limit_removes_a_site((sites, values) in data(), rbf in any_rbf(), at in any_point()) {
        let mut noise = vec![1.0; sites.len()];
        noise[0] = 1e14;
        let with = rbf.fit(Sites::new(&sites, &values).with_relative_variance(&noise), 1e-3).unwrap();
        let without = rbf.fit(Sites::new(&sites[1..], &values[1..]), 1e-3).unwrap();
        prop_assert!(distance(with.eval(at), without.eval(at)) < SOLVED, "{rbf:?}");
    }
}

/// The number of threads does not change a single bit: large enough that every step is split.
#[test]
fn threads_do_not_change_a_bit() {
    let step = [0.819_172_513_396, 0.671_043_606_704, 0.549_700_477_901];
    let sites: Triples = (1..=850)
        .map(|i| step.map(|s| (s * f64::from(i)).fract()))
        .collect();
    let values: Triples = sites
        .iter()
        .map(|[x, y, z]| [(5.0 * x).sin() + y, y * z, (x - z).exp()])
        .collect();
    let run = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap();
        pool.install(|| {
            let mut bits = Vec::new();
            for scheme in Scheme::all() {
                // One of them large enough for the dense algebra to be split.
                let large = scheme == Scheme::RBF_THIN_PLATE;
                let count = if large { 850 } else { 150 };
                let (sites, values) = (&sites[..count], &values[..count]);
                let data = Sites::new(sites, values);
                let fitted = scheme.fit(data, 1e-4).unwrap();
                let mut out = vec![[0.0; 3]; sites.len()];
                fitted.eval_into(sites, &mut out);
                // Many at once are the same points one by one, at the end of a group and of a chunk too.
                let alone = fitted.eval(sites[count - 1]);
                assert_eq!(out[count - 1], alone, "{scheme}");
                assert_eq!(out[64], fitted.eval(sites[64]), "{scheme}");
                let loo = scheme.leave_one_out(data, &[0.0, 1e-3]).unwrap();
                let residuals = loo.iter().flat_map(|l| l.residual.iter());
                bits.extend(out.iter().chain(residuals).flatten().map(|v| v.to_bits()));
            }
            bits
        })
    };
    assert!(run(1) == run(2), "one thread and two threads differ");
}
