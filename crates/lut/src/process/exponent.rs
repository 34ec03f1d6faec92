/// How an [`Exponent`] treats its input.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ExponentStyle {
    /// A power; below 0 the input counts as 0.
    Basic,
    /// A power of the magnitude, with the sign of the input.
    BasicMirror,
    /// A power; below 0 the input passes.
    BasicPassThrough,
    /// A power with a straight line near 0.
    MonCurve,
    /// The same of the magnitude, with the sign of the input.
    MonCurveMirror,
}

/// A power function of one channel, or its inverse.
///
/// # Source
/// Academy S-2014-006 (Common LUT Format) v3.0, ProcessNode Exponent. The limits at exponent 1 and offset 0, where the
/// formulas divide by zero, are taken exactly.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Exponent {
    /// What is done outside the plain power.
    pub style: ExponentStyle,
    /// Whether the inverse is meant.
    pub is_reverse: bool,
    /// The exponent g, above 0; from 1 for the curves with a straight line.
    pub exponent: f64,
    /// The offset k of the curves with a straight line, from 0; 0 for others.
    pub offset: f64,
}

impl Exponent {
    pub(super) fn apply(&self, at: f64) -> f64 {
        let power = if self.is_reverse {
            self.exponent.recip()
        } else {
            self.exponent
        };
        match self.style {
            ExponentStyle::Basic => at.max(0.0).powf(power),
            ExponentStyle::BasicMirror => at.abs().powf(power).copysign(at),
            ExponentStyle::BasicPassThrough if at < 0.0 => at,
            ExponentStyle::BasicPassThrough => at.powf(power),
            ExponentStyle::MonCurve => self.with_line(at),
            ExponentStyle::MonCurveMirror => self.with_line(at.abs()).copysign(at),
        }
    }

    fn with_line(&self, at: f64) -> f64 {
        let (g, k) = (self.exponent, self.offset);
        if g == 1.0 {
            // The break has gone to infinity: the line is all there is.
            return if self.is_reverse {
                at * (1.0 + k)
            } else {
                at / (1.0 + k)
            };
        }
        if k == 0.0 {
            // The line has shrunk to the point 0 and its slope to 0.
            let power = if self.is_reverse { g.recip() } else { g };
            return at.max(0.0).powf(power);
        }
        let low_out = (k * g / ((g - 1.0) * (1.0 + k))).powf(g);
        let slope = (g - 1.0) / k * low_out;
        if self.is_reverse {
            if at >= low_out {
                (1.0 + k) * at.powf(g.recip()) - k
            } else {
                at / slope
            }
        } else if at >= k / (g - 1.0) {
            ((at + k) / (1.0 + k)).powf(g)
        } else {
            at * slope
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const STYLES: [ExponentStyle; 5] = [
        ExponentStyle::Basic,
        ExponentStyle::BasicMirror,
        ExponentStyle::BasicPassThrough,
        ExponentStyle::MonCurve,
        ExponentStyle::MonCurveMirror,
    ];

    /// sRGB decodes 0.5 to 0.2140 (IEC 61966-2-1:1999: a = 0.055, exponent 2.4, line below 0.04045).
    #[test]
    fn the_curve_with_a_line_is_that_of_srgb() {
        let curve = Exponent {
            style: ExponentStyle::MonCurve,
            is_reverse: false,
            exponent: 2.4,
            offset: 0.055,
        };
        let by_standard = ((0.5 + 0.055) / 1.055_f64).powf(2.4);
        assert!((curve.apply(0.5) - by_standard).abs() < 1e-15);
        // The standard rounds the slope to 1/12.92 and the break to 0.04045.
        assert!((curve.apply(0.02) - 0.02 / 12.92).abs() < 1e-5);
    }

    #[test]
    fn reverse_undoes_forward() {
        const ROUNDOFF: f64 = 1e-12; // two powers of values up to 2
        for style in STYLES {
            for (exponent, offset) in [(2.4, 0.055), (1.0, 0.1), (2.0, 0.0), (1.0, 0.0)] {
                let forward = Exponent {
                    style,
                    is_reverse: false,
                    exponent,
                    offset,
                };
                let reverse = Exponent {
                    is_reverse: true,
                    ..forward
                };
                for at in [0.0, 1e-4, 0.03, 0.5, 1.0, 1.7] {
                    let back = reverse.apply(forward.apply(at));
                    assert!((back - at).abs() < ROUNDOFF, "{forward:?}: {at} to {back}");
                }
            }
        }
    }

    #[test]
    fn below_zero_each_style_does_its_own() {
        let at = |style| {
            Exponent {
                style,
                is_reverse: false,
                exponent: 2.0,
                offset: 0.0,
            }
            .apply(-0.5)
        };
        assert_eq!(STYLES.map(at), [0.0, -0.25, -0.5, 0.0, -0.25]);
    }
}
