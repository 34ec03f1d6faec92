//! Places in files, and outputs that are written whole or not at all.
//!
//! Must not know what any file means: readers and writers of formats live with their own concept.

mod atomic;
mod place;

pub use atomic::{AtomicFile, WriteError, write_atomic, write_together};
pub use place::Place;
