//! Cube text: curves, a lattice, or curves before a lattice.
//!
//! ```text
//! TITLE "warm white"          optional
//! DOMAIN_MIN 0 0 0            optional, 0 0 0 unless given
//! DOMAIN_MAX 1 1 1            optional, 1 1 1 unless given
//! LUT_3D_SIZE 2               or LUT_1D_SIZE, at most 256 or 65536
//! 0 0 0                       N³ or N rows, red fastest
//! …
//! ```
//!
//! The reader takes what the format allows, accepts what is common and cannot change the result with a
//! [`Note`](super::Note), and refuses everything else with the place, what stands there and what to do. It never
//! guesses a size, never reads part of a table, and never takes numbers that are not finite.
//!
//! Decisions where the format is silent or readers differ:
//! - Both size keywords: the curves' rows come first, then the lattice's, and both must be complete. The domain of
//!   each is then given by `LUT_1D_INPUT_RANGE` and `LUT_3D_INPUT_RANGE`; `DOMAIN_MIN` and `DOMAIN_MAX` are refused,
//!   because it is not known which table they mean.
//! - At most 250 bytes stand on a line. Lines with a keyword (the title among them) or with numbers are refused
//!   beyond that; a comment is read with a note up to [`LONGEST_COMMENT`] bytes.
//! - Text is UTF-8; control characters other than the tab mark a binary file and are refused, in comments too.
//! - After the last row only comments and blank lines may follow.
//!
//! Memory is bounded by the declared size and by what the file holds: the reader takes one line at a time and
//! makes room for no more rows than the file has bytes for.
//!
//! # Source
//! Cube LUT Specification, version 1.0 (2013).

mod decimal;
mod error;
mod header;
mod kind;
mod number;
mod parse;
mod replace;
mod write;

pub use super::lines::LONGEST_COMMENT;
pub use error::CubeError;
pub use kind::names_a_size;
pub use parse::{parse, read};
pub use replace::replace_nodes;
pub use write::{CubeWriteError, write, write_to, written_title};
