use evenstep_lut::{BitDepth, CodeRange, CodeScale, Correction};

/// Scale of positions in a LUT of a range: codes over the largest code, at 10 bits, the commonest link. Other depths
/// differ by less than 0.4 of an 8-bit code (16/255 against 64/1023). Our choice.
fn scale(range: CodeRange) -> CodeScale {
    CodeScale {
        depth: BitDepth::TEN,
        range,
    }
}

/// Signal of a position in the lattice of a LUT; outside [0, 1] for sub-black and super-white.
pub(crate) fn signal_from_position(range: CodeRange, position: f64) -> f64 {
    scale(range).signal_from_position(position)
}

/// Position of a signal or drive; inverse of [`signal_from_position`].
pub(crate) fn position_from_signal(range: CodeRange, signal: f64) -> f64 {
    scale(range).position_from_signal(signal)
}

/// Stored value for a position: the correction inside the legal range; outside it each channel goes on from the end's
/// drive with slope 1, so that sub-black and super-white pass through and the cell that holds black or white
/// interpolates without a kink. Clipped to codes that exist.
pub(crate) fn through_range(
    range: CodeRange,
    position: [f64; 3],
    correct: impl FnOnce([f64; 3]) -> [f64; 3],
) -> [f64; 3] {
    let signal = position.map(|p| scale(range).signal_from_position(p));
    let legal = signal.map(|s| s.clamp(0.0, 1.0));
    let drive = correct(legal);
    std::array::from_fn(|c| {
        scale(range)
            .position_from_signal(drive[c] + signal[c] - legal[c])
            .clamp(0.0, 1.0)
    })
}

/// A correction whose positions are codes of a range, seen as one from signal to drive.
pub struct InSignal<'a> {
    /// The correction between positions.
    pub inner: &'a dyn Correction,
    /// The range its positions are in.
    pub range: CodeRange,
}

impl Correction for InSignal<'_> {
    fn drive(&self, signal: [f64; 3]) -> [f64; 3] {
        let scale = scale(self.range);
        let out = self
            .inner
            .drive(signal.map(|s| scale.position_from_signal(s)));
        out.map(|p| scale.signal_from_position(p).clamp(0.0, 1.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_identity_stays_one_everywhere() {
        for i in 0..=32 {
            let position = [f64::from(i) / 32.0; 3];
            let out = through_range(CodeRange::Narrow, position, |s| s);
            // Roundoff of a scale and its inverse.
            assert!((out[0] - position[0]).abs() < 1e-12, "{position:?} {out:?}");
        }
    }

    #[test]
    fn full_range_is_left_alone() {
        assert_eq!(signal_from_position(CodeRange::Full, 0.3), 0.3);
    }
}
