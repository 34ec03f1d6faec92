use evenstep_lut::Correction;

/// How codes map to signals in a LUT file: positions of the lattice and stored values are codes over the largest
/// code, signals are in [0, 1].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum CodeRange {
    /// Code 0 is black, the largest code white.
    #[default]
    Full,
    /// 16–235 of 255, 64–940 of 1023: black at 16·2^(B−8), white at 235·2^(B−8).
    ///
    /// # Source
    /// Rec. ITU-R BT.2100-2 (07/2018) table 9.
    Narrow,
}

/// Depth the narrow range is expressed at. Positions differ between depths by less than 0.4 of an 8-bit code
/// (16/255 against 64/1023); 10 bits is the commonest link. Our choice.
const NARROW_BITS: u32 = 10;

impl CodeRange {
    /// Signal of a position in the lattice; outside [0, 1] for sub-black and super-white.
    #[must_use]
    pub fn signal(self, position: f64) -> f64 {
        match self {
            Self::Full => position,
            Self::Narrow => {
                let (black, white) = ends();
                (position - black) / (white - black)
            }
        }
    }

    /// Position of a signal or drive; inverse of [`signal`](Self::signal).
    #[must_use]
    pub fn position(self, signal: f64) -> f64 {
        match self {
            Self::Full => signal,
            Self::Narrow => {
                let (black, white) = ends();
                black + signal * (white - black)
            }
        }
    }

    /// Stored value for a position: the correction inside the legal range; outside it each channel goes on from the
    /// end's drive with slope 1, so that sub-black and super-white pass through and the cell that holds black or
    /// white interpolates without a kink. Clipped to codes that exist.
    pub fn through(
        self,
        position: [f64; 3],
        correct: impl FnOnce([f64; 3]) -> [f64; 3],
    ) -> [f64; 3] {
        let signal = position.map(|p| self.signal(p));
        let legal = signal.map(|s| s.clamp(0.0, 1.0));
        let drive = correct(legal);
        std::array::from_fn(|c| {
            self.position(drive[c] + signal[c] - legal[c])
                .clamp(0.0, 1.0)
        })
    }
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
        self.inner
            .drive(signal.map(|s| self.range.position(s)))
            .map(|p| self.range.signal(p).clamp(0.0, 1.0))
    }
}

fn ends() -> (f64, f64) {
    let (scale, largest) = (
        f64::from(1_u32 << (NARROW_BITS - 8)),
        f64::from((1_u32 << NARROW_BITS) - 1),
    );
    (16.0 * scale / largest, 235.0 * scale / largest)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn narrow_ends_are_codes_64_and_940() {
        assert!((CodeRange::Narrow.signal(64.0 / 1023.0)).abs() < 1e-15);
        assert!((CodeRange::Narrow.signal(940.0 / 1023.0) - 1.0).abs() < 1e-15);
        assert_eq!(CodeRange::Full.signal(0.3), 0.3);
    }

    #[test]
    fn an_identity_stays_one_everywhere() {
        for i in 0..=32 {
            let position = [f64::from(i) / 32.0; 3];
            let out = CodeRange::Narrow.through(position, |s| s);
            assert!((out[0] - position[0]).abs() < 1e-12, "{position:?} {out:?}");
        }
    }
}
