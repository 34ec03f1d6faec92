use serde::Serialize;

use crate::report::{RampReport, ReferenceRamp};
use crate::thresholds::Thresholds;

/// What a LUT does to gradation, held against a reference.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Effect {
    /// At least one figure is better and none is worse.
    Improves,
    /// No figure differs by more than the thresholds.
    Keeps,
    /// At least one figure is worse, whatever the others do.
    Harms,
}

/// The figure that is worse by the largest ratio.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Worse {
    pub(crate) ramp: String,
    pub(crate) figure: &'static str,
    pub(crate) value: f64,
    pub(crate) reference: f64,
}

/// Compares gradation ramp by ramp.
///
/// On every ramp the reversal depth; on neutral ramps also unevenness, near-black unevenness and the longest
/// plateau. A figure is worse when it exceeds the reference's both by the comparison ratio and by the figure's own
/// slack, better the other way round. Unevenness on other ramps is left out: there it measures colour as well.
pub(crate) fn compare(
    subject: &[RampReport],
    reference: &[ReferenceRamp],
    limits: &Thresholds,
) -> (Effect, Option<Worse>) {
    let mut improved = false;
    let mut worst: Option<(f64, Worse)> = None;
    for (own, other) in subject.iter().zip(reference) {
        let near_black = own.near_black.as_ref().and_then(|n| n.figures.unevenness);
        let depth = (
            "reversal_depth_itp",
            own.figures.reversal_depth_itp.zip(other.reversal_depth_itp),
            limits.comparison_depth_itp,
        );
        let on_neutral = [
            (
                "unevenness",
                own.figures.unevenness.zip(other.unevenness),
                limits.comparison_unevenness,
            ),
            (
                "near_black.unevenness",
                near_black.zip(other.near_black_unevenness),
                limits.comparison_unevenness,
            ),
            (
                "longest_plateau",
                Some((
                    own.figures.longest_plateau as f64,
                    other.longest_plateau as f64,
                )),
                // A plateau one code short of the limit is not worth blaming.
                (limits.plateau_codes.max(2) - 2) as f64,
            ),
        ];
        let figures = on_neutral.into_iter().filter(|_| own.is_neutral());
        for (figure, values, slack) in std::iter::once(depth).chain(figures) {
            let Some((value, against)) = values else {
                continue;
            };
            let exceeds = |a: f64, b: f64| a > limits.comparison_ratio * b && a - b > slack;
            improved |= exceeds(against, value);
            if exceeds(value, against) {
                let excess = (value - against) / slack.max(f64::MIN_POSITIVE);
                if worst.as_ref().is_none_or(|(most, _)| excess > *most) {
                    let ramp = own.name.clone();
                    worst = Some((
                        excess,
                        Worse {
                            ramp,
                            figure,
                            value,
                            reference: against,
                        },
                    ));
                }
            }
        }
    }
    let effect = match (&worst, improved) {
        (Some(_), _) => Effect::Harms,
        (None, true) => Effect::Improves,
        (None, false) => Effect::Keeps,
    };
    (effect, worst.map(|(_, worse)| worse))
}
