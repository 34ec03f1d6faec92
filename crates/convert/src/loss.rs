use std::fmt;

use evenstep_lut::Evaluation;

/// What an output does not hold as the input did.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum Loss {
    /// The format has no place for a title or other text.
    Text,
    /// The format has a place for a title and for no other text.
    OtherText,
    /// A title or a name is cut, or a character in it replaced.
    Title,
    /// A chain of more than curves and a lattice is sampled.
    Chain {
        /// Its operations.
        operations: String,
    },
    /// Curves before the lattice are sampled by it.
    Curves,
    /// A domain other than 0 to 1 is left.
    Domain,
    /// The lattice has another number of nodes.
    Nodes {
        /// Along each axis of the input; `None` where it has no lattice.
        from: Option<usize>,
        /// Along each axis of the output.
        to: usize,
    },
    /// Values are rounded to codes.
    Rounded {
        /// Bits of a code.
        bits: u8,
        /// Values that were not such codes.
        values: usize,
    },
    /// Values outside 0 to 1 become the nearest that the format holds.
    Limited {
        /// How many.
        values: usize,
    },
    /// The format cannot say how the lattice is to be read between nodes.
    Evaluation {
        /// How the input asks for it.
        asked: Evaluation,
    },
    /// The format says how the lattice is to be read between nodes, but has no word for this way.
    Weights {
        /// How it was to be read.
        asked: Evaluation,
    },
}

impl fmt::Display for Loss {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Text => f.write_str("the title and other text are dropped"),
            Self::OtherText => {
                f.write_str("names and other text are dropped; a title alone is kept")
            }
            Self::Title => f.write_str(
                "a title or name is cut, or characters in it replaced, to fit the format",
            ),
            Self::Chain { operations } => {
                write!(
                    f,
                    "the chain {operations} is more than curves and a lattice, and is sampled"
                )
            }
            Self::Curves => f.write_str("the curves before the lattice are sampled by its nodes"),
            Self::Domain => {
                f.write_str("the domain becomes 0 to 1; signals outside are answered at its ends")
            }
            Self::Nodes {
                from: Some(from),
                to,
            } => {
                write!(
                    f,
                    "the lattice is sampled again: {from} nodes along each axis become {to}"
                )
            }
            Self::Nodes { from: None, to } => {
                write!(f, "sampled by a lattice of {to} nodes along each axis")
            }
            Self::Rounded { bits, values } => {
                write!(f, "{values} values are rounded to codes of {bits} bits")
            }
            Self::Limited { values } => {
                write!(
                    f,
                    "{values} values outside the codes become the nearest code"
                )
            }
            Self::Evaluation { asked } => {
                write!(
                    f,
                    "the input asks for {asked} evaluation; the output cannot say so"
                )
            }
            Self::Weights { asked } => {
                write!(
                    f,
                    "the output cannot ask for {asked} evaluation; it asks for tetrahedral"
                )
            }
        }
    }
}
