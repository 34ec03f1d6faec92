use std::io;

use evenstep_picture::PictureError;

/// Why a picture did not come out.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ApplyError {
    /// The picture could not be read.
    #[error(transparent)]
    Picture(#[from] PictureError),
    /// The output could not be written.
    #[error("cannot write: {0}")]
    Write(#[from] io::Error),
}
