//! From a chain to curves and a lattice, where that loses nothing, and back.

use super::{Matrix, Operation, ProcessList, ProcessNode, Range};
use crate::{Evaluation, Lut, Lut1d, Lut3d};

type Ends = ([f64; 3], [f64; 3]);

const UNIT: Ends = ([0.0; 3], [1.0; 3]);

impl ProcessList {
    /// The curves and the lattice that do what the chain does, read as the caller likes; `None` where it is more.
    ///
    /// A map of each channel before a table becomes the table's domain, and an affine map after it, which every
    /// reading between nodes commutes with, is worked into its values.
    #[must_use]
    pub fn to_lut(&self) -> Option<Lut> {
        let mut operations = self.nodes.iter().map(|n| &n.operation).peekable();
        let mut lut = Lut {
            title: self.title().map(str::to_owned),
            ..Lut::default()
        };
        let mut domain = operations.peek().copied().and_then(domain_of);
        if domain.is_some() {
            operations.next();
        }
        if let Some(Operation::Curves(curves)) = operations.peek() {
            let (min, max) = domain.take().unwrap_or(UNIT);
            lut.curves = Some(curves.clone().with_domain(min, max).ok()?);
            operations.next();
            // A map between the tables belongs to the lattice, but only if there is one.
            let mut ahead = operations.clone();
            if let Some(between) = ahead.next().and_then(domain_of)
                && matches!(ahead.peek(), Some(Operation::Lattice { .. }))
            {
                domain = Some(between);
                operations.next();
            }
        }
        if let Some(Operation::Lattice { lattice, .. }) = operations.peek() {
            let (min, max) = domain.take().unwrap_or(UNIT);
            lut.lattice = Some(lattice.clone().with_domain(min, max).ok()?);
            operations.next();
        }
        if domain.is_some() {
            return None;
        }
        for operation in operations {
            match (&mut lut.curves, &mut lut.lattice) {
                (_, Some(lattice)) => work_in(operation, lattice.nodes_mut())?,
                (Some(curves), None) if operation.is_per_channel() => {
                    let mut rows = curves.rows().to_vec();
                    work_in(operation, &mut rows)?;
                    let (min, max) = (curves.domain_min(), curves.domain_max());
                    *curves = Lut1d::new(rows).ok()?.with_domain(min, max).ok()?;
                }
                _ => return None,
            }
        }
        (lut.curves.is_some() || lut.lattice.is_some()).then_some(lut)
    }

    /// The chain that does what `lut` does, read as `how` between nodes. Domains become maps before the tables.
    #[must_use]
    pub fn of_lut(lut: &Lut, how: Evaluation) -> Self {
        let mut list = Self {
            name: lut.title.clone(),
            ..Self::default()
        };
        if let Some(curves) = &lut.curves {
            list.map_to_unit((curves.domain_min(), curves.domain_max()));
            let unit = Lut1d::new(curves.rows().to_vec());
            list.push(unit.map(Operation::Curves));
        }
        if let Some(lattice) = &lut.lattice {
            list.map_to_unit((lattice.domain_min(), lattice.domain_max()));
            let unit = Lut3d::new(lattice.size(), lattice.nodes().to_vec());
            list.push(unit.map(|lattice| Operation::Lattice {
                lattice,
                evaluation: how,
            }));
        }
        list
    }

    fn push<E>(&mut self, operation: Result<Operation, E>) {
        // A table that was one stays one, but for values changed in place to what is not finite.
        self.nodes.extend(operation.ok().map(ProcessNode::from));
    }

    fn map_to_unit(&mut self, ends: Ends) {
        if ends == UNIT {
            return;
        }
        let (min, max) = ends;
        let operation = if min == [min[0]; 3] && max == [max[0]; 3] {
            Operation::Range(Range {
                low: Some([min[0], 0.0]),
                high: Some([max[0], 1.0]),
                clamps: true,
            })
        } else {
            let scale = [0, 1, 2].map(|c| (max[c] - min[c]).recip());
            Operation::Matrix(Matrix::diagonal(
                scale,
                [0, 1, 2].map(|c| -min[c] * scale[c]),
            ))
        };
        self.nodes.push(operation.into());
    }
}

/// The inputs that `operation` maps to 0 and to 1, where a table over 0 to 1 behind it cannot tell it from a domain.
fn domain_of(operation: &Operation) -> Option<Ends> {
    match operation {
        Operation::Range(range) => {
            let ([low_in, low_out], [high_in, high_out]) = (range.low?, range.high?);
            // A limit that the table would set anyway is none.
            let is_free = !range.clamps || (low_out <= 0.0 && high_out >= 1.0);
            if !is_free || high_out <= low_out {
                return None;
            }
            let scale = (high_in - low_in) / (high_out - low_out);
            let at = |out: f64| {
                if out == low_out {
                    low_in
                } else if out == high_out {
                    high_in
                } else {
                    low_in + (out - low_out) * scale
                }
            };
            Some(([at(0.0); 3], [at(1.0); 3]))
        }
        Operation::Matrix(matrix) => {
            let (scale, offset) = matrix.as_diagonal()?;
            if scale.iter().any(|s| *s <= 0.0) {
                return None;
            }
            let at = |out: f64| [0, 1, 2].map(|c| (out - offset[c]) / scale[c]);
            Some((at(0.0), at(1.0)))
        }
        _ => None,
    }
}

/// Applies an affine operation to the values of a table; `None` where it is not affine on all of them, or the values
/// would not stay finite.
fn work_in(operation: &Operation, values: &mut [[f64; 3]]) -> Option<()> {
    let is_affine = match operation {
        Operation::Matrix(_) => true,
        Operation::Range(range) => values.iter().flatten().all(|v| range.passes(*v)),
        _ => false,
    };
    if !is_affine {
        return None;
    }
    for value in values {
        *value = operation.apply(*value);
        if value.iter().any(|v| !v.is_finite()) {
            return None;
        }
    }
    Some(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Correction;

    fn list(operations: Vec<Operation>) -> ProcessList {
        ProcessList {
            nodes: operations.into_iter().map(ProcessNode::from).collect(),
            ..ProcessList::default()
        }
    }

    fn lattice() -> Operation {
        Operation::Lattice {
            lattice: Lut3d::from_fn(3, |[r, g, b]| [r * r, g * 0.5 + 0.1, b * r]),
            evaluation: Evaluation::Tetrahedral,
        }
    }

    fn range(low: [f64; 2], high: [f64; 2], clamps: bool) -> Operation {
        Operation::Range(Range {
            low: Some(low),
            high: Some(high),
            clamps,
        })
    }

    #[test]
    fn what_reduces_does_the_same() {
        const ROUNDOFF: f64 = 1e-13; // a few dozen operations on values up to 3
        let square = || Operation::Curves(Lut1d::from_fn(5, |v| [v * v; 3]));
        for operations in [
            vec![square()],
            vec![lattice()],
            vec![square(), lattice()],
            vec![range([0.1, 0.0], [0.9, 1.0], true), square(), lattice()],
            vec![
                range([0.1, -0.2], [0.9, 1.5], false),
                square(),
                range([0.0, 0.1], [1.0, 0.8], false),
                lattice(),
                range([0.0, 0.0625], [1.0, 0.9], false),
            ],
            vec![
                Operation::Matrix(Matrix::diagonal([2.0, 1.0, 0.5], [0.1, 0.0, -0.1])),
                lattice(),
                Operation::Matrix(Matrix {
                    rows: [
                        [0.2, 0.5, 0.3, 0.1],
                        [0.0, 1.0, 0.0, 0.0],
                        [0.1, 0.0, 0.9, 0.0],
                    ],
                }),
            ],
            // Values of the lattice lie within 0 to 1, so this limit limits nothing.
            vec![lattice(), range([0.0, 0.0], [1.0, 2.0], true)],
        ] {
            let chain = list(operations);
            let lut = chain.to_lut().unwrap();
            for i in 0..200_u32 {
                let at = [7, 13, 29].map(|k| f64::from(i * k % 200) / 120.0 - 0.3);
                let (one, other) = (chain.drive(at), lut.sample(at, Evaluation::Tetrahedral));
                for c in 0..3 {
                    assert!((one[c] - other[c]).abs() < ROUNDOFF, "{chain:?} at {at:?}");
                }
            }
        }
    }

    #[test]
    fn what_is_more_stays_a_chain() {
        let square = || Operation::Curves(Lut1d::from_fn(5, |v| [v * v; 3]));
        for operations in [
            vec![],
            vec![range([0.0, 0.0], [1.0, 1.0], true)],
            vec![range([0.0, 0.2], [1.0, 0.8], true), lattice()],
            vec![lattice(), range([0.2, 0.2], [0.8, 0.8], true)],
            vec![lattice(), square()],
            vec![
                Operation::Matrix(Matrix::diagonal([-1.0; 3], [1.0; 3])),
                lattice(),
            ],
        ] {
            assert_eq!(list(operations.clone()).to_lut(), None, "{operations:?}");
        }
    }

    #[test]
    fn a_lut_comes_back_from_its_chain() {
        let lut = Lut {
            title: Some("warm".into()),
            curves: Some(
                Lut1d::from_fn(4, |v| [v, v * v, 1.0 - v])
                    .with_domain([-0.3; 3], [1.7; 3])
                    .unwrap(),
            ),
            lattice: Some(Lut3d::identity(3).with_domain([0.1; 3], [0.7; 3]).unwrap()),
        };
        let chain = ProcessList::of_lut(&lut, Evaluation::Trilinear);
        assert_eq!(chain.nodes.len(), 4);
        assert_eq!(chain.to_lut(), Some(lut));
    }
}
