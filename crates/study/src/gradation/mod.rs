//! What a correction from few patches does to gradation, beside the corrections it has to beat, on panels whose truth
//! is known.
//!
//! A [`GradationCase`] is one set of readings; [`run_gradation_case`] makes every [`Contender`]'s LUT from it, as a
//! display would hold it, and judges each on the true panel: a [`GradationRow`] for each LUT and evaluation.
//! [`acceptance`] holds the rows against the bounds that were set beforehand.

mod case;
mod contender;
mod judged;
mod rough;
mod row;

pub use case::{CaseError, GradationCase, run_gradation_case};
pub use contender::{Contender, ContenderError};
pub use rough::Condition;
pub use row::{GradationRow, MadeBy};
