use evenstep_lut::{CodeScale, Evaluation};

use crate::{AuditOptions, Ramp};

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
    let last = size - 1;
    let at = position.map(|p| p.clamp(0.0, 1.0) * last as f64);
    let low = at.map(|v| (v.floor() as usize).min(last - 1));
    let mut axes: Vec<(f64, usize)> = (0..3)
        .map(|c| (at[c] - low[c] as f64, size.pow(c as u32)))
        .collect();
    let base = low[0] + size * (low[1] + size * low[2]);
    let weighted: Vec<(f64, usize)> = if evaluation == Evaluation::Tetrahedral {
        // From the low corner along the axes in falling order of the position within the cell.
        axes.sort_by(|a, b| b.0.total_cmp(&a.0));
        let before = [1.0, axes[0].0, axes[1].0, axes[2].0];
        let after = [axes[0].0, axes[1].0, axes[2].0, 0.0];
        let mut node = base;
        (0..4)
            .map(|i| {
                node += if i > 0 { axes[i - 1].1 } else { 0 };
                (before[i] - after[i], node)
            })
            .collect()
    } else {
        // Every corner on whose side of the cell the position is.
        (0..8_usize)
            .map(|corner| {
                let is_high = |i: usize| corner >> i & 1 == 1;
                let weight = (0..3).map(|i| {
                    if is_high(i) {
                        axes[i].0
                    } else {
                        1.0 - axes[i].0
                    }
                });
                let steps: usize = (0..3).map(|i| if is_high(i) { axes[i].1 } else { 0 }).sum();
                (weight.fold(1.0, f64::min), base + steps)
            })
            .collect()
    };
    let heavy = |(weight, node): (f64, usize)| (weight > WEIGHTLESS).then_some(node);
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
