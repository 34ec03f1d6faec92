//! Smooth LUTs: the base correction entered by a smooth bend of the signal.

use evenstep_lut::{Correction, Lut3d};
use rand::{RngExt as _, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::{NODES, Stage};

/// Largest bend in signal: another white, another power, a little mixing of channels.
pub(crate) const BEND: f64 = 0.02;

/// A smooth LUT. The bend of each channel is s(1 − s)(a + b·s) with a little of the other channels' signals in it, so that
/// black and white stay; a and b within ±[`BEND`].
pub(crate) fn drawn(stage: &Stage, seed: u64) -> Lut3d {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut any =
        || -> [f64; 3] { std::array::from_fn(|_| BEND * (2.0 * random.random::<f64>() - 1.0)) };
    let (a, b, mixed) = (any(), any(), any());
    let bent = |s: [f64; 3]| -> [f64; 3] {
        std::array::from_fn(|c| {
            let others = 0.5 * (s[(c + 1) % 3] + s[(c + 2) % 3]);
            s[c] + s[c] * (1.0 - s[c]) * (a[c] + b[c] * s[c] + mixed[c] * (others - s[c]))
        })
    };
    Lut3d::from_fn(NODES, |s| {
        let drive = stage
            .fit
            .base
            .as_ref()
            .map_or(s, |base| base.drive(bent(s)));
        drive.map(|v| v.clamp(0.0, 1.0))
    })
}
