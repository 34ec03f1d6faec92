//! Conformance with tabulated interpolants; origin of the tables in `data/README.md`.

use evenstep_scatter::{Kernel, LocalRbf, Rbf, Scheme, Sites};

mod table;

/// Ten significant digits of values below 1.3, and the differences in rounding between two solvers
/// of the same system: permuting the sites moved the tabulated values by up to 1e-11.
const ABSOLUTE: f64 = 1e-9;

/// Systems whose condition lets the tabulated values move by up to 1e-10 when the sites are permuted: the tolerance
/// the table's description suggests.
const ABSOLUTE_WIDE: f64 = 1e-8;

fn columns() -> Vec<(&'static str, Scheme, f64, f64)> {
    let shaped = |kernel, shape| Scheme::Rbf(Rbf::new(kernel).with_shape(shape));
    let quintic = Scheme::Rbf(Rbf::new(Kernel::Quintic));
    let local = Scheme::RbfLocal(LocalRbf {
        neighbours: 30,
        ..LocalRbf::DEFAULT
    });
    vec![
        ("nearest", Scheme::Nearest, 0.0, ABSOLUTE),
        ("idw_p2", Scheme::Shepard, 0.0, ABSOLUTE),
        ("linear_delaunay", Scheme::DelaunayLinear, 0.0, ABSOLUTE),
        ("rbf_linear", Scheme::RBF_LINEAR, 0.0, ABSOLUTE),
        ("rbf_tps", Scheme::RBF_THIN_PLATE, 0.0, ABSOLUTE),
        ("rbf_cubic", Scheme::RBF_CUBIC, 0.0, ABSOLUTE),
        ("rbf_quintic", quintic, 0.0, ABSOLUTE_WIDE),
        (
            "rbf_mq_e3",
            shaped(Kernel::Multiquadric, 3.0),
            0.0,
            ABSOLUTE_WIDE,
        ),
        (
            "rbf_imq_e3",
            shaped(Kernel::InverseMultiquadric, 3.0),
            0.0,
            ABSOLUTE,
        ),
        ("rbf_gauss_e6", shaped(Kernel::Gaussian, 6.0), 0.0, ABSOLUTE),
        ("rbf_tps_k30", local, 0.0, ABSOLUTE),
        ("rbf_tps_s1e-3", Scheme::RBF_THIN_PLATE, 1e-3, ABSOLUTE),
    ]
}

fn check(points: usize) {
    let (sites, values, queries, expected) = table::functions(points);
    for (column, scheme, smoothing, tolerance) in columns() {
        let fitted = scheme.fit(Sites::new(&sites, &values), smoothing).unwrap();
        let mut got = vec![[0.0; 3]; queries.len()];
        fitted.eval_into(&queries, &mut got);
        for (i, got) in got.iter().enumerate() {
            for (k, table) in expected.iter().enumerate() {
                let expected = table[column][i];
                assert!(
                    (got[k] - expected).abs() <= tolerance,
                    "{column}, F{}, query {i}: got {:.12}, table {expected:.12}",
                    k + 1,
                    got[k]
                );
            }
        }
    }
}

#[test]
fn tables_of_100_points() {
    check(100);
}

#[test]
fn tables_of_500_points() {
    check(500);
}
