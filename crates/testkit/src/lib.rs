//! Help that the tests of several crates share. Unpublished, and a dev-dependency only.
//!
//! Must not know about any other crate of this workspace: the lowest layers use it, so a dependency would close a
//! cycle.

mod in_place;

pub use in_place::{DATA_VARIABLE, data_in_place};
