use std::io;
use std::path::PathBuf;

use crate::limits::{MOST_BYTES, MOST_PIXELS};

/// Why a picture could not be read or made.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PictureError {
    /// The operating system refused.
    #[error("{}: cannot read: {source}", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// The first bytes are those of no format read here.
    #[error("{}: neither a PNG nor a TIFF; save the picture as one of them", path.display())]
    NotAPicture {
        /// The file.
        path: PathBuf,
    },
    /// The name of an output ends in nothing that names a format.
    #[error("{}: which format? let the name end in .png, .tif or .tiff", path.display())]
    NoFormat {
        /// The file.
        path: PathBuf,
    },
    /// The file contradicts its format or ends too early.
    #[error("{}: row {row}: the {format} is damaged or cut short ({why}); save it again", path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// Rows that were good before it, 0 for the top.
        row: u32,
        /// PNG or TIFF.
        format: &'static str,
        /// What its reader said.
        why: String,
    },
    /// A legal file of a kind that is not read here, or with a part past all limits.
    #[error("{}: {found}; {advice}", path.display())]
    Unsupported {
        /// The file.
        path: PathBuf,
        /// What the picture is or holds.
        found: String,
        /// What to do.
        advice: &'static str,
    },
    /// More pixels than [`MOST_PIXELS`].
    #[error("{}: {width} x {height} pixels are more than {MOST_PIXELS}; cut or scale the picture", path.display())]
    TooLarge {
        /// The file.
        path: PathBuf,
        /// Pixels in a row.
        width: u32,
        /// Rows.
        height: u32,
    },
    /// A piece that has to be held as a whole is larger than [`MOST_BYTES`].
    #[error(
        "{}: {piece} takes {} MiB of memory, more than {} MiB; save the picture smaller, without interlacing or in smaller strips",
        path.display(), bytes.div_ceil(1 << 20), MOST_BYTES >> 20
    )]
    TooMuchMemory {
        /// The file.
        path: PathBuf,
        /// The piece: a row, a strip, a row of tiles, an interlaced or the whole picture.
        piece: &'static str,
        /// Bytes it would take.
        bytes: u64,
    },
    /// Samples given for a picture do not belong to its header.
    #[error(
        "a picture of {width} x {height} pixels has {need} samples, not {found}; check its size and channels"
    )]
    Count {
        /// Pixels in a row.
        width: u32,
        /// Rows.
        height: u32,
        /// Samples that belong to it.
        need: u128,
        /// Samples given.
        found: usize,
    },
}
