use std::ops::Range;

use evenstep_colour::{BartenObserver, ContrastConvention, gsdf_index};

use crate::light::Light;
use crate::walk::Guide;

/// The observer and convention of `step_barten_max`, named in the report beside the figure.
pub(crate) const BARTEN_NAME: &str = "Barten as in ITU-R BT.2246, field 60°, step 2/(1.27·S)";
const OBSERVER: BartenObserver = BartenObserver::BT2246_60_DEG;
const CONVENTION: ContrastConvention = ContrastConvention::SquareWave;

/// Largest judged step in ΔE ITP (Rec. ITU-R BT.2124-0) with its first code.
pub(crate) fn largest_itp(guide: &Guide, part: &Range<usize>, light: &Light) -> Option<(f64, usize)> {
    guide
        .pairs(part)
        .map(|i| (light.step_itp(i), i))
        .fold(None, |best, step| match best {
            Some((most, _)) if most >= step.0 => best,
            _ => Some(step),
        })
}

/// Largest judged luminance step in thresholds of the Barten model, rising or falling.
pub(crate) fn largest_barten(guide: &Guide, part: &Range<usize>, light: &Light) -> Option<f64> {
    guide
        .pairs(part)
        .map(|i| (light.luminance(i), light.luminance(i + 1)))
        .filter(|(from, to)| from + to > 0.0)
        .map(|(from, to)| OBSERVER.steps_between(from, to, CONVENTION).abs())
        .reduce(f64::max)
}

/// Largest judged luminance step in indices of DICOM's GSDF, of pairs that lie wholly on that scale.
pub(crate) fn largest_gsdf(guide: &Guide, part: &Range<usize>, light: &Light) -> Option<f64> {
    // Each luminance is inverted once: neighbours share theirs.
    let mut before: Option<(usize, Option<f64>)> = None;
    let mut most: Option<f64> = None;
    for i in guide.pairs(part) {
        let from = match before {
            Some((at, index)) if at == i => index,
            _ => gsdf_index(light.luminance(i)),
        };
        let to = gsdf_index(light.luminance(i + 1));
        before = Some((i + 1, to));
        if let (Some(from), Some(to)) = (from, to) {
            let step = (to - from).abs();
            most = Some(most.map_or(step, |most| most.max(step)));
        }
    }
    most
}
