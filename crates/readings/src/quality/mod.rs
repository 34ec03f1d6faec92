//! Whether a set of readings can be trusted, and what it is enough for.

mod check;
mod finding;
mod fitness;
mod ramps;

pub use check::check;
pub use finding::{Finding, Severity};
pub use fitness::{Fitness, MIN_DISTINCT_3D, MIN_DISTINCT_BASE, MIN_OFF_RAMPS_3D};
