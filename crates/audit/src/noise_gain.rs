use evenstep_colour::{delta_e_itp, itp_from_xyz, percentile};
use evenstep_lut::{BitDepth, CodeScale, Correction};
use rayon::prelude::*;
use serde::Serialize;

use crate::context::PanelContext;
use crate::neighbours::offsets;
use crate::walk::{drive_at, shown_by};
use crate::why::Known;

/// Noise of a picture: one code at this depth. 8 bits is what compressed pictures mostly have (method, section 6).
pub(crate) const NOISE_BITS: BitDepth = BitDepth::EIGHT;
/// Noise that the target itself makes smaller than this, in ΔE ITP, gives no ratio (method, section 6).
const LEAST_NOISE_ITP: f64 = 0.1;
/// Signals between which a grey is a mid-tone.
///
/// Our choice, because faces and skies lie there; what is lighter hides noise, what is darker is near black or nearly so.
const MID_TONES: [f64; 2] = [0.25, 0.75];

/// How much larger the correction makes the noise of a picture than the target does: along the neutral ramp, at every
/// grey of 8 bits, the largest ratio of ΔE ITP between noise of plus and of minus one such code, over the directions to
/// the corners, edges and faces of a cube. The ideal is 1.
///
/// Unrounded. Greys out of the panel's reach count nowhere; directions in which the noise would leave the signal range
/// are not looked at.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct NoiseGain {
    /// 95th percentile over greys near black; `null` where none can be judged.
    pub near_black_p95: Option<f64>,
    /// Largest of them.
    pub near_black_max: Option<f64>,
    /// 95th percentile over mid-tones, signal 0.25 to 0.75.
    pub mid_p95: Option<f64>,
    /// Largest of them.
    pub mid_max: Option<f64>,
    /// Reachable greys without a ratio: in every direction the target's own noise is below 0.1 ΔE ITP or
    /// leaves the range.
    pub left_out: usize,
}

/// What was found at one grey of 8 bits.
#[derive(Clone, Copy, Debug)]
pub struct NoiseGrey {
    /// Signal of the grey.
    pub signal: f64,
    /// Largest ratio over the directions; `None` where the target's own noise is below 0.1 ΔE ITP in all of them or
    /// leaves the range.
    pub gain: Option<f64>,
}

/// The 26 directions to the corners, edges and faces of a cube, of length 1.
pub(crate) fn directions() -> Vec<[f64; 3]> {
    offsets()
        .into_iter()
        .map(|v| {
            let length = v.iter().map(|x| x * x).sum::<f64>().sqrt();
            v.map(|x| x / length)
        })
        .collect()
}

/// Noise gain of a correction on a known panel.
pub(crate) fn noise_gain(
    correction: &dyn Correction,
    context: &PanelContext<'_>,
    source: CodeScale,
    near_black_end: f64,
) -> Known<NoiseGain> {
    let greys = noise_greys(correction, context, source, near_black_end);
    let over = |of: &dyn Fn(f64) -> bool| {
        let mut gains: Vec<f64> = greys
            .iter()
            .filter(|g| of(g.signal))
            .filter_map(|g| g.gain)
            .collect();
        (percentile(&mut gains, 95.0), percentile(&mut gains, 100.0))
    };
    let near_black = over(&|s| s <= near_black_end);
    let mid = over(&|s| s >= MID_TONES[0]);
    if near_black.0.is_none() && mid.0.is_none() {
        return Err("no neutral code can be judged");
    }
    Ok(NoiseGain {
        near_black_p95: near_black.0,
        near_black_max: near_black.1,
        mid_p95: mid.0,
        mid_max: mid.1,
        left_out: greys.iter().filter(|g| g.gain.is_none()).count(),
    })
}

/// Every grey that is looked at, by rising signal.
pub(crate) fn noise_greys(
    correction: &dyn Correction,
    context: &PanelContext<'_>,
    source: CodeScale,
    near_black_end: f64,
) -> Vec<NoiseGrey> {
    let scale = CodeScale {
        depth: NOISE_BITS,
        range: source.range,
    };
    // One code of the scale, as signal: in narrow range fewer codes span it.
    let code = scale.signal_from_code(1.0) - scale.signal_from_code(0.0);
    let signals: Vec<f64> = (scale.black()..=scale.white())
        .map(|c| scale.signal_from_code(f64::from(c)))
        .collect();
    let directions = directions();
    signals
        .into_par_iter()
        .filter_map(|signal| {
            let near_black = signal <= near_black_end;
            let mid = (MID_TONES[0]..=MID_TONES[1]).contains(&signal);
            ((near_black || mid) && (context.reachable)([signal; 3])).then(|| NoiseGrey {
                signal,
                gain: gain(correction, context, source, [signal; 3], code, &directions),
            })
        })
        .collect()
}

/// The signal with noise of minus and of plus one code along every direction in which both stay in range.
pub(crate) fn noisy_pairs(
    signal: [f64; 3],
    code: f64,
    directions: &[[f64; 3]],
) -> impl Iterator<Item = [[f64; 3]; 2]> {
    directions
        .iter()
        // A direction and its opposite are one pair of signals.
        .take(directions.len() / 2)
        .map(move |v| [-code, code].map(|d| [0, 1, 2].map(|c| signal[c] + d * v[c])))
        .filter(|pair| pair.iter().flatten().all(|x| (0.0..=1.0).contains(x)))
}

/// Largest ratio, over all directions whose noise stays in range and is large enough in the target.
pub(crate) fn gain(
    correction: &dyn Correction,
    context: &PanelContext<'_>,
    source: CodeScale,
    signal: [f64; 3],
    code: f64,
    directions: &[[f64; 3]],
) -> Option<f64> {
    noisy_pairs(signal, code, directions)
        .filter_map(|pair| {
            let wanted = pair.map(|s| itp_from_xyz(context.target.xyz(s)));
            let wanted = delta_e_itp(wanted[0], wanted[1]);
            (wanted >= LEAST_NOISE_ITP).then(|| {
                let shown = pair
                    .map(|s| drive_at(correction, s, source))
                    .map(|drive| itp_from_xyz(shown_by(context.panel, drive)));
                delta_e_itp(shown[0], shown[1]) / wanted
            })
        })
        .max_by(f64::total_cmp)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_26_directions_are_unit_vectors_in_opposite_pairs() {
        const ROUNDOFF: f64 = 1e-15;
        let all = directions();
        assert_eq!(all.len(), 26);
        for (a, b) in all.iter().zip(all.iter().rev()) {
            let length: f64 = a.iter().map(|x| x * x).sum();
            assert!((length - 1.0).abs() < ROUNDOFF);
            assert_eq!(a.map(|x| 0.0 - x), *b);
        }
    }
}
