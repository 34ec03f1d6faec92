//! Readings of a panel: patches, their files, their noise, and whether they can be trusted.
//!
//! Must not know about models of the panel or about LUTs.

mod patch;

pub use patch::{Patch, Readings};
