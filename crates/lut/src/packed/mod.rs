//! A LUT made ready for many pixels: single precision, nodes of four lanes, one dispatch for a row.

mod cell;
mod code;
mod codes;
mod rows;

pub use code::Code;
pub use codes::{CodeLut, Offsets};
pub use rows::TILE;

use crate::{Evaluation, Lut, Lut1d};
use cell::PackedLattice;

/// A LUT for pictures and frames, in single precision.
///
/// It answers like [`Lut::sample`] but for the rounding of single precision (for a smooth correction less than a tenth
/// of a 16-bit code) at a small part of the time: positions are found for [`TILE`] pixels at once, and the instruction set is chosen at run time. Sums are
/// never fused or reordered, so that every processor gives the same bits.
///
/// Takes 16 bytes a node, and for codes with curves 12 bytes for each code that there is.
#[derive(Clone, Debug)]
pub struct PackedLut {
    curves: Option<Lut1d>,
    lattice: Option<PackedLattice>,
}

impl PackedLut {
    /// Packs a LUT that will be evaluated in one way. Nodes past ±10³⁰ are held there.
    #[must_use]
    pub fn new(lut: &Lut, how: Evaluation) -> Self {
        Self {
            curves: lut.curves.clone(),
            lattice: lut.lattice.as_ref().map(|l| PackedLattice::new(l, how)),
        }
    }

    /// Drives for signals, each red, green and blue; as many pixels are done as both slices have. Signals outside the
    /// LUT's domain, usually 0 to 1, take the value at its nearest end, and what is no number that at its low end.
    pub fn apply(&self, signals: &[[f32; 3]], drives: &mut [[f32; 3]]) {
        rows::floats(self, signals, drives);
    }

    /// The same for whole numbers.
    #[must_use]
    pub fn codes<I: Code>(&self) -> CodeLut<'_, I> {
        CodeLut::new(self)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::Lut3d;

    /// Of nodes from 0 to 1, at most 4 cells along an axis: a position is rounded three times at 2⁻²² and moves the
    /// result by at most itself in each of three channels, 2·10⁻⁶; the four or eight products add less. Doubled.
    const SINGLE: f64 = 4e-6;

    prop_compose! {
        fn luts()(size in 2_usize..6)(
            nodes in proptest::collection::vec(prop::array::uniform3(0.0..1.0), size.pow(3)),
            low in prop::array::uniform3(-1.0..0.2),
            length in prop::array::uniform3(0.7..2.0),
            size in Just(size),
            with_curves in any::<bool>(),
        ) -> Lut {
            let high = [0, 1, 2].map(|c| low[c] + length[c]);
            let lattice = Lut3d::new(size, nodes).unwrap().with_domain(low, high).unwrap();
            let curves = with_curves.then(|| Lut1d::from_fn(5, |v| [v * v, 1.0 - v, 0.5 * v]));
            Lut { title: None, curves, lattice: Some(lattice) }
        }
    }

    fn worst(a: [f64; 3], b: [f32; 3]) -> f64 {
        (0..3)
            .map(|c| (a[c] - f64::from(b[c])).abs())
            .fold(0.0, f64::max)
    }

    proptest! {
        #[test]
        fn signals_are_answered_as_one_by_one(
            lut in luts(),
            at in proptest::collection::vec(prop::array::uniform3(-1.5_f32..2.5), 1..150),
        ) {
            for how in [Evaluation::Trilinear, Evaluation::Tetrahedral] {
                let mut pixels = vec![[0.0; 3]; at.len()];
                PackedLut::new(&lut, how).apply(&at, &mut pixels);
                for (pixel, at) in pixels.iter().zip(&at) {
                    let one = lut.sample(at.map(f64::from), how);
                    prop_assert!(worst(one, *pixel) < SINGLE, "{how} at {at:?}: {one:?}, {pixel:?}");
                }
            }
        }

        #[test]
        fn codes_are_those_of_the_drive(
            lut in luts(),
            row in proptest::collection::vec(prop::array::uniform4(any::<u16>()), 1..150),
        ) {
            let how = Evaluation::Tetrahedral;
            let mut out = vec![[0_u8; 4]; row.len()];
            PackedLut::new(&lut, how).codes().row(&row, &[[0.0; 4]; TILE], &mut out);
            for (from, to) in row.iter().zip(&out) {
                let drive = lut.sample([0, 1, 2].map(|c| f64::from(from[c]) / 65_535.0), how);
                for c in 0..3 {
                    let miss = (255.0 * drive[c].clamp(0.0, 1.0) - f64::from(to[c])).abs();
                    prop_assert!(miss <= 0.5 + 255.0 * SINGLE, "{drive:?}, {to:?}");
                }
                prop_assert_eq!(f64::from(to[3]), (f64::from(from[3]) / 257.0).round());
            }
        }
    }

    #[test]
    fn the_identity_keeps_every_code() {
        let all: Vec<[u16; 3]> = (0..=u16::MAX)
            .map(|v| [v, u16::MAX - v, v ^ 0x55])
            .collect();
        for lut in [
            Lut::from(Lut3d::identity(33)),
            Lut::from(Lut3d::identity(65)),
            Lut::default(),
        ] {
            for how in [Evaluation::Trilinear, Evaluation::Tetrahedral] {
                let mut out = vec![[0; 3]; all.len()];
                let packed = PackedLut::new(&lut, how);
                packed.codes().row(&all, &[[0.0; 4]; TILE], &mut out);
                assert!(all == out, "{how}");
            }
        }
    }

    /// With the largest offsets that there are, just under a half, and with small ones.
    #[test]
    fn the_identity_keeps_every_code_under_dither() {
        let offset = |rank: f32| (rank + 0.5) / 4096.0 - 0.5;
        let ranks = [0.0, 1.0, 20.0, 2047.0, 2048.0, 4075.0, 4094.0, 4095.0];
        let offsets = std::array::from_fn(|i| [offset(ranks[i % ranks.len()]); 4]);
        // As many pixels of a code as there are ranks, and these divide a tile: a code meets each of them once.
        let wide = (0..=u16::MAX).flat_map(|v| [[v; 3]; 8]).collect::<Vec<_>>();
        let narrow = (0..=u8::MAX).flat_map(|v| [[v; 3]; 8]).collect::<Vec<_>>();
        for lut in [
            Lut::from(Lut3d::identity(33)),
            Lut::from(Lut3d::identity(65)),
            Lut::default(),
        ] {
            for how in [Evaluation::Trilinear, Evaluation::Tetrahedral] {
                let packed = PackedLut::new(&lut, how);
                let mut out = vec![[0_u16; 3]; wide.len()];
                packed.codes().row(&wide, &offsets, &mut out);
                let moved = wide.iter().zip(&out).filter(|(a, b)| a != b).count();
                assert_eq!(moved, 0, "16 bits, {how}");
                let mut out = vec![[0_u8; 3]; narrow.len()];
                packed.codes().row(&narrow, &offsets, &mut out);
                assert!(narrow == out, "8 bits, {how}");
            }
        }
    }

    #[test]
    fn weights_are_rounded_as_elsewhere() {
        // Four cells of eight parts: signals away from the middle between two parts.
        let lut = Lut::from(Lut3d::from_fn(5, |[r, g, b]| [r * r, g.sqrt(), r * b]));
        let how = Evaluation::Weights { bits: 3 };
        let packed = PackedLut::new(&lut, how);
        for i in 0..32 {
            for shift in [-0.4_f32, 0.1, 0.4] {
                let at = [i as f32 + shift, 31.0 - i as f32, 7.0].map(|v| v / 32.0);
                let mut pixel = [[0.0; 3]];
                packed.apply(&[at], &mut pixel);
                assert!(worst(lut.sample(at.map(f64::from), how), pixel[0]) < SINGLE);
            }
        }
    }

    #[test]
    fn what_is_no_number_is_the_low_end_and_huge_nodes_stay_finite() {
        let lut = Lut::from(Lut3d::from_fn(3, |[r, g, b]| {
            [r * 1e300, g - 1e300, b + 0.25]
        }));
        for how in [Evaluation::Trilinear, Evaluation::Tetrahedral] {
            let signals = [[f32::NAN; 3], [f32::INFINITY, f32::NEG_INFINITY, 0.3]];
            let mut pixels = [[0.0; 3]; 2];
            PackedLut::new(&lut, how).apply(&signals, &mut pixels);
            assert!(
                pixels.as_flattened().iter().all(|v| v.is_finite()),
                "{pixels:?}"
            );
            assert_eq!(pixels[0][2], 0.25);
        }
    }
}
