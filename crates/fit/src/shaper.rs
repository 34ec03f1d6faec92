use evenstep_colour::{delta_e_itp, itp_from_xyz};
use evenstep_display::PanelModel;
use evenstep_lut::{CodeRange, Lut1d, Lut3d};

use crate::BaseCorrection;
use crate::range::{position_from_signal, signal_from_position, through_range};

/// Entries of the curve: every 10-bit code.
const ENTRIES: usize = 1024;
/// Density that every place has, over the mean of what bending asks for: two thirds of the nodes are spread evenly, so
/// that no part of the range is left with few. Our choice, after trying 1 and 2 (`docs/methods/shaper.md`).
const SPREAD: f64 = 2.0;

/// A curve before the lattice that puts its nodes where the correction bends, for panels that take 1D + 3D.
///
/// The error of linear interpolation between nodes a distance h apart grows with h² and with the bend of the curve, so
/// that nodes of density √bend err alike everywhere. The bend is that of the base correction along the neutral axis, in
/// ΔE ITP of what the panel shows. One curve serves the three channels: with three, neutrals would leave the diagonal of
/// the lattice, on which they are held even.
///
/// # Source
/// De Boor, "Good approximation by splines with variable knots", in Spline Functions and Approximation Theory (1973), for
/// the density (from memory).
#[derive(Clone, Debug, PartialEq)]
pub struct Shaper {
    curve: Vec<f64>,
}

impl Shaper {
    /// The curve for lattices of `nodes` along an axis.
    #[must_use]
    pub fn new(base: &BaseCorrection, nodes: usize, range: CodeRange) -> Self {
        let drive = |position: f64| {
            let correct = |signal| evenstep_lut::Correction::drive(base, signal);
            let stored = through_range(range, [position.clamp(0.0, 1.0); 3], correct);
            stored.map(|v| signal_from_position(range, v).clamp(0.0, 1.0))
        };
        let half = 0.5 / (nodes.max(2) - 1) as f64;
        let bend = |position: f64| {
            // A cell that just fits at the ends of the range.
            let middle = position.clamp(half, 1.0 - half);
            let (low, high) = (drive(middle - half), drive(middle + half));
            let between = std::array::from_fn(|c| 0.5 * (low[c] + high[c]));
            let shown = |drive| itp_from_xyz(base.model().xyz(drive));
            delta_e_itp(shown(between), shown(drive(middle))).sqrt()
        };
        let at = |i: usize| i as f64 / (ENTRIES - 1) as f64;
        let bends: Vec<f64> = (0..ENTRIES).map(|i| bend(at(i))).collect();
        let mean = bends.iter().sum::<f64>() / ENTRIES as f64;
        // A correction without any bend wants its nodes spread evenly.
        let spread = if mean > 0.0 { SPREAD * mean } else { 1.0 };
        let mut curve = Vec::with_capacity(ENTRIES);
        let mut sum = 0.0;
        for (i, bend) in bends.iter().enumerate() {
            if i > 0 {
                sum += 0.5 * (bends[i - 1] + bend) + spread;
            }
            curve.push(sum);
        }
        Self {
            curve: curve.into_iter().map(|v| v / sum).collect(),
        }
    }

    /// Position in the lattice of a position in front of the curve, both from 0 to 1.
    #[must_use]
    pub fn shaped(&self, position: f64) -> f64 {
        let place = position.clamp(0.0, 1.0) * (ENTRIES - 1) as f64;
        let below = (place.floor() as usize).min(ENTRIES - 2);
        let (low, high) = (self.curve[below], self.curve[below + 1]);
        low + (place - below as f64) * (high - low)
    }

    /// Position in front of the curve of a position in the lattice: the inverse of [`shaped`](Self::shaped).
    #[must_use]
    pub fn unshaped(&self, position: f64) -> f64 {
        let above = self.curve.partition_point(|v| *v <= position);
        let above = above.clamp(1, ENTRIES - 1);
        let (low, high) = (self.curve[above - 1], self.curve[above]);
        let place = (above - 1) as f64 + (position.clamp(low, high) - low) / (high - low);
        place / (ENTRIES - 1) as f64
    }

    /// The curve as a file holds it, alike for the three channels.
    #[must_use]
    pub fn curve(&self) -> Lut1d {
        Lut1d::from_fn(ENTRIES, |position| [self.shaped(position); 3])
    }
}

/// A lattice that stands behind a shaper, and the one that would stand alone.
#[derive(Clone, Debug)]
pub struct Shaped {
    /// The curve in front of the lattice.
    pub shaper: Shaper,
    /// The lattice for the same model and target without it: what the shaper's gain is measured against.
    pub plain: Lut3d,
}

/// Where the nodes of a lattice lie.
#[derive(Clone, Debug)]
pub(crate) struct Placement {
    range: CodeRange,
    shaper: Option<Shaper>,
}

impl Placement {
    pub(crate) fn new(range: CodeRange, shaper: Option<Shaper>) -> Self {
        Self { range, shaper }
    }

    /// The range of the codes on both sides.
    pub(crate) fn range(&self) -> CodeRange {
        self.range
    }

    /// Position of a code in front of everything, for a position in the lattice.
    pub(crate) fn unshaped(&self, position: f64) -> f64 {
        self.shaper
            .as_ref()
            .map_or(position, |shaper| shaper.unshaped(position))
    }

    /// Signal at a position in the lattice.
    pub(crate) fn signal(&self, position: f64) -> f64 {
        signal_from_position(self.range, self.unshaped(position))
    }

    /// Position in the lattice of a signal.
    pub(crate) fn position(&self, signal: f64) -> f64 {
        let position = position_from_signal(self.range, signal);
        self.shaper
            .as_ref()
            .map_or(position, |shaper| shaper.shaped(position))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenstep_colour::{Chromaticity, Primaries};
    use evenstep_display::{BaseModel, SimulatedPanel, Target, Transfer};
    use evenstep_readings::{NoiseModel, Patch, Readings};
    use proptest::prelude::*;
    use std::sync::LazyLock;

    static BASE: LazyLock<BaseCorrection> = LazyLock::new(|| {
        let panel = SimulatedPanel::wrgb();
        let mut drives: Vec<[f64; 3]> = (0..=20).map(|i| [f64::from(i) / 20.0; 3]).collect();
        for c in 0..3 {
            drives.push(std::array::from_fn(|k| f64::from(u8::from(k == c))));
        }
        let patches = drives.into_iter().enumerate().map(|(order, drive)| Patch {
            id: order.to_string(),
            drive,
            repeats: vec![panel.xyz(drive)],
            order,
            later: Vec::new(),
            doubt: 1.0,
        });
        let readings = Readings {
            patches: patches.collect(),
        };
        let model = BaseModel::fit(&readings, &NoiseModel::assumed()).unwrap();
        let (white, black) = (Chromaticity::D65, model.black());
        let target = Target::new(Primaries::BT709, Transfer::Bt1886, white, 150.0, black);
        BaseCorrection::new(model, target)
    });

    proptest! {
        /// The curve rises from 0 to 1 and its inverse leads back; nowhere are nodes more than half as far apart again as
        /// without it.
        #[test]
        fn it_rises_and_is_undone(a in 0.0..1.0_f64, b in 0.0..1.0_f64, nodes in 9_usize..66, narrow: bool) {
            let range = if narrow { CodeRange::Narrow } else { CodeRange::Full };
            let shaper = Shaper::new(&BASE, nodes, range);
            prop_assert_eq!((shaper.shaped(0.0), shaper.shaped(1.0)), (0.0, 1.0));
            let (low, high) = (a.min(b), a.max(b));
            let rise = shaper.shaped(high) - shaper.shaped(low);
            // Two thirds of the density are even, but for the ends of the sum.
            let ends = 1.0 - 1.0 / ENTRIES as f64;
            prop_assert!(rise >= ends * (high - low) / (1.0 + 1.0 / SPREAD) - 1e-9);
            prop_assert!((shaper.unshaped(shaper.shaped(a)) - a).abs() < 1e-9);
        }
    }

    /// This panel needs most nodes just above black.
    #[test]
    fn nodes_gather_near_black() {
        let shaper = Shaper::new(&BASE, 33, CodeRange::Full);
        assert!(shaper.shaped(0.1) > 0.15, "{}", shaper.shaped(0.1));
    }
}
