use crate::LutError;

/// One axis of a table: evenly spaced nodes from `min` to `max`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Axis {
    pub(crate) min: f64,
    pub(crate) max: f64,
    /// Cells per unit of signal.
    density: f64,
    cells: usize,
}

/// A signal this close to a node, in cells, is at the node. `i/(n − 1)·(n − 1)` misses `i` by up to 256·2⁻⁵², and
/// a node asked for by its own position must answer with its own value. The snap cannot undo the order of two
/// signals: it moves both to the node between them.
const AT_A_NODE: f64 = 1e-13;

impl Axis {
    /// `size` nodes over 0 to 1.
    pub(crate) fn unit(size: usize) -> Self {
        let cells = size - 1;
        Self {
            min: 0.0,
            max: 1.0,
            density: cells as f64,
            cells,
        }
    }

    /// The same nodes over `min` to `max`; `channel` only names the axis in the error.
    pub(crate) fn over(self, channel: usize, min: f64, max: f64) -> Result<Self, LutError> {
        let density = self.cells as f64 / (max - min);
        // Covers NaN, reversed and equal ends; a span too wide or too narrow for an f64 has no normal density.
        if min < max && density.is_normal() && density > 0.0 {
            Ok(Self {
                min,
                max,
                density,
                ..self
            })
        } else {
            Err(LutError::Domain { channel, min, max })
        }
    }

    /// Where node `index` lies.
    pub(crate) fn position(&self, index: usize) -> f64 {
        if index == self.cells {
            return self.max;
        }
        self.min + index as f64 / self.cells as f64 * (self.max - self.min)
    }

    /// The cell `at` falls in and the position inside it, 0 to 1. Clamped to the axis; NaN is the low end.
    #[inline]
    pub(crate) fn locate(&self, at: f64) -> (usize, f64) {
        // `f64::max` answers with the other operand for NaN.
        let position = (at.max(self.min).min(self.max) - self.min) * self.density;
        // Signed and narrow, because that is one instruction each way; a table has at most 65 536 nodes.
        let cell = (position as i32).min(self.cells as i32 - 1);
        let fraction = position - f64::from(cell);
        let cell = cell as usize;
        if fraction < AT_A_NODE {
            (cell, 0.0)
        } else if fraction > 1.0 - AT_A_NODE {
            (cell, 1.0)
        } else {
            (cell, fraction)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_node_is_found_at_its_own_position() {
        for size in 2..=256 {
            for (min, max) in [(0.0, 1.0), (-0.5, 4.0), (0.1, 0.3), (-7.0, -1e-3)] {
                let axis = Axis::unit(size).over(0, min, max).unwrap();
                for index in 0..size {
                    let (cell, fraction) = axis.locate(axis.position(index));
                    assert!(
                        (cell, fraction) == (index, 0.0) || (cell + 1, fraction) == (index, 1.0),
                        "size {size}, {min}..{max}, node {index}: cell {cell} + {fraction:e}"
                    );
                }
            }
        }
    }

    #[test]
    fn useless_domains_are_refused() {
        let axis = Axis::unit(5);
        for (min, max) in [
            (1.0, 1.0),
            (1.0, 0.0),
            (f64::NAN, 1.0),
            (0.0, f64::NAN),
            (f64::NEG_INFINITY, 1.0),
            (0.0, f64::INFINITY),
            (f64::MIN, f64::MAX),
            (0.0, f64::from_bits(1)),
        ] {
            assert!(axis.over(0, min, max).is_err(), "{min}..{max}");
        }
    }

    #[test]
    fn outside_is_the_nearest_end() {
        let axis = Axis::unit(9);
        assert_eq!(axis.locate(f64::NAN), (0, 0.0));
        assert_eq!(axis.locate(f64::NEG_INFINITY), (0, 0.0));
        assert_eq!(axis.locate(1.5), (7, 1.0));
        assert_eq!(axis.locate(f64::INFINITY), (7, 1.0));
    }
}
