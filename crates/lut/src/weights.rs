use crate::Evaluation;

/// Nodes that a position of a lattice over 0 to 1 is read from, by index (red fastest), with their weights; the weights
/// are at least 0 and sum to 1. A position outside is held at the border.
///
/// [`Evaluation::Weights`] counts as tetrahedral: its rounding is not linear in the position.
///
/// # Panics
/// When `size` is below 2.
#[must_use]
pub fn node_weights(size: usize, position: [f64; 3], how: Evaluation) -> Vec<(usize, f64)> {
    assert!(size >= 2, "a lattice has at least 2 nodes along an axis");
    let last = size - 1;
    let at = position.map(|p| p.clamp(0.0, 1.0) * last as f64);
    let low = at.map(|v| (v.floor() as usize).min(last - 1));
    let base = low[0] + size * (low[1] + size * low[2]);
    let mut axes: [(f64, usize); 3] =
        std::array::from_fn(|c| (at[c] - low[c] as f64, size.pow(c as u32)));
    if how == Evaluation::Trilinear {
        let corner = |corner: usize| {
            let is_high = |i: usize| corner >> i & 1 == 1;
            let weight = |i: usize| {
                if is_high(i) {
                    axes[i].0
                } else {
                    1.0 - axes[i].0
                }
            };
            let step = |i: usize| if is_high(i) { axes[i].1 } else { 0 };
            (
                base + step(0) + step(1) + step(2),
                weight(0) * weight(1) * weight(2),
            )
        };
        return (0..8).map(corner).collect();
    }
    // From the low corner along the axes in falling order of the position within the cell.
    axes.sort_by(|a, b| b.0.total_cmp(&a.0));
    let before = [1.0, axes[0].0, axes[1].0, axes[2].0];
    let after = [axes[0].0, axes[1].0, axes[2].0, 0.0];
    let mut node = base;
    (0..4)
        .map(|i| {
            node += if i > 0 { axes[i - 1].1 } else { 0 };
            (node, before[i] - after[i])
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Lut3d;
    use proptest::prelude::*;

    proptest! {
        /// The weighted sum is what the lattice gives.
        #[test]
        fn weights_give_the_sample(at in prop::array::uniform3(0.0..=1.0_f64), size in 2_usize..6) {
            let lut = Lut3d::from_fn(size, |s| [s[0] * s[1], s[2] * s[2], s[0] - s[1] * s[2]]);
            for how in [Evaluation::Tetrahedral, Evaluation::Trilinear] {
                let weights = node_weights(size, at, how);
                let want = lut.sample(at, how);
                for (c, want) in want.into_iter().enumerate() {
                    let got: f64 = weights.iter().map(|(i, w)| w * lut.nodes()[*i][c]).sum();
                    // Eight products of numbers up to 1.
                    prop_assert!((got - want).abs() < 1e-14);
                }
            }
        }
    }
}
