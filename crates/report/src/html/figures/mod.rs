//! One file for each kind of figure: traces in, [`Figure`](super::figure::Figure) out.

pub(crate) mod balance;
pub(crate) mod colours;
pub(crate) mod drive;
pub(crate) mod noise;
pub(crate) mod planes;
pub(crate) mod ramps;
pub(crate) mod readings;

use evenstep_audit::{BitDepth, Traces};

use super::ink::Ink;

/// Rows of a table at most; beyond them neighbouring codes share one.
const ROWS: usize = 128;
/// Of a table with fewer rows than there are codes.
const SOME_CODES: &str = "Codes at equal distances; the drawing has all.";

/// From how many codes a row of a table is, and what the table says about it.
fn each(codes: usize) -> (usize, &'static str) {
    let each = codes.div_ceil(ROWS).max(1);
    (each, if each > 1 { SOME_CODES } else { "" })
}

/// A correction that a page draws.
#[derive(Clone, Copy)]
pub(crate) struct Chain<'a> {
    /// What the page calls it.
    pub(crate) name: &'a str,
    /// How it is drawn.
    pub(crate) ink: Ink,
    /// What is drawn.
    pub(crate) traces: &'a Traces,
}

/// Corrections that share their axes; the base and the uncorrected panel are those of the first.
pub(crate) struct Shared<'a> {
    pub(crate) chains: Vec<Chain<'a>>,
    /// Put before the names of figures, so that a page can hold several groups.
    pub(crate) prefix: String,
    /// Depth of the codes along ramps.
    pub(crate) bits: BitDepth,
}

impl<'a> Shared<'a> {
    /// A name for a figure.
    pub(crate) fn id(&self, name: &str) -> String {
        format!("{}{name}", self.prefix)
    }

    /// The correction that is judged.
    pub(crate) fn first(&self) -> Option<&Chain<'a>> {
        self.chains.first()
    }

    pub(crate) fn code_axis(&self) -> String {
        format!("code of {} bits", self.bits.bits())
    }
}

/// Words for the base correction as curves and a matrix.
pub(crate) const BASE: &str = "base correction";
/// Words for the base correction along ramps: in a lattice like the LUT's it is not as even as the curves are that can
/// be set by hand.
pub(crate) fn base_name(traces: &Traces) -> &'static str {
    match traces.base_lattice {
        Some(_) => "base correction in a lattice",
        None => BASE,
    }
}

/// Words for what is shown without a correction.
pub(crate) const UNCORRECTED: &str = "no correction";
/// What is wanted.
pub(crate) const TARGET: &str = "target";
