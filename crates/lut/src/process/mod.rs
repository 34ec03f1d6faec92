//! Chains of operations that are more than curves and a lattice: what a Common LUT Format file may ask for.
//!
//! Every operation works on normalised values, 1 for the top of an integer scale; how a file scales its numbers is the
//! affair of its reader.

mod cdl;
mod curves;
mod exponent;
mod list;
mod log;
mod mapped;
mod matrix;
mod range;
mod reduce;

pub use cdl::{Cdl, CdlStyle};
pub use curves::HalfCurves;
pub use exponent::{Exponent, ExponentStyle};
pub(crate) use list::tame;
pub use list::{Operation, ProcessList, ProcessNode};
pub use log::{Camera, Log, LogStyle};
pub use mapped::MappedCurves;
pub use matrix::Matrix;
pub use range::Range;
