use evenstep_study::{Row, Status};
use serde::Serialize;

use super::standing::{Standing, standings};
use super::{Entry, StudyHeader};
use crate::json::pretty;

/// Name and version of the JSON of a study, and of its journal's header.
pub const STUDY_SCHEMA: &str = "evenstep/study/1";

#[derive(Serialize)]
struct Studied<'a> {
    schema: &'static str,
    header: &'a StudyHeader,
    cases: usize,
    fitted: usize,
    refused: usize,
    broken: usize,
    /// By panel, patches and noise: the most accurate scheme, the smoothest, and the marks.
    standings: Vec<Standing>,
    rows: Vec<&'a Row>,
}

/// The JSON of a study, schema [`STUDY_SCHEMA`]: its plan, what leads where, and every row. Equal studies give equal
/// bytes; what cases took is in the tables of cost.
#[must_use]
pub fn study_json(header: &StudyHeader, entries: &[Entry]) -> String {
    let count = |status: Status| entries.iter().filter(|e| e.row.status == status).count();
    pretty(&Studied {
        schema: STUDY_SCHEMA,
        header,
        cases: entries.len(),
        fitted: count(Status::Fitted),
        refused: count(Status::Refused),
        broken: count(Status::Broken),
        standings: standings(entries),
        rows: entries.iter().map(|e| &e.row).collect(),
    })
}
