//! Data that must be refused with a clear message, and data that must not.

use evenstep_scatter::{FitError, Interpolant, Kernel, LocalRbf, Rbf, Scheme, Sites};

type Triples = Vec<[f64; 3]>;

fn spread(count: u32) -> Triples {
    let step = [0.819_172_513_396, 0.671_043_606_704, 0.549_700_477_901];
    (1..=count)
        .map(|i| step.map(|s| (s * f64::from(i)).fract()))
        .collect()
}

fn values(sites: &[[f64; 3]]) -> Triples {
    sites
        .iter()
        .map(|[x, y, z]| [x + y * y, y - z, x * z])
        .collect()
}

fn error(kind: Scheme, sites: &[[f64; 3]], smoothing: f64) -> Option<FitError> {
    let values = values(sites);
    kind.fit(Sites::new(sites, &values), smoothing).err()
}

const RADIAL: [Scheme; 3] = [
    Scheme::RBF_LINEAR,
    Scheme::RBF_THIN_PLATE,
    Scheme::RBF_CUBIC,
];

#[test]
fn equal_sites_are_named_unless_smoothed() {
    let mut sites = spread(20);
    sites[17] = sites[4];
    for kind in RADIAL {
        assert_eq!(
            error(kind, &sites, 0.0),
            Some(FitError::Coincident {
                first: 4,
                second: 17
            })
        );
        assert_eq!(error(kind, &sites, 1e-3), None);
    }
    assert_eq!(error(Scheme::Nearest, &sites, 0.0), None);
    assert_eq!(error(Scheme::Shepard, &sites, 0.0), None);
    sites[4][0] = 0.0;
    sites[17] = sites[4];
    sites[17][0] = -0.0;
    assert_eq!(
        error(Scheme::RBF_LINEAR, &sites, 0.0),
        Some(FitError::Coincident {
            first: 4,
            second: 17
        })
    );
}

/// Either the system is solved, and then it passes through both sites, or the pair is named.
#[test]
fn nearly_equal_sites_are_solved_or_named() {
    for kind in RADIAL {
        for gap in [1e-4, 1e-6, 1e-9, 1e-12, 1e-15] {
            let mut sites = spread(20);
            sites[17] = sites[4];
            sites[17][1] += gap;
            if sites[17] == sites[4] {
                continue;
            }
            let mut values = values(&sites);
            values[17][0] += 1e-3;
            match kind.fit(Sites::new(&sites, &values), 0.0) {
                Ok(fitted) => {
                    let worst = (0..20)
                        .flat_map(|i| (0..3).map(move |k| (i, k)))
                        .map(|(i, k)| (fitted.eval(sites[i])[k] - values[i][k]).abs())
                        .fold(0.0, f64::max);
                    // The solver accepts 1e-8 of the right side in each projected equation.
                    assert!(worst < 1e-7, "{kind}, gap {gap:e}: off by {worst:e}");
                }
                Err(FitError::Singular { first, second, .. }) => {
                    assert_eq!((first, second), (4, 17))
                }
                Err(other) => panic!("{kind}, gap {gap:e}: {other}"),
            }
        }
    }
}

#[test]
fn flat_sets_of_sites_are_refused_where_a_slope_is_needed() {
    let line: Triples = spread(20)
        .iter()
        .map(|[x, _, _]| [*x, 2.0 * x - 1.0, 0.3])
        .collect();
    let plane: Triples = spread(20)
        .iter()
        .map(|[x, y, _]| [*x, *y, 0.5 * x + 0.25 * y])
        .collect();
    for sites in [line, plane] {
        for kind in [Scheme::RBF_THIN_PLATE, Scheme::RBF_CUBIC] {
            assert_eq!(
                error(kind, &sites, 0.0),
                Some(FitError::Degenerate { degree: 1 })
            );
        }
        for kind in [Scheme::RBF_LINEAR, Scheme::Nearest, Scheme::Shepard] {
            assert_eq!(error(kind, &sites, 0.0), None);
        }
    }
}

#[test]
fn too_few_sites_are_refused() {
    let needs = [
        1, 1, 1, 4, 4, 1, 1, 1, 4, 4, 10, 1, 1, 1, 1, 1, 4, 4, 2, 2, 4, 1,
    ];
    assert_eq!(Scheme::all().len(), needs.len());
    for (kind, need) in Scheme::all().into_iter().zip(needs) {
        let expected = Some(FitError::TooFewSites {
            found: need - 1,
            need,
        });
        assert_eq!(
            error(kind, &spread(need as u32 - 1), 0.0),
            expected,
            "{kind}"
        );
        assert_eq!(error(kind, &spread(need as u32), 0.0), None, "{kind}");
    }
    let sites = spread(4);
    let values = values(&sites);
    let loo = Scheme::RBF_CUBIC.leave_one_out(Sites::new(&sites, &values), &[0.0]);
    assert_eq!(loo, Err(FitError::Indispensable { site: 0 }));
}

/// All sites but one lie in a plane: that one cannot be predicted, and is named.
#[test]
fn a_site_that_alone_spans_the_space_is_named() {
    let mut sites: Triples = spread(20).iter().map(|[x, y, _]| [*x, *y, 0.0]).collect();
    sites[7][2] = 1.0;
    let values = values(&sites);
    let loo = Scheme::RBF_THIN_PLATE.leave_one_out(Sites::new(&sites, &values), &[0.0]);
    assert_eq!(loo, Err(FitError::Indispensable { site: 7 }));
}

#[test]
fn bad_numbers_are_refused() {
    let sites = spread(12);
    let good = values(&sites);
    for kind in Scheme::all() {
        for bad in [f64::NAN, f64::INFINITY] {
            let mut moved = sites.clone();
            moved[3][1] = bad;
            let outcome = kind.fit(Sites::new(&moved, &good), 0.0).err();
            assert_eq!(
                outcome,
                Some(FitError::NotFinite {
                    site: 3,
                    what: "position"
                })
            );
            let mut changed = good.clone();
            changed[5][2] = bad;
            let outcome = kind.fit(Sites::new(&sites, &changed), 0.0).err();
            assert_eq!(
                outcome,
                Some(FitError::NotFinite {
                    site: 5,
                    what: "value"
                })
            );
        }
        let outcome = kind.fit(Sites::new(&sites, &good[1..]), 0.0).err();
        assert_eq!(
            outcome,
            Some(FitError::Length {
                sites: 12,
                what: "values",
                found: 11
            })
        );
        let mut variance = vec![1.0; 12];
        variance[2] = 0.0;
        let data = Sites::new(&sites, &good).with_relative_variance(&variance);
        assert_eq!(
            kind.fit(data, 0.0).err(),
            Some(FitError::Variance {
                site: 2,
                found: 0.0
            })
        );
    }
    for kind in RADIAL {
        assert_eq!(
            error(kind, &sites, -1.0),
            Some(FitError::Smoothing { found: -1.0 })
        );
        assert!(matches!(
            error(kind, &sites, f64::NAN),
            Some(FitError::Smoothing { .. })
        ));
    }
    for (kernel, found) in [(Kernel::ThinPlate, 0), (Kernel::Cubic, 3)] {
        let outcome = Rbf::new(kernel)
            .with_degree(found)
            .fit(Sites::new(&sites, &good), 0.0)
            .err();
        let least = kernel.least_degree();
        assert_eq!(
            outcome,
            Some(FitError::Degree {
                kernel,
                found,
                least,
                most: 2
            })
        );
    }
}

/// A query that is not finite gives an answer that is not finite, without a panic.
#[test]
fn queries_that_are_not_finite_do_not_panic() {
    let sites = spread(12);
    let values = values(&sites);
    for kind in Scheme::all() {
        let fitted = kind.fit(Sites::new(&sites, &values), 0.0).unwrap();
        assert!(
            fitted
                .eval([f64::NAN, 0.5, 0.5])
                .iter()
                .all(|v| !v.is_finite()),
            "{kind}"
        );
    }
}

/// Of several nearest sites the first one counts.
#[test]
fn nearest_prefers_the_lowest_index() {
    let sites = [
        [1.0, 0.0, 0.0],
        [0.0, 0.0, 0.0],
        [0.0, 1.0, 0.0],
        [0.0, 0.0, 0.0],
        [1.0, 1.0, 0.0],
    ];
    let values = [0.0, 1.0, 2.0, 3.0, 4.0].map(|v| [v; 3]);
    let fitted = Scheme::Nearest
        .fit(Sites::new(&sites, &values), 0.0)
        .unwrap();
    assert_eq!(fitted.eval([0.5, 0.5, 0.0]), [0.0; 3]);
    assert_eq!(fitted.eval([0.0, 0.0, 0.0]), [1.0; 3]);
    assert_eq!(fitted.eval([0.4, 0.6, 0.0]), [2.0; 3]);
}

/// A ramp denser than its surroundings: the nearest sites are on a line and determine no plane.
#[test]
fn a_local_scheme_widens_neighbourhoods_on_a_line() {
    let ramp = (0..60).map(|i| [f64::from(i) / 59.0; 3]);
    let sites: Triples = spread(30).into_iter().chain(ramp).collect();
    let linear = |[x, y, z]: [f64; 3]| [x + 2.0 * y - z, y - 1.0, z];
    let values: Triples = sites.iter().map(|s| linear(*s)).collect();
    let local = LocalRbf {
        neighbours: 8,
        ..LocalRbf::DEFAULT
    };
    let fitted = local.fit(Sites::new(&sites, &values), 0.0).unwrap();
    for at in [[0.5, 0.5, 0.501], [0.2; 3], [1.3, 1.2, -0.1]] {
        let (got, slope) = fitted.eval_with_gradient(at);
        for k in 0..3 {
            // Rounding of a solve with a condition up to about 1e6.
            assert!((got[k] - linear(at)[k]).abs() < 1e-9, "{at:?}: {got:?}");
        }
        assert!((slope[(0, 1)] - 2.0).abs() < 1e-7, "{slope}");
    }
}

#[test]
fn a_shape_is_refused_where_it_has_no_meaning() {
    let sites = spread(20);
    let values = values(&sites);
    for (kernel, shape) in [
        (Kernel::Cubic, 2.0),
        (Kernel::Gaussian, 0.0),
        (Kernel::WendlandC2, f64::NAN),
    ] {
        let refused = Rbf::new(kernel)
            .with_shape(shape)
            .fit(Sites::new(&sites, &values), 0.0);
        assert!(
            matches!(refused, Err(FitError::Shape { .. })),
            "{kernel} {shape}"
        );
    }
}

/// A Gaussian much wider than the sites' spacing: equal rows to double precision, so a smoothing or a message.
#[test]
fn a_flat_kernel_is_solved_or_said_to_be_singular() {
    let sites = spread(200);
    let values = values(&sites);
    let flat = Rbf::new(Kernel::Gaussian).with_shape(0.01);
    let data = Sites::new(&sites, &values);
    match flat.fit(data, 0.0) {
        Err(FitError::Singular { .. }) => {}
        Err(other) => panic!("{other}"),
        Ok(fitted) => {
            let got = fitted.eval(sites[7]);
            // What the solver accepts: half the digits.
            assert!((got[0] - values[7][0]).abs() < 1e-6, "{got:?}");
        }
    }
    assert!(flat.fit(data, 1e-6).is_ok());
}

/// Around a dense ramp neighbourhoods are widened, and by how much depends on the point: what one point needed must not
/// reach the next.
#[test]
fn many_points_at_once_give_what_each_gives_alone() {
    let ramp = (0..128).map(|i| [f64::from(i) / 127.0; 3]);
    let sites: Triples = spread(60).into_iter().chain(ramp).collect();
    let values = values(&sites);
    // Beside the ramp, so that points share their nearest sites but not those farther away.
    let points: Triples = (0..400_u32)
        .map(|i| {
            let along = f64::from(i) / 399.0;
            [
                along,
                along + 0.004 * f64::from(i % 5),
                along - 0.003 * f64::from(i % 3),
            ]
        })
        .collect();
    for neighbours in [8, 20, 50] {
        let local = LocalRbf {
            neighbours,
            ..LocalRbf::DEFAULT
        };
        let fitted = local.fit(Sites::new(&sites, &values), 0.0).unwrap();
        let mut together = vec![[0.0; 3]; points.len()];
        fitted.eval_into(&points, &mut together);
        for (at, together) in points.iter().zip(&together) {
            assert_eq!(
                fitted.eval(*at),
                *together,
                "{neighbours} neighbours, {at:?}"
            );
        }
    }
}

#[test]
fn leaving_out_locally_equals_refits_without_the_site() {
    let sites = spread(40);
    let values = values(&sites);
    let local = LocalRbf {
        neighbours: 12,
        ..LocalRbf::DEFAULT
    };
    for smoothing in [0.0, 1e-3] {
        let left_out = local
            .leave_one_out(Sites::new(&sites, &values), &[smoothing])
            .unwrap();
        for i in 0..sites.len() {
            let without = |list: &[[f64; 3]]| -> Triples { [&list[..i], &list[i + 1..]].concat() };
            let (s, v) = (without(&sites), without(&values));
            let refit = local.fit(Sites::new(&s, &v), smoothing).unwrap();
            let predicted = refit.eval(sites[i]);
            for k in 0..3 {
                let expected = values[i][k] - predicted[k];
                // The same system from the same sites.
                assert!((left_out[0].residual[i][k] - expected).abs() < 1e-12);
            }
        }
    }
}

/// Two sites at one place to rounding, with values that contradict each other: no number of neighbours is solvable.
#[test]
fn a_local_scheme_falls_back_to_the_nearest_value() {
    let mut sites = spread(12);
    sites[5] = sites[4];
    sites[5][0] += 1e-15;
    let mut values = values(&sites);
    values[5] = [9.0; 3];
    let all = Scheme::RBF_CUBIC.fit(Sites::new(&sites, &values), 0.0);
    assert!(matches!(all, Err(FitError::Singular { .. })));
    let local = LocalRbf {
        kernel: Kernel::Cubic,
        ..LocalRbf::DEFAULT
    };
    let fitted = local.fit(Sites::new(&sites, &values), 0.0).unwrap();
    let (got, slope) = fitted.eval_with_gradient(sites[7]);
    assert_eq!((got, slope), (values[7], nalgebra::Matrix3::zeros()));
}

#[test]
fn a_number_of_neighbours_beyond_all_sites_takes_them_all() {
    let sites = spread(30);
    let values = values(&sites);
    let data = Sites::new(&sites, &values);
    let local = LocalRbf {
        neighbours: usize::MAX,
        ..LocalRbf::DEFAULT
    };
    let at = [0.3, 0.6, 0.4];
    let global = Scheme::RBF_THIN_PLATE.fit(data, 0.0).unwrap().eval(at);
    assert_eq!(local.fit(data, 0.0).unwrap().eval(at), global);
    assert!(local.leave_one_out(data, &[0.0]).is_ok());
}
