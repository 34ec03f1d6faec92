use evenstep_audit::{BitDepth, CodeRange, CodeScale, Ramp};
use evenstep_fit::NodeSolver;
use evenstep_lut::{Correction, Lut3d};

/// Nodes along an axis of the correction a case makes: the usual size.
pub(crate) const NODES: usize = 33;

/// A node whose weight is below this is read at a border between tetrahedra, by rounding alone.
const WEIGHTLESS: f64 = 1e-9;

/// Nodes of a lattice that the audit's named ramps read when it is evaluated tetrahedrally, by index, rising.
///
/// About three in a hundred of 33³: inverting the panel model for those alone makes a case fifty times as cheap and
/// changes no figure.
pub(crate) fn nodes_of_ramps(size: usize) -> Vec<usize> {
    let scale = CodeScale {
        depth: BitDepth::TEN,
        range: CodeRange::Full,
    };
    let mut nodes: Vec<usize> = Ramp::named()
        .iter()
        .flat_map(|ramp| ramp.walk(scale).signals)
        .flat_map(|signal| tetrahedron(signal, size))
        .collect();
    nodes.sort_unstable();
    nodes.dedup();
    nodes
}

/// The nodes whose weighted mean a signal gets: from the low corner of its cell along the axes in falling order of the
/// position within the cell.
fn tetrahedron(signal: [f64; 3], size: usize) -> Vec<usize> {
    let last = size - 1;
    let at = signal.map(|s| s.clamp(0.0, 1.0) * last as f64);
    let low = at.map(|v| (v.floor() as usize).min(last - 1));
    let mut axes: Vec<(f64, usize)> = (0..3)
        .map(|c| (at[c] - low[c] as f64, size.pow(c as u32)))
        .collect();
    axes.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut node = low[0] + size * (low[1] + size * low[2]);
    let mut weights = vec![(1.0 - axes[0].0, node)];
    for i in 0..3 {
        node += axes[i].1;
        let next = axes.get(i + 1).map_or(0.0, |a| a.0);
        weights.push((axes[i].0 - next, node));
    }
    let heavy = |(weight, node): (f64, usize)| (weight > WEIGHTLESS).then_some(node);
    weights.into_iter().filter_map(heavy).collect()
}

/// Signal of a node.
pub(crate) fn signal_of(node: usize, size: usize) -> [f64; 3] {
    [node % size, node / size % size, node / (size * size)].map(|i| i as f64 / (size - 1) as f64)
}

/// A lattice with the nodes given inverted one by one; the base correction stands in the others.
pub(crate) fn sparse_lattice(
    solver: &NodeSolver<'_>,
    base: &dyn Correction,
    nodes: &[usize],
    size: usize,
) -> Lut3d {
    let mut lut = Lut3d::from_fn(size, |signal| base.drive(signal));
    for &node in nodes {
        lut.nodes_mut()[node] = solver.solve(signal_of(node, size)).drive;
    }
    lut
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenstep_lut::{Evaluation, Lut};

    /// Putting nonsense into every other node changes nothing along the ramps, bit by bit but for nodes whose weight is
    /// rounding.
    #[test]
    fn ramps_read_no_other_node() {
        const ROUNDOFF: f64 = 1e-6; // the nonsense of 100 times a weight of 1e-9, with a margin
        let size = 17;
        let nodes = nodes_of_ramps(size);
        assert!(nodes.len() < size.pow(3) / 5, "{}", nodes.len());
        let whole = Lut3d::from_fn(size, |s| s.map(|v| v * v));
        let mut holed = whole.clone();
        for (i, node) in holed.nodes_mut().iter_mut().enumerate() {
            if nodes.binary_search(&i).is_err() {
                *node = [100.0; 3];
            }
        }
        let (whole, holed) = (Lut::from(whole), Lut::from(holed));
        let scale = CodeScale {
            depth: BitDepth::TEN,
            range: CodeRange::Full,
        };
        for ramp in Ramp::named() {
            for signal in ramp.walk(scale).signals {
                let how = Evaluation::Tetrahedral;
                let (a, b) = (whole.sample(signal, how), holed.sample(signal, how));
                for c in 0..3 {
                    assert!((a[c] - b[c]).abs() < ROUNDOFF, "{} {signal:?}", ramp.name());
                }
            }
        }
    }
}
