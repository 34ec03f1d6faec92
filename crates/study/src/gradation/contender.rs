use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

/// Who makes the LUT of a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Contender {
    /// The base correction at the nodes.
    BaseOnly,
    /// Thin-plate spline on the residual of the base, every node for itself.
    ThinPlate,
    /// The model that a fit chooses, every node for itself.
    Pointwise,
    /// A fit with its defaults: the same model, all nodes together.
    Gradation,
    /// A fit of 17³ readings, every node for itself.
    Dense,
    /// The true panel inverted at the nodes: what remains is the lattice's.
    TrueInverse,
}

impl Contender {
    /// All of them, in the order of tables.
    pub const ALL: [Self; 6] = [
        Self::BaseOnly,
        Self::ThinPlate,
        Self::Pointwise,
        Self::Gradation,
        Self::Dense,
        Self::TrueInverse,
    ];

    /// The word in files.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::BaseOnly => "base-only",
            Self::ThinPlate => "thin-plate",
            Self::Pointwise => "pointwise",
            Self::Gradation => "gradation",
            Self::Dense => "dense",
            Self::TrueInverse => "true-inverse",
        }
    }
}

impl fmt::Display for Contender {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// A word that names nobody.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{found:?} is no contender; use one of {}", Contender::ALL.map(Contender::name).join(", "))]
pub struct ContenderError {
    /// The word.
    pub found: String,
}

impl FromStr for Contender {
    type Err = ContenderError;

    fn from_str(text: &str) -> Result<Self, ContenderError> {
        let of = |c: &Self| c.name() == text;
        Self::ALL
            .into_iter()
            .find(of)
            .ok_or_else(|| ContenderError {
                found: text.to_owned(),
            })
    }
}
