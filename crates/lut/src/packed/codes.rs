use super::cell::PackedLattice;
use super::{Code, PackedLut, TILE, rows};

/// A [`PackedLut`] for whole numbers of one depth; curves are drawn out to a table of all codes, the lattice is borrowed.
#[derive(Clone, Debug)]
pub struct CodeLut<'a, I> {
    pub(super) curves: Option<Vec<[f32; 3]>>,
    pub(super) lattice: Option<&'a PackedLattice>,
    depth: std::marker::PhantomData<I>,
}

/// What is added to a code before it is rounded, for each pixel of a tile in red, green and blue; the fourth is idle.
/// Between −½ and ½, both excluded; without dither all are 0. A drive within 2⁻²² of a code is left alone: single
/// precision does not tell them apart.
pub type Offsets = [[f32; 4]; TILE];

impl<'a, I: Code> CodeLut<'a, I> {
    pub(super) fn new(lut: &'a PackedLut) -> Self {
        let largest = f64::from(I::LARGEST);
        Self {
            curves: lut.curves.as_ref().map(|curves| {
                (0..=I::LARGEST)
                    .map(|code| {
                        curves
                            .sample([f64::from(code) / largest; 3])
                            .map(|v| v as f32)
                    })
                    .collect()
            }),
            lattice: lut.lattice.as_ref(),
            depth: std::marker::PhantomData,
        }
    }

    /// Codes of the drives for a row of pixels of three samples, or of four, of which the last is no signal and keeps
    /// its share of the largest code. Drives outside 0 to 1 become the nearest end; halves go to the even code.
    ///
    /// As many pixels are done as both rows have.
    pub fn row<O: Code, const N: usize>(
        &self,
        row: &[[I; N]],
        offsets: &Offsets,
        out: &mut [[O; N]],
    ) {
        const { assert!(N == 3 || N == 4, "pixels have three or four samples") };
        rows::codes(self, row, offsets, out);
    }
}
