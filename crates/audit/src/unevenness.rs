use std::ops::Range;

use crate::light::Light;
use crate::walk::Guide;
use evenstep_colour::root_mean_square;

/// A trend that moves by less than this per code has no step to divide by.
const FLAT_TREND: f64 = 1e-9;

/// RMS(step ratio − 1) over judged pairs, a step being its ΔE ITP, negative where luminance falls, and the ideal
/// step the ΔE ITP of the target.
pub(crate) fn against_target(
    guide: &Guide,
    part: &Range<usize>,
    light: &Light,
    target: &Light,
) -> Option<f64> {
    let ratio = |i: usize| step_departure(light, target, i);
    root_mean_square(guide.pairs(part).filter_map(ratio))
}

/// Step ratio − 1 of one pair; `None` where the target has no step.
pub(crate) fn step_departure(light: &Light, target: &Light, i: usize) -> Option<f64> {
    let ideal = target.step_itp(i);
    (ideal > 0.0).then(|| light.signed_step_itp(i) / ideal - 1.0)
}

/// The same without a panel: a step is the drive's move along its own trend, and the ideal step the trend's.
pub(crate) fn against_trend(
    guide: &Guide,
    part: &Range<usize>,
    drive: &[[f64; 3]],
    trend: &[[f64; 3]],
) -> Option<f64> {
    let ratio = |i: usize| {
        let (mut along, mut ideal) = (0.0, 0.0);
        for c in 0..3 {
            let wanted = trend[i + 1][c] - trend[i][c];
            along += (drive[i + 1][c] - drive[i][c]) * wanted;
            ideal += wanted * wanted;
        }
        (ideal > FLAT_TREND * FLAT_TREND).then(|| along / ideal - 1.0)
    };
    root_mean_square(guide.pairs(part).filter_map(ratio))
}
