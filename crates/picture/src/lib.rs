//! Pictures in files: PNG and TIFF at 8 and 16 bits, read and written a band of rows at a time.
//!
//! Must not know what is done to the pixels: no LUTs, no colour spaces, no terminals. Samples are the numbers of the
//! file; what it says about their colours travels along untouched as [`ColourTags`].
//!
//! ```
//! use std::io::Cursor;
//! use std::path::Path;
//! use evenstep_picture::{Format, Header, Picture, Samples};
//!
//! let header = Header::rgb(2, 1, evenstep_picture::Depth::Eight);
//! let picture = Picture::new(header, Samples::Eight(vec![0, 1, 2, 253, 254, 255]))?;
//! let mut file = Cursor::new(Vec::new());
//! picture.write(&mut file, Format::Png)?;
//! file.set_position(0);
//! assert_eq!(Picture::read_from(file, Path::new("pixels.png"))?, picture);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod error;
mod format;
mod header;
mod limits;
mod picture;
mod png_rows;
mod reader;
mod samples;
mod tags;
mod tiff_rows;
mod write;

pub use error::PictureError;
pub use format::Format;
pub use header::{Depth, Header};
pub use limits::{MOST_BYTES, MOST_PIXELS, MOST_PROFILE_BYTES};
pub use picture::Picture;
pub use reader::Reader;
pub use samples::{Sample, Samples};
pub use tags::ColourTags;
pub use write::write_rows;
