use std::fmt;
use std::str::FromStr;

/// How a lattice is read between its nodes. Reports name it, because figures depend on it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Evaluation {
    /// All eight nodes of the cell, linear along each axis in turn.
    Trilinear,
    /// The four nodes of one of six tetrahedra around the 000–111 diagonal of the cell; on the neutral axis only
    /// the two diagonal nodes count.
    #[default]
    Tetrahedral,
    /// Tetrahedral, with the position inside the cell rounded to `bits` binary places, as hardware does. Halves
    /// round up; more than 52 bits count as 52.
    Weights {
        /// Binary places of the position inside the cell.
        bits: u8,
    },
}

/// The largest number of binary places that still rounds a fraction held in an `f64`.
pub(crate) const MOST_WEIGHT_BITS: u8 = 52;

/// The text does not name an [`Evaluation`].
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "{found:?} is not a way to evaluate a LUT; use tetrahedral, trilinear or weights:BITS with BITS from 1 to {MOST_WEIGHT_BITS}"
)]
pub struct ParseEvaluationError {
    /// The text found.
    pub found: String,
}

impl fmt::Display for Evaluation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Trilinear => f.write_str("trilinear"),
            Self::Tetrahedral => f.write_str("tetrahedral"),
            Self::Weights { bits } => write!(f, "weights:{bits}"),
        }
    }
}

impl FromStr for Evaluation {
    type Err = ParseEvaluationError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let refused = || ParseEvaluationError {
            found: text.to_owned(),
        };
        match text {
            "trilinear" => Ok(Self::Trilinear),
            "tetrahedral" => Ok(Self::Tetrahedral),
            _ => text
                .strip_prefix("weights:")
                .and_then(|bits| bits.parse().ok())
                .filter(|bits| (1..=MOST_WEIGHT_BITS).contains(bits))
                .map(|bits| Self::Weights { bits })
                .ok_or_else(refused),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_read_back() {
        for how in [
            Evaluation::Trilinear,
            Evaluation::Tetrahedral,
            Evaluation::Weights { bits: 8 },
        ] {
            assert_eq!(how.to_string().parse(), Ok(how));
        }
    }

    #[test]
    fn other_words_are_refused() {
        for text in [
            "",
            "cubic",
            "weights",
            "weights:0",
            "weights:53",
            "weights:-1",
            "Trilinear",
        ] {
            assert!(text.parse::<Evaluation>().is_err(), "{text:?} was accepted");
        }
    }
}
