//! One self-contained page for a fit, an audit, a comparison or the tour: verdict first, then pictures with their
//! numbers, then a look through the correction. Opens from disk and asks the network for nothing.

mod audit_page;
mod axis;
mod chart;
mod compare_page;
mod figure;
mod figures;
mod fit_page;
mod flip;
mod flip_data;
mod groups;
mod ink;
mod page;
mod tour_page;
mod tour_picture;
mod verdict;

use evenstep_audit::{AuditReport, Traces};
use evenstep_lut::{CodeScale, Evaluation, Lut};

pub use audit_page::audit_html;
pub use compare_page::compare_html;
pub use fit_page::fit_html;
pub use tour_page::tour_html;
pub use tour_picture::tour_picture;

/// A correction with all that a page shows of it.
#[derive(Clone, Copy)]
pub struct Drawn<'a> {
    /// What the user calls it.
    pub name: &'a str,
    /// Its audit.
    pub report: &'a AuditReport,
    /// Its traces, made with the options of the audit.
    pub traces: &'a Traces,
    /// The LUT itself, for pictures through it.
    pub lut: &'a Lut,
}

impl Drawn<'_> {
    /// The scale of the codes that enter the LUT.
    fn scale(&self) -> CodeScale {
        CodeScale {
            depth: self.report.source_bits,
            range: self.report.range,
        }
    }

    /// How the audit read the lattice.
    fn evaluation(&self) -> Evaluation {
        self.report.evaluation.parse().unwrap_or_default()
    }
}
