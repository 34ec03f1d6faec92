use std::path::Path;

use crate::PictureError;

/// Most pixels a picture may have: 16 384 on a side, eight times a frame of 7680 × 4320. It bounds the time that a small
/// file can take, and keeps what is written within the 4 GiB that offsets in a TIFF reach. Our choice.
pub const MOST_PIXELS: u64 = 1 << 28;

/// Most bytes of pixels that reading holds at a time, 256 MiB: a frame of 7680 × 4320 in one piece at 16 bits fits. It
/// counts what a file cannot be read without: one row, one strip, one row of tiles, all of an interlaced picture. A
/// reader may hold that twice, packed and unpacked. Our choice.
pub const MOST_BYTES: u64 = 256 << 20;

/// Most bytes of an ICC profile that are kept, 16 MiB: a longer one is left behind and named when it is in a PNG, and a
/// TIFF with one is refused. Our choice; those of displays have kilobytes.
pub const MOST_PROFILE_BYTES: usize = 16 << 20;

/// Refuses a picture with too many pixels.
pub(crate) fn check_pixels(path: &Path, width: u32, height: u32) -> Result<(), PictureError> {
    if u64::from(width) * u64::from(height) <= MOST_PIXELS {
        return Ok(());
    }
    Err(PictureError::TooLarge {
        path: path.to_owned(),
        width,
        height,
    })
}

/// Refuses a piece that would take too much memory; `piece` says which.
pub(crate) fn check_bytes(
    path: &Path,
    piece: &'static str,
    bytes: u64,
) -> Result<(), PictureError> {
    if bytes <= MOST_BYTES {
        return Ok(());
    }
    Err(PictureError::TooMuchMemory {
        path: path.to_owned(),
        piece,
        bytes,
    })
}
