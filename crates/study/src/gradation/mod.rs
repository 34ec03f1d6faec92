//! What a correction from few patches does to gradation, beside the corrections it has to beat, on panels whose truth
//! is known.
//!
//! A [`GradationCase`] is one set of readings; [`run_gradation_case`] makes every [`Contender`]'s LUT from it, as a
//! display would hold it, and judges each on the true panel: a [`GradationRow`] for each LUT and evaluation.
//! [`acceptance`] holds the rows against the bounds that were set beforehand.

mod acceptance;
mod case;
mod contender;
mod judged;
mod left_out;
mod named;
mod page;
mod plan;
mod rough;
mod row;
mod run;

pub use acceptance::{Bound, Outcome, acceptance};
pub use case::{CaseError, GradationCase, run_gradation_case};
pub use contender::{Contender, ContenderError};
pub use left_out::left_out_de2000;
pub use page::gradation_page;
pub use plan::{PATCHES, SEEDS, all_panels, gradation_plan};
pub use rough::Condition;
pub use row::{BandHeld, GradationRow, MadeBy};
pub use run::{GradationDone, run_gradation};

/// Drives along an axis of the dense readings.
const DENSE: usize = 17;
pub use named::{Named, named_outliers};
