//! Pictures out and in again, and files that no honest program wrote.

mod hostile;
mod kinds;
mod memory;
mod round_trip;

use std::io::Cursor;
use std::path::Path;

use evenstep_picture::{Format, Picture, PictureError};

fn bytes_of(picture: &Picture, format: Format) -> Vec<u8> {
    let mut file = Cursor::new(Vec::new());
    picture.write(&mut file, format).unwrap();
    file.into_inner()
}

fn picture_of(bytes: &[u8]) -> Result<Picture, PictureError> {
    Picture::read_from(Cursor::new(bytes), Path::new("test"))
}
