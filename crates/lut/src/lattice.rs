//! The two ways to read one cell of a lattice, as weighted sums of its nodes.

/// A cell: the eight nodes are `nodes[base + r·1 + g·row + b·plane]` with r, g, b in {0, 1}.
#[derive(Clone, Copy)]
pub(crate) struct Cell<'a> {
    pub(crate) nodes: &'a [[f64; 3]],
    pub(crate) base: usize,
    /// Steps to the next node in red, green and blue.
    pub(crate) strides: [usize; 3],
}

impl Cell<'_> {
    /// Linear in red, then green, then blue; `at` is the position inside the cell, 0 to 1.
    #[inline]
    pub(crate) fn trilinear(&self, at: [f64; 3]) -> [f64; 3] {
        let [_, row, plane] = self.strides;
        let along_red = |i: usize| mix(self.nodes[i], self.nodes[i + 1], at[0]);
        let low = mix(along_red(self.base), along_red(self.base + row), at[1]);
        let above = self.base + plane;
        let high = mix(along_red(above), along_red(above + row), at[1]);
        mix(low, high, at[2])
    }

    /// Walks from the low corner to the high one along the axes in falling order of `at`, the position inside the
    /// cell: `V₀(1 − f₁) + V₁(f₁ − f₂) + V₂(f₂ − f₃) + V₃ f₃`. Ties give the same value either way.
    ///
    /// # Source
    /// Academy S-2014-006 (Common LUT Format) v3.0, Appendix A, lists the same six cases.
    #[inline]
    pub(crate) fn tetrahedral(&self, at: [f64; 3]) -> [f64; 3] {
        let [s1, s2, s3] = self.strides;
        // A sorting network of three.
        let (f1, s1, f2, s2) = larger_first(at[0], s1, at[1], s2);
        let (f2, s2, f3, s3) = larger_first(f2, s2, at[2], s3);
        let (f1, s1, f2, s2) = larger_first(f1, s1, f2, s2);
        let v0 = self.nodes[self.base];
        let v1 = self.nodes[self.base + s1];
        let v2 = self.nodes[self.base + s1 + s2];
        let v3 = self.nodes[self.base + s1 + s2 + s3];
        // Weights, not differences of nodes: the sum stays finite for every finite table.
        let (w0, w1, w2) = (1.0 - f1, f1 - f2, f2 - f3);
        std::array::from_fn(|c| v0[c] * w0 + v1[c] * w1 + v2[c] * w2 + v3[c] * f3)
    }
}

/// Both pairs, the one with the larger fraction first. The steps change places by masking: written as a choice, the
/// compiler makes it a jump that is taken at random.
#[inline]
fn larger_first(fa: f64, sa: usize, fb: f64, sb: usize) -> (f64, usize, f64, usize) {
    let swap = fa < fb;
    let change = (sa ^ sb) & usize::from(swap).wrapping_neg();
    let (large, small) = if swap { (fb, fa) } else { (fa, fb) };
    (large, sa ^ change, small, sb ^ change)
}

/// `a` at 0, `b` at 1, exactly at both ends.
#[inline]
pub(crate) fn mix(a: [f64; 3], b: [f64; 3], at: f64) -> [f64; 3] {
    std::array::from_fn(|c| a[c] * (1.0 - at) + b[c] * at)
}
