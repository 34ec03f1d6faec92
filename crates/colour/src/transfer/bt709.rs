// Exact: the values that make line and power meet in value and slope. The 1.099 and 0.018 printed for
// 8 and 10 bits are these, rounded.
const ALPHA: f64 = 1.099_296_826_809_44;
const BETA: f64 = 0.018_053_968_510_807;

/// BT.709 OETF with the exact constants: scene light in [0, 1] to signal.
///
/// A camera's function and never a display target; what a display shows is [`Bt1886`](crate::Bt1886).
/// Negative light follows the straight line.
///
/// # Source
/// Rec. ITU-R BT.709-6 (06/2015) item 1.2; constants from BT.2020-2 (10/2015) table 4.
#[must_use]
pub fn bt709_oetf(scene_light: f64) -> f64 {
    if scene_light < BETA {
        4.5 * scene_light
    } else {
        ALPHA * scene_light.powf(0.45) - (ALPHA - 1.0)
    }
}
