use evenstep_lut::{CodeScale, Evaluation, Ramp, node_weights};

use crate::AuditOptions;

/// A node whose weight is below this is read at a border between tetrahedra, by rounding alone.
const WEIGHTLESS: f64 = 1e-9;

/// Nodes of a lattice over 0 to 1 that an audit reads along its ramps, by index (red fastest), rising; `size` from 2 up.
///
/// About three in a hundred of 33³: who wants the figures of ramps alone can leave the other nodes as they are.
#[must_use]
pub fn nodes_on_ramps(size: usize, options: &AuditOptions) -> Vec<usize> {
    let scale = CodeScale {
        depth: options.source_bits,
        range: options.range,
    };
    let mut ramps = Ramp::named();
    ramps.extend(options.extra_ramps.iter().cloned());
    let mut nodes: Vec<usize> = ramps
        .iter()
        .flat_map(|ramp| ramp.walk(scale).signals)
        .map(|signal| signal.map(|s| scale.position_from_signal(s)))
        .flat_map(|position| nodes_read(position, size, options.evaluation))
        .collect();
    nodes.sort_unstable();
    nodes.dedup();
    nodes
}

/// The nodes whose weighted mean a position gets.
fn nodes_read(position: [f64; 3], size: usize, evaluation: Evaluation) -> Vec<usize> {
    let heavy = |(node, weight): (usize, f64)| (weight > WEIGHTLESS).then_some(node);
    let weighted = node_weights(size, position, evaluation);
    weighted.into_iter().filter_map(heavy).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenstep_lut::{Lut, Lut3d};

    /// Putting nonsense into every other node changes nothing along the ramps but for nodes whose weight is rounding.
    #[test]
    fn ramps_read_no_other_node() {
        const ROUNDOFF: f64 = 1e-6; // the nonsense of 100 times the least weight that counts, with a margin
        let size = 17;
        for evaluation in [Evaluation::Tetrahedral, Evaluation::Trilinear] {
            let options = AuditOptions {
                evaluation,
                ..AuditOptions::default()
            };
            let nodes = nodes_on_ramps(size, &options);
            assert!(nodes.len() < size.pow(3) / 3, "{}", nodes.len());
            let whole = Lut3d::from_fn(size, |s| s.map(|v| v * v));
            let mut holed = whole.clone();
            for (i, node) in holed.nodes_mut().iter_mut().enumerate() {
                if nodes.binary_search(&i).is_err() {
                    *node = [100.0; 3];
                }
            }
            let (whole, holed) = (Lut::from(whole), Lut::from(holed));
            let scale = CodeScale {
                depth: options.source_bits,
                range: options.range,
            };
            for ramp in Ramp::named() {
                for signal in ramp.walk(scale).signals {
                    let (a, b) = (
                        whole.sample(signal, evaluation),
                        holed.sample(signal, evaluation),
                    );
                    for c in 0..3 {
                        assert!((a[c] - b[c]).abs() < ROUNDOFF, "{} {signal:?}", ramp.name());
                    }
                }
            }
        }
    }
}
