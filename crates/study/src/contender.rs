use std::fmt;
use std::str::FromStr;

use evenstep_scatter::{Scheme, SchemeError};

/// What a case puts to the test: a scheme, or one of two marks to hold schemes against.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Contender {
    /// The base correction without any 3D part: what a scheme has to beat.
    BaseOnly,
    /// The panel itself inverted instead of a model of it: what remains is the lattice's, not a scheme's.
    TrueInverse,
    /// A scheme fitted to the residual of the base.
    Scheme(Scheme),
}

const BASE_ONLY: &str = "base-only";
const TRUE_INVERSE: &str = "true-inverse";

impl Contender {
    /// Both marks, then every scheme in the order of their listing.
    #[must_use]
    pub fn all() -> Vec<Self> {
        let marks = [Self::BaseOnly, Self::TrueInverse];
        let schemes = Scheme::all().into_iter().map(Self::Scheme);
        marks.into_iter().chain(schemes).collect()
    }

    /// Whether it is a scheme rather than a mark.
    #[must_use]
    pub fn is_scheme(self) -> bool {
        matches!(self, Self::Scheme(_))
    }
}

impl fmt::Display for Contender {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::BaseOnly => f.pad(BASE_ONLY),
            Self::TrueInverse => f.pad(TRUE_INVERSE),
            Self::Scheme(scheme) => scheme.fmt(f),
        }
    }
}

/// The text names neither a scheme nor a mark.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{source}; {BASE_ONLY} and {TRUE_INVERSE} are the marks to hold schemes against")]
pub struct ContenderError {
    source: SchemeError,
}

impl FromStr for Contender {
    type Err = ContenderError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        match text {
            BASE_ONLY => Ok(Self::BaseOnly),
            TRUE_INVERSE => Ok(Self::TrueInverse),
            _ => text
                .parse()
                .map(Self::Scheme)
                .map_err(|source| ContenderError { source }),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_round_trip_and_no_two_are_alike() {
        let names: Vec<String> = Contender::all().iter().map(ToString::to_string).collect();
        for (i, name) in names.iter().enumerate() {
            assert_eq!(name.parse::<Contender>().unwrap().to_string(), *name);
            assert!(!names[..i].contains(name));
        }
        let error = "spline".parse::<Contender>().unwrap_err().to_string();
        assert!(
            error.contains("rbf-linear") && error.contains("base-only"),
            "{error}"
        );
    }
}
