//! LUT files of every format: one door to read them, and the way from one to another.
//!
//! A file is known by its content, never by its name; an output's format is that of its name. What the format of an
//! output cannot hold is found before anything is written: see [`Conversion`].
//!
//! ```
//! use std::path::Path;
//! use evenstep_convert::{Content, ConvertOptions, FileFormat, convert};
//! use evenstep_lut::{Evaluation, Lut, Lut3d};
//!
//! let source = Content::Lut(Lut::from(Lut3d::identity(17)));
//! let options = ConvertOptions::to(FileFormat::Picture);
//! let converted = convert(&source, &options)?;
//! // A picture holds 16 or 25 nodes along an axis, not 17.
//! assert_eq!(converted.losses.len(), 2);
//! assert!(converted.difference.largest < 1e-4);
//! # Ok::<(), evenstep_convert::ConvertError>(())
//! ```
//!
//! Must not know about panels, readings or colour spaces.

mod convert;
mod difference;
mod format;
mod loss;
mod picture;
mod read;
mod rounding;
mod shaper;
mod text;
mod write;

pub use convert::{Conversion, ConvertError, ConvertOptions, convert};
pub use difference::Difference;
pub use format::{FileFormat, UnknownFormat, is_lut};
pub use loss::Loss;
pub use picture::{LatticePictureError, picture_sizes};
pub use read::{Content, Loaded, ReadError, parse, read, read_lut};
pub use write::WriteLutError;
