/// A matrix of three rows; the fourth column is added: out = M·in + offset.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Matrix {
    /// Rows for red, green and blue; columns of red, green, blue and the offset.
    pub rows: [[f64; 4]; 3],
}

impl Matrix {
    /// Each channel for itself: out = scale·in + offset.
    #[must_use]
    pub fn diagonal(scale: [f64; 3], offset: [f64; 3]) -> Self {
        let mut rows = [[0.0; 4]; 3];
        for c in 0..3 {
            rows[c][c] = scale[c];
            rows[c][3] = offset[c];
        }
        Self { rows }
    }

    /// Scale and offset of each channel, where no channel looks at another.
    #[must_use]
    pub fn as_diagonal(&self) -> Option<([f64; 3], [f64; 3])> {
        let crossed = (0..3).any(|r| (0..3).any(|c| c != r && self.rows[r][c] != 0.0));
        (!crossed).then(|| ([0, 1, 2].map(|c| self.rows[c][c]), self.rows.map(|r| r[3])))
    }

    pub(super) fn apply(&self, at: [f64; 3]) -> [f64; 3] {
        self.rows
            .map(|[r, g, b, offset]| r * at[0] + g * at[1] + b * at[2] + offset)
    }
}
