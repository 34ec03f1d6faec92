//! Conformance with tabulated interpolants; origin of the tables in `data/README.md`.

use std::collections::HashMap;
use std::path::Path;

use evenstep_scatter::{Kernel, LocalRbf, Rbf, Scheme, Sites};

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

type Table = HashMap<String, Vec<f64>>;

fn table(name: &str) -> Table {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data")
        .join(name);
    let mut reader = csv::Reader::from_path(path).unwrap();
    let header = reader.headers().unwrap().clone();
    let mut table = Table::new();
    for row in reader.records() {
        for (name, field) in header.iter().zip(&row.unwrap()) {
            table
                .entry(name.to_owned())
                .or_default()
                .push(field.parse().unwrap());
        }
    }
    table
}

fn triples(table: &Table, names: [&str; 3]) -> Vec<[f64; 3]> {
    let columns = names.map(|name| &table[name]);
    (0..columns[0].len())
        .map(|i| columns.map(|column| column[i]))
        .collect()
}

fn check(points: usize) {
    let data = table(&format!("points_{points}.csv"));
    let queries = triples(&table("queries_200.csv"), ["x", "y", "z"]);
    let sites = triples(&data, ["x", "y", "z"]);
    let values = triples(&data, ["F1", "F2", "F3"]);
    let expected = ["F1", "F2", "F3"].map(|f| table(&format!("expected_{points}_{f}.csv")));
    assert_eq!((sites.len(), queries.len()), (points, 200));

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
