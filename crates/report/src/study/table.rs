use evenstep_study::{Figures, Row};

use super::Entry;

/// A column of a long-form table.
#[derive(Clone, Debug, PartialEq)]
pub struct Column {
    /// Its name.
    pub name: &'static str,
    /// One value for each case.
    pub values: Values,
}

/// Values of a column.
#[derive(Clone, Debug, PartialEq)]
pub enum Values {
    /// Words.
    Text(Vec<Option<String>>),
    /// Whole numbers.
    Whole(Vec<i64>),
    /// Numbers.
    Real(Vec<Option<f64>>),
}

impl Values {
    fn cell(&self, row: usize) -> String {
        let number = |v: &Option<f64>| v.map(|v| v.to_string());
        match self {
            Self::Text(v) => v[row].clone().unwrap_or_default(),
            Self::Whole(v) => v[row].to_string(),
            Self::Real(v) => number(&v[row]).unwrap_or_default(),
        }
    }
}

/// What names a case: the first five columns of both tables.
fn key(entries: &[Entry]) -> Vec<Column> {
    let text = |name, of: &dyn Fn(&Row) -> String| Column {
        name,
        values: Values::Text(entries.iter().map(|e| Some(of(&e.row))).collect()),
    };
    let whole = |name, of: &dyn Fn(&Row) -> u64| Column {
        name,
        // Seeds beyond the largest signed number do not occur in plans people write.
        values: Values::Whole(
            entries
                .iter()
                .map(|e| i64::try_from(of(&e.row)).unwrap_or(i64::MAX))
                .collect(),
        ),
    };
    vec![
        text("panel", &|r| r.panel.clone()),
        text("scheme", &|r| r.scheme.clone()),
        whole("patches", &|r| r.patches as u64),
        real("noise", entries, &|e| Some(e.row.noise)),
        whole("seed", &|r| r.seed),
    ]
}

fn real(name: &'static str, entries: &[Entry], of: &dyn Fn(&Entry) -> Option<f64>) -> Column {
    Column {
        name,
        values: Values::Real(entries.iter().map(of).collect()),
    }
}

/// What is the same whenever the study is run: a row for each case, a column for each figure.
#[must_use]
pub fn case_table(entries: &[Entry]) -> Vec<Column> {
    let mut columns = key(entries);
    let text = |name, of: &dyn Fn(&Row) -> Option<String>| Column {
        name,
        values: Values::Text(entries.iter().map(|e| of(&e.row)).collect()),
    };
    columns.push(text("status", &|r| Some(r.status.name().to_owned())));
    columns.push(text("reason", &|r| r.reason.clone()));
    columns.push(real("smoothing", entries, &|e| e.row.smoothing));
    let figures: Vec<Vec<Option<f64>>> = entries.iter().map(|e| e.row.figures.values()).collect();
    for (i, &name) in Figures::NAMES.iter().enumerate() {
        columns.push(Column {
            name,
            values: Values::Real(figures.iter().map(|f| f[i]).collect()),
        });
    }
    columns
}

/// What is not: time and memory of each case.
#[must_use]
pub fn cost_table(entries: &[Entry]) -> Vec<Column> {
    let mut columns = key(entries);
    columns.push(real("seconds", entries, &|e| Some(e.cost.seconds())));
    columns.push(real("fit_seconds", entries, &|e| Some(e.cost.fit_seconds)));
    columns.push(real("correct_seconds", entries, &|e| {
        Some(e.cost.correct_seconds)
    }));
    columns.push(real("judge_seconds", entries, &|e| {
        Some(e.cost.judge_seconds)
    }));
    columns.push(Column {
        name: "peak_bytes",
        values: Values::Whole(
            entries
                .iter()
                .map(|e| i64::try_from(e.cost.peak_bytes).unwrap_or(i64::MAX))
                .collect(),
        ),
    });
    columns
}

/// A table as CSV with a header line; what is not known is empty.
#[must_use]
pub fn csv(columns: &[Column], rows: usize) -> Vec<u8> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    // Writing to memory does not fail, and every record has the same number of cells.
    let _ = writer.write_record(columns.iter().map(|c| c.name));
    for row in 0..rows {
        let _ = writer.write_record(columns.iter().map(|c| c.values.cell(row)));
    }
    writer.into_inner().unwrap_or_default()
}
