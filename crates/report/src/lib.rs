//! Reports for people and for machines: plain text, one-file pages and JSON of fits, audits, comparisons and repairs.
//!
//! Text is at most [`TEXT_WIDTH`] columns wide, states units and meanings, and ends with a line end. JSON carries a
//! `schema`; what is not known is `null`, with the reason under the field's name in the member `why` beside it. Equal
//! reports give equal bytes: no clock, no host. Must not know about files, but for the
//! journal of a study, which has to survive a kill; nor about terminals.

mod apply_report;
mod audit_json;
mod audit_text;
mod audits_table;
mod base_correction;
mod compare_json;
mod compare_text;
mod convert;
mod depth_text;
mod fit_json;
mod fit_text;
mod html;
mod json;
mod ramp_table;
mod repair_json;
mod repair_text;
mod steps_line;
mod study;
mod text;
mod tour_text;

pub use apply_report::{APPLY_SCHEMA, ApplyNames, apply_json, apply_text};
pub use audit_json::{AUDITS_SCHEMA, audit_json, audits_json};
pub use audit_text::audit_text;
pub use audits_table::audits_table;
pub use base_correction::{BASE_CORRECTION_SCHEMA, base_correction_json};
pub use compare_json::{COMPARE_SCHEMA, TOUR_SCHEMA, compare_json, tour_json};
pub use compare_text::compare_text;
pub use convert::{CONVERT_SCHEMA, ConvertNames, convert_json, convert_text};
pub use fit_json::{FIT_SCHEMA, fit_json};
pub use fit_text::fit_text;
pub use html::{Drawn, audit_html, compare_html, fit_html, tour_html, tour_picture};
pub use repair_json::{REPAIR_SCHEMA, repair_json};
pub use repair_text::repair_text;
pub use steps_line::steps_line;
pub use study::{
    Column, Entry, Journal, JournalError, PLOT_FILES, PlotError, STUDY_SCHEMA, StudyHeader, Values,
    case_table, cost_table, csv, merged, parquet, plots, sha256, study_json, study_summary,
};
pub use text::TEXT_WIDTH;
pub use tour_text::{real_display_text, tour_text};
