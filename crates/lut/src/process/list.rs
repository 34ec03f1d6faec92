use super::{Cdl, Exponent, HalfCurves, Log, MappedCurves, Matrix, Range};
use crate::{Correction, Evaluation, Lut1d, Lut3d};

/// One step of a [`ProcessList`], on normalised values.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum Operation {
    /// Curves over 0 to 1.
    Curves(Lut1d),
    /// Curves over the 16-bit floating point numbers.
    HalfCurves(HalfCurves),
    /// Curves whose nodes stand at listed places.
    MappedCurves(MappedCurves),
    /// A lattice over 0 to 1.
    Lattice {
        /// The nodes.
        lattice: Lut3d,
        /// How the file asks for it to be read between nodes.
        evaluation: Evaluation,
    },
    /// A matrix with offsets.
    Matrix(Matrix),
    /// A map between ranges, or a limit.
    Range(Range),
    /// A logarithm of each channel.
    Log([Log; 3]),
    /// A power of each channel.
    Exponent([Exponent; 3]),
    /// A colour decision list.
    Cdl(Cdl),
}

impl Operation {
    /// The name of the element that holds it.
    #[must_use]
    pub fn name(&self) -> &'static str {
        match self {
            Self::Curves(_) | Self::HalfCurves(_) | Self::MappedCurves(_) => "LUT1D",
            Self::Lattice { .. } => "LUT3D",
            Self::Matrix(_) => "Matrix",
            Self::Range(_) => "Range",
            Self::Log(_) => "Log",
            Self::Exponent(_) => "Exponent",
            Self::Cdl(_) => "ASC_CDL",
        }
    }

    /// Whether no channel looks at another.
    #[must_use]
    pub fn is_per_channel(&self) -> bool {
        match self {
            Self::Curves(_)
            | Self::HalfCurves(_)
            | Self::MappedCurves(_)
            | Self::Range(_)
            | Self::Log(_)
            | Self::Exponent(_) => true,
            Self::Matrix(matrix) => matrix.as_diagonal().is_some(),
            Self::Cdl(cdl) => cdl.saturation == 1.0,
            Self::Lattice { .. } => false,
        }
    }

    /// What it makes of `at`. May be infinite or NaN; [`ProcessList::drive`](Correction::drive) is not.
    #[must_use]
    pub fn apply(&self, at: [f64; 3]) -> [f64; 3] {
        match self {
            Self::Curves(curves) => curves.sample(at),
            Self::HalfCurves(curves) => curves.sample(at),
            Self::MappedCurves(curves) => curves.sample(at),
            Self::Lattice {
                lattice,
                evaluation,
            } => lattice.sample(at, *evaluation),
            Self::Matrix(matrix) => matrix.apply(at),
            Self::Range(range) => at.map(|v| range.apply(v)),
            Self::Log(logs) => [0, 1, 2].map(|c| logs[c].apply(at[c])),
            Self::Exponent(powers) => [0, 1, 2].map(|c| powers[c].apply(at[c])),
            Self::Cdl(cdl) => cdl.apply(at),
        }
    }
}

/// An [`Operation`] and what the file says about it.
#[derive(Clone, Debug, PartialEq)]
pub struct ProcessNode {
    /// Its name in the file.
    pub name: Option<String>,
    /// Free text.
    pub descriptions: Vec<String>,
    /// What it does.
    pub operation: Operation,
}

impl From<Operation> for ProcessNode {
    fn from(operation: Operation) -> Self {
        Self {
            name: None,
            descriptions: Vec::new(),
            operation,
        }
    }
}

/// A chain of operations: what a Common LUT Format file holds.
///
/// Where it is no more than curves and a lattice, [`to_lut`](Self::to_lut) gives the [`Lut`](crate::Lut) that does the
/// same; any other chain is evaluated as it is, as a [`Correction`].
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ProcessList {
    /// Name that is unique to the list.
    pub id: Option<String>,
    /// Name for people.
    pub name: Option<String>,
    /// The `id` of the list that this one undoes.
    pub inverse_of: Option<String>,
    /// Free text.
    pub descriptions: Vec<String>,
    /// What the input is.
    pub input: Vec<String>,
    /// What the output is.
    pub output: Vec<String>,
    /// Name and text of each plain entry of the file's own information.
    pub info: Vec<(String, String)>,
    /// Applied in this order.
    pub nodes: Vec<ProcessNode>,
}

impl ProcessList {
    /// Its name for people, or else its first description.
    #[must_use]
    pub fn title(&self) -> Option<&str> {
        let described = self.descriptions.first();
        self.name.as_ref().or(described).map(String::as_str)
    }

    /// Whether no channel looks at another.
    #[must_use]
    pub fn is_per_channel(&self) -> bool {
        self.nodes.iter().all(|n| n.operation.is_per_channel())
    }
}

/// An infinity becomes the largest 32-bit number, NaN becomes 0.
pub(crate) fn tame(value: f64) -> f64 {
    let most = f64::from(f32::MAX);
    if value.is_nan() {
        0.0
    } else {
        value.clamp(-most, most)
    }
}

impl Correction for ProcessList {
    /// Every step in turn, in `f64`. After each, an infinity becomes the largest 32-bit number and NaN becomes 0, so
    /// that the answer is finite whatever the chain.
    fn drive(&self, signal: [f64; 3]) -> [f64; 3] {
        self.nodes.iter().fold(signal.map(tame), |at, node| {
            node.operation.apply(at).map(tame)
        })
    }
}
