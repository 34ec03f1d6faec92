//! Pictures through LUTs: a band of rows at a time, rounded plainly or with dither; and pictures made to look at a
//! panel's gradation.
//!
//! Must not know about terminals or what a panel shows. Samples are signals at full range: 0 is 0, the largest is 1.

mod apply;
mod dither;
mod error;
mod ramps;
mod void_and_cluster;

pub use apply::{ApplyOptions, ApplyReport, apply};
pub use dither::{Dither, ParseDitherError};
pub use error::ApplyError;
pub use ramps::{RampPicture, RampSizeError};
