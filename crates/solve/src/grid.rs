/// A lattice of `size`³ nodes; node (r, g, b) stands at index `r + size·(g + size·b)`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Grid {
    size: usize,
}

impl Grid {
    /// A lattice of `size` nodes along each axis.
    ///
    /// # Panics
    /// When `size` is below 2.
    #[must_use]
    pub fn new(size: usize) -> Self {
        assert!(size >= 2, "a lattice has at least 2 nodes along an axis");
        Self { size }
    }

    /// Nodes along one axis.
    #[must_use]
    pub fn size(self) -> usize {
        self.size
    }

    /// All nodes.
    #[must_use]
    pub fn count(self) -> usize {
        self.size.pow(3)
    }

    /// Distance in index between neighbours along each axis.
    #[must_use]
    pub fn strides(self) -> [usize; 3] {
        [1, self.size, self.size * self.size]
    }

    /// Index of a node.
    #[must_use]
    pub fn index(self, at: [usize; 3]) -> usize {
        at[0] + self.size * (at[1] + self.size * at[2])
    }

    /// Node of an index.
    #[must_use]
    pub fn at(self, index: usize) -> [usize; 3] {
        [
            index % self.size,
            index / self.size % self.size,
            index / (self.size * self.size),
        ]
    }
}
