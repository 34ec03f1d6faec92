//! Data that must be refused with a clear message, and data that must not.

use evenstep_scatter::{FitError, Kernel, Rbf, Scheme, Sites};

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

const RADIAL: [Scheme; 3] = [Scheme::RbfLinear, Scheme::RbfThinPlate, Scheme::RbfCubic];

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
        error(Scheme::RbfLinear, &sites, 0.0),
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
        for kind in [Scheme::RbfThinPlate, Scheme::RbfCubic] {
            assert_eq!(
                error(kind, &sites, 0.0),
                Some(FitError::Degenerate { degree: 1 })
            );
        }
        for kind in [Scheme::RbfLinear, Scheme::Nearest, Scheme::Shepard] {
            assert_eq!(error(kind, &sites, 0.0), None);
        }
    }
}

#[test]
fn too_few_sites_are_refused() {
    for (kind, need) in Scheme::ALL.into_iter().zip([1, 1, 1, 4, 4]) {
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
    let loo = Scheme::RbfCubic.leave_one_out(Sites::new(&sites, &values), &[0.0]);
    assert_eq!(loo, Err(FitError::Indispensable { site: 0 }));
}

/// All sites but one lie in a plane: that one cannot be predicted, and is named.
#[test]
fn a_site_that_alone_spans_the_space_is_named() {
    let mut sites: Triples = spread(20).iter().map(|[x, y, _]| [*x, *y, 0.0]).collect();
    sites[7][2] = 1.0;
    let values = values(&sites);
    let loo = Scheme::RbfThinPlate.leave_one_out(Sites::new(&sites, &values), &[0.0]);
    assert_eq!(loo, Err(FitError::Indispensable { site: 7 }));
}

#[test]
fn bad_numbers_are_refused() {
    let sites = spread(12);
    let good = values(&sites);
    for kind in Scheme::ALL {
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
    for kind in Scheme::ALL {
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
