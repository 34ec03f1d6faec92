//! The tables in `tests/data`; their origin is in its README.

use std::collections::HashMap;
use std::path::Path;

pub(crate) type Table = HashMap<String, Vec<f64>>;

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

pub(crate) type Triples = Vec<[f64; 3]>;

/// Sites, the values of F1, F2, F3 there, queries, and one table of expected predictions for each of the three.
pub(crate) fn functions(points: usize) -> (Triples, Triples, Triples, [Table; 3]) {
    let data = table(&format!("points_{points}.csv"));
    let queries = triples(&table("queries_200.csv"), ["x", "y", "z"]);
    let sites = triples(&data, ["x", "y", "z"]);
    let values = triples(&data, ["F1", "F2", "F3"]);
    let expected = ["F1", "F2", "F3"].map(|f| table(&format!("expected_{points}_{f}.csv")));
    assert_eq!((sites.len(), queries.len()), (points, 200));
    (sites, values, queries, expected)
}
