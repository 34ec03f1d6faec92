//! Schemes held against each other on panels whose truth is known, and on models of displays: colour error *and* gradation for every combination
//! of scheme, panel, number of patches, noise and seed.
//!
//! A [`Plan`] lists [`Case`]s; [`run_case`] makes the [`Row`] of one, the same on any machine thread or shard; [`run`]
//! makes many on several threads. What a case is and what its figures mean: `docs/methods/study.md`. Must not know
//! about files, terminals or clocks: what a case cost is measured by the caller's [`Meter`].

mod case;
mod contender;
mod cost;
mod figures;
pub mod gradation;
mod judge;
mod measured;
mod patches;
mod plan;
mod row;
mod run;
mod stage;
mod training;

pub use case::{Case, run_case};
pub use contender::{Contender, ContenderError};
pub use cost::{Cost, Meter, Spent, unmetered};
pub use figures::Figures;
pub use judge::Judge;
pub use measured::{FEWEST_READINGS, JudgeRecord, MeasuredError};
pub use patches::{FEWEST_PATCHES, patches};
pub use plan::{Grid, Plan, PlanError, ReadingsId};
pub use row::{Row, Status};
pub use run::{Finished, run};
pub use stage::Stage;
