//! What the commands of the repository make: patch lists and sample LUTs.
//!
//! A library so that tests can make the files again in memory and hold them against those that are kept.

pub mod luts;
pub mod patches;
