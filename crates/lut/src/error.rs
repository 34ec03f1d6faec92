/// Why a table is not a LUT.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum LutError {
    /// Too few or too many nodes along an axis.
    #[error("{found} nodes along an axis; a LUT of this kind has {least} to {most}")]
    Size {
        /// The number asked for.
        found: usize,
        /// Least number allowed.
        least: usize,
        /// Largest number allowed.
        most: usize,
    },
    /// The number of nodes does not belong to the size.
    #[error("{found} nodes given, but size {size} needs {need}; check the size against the table")]
    Count {
        /// Nodes given.
        found: usize,
        /// Nodes along one axis.
        size: usize,
        /// Nodes needed.
        need: usize,
    },
    /// A node value is NaN or infinite.
    #[error(
        "node {node}, channel {channel}: {value} is not a finite number; recompute or repair that node"
    )]
    NotFinite {
        /// Index of the node, red fastest.
        node: usize,
        /// 0 for red, 1 for green, 2 for blue.
        channel: usize,
        /// The value found.
        value: f64,
    },
    /// The domain of a channel has no usable length.
    #[error(
        "channel {channel}: the domain {min} to {max} is reversed, empty or too wide; min must lie below max"
    )]
    Domain {
        /// 0 for red, 1 for green, 2 for blue.
        channel: usize,
        /// Low end given.
        min: f64,
        /// High end given.
        max: f64,
    },
}

/// Refuses the first node that is not finite.
pub(crate) fn all_finite(nodes: &[[f64; 3]]) -> Result<(), LutError> {
    for (node, row) in nodes.iter().enumerate() {
        for (channel, &value) in row.iter().enumerate() {
            if !value.is_finite() {
                return Err(LutError::NotFinite {
                    node,
                    channel,
                    value,
                });
            }
        }
    }
    Ok(())
}
