use std::fmt;

use evenstep_audit::Span;
use serde::Serialize;

/// What is wrong at a place of a LUT.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum FaultKind {
    /// A ramp falls where it should rise; a dip near black is one.
    Reversal,
    /// A ramp stands still inside the range and jumps after it.
    Plateau,
    /// Steps from node to node alternate between long and short.
    StairSteps,
    /// A tetrahedron of the lattice is turned inside out.
    Fold,
    /// A tetrahedron has lost its volume where the panel could show the difference.
    Collapse,
    /// The neutral ramp's tint leaves its trend.
    Tint,
    /// A place of a ramp leaves the course of those before and after it.
    Bump,
}

impl fmt::Display for FaultKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Reversal => "reversal",
            Self::Plateau => "plateau",
            Self::StairSteps => "stair-steps",
            Self::Fold => "fold",
            Self::Collapse => "collapse",
            Self::Tint => "tint",
            Self::Bump => "bump",
        })
    }
}

/// Unit of the size of a fault.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum SizeUnit {
    /// ΔE ITP: along luminance for a reversal, along T and P for a tint, in all directions for a bump.
    Itp,
    /// Drive, 0 to 1; of a bump the length over the three channels.
    Drive,
    /// Codes of the source.
    Codes,
    /// Difference of neighbouring steps as a share of a step there.
    StepShare,
    /// Volume of a tetrahedron, that of the identity being 1; negative where it is turned inside out.
    Volume,
}

/// All faults of one kind at one ramp, or of one kind in the lattice. In JSON, members that do not apply are left out.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Fault {
    /// What is wrong.
    pub kind: FaultKind,
    /// The ramp; none for faults of the lattice.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ramp: Option<String>,
    /// Places: stretches of the ramp, lines of the lattice, or tetrahedra.
    pub places: usize,
    /// The largest of them.
    pub worst: f64,
    /// Unit of `worst`.
    pub unit: SizeUnit,
    /// Where on the ramp the largest is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub between: Option<Span>,
    /// The lattice node at which the largest starts, as (r, g, b) indices.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub node: Option<[usize; 3]>,
}

/// One place of a fault, with the nodes that make it.
#[derive(Clone, Debug)]
pub(crate) struct Found {
    pub(crate) kind: FaultKind,
    pub(crate) ramp: Option<String>,
    pub(crate) size: f64,
    pub(crate) unit: SizeUnit,
    pub(crate) between: Option<Span>,
    pub(crate) node: Option<[usize; 3]>,
    /// Indices in the lattice.
    pub(crate) nodes: Vec<usize>,
}

/// Places of one kind and ramp taken together, sorted by kind and then in the order found.
pub(crate) fn grouped(found: &[Found]) -> Vec<Fault> {
    let mut faults: Vec<Fault> = Vec::new();
    for one in found {
        let is_same = |f: &&mut Fault| f.kind == one.kind && f.ramp == one.ramp;
        match faults.iter_mut().find(is_same) {
            Some(fault) => {
                fault.places += 1;
                if one.size.abs() > fault.worst.abs() {
                    (fault.worst, fault.between, fault.node) = (one.size, one.between, one.node);
                }
            }
            None => faults.push(Fault {
                kind: one.kind,
                ramp: one.ramp.clone(),
                places: 1,
                worst: one.size,
                unit: one.unit,
                between: one.between,
                node: one.node,
            }),
        }
    }
    faults.sort_by_key(|f| f.kind);
    faults
}
