//! The text formats LUTs travel in, one module each.

pub mod cube;
mod note;

pub use note::{Deviation, Note};
