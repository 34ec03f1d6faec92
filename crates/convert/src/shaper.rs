//! Curves put before a lattice, and taken off again.

use evenstep_lut::process::{Operation, ProcessList};
use evenstep_lut::{Evaluation, Lut, Lut1d};

use crate::{Content, ConvertError};

impl Content {
    /// The same with `curves` applied first. A chain stays one, with its text and the evaluation it asks for; having
    /// become another, it loses its `id` and what it is the inverse of.
    ///
    /// # Errors
    /// [`ConvertError::TwoShapers`] where it has curves, [`ConvertError::Chain`] where it is a chain of more than
    /// curves and a lattice.
    pub fn with_shaper(self, curves: Lut1d) -> Result<Self, ConvertError> {
        if self.as_lut()?.curves.is_some() {
            return Err(ConvertError::TwoShapers);
        }
        Ok(match self {
            Self::Lut(lut) => Self::Lut(Lut {
                curves: Some(curves),
                ..lut
            }),
            Self::List(list) => {
                // Curves alone: there is no lattice to be read in any way.
                let before = ProcessList::of_lut(&curves.into(), Evaluation::Tetrahedral);
                let nodes = before.nodes.into_iter().chain(list.nodes).collect();
                Self::List(ProcessList {
                    id: None,
                    inverse_of: None,
                    nodes,
                    ..list
                })
            }
        })
    }

    /// The curves before the lattice, and the rest without them. The rest of a chain is one, as in
    /// [`with_shaper`](Self::with_shaper).
    ///
    /// # Errors
    /// [`ConvertError::NoShaper`] where there are none, [`ConvertError::Chain`] where it is a chain of more than curves
    /// and a lattice.
    pub fn without_shaper(self) -> Result<(Lut, Self), ConvertError> {
        let Lut {
            title,
            curves: Some(curves),
            lattice: Some(lattice),
        } = self.as_lut()?
        else {
            return Err(ConvertError::NoShaper);
        };
        let shaper = Lut {
            title: title.clone(),
            ..curves.into()
        };
        let rest = match self {
            Self::Lut(_) => Self::Lut(Lut {
                title,
                ..lattice.into()
            }),
            Self::List(mut list) => {
                let is_curves = |n: &evenstep_lut::process::ProcessNode| {
                    matches!(n.operation, Operation::Curves(_))
                };
                // In a chain that reduces to both, only a map to the domain of the curves stands before them.
                let after = list.nodes.iter().position(is_curves).map_or(0, |i| i + 1);
                list.nodes.drain(..after);
                (list.id, list.inverse_of) = (None, None);
                Self::List(list)
            }
        };
        Ok((shaper, rest))
    }

    fn as_lut(&self) -> Result<Lut, ConvertError> {
        match self {
            Self::Lut(lut) => Ok(lut.clone()),
            Self::List(list) => list.to_lut().ok_or_else(|| ConvertError::Chain {
                operations: Self::operations(list),
            }),
        }
    }
}
