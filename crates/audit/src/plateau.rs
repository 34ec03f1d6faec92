use std::ops::Range;

use crate::light::Light;
use crate::walk::Guide;

/// Drives closer than this are the same: far under a 16-bit code (1.5e-5), far over the rounding of an
/// interpolation between equal nodes (1e-16).
const EQUAL_DRIVE: f64 = 1e-9;

/// Codes of a part that give the same output as their neighbours.
pub(crate) struct Plateaus {
    /// Judged pairs with the same output.
    pub(crate) merged: usize,
    /// First and last code of the longest run of equal output; the first such run.
    pub(crate) longest: Option<(usize, usize)>,
    /// The step that ends the longest run, in ΔE ITP.
    pub(crate) jump_itp: Option<f64>,
    /// Of all steps that end a run, the largest amount by which one exceeds its ideal, in ΔE ITP; at least 0.
    pub(crate) excess_itp: Option<f64>,
    /// The codes of that step.
    pub(crate) excess_ends: Option<(usize, usize)>,
}

fn equal(a: [f64; 3], b: [f64; 3]) -> bool {
    a.iter().zip(b).all(|(a, b)| (a - b).abs() <= EQUAL_DRIVE)
}

/// Number of judged pairs with the same output.
pub(crate) fn merged(guide: &Guide, part: &Range<usize>, drive: &[[f64; 3]]) -> usize {
    guide
        .pairs(part)
        .filter(|&i| equal(drive[i], drive[i + 1]))
        .count()
}

/// First and last code of every run of equal output over judged pairs.
pub(crate) fn runs(guide: &Guide, drive: &[[f64; 3]]) -> Vec<(usize, usize)> {
    let level = |&i: &usize| equal(drive[i], drive[i + 1]);
    let mut all: Vec<(usize, usize)> = Vec::new();
    for i in guide.pairs(&guide.whole()).filter(level) {
        match all.last_mut() {
            Some(run) if run.1 == i => run.1 = i + 1,
            _ => all.push((i, i + 1)),
        }
    }
    all
}

/// Runs of equal output over judged pairs.
///
/// A run ends where output changes or where a pair is set aside; only in the first case is there a jump.
pub(crate) fn plateaus(
    guide: &Guide,
    part: &Range<usize>,
    drive: &[[f64; 3]],
    light: Option<&Light>,
) -> Plateaus {
    let sight = light.zip(guide.target.as_ref());
    let mut found = Plateaus {
        merged: 0,
        longest: None,
        jump_itp: None,
        excess_itp: sight.map(|_| 0.0),
        excess_ends: None,
    };
    let mut start: Option<usize> = None;
    let mut longest = 0;
    for i in part.start..part.end.min(guide.judged.len()) {
        if guide.judged[i] && equal(drive[i], drive[i + 1]) {
            found.merged += 1;
            let first = *start.get_or_insert(i);
            if i + 1 - first > longest {
                longest = i + 1 - first;
                (found.longest, found.jump_itp) = (Some((first, i + 1)), None);
            }
            continue;
        }
        if let (Some(_), true, Some((light, target))) = (start, guide.judged[i], sight) {
            let jump = light.step_itp(i);
            if found.longest.is_some_and(|(_, last)| last == i) {
                found.jump_itp = Some(jump);
            }
            let excess = jump - target.light.step_itp(i);
            if excess > found.excess_itp.unwrap_or(0.0) {
                (found.excess_itp, found.excess_ends) = (Some(excess), Some((i, i + 1)));
            }
        }
        start = None;
    }
    found
}

/// First code whose output differs from that of the first code of the ramp.
pub(crate) fn first_lit(drive: &[[f64; 3]]) -> Option<usize> {
    let first = *drive.first()?;
    drive.iter().position(|&d| !equal(first, d))
}
