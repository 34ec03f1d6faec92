//! Integer table: plain text of whole codes, for panels that take neither of the other text formats.
//!
//! ```text
//! EVENSTEP-TABLE 1            the name of the layout, first
//! title warm white            optional
//! depth 12                    bits of a code, 8 to 16
//! scale 4095                  optional: the code that stands for 1, the largest unless given
//! order red-fastest           or blue-fastest
//! curves 1024                 optional: rows of curves, applied first
//! lattice 17                  optional: nodes along each axis
//! data
//! 0 0 0                       rows of the curves, then of the lattice: red, green, blue
//! …
//! ```
//!
//! Every row has a line end, the last one too: a file cut inside its last number is told from a whole one.
//!
//! Lines of the head may stand in any order; `#` starts a comment line; blank lines are passed over. Every code is a
//! whole number from 0 to 2^depth − 1. Input and output of both tables run from 0 to 1. Nothing is guessed: a word that
//! is not known, a row too many or too few, or a code beyond the depth is refused with its place.
//!
//! Memory is bounded as for cube text: one line at a time, and rows only as the file has bytes for.
//!
//! # Source
//! This project's own layout.

mod error;
mod parse;
mod write;

use std::fmt;

pub use error::TableError;
pub use parse::{is_table, parse, read};
pub use write::{TableWriteError, write_to, written_title};

use crate::BitDepth;

/// First word of a file.
pub(super) const NAME: &str = "EVENSTEP-TABLE";

/// Which index of a lattice runs fastest.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum NodeOrder {
    /// Red fastest, as in cube text.
    #[default]
    RedFastest,
    /// Blue fastest, as in the Common LUT Format.
    BlueFastest,
}

impl NodeOrder {
    /// Both.
    pub const ALL: [Self; 2] = [Self::RedFastest, Self::BlueFastest];

    /// The word for it.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::RedFastest => "red-fastest",
            Self::BlueFastest => "blue-fastest",
        }
    }
}

impl fmt::Display for NodeOrder {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// How the numbers of a file are laid out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TableLayout {
    /// Bits of a code.
    pub depth: BitDepth,
    /// The code that stands for 1, from 1 to the largest of the depth.
    pub scale: u32,
    /// Order of the lattice.
    pub order: NodeOrder,
}

impl TableLayout {
    /// Codes of `depth` whose largest stands for 1, red fastest.
    #[must_use]
    pub fn of_depth(depth: BitDepth) -> Self {
        Self {
            depth,
            scale: depth.largest_code(),
            order: NodeOrder::RedFastest,
        }
    }
}
