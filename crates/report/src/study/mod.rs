//! Files of a study: the journal that survives a kill, tables, summary and plots.

mod journal;
mod json;
mod merge;
mod parquet;
mod plots;
mod standing;
mod summary;
mod table;

pub use journal::{Entry, Journal, JournalError, StudyHeader, sha256};
pub use json::{STUDY_SCHEMA, study_json};
pub use merge::merged;
pub use parquet::parquet;
pub use plots::{PLOT_FILES, PlotError, plots};
pub use summary::study_summary;
pub use table::{Column, Values, case_table, cost_table, csv};
