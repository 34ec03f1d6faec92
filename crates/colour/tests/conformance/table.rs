//! Reads the tables of `tests/data` and compares with their printed digits.

use std::collections::HashMap;
use std::path::Path;

/// Values of this size and below count as a printed 0: what some twenty roundings leave of 0 in
/// figures of order 1.
const ZERO: f64 = 1e-12;

/// One line of a table, by column name.
pub(crate) struct Row {
    place: String,
    cells: HashMap<String, String>,
}

impl Row {
    pub(crate) fn text(&self, column: &str) -> &str {
        self.cells
            .get(column)
            .unwrap_or_else(|| panic!("{}: no column {column}", self.place))
    }

    /// The figure in a column, or `None` where the cell is empty.
    pub(crate) fn optional(&self, column: &str) -> Option<f64> {
        let text = self.text(column);
        (!text.is_empty()).then(|| {
            text.parse()
                .unwrap_or_else(|_| panic!("{}: {column} is {text:?}", self.place))
        })
    }

    pub(crate) fn number(&self, column: &str) -> f64 {
        self.optional(column)
            .unwrap_or_else(|| panic!("{}: {column} is empty", self.place))
    }

    pub(crate) fn numbers<const N: usize>(&self, columns: [&str; N]) -> [f64; N] {
        columns.map(|column| self.number(column))
    }

    /// Asserts that `got` is the figure in `column`, printed with this many significant digits.
    pub(crate) fn check(&self, column: &str, got: f64, digits: i32) {
        let printed = self.number(column);
        let tolerance = one_unit(printed, digits);
        assert!(
            (got - printed).abs() <= tolerance,
            "{}: {column} is {printed}, got {got}, off by {:e} where {tolerance:e} is allowed",
            self.place,
            (got - printed).abs(),
        );
    }
}

/// One unit in the last of `digits` significant digits: half of it is the table's own rounding, and
/// the other half leaves room for inputs the table printed with as many digits.
fn one_unit(printed: f64, digits: i32) -> f64 {
    if printed == 0.0 {
        return ZERO;
    }
    let exponent = printed.abs().log10().floor() as i32;
    10.0_f64.powi(exponent + 1 - digits)
}

/// All rows of `tests/data/<name>.csv`; at least one.
pub(crate) fn rows(name: &str) -> Vec<Row> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data")
        .join(format!("{name}.csv"));
    let mut reader = csv::Reader::from_path(&path).unwrap();
    let rows: Vec<Row> = reader
        .deserialize()
        .enumerate()
        .map(|(i, cells)| Row {
            place: format!("{name}.csv line {}", i + 2),
            cells: cells.unwrap(),
        })
        .collect();
    assert!(!rows.is_empty(), "{name}.csv has no rows");
    rows
}
