//! Text formats of readings and of patch lists.

mod cgats;
mod cgats_rows;
mod cgats_write;
mod csv;
mod csv_write;
mod lexer;
mod limits;
mod lines;
mod number;
mod read;
mod rows;

pub(crate) use number::shorten;

pub use cgats_write::{CgatsHeader, write_cgats, write_cgats_to};
pub use csv_write::{write_csv, write_csv_to, write_patches_csv, write_patches_csv_to};
pub use read::{load, parse, parse_patches, parse_sequence, read, read_patches, read_sequence};
pub use rows::lowest_light_cd_m2;
