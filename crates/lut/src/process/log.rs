/// Smallest argument of a logarithm: the smallest normal 32-bit number, as the format says.
const SMALLEST: f64 = f32::MIN_POSITIVE as f64;

/// The straight line below the break of a camera's curve. Curve and line rise: the inverse tells them apart by the value
/// at the break.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Camera {
    /// Where the line begins, on the linear side.
    pub lin_break: f64,
    /// Slope of the line; `None` continues the curve's own slope.
    pub linear_slope: Option<f64>,
}

/// Which way a [`Log`] goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LogStyle {
    /// From linear to logarithmic values.
    LinToLog,
    /// From logarithmic to linear values.
    LogToLin,
}

/// A logarithm of one channel, or its inverse: log = log_slope·log_base(lin_slope·lin + lin_offset) + log_offset.
///
/// # Source
/// Academy S-2014-006 (Common LUT Format) v3.0, ProcessNode Log.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Log {
    /// Which way it goes.
    pub style: LogStyle,
    /// Base of the logarithm, above 0 and not 1.
    pub base: f64,
    /// Slope on the logarithmic side, not 0.
    pub log_slope: f64,
    /// Offset on the logarithmic side.
    pub log_offset: f64,
    /// Slope on the linear side, not 0.
    pub lin_slope: f64,
    /// Offset on the linear side.
    pub lin_offset: f64,
    /// A straight line near black.
    pub camera: Option<Camera>,
}

impl Log {
    /// The bare logarithm to `base`.
    #[must_use]
    pub fn plain(style: LogStyle, base: f64) -> Self {
        Self {
            style,
            base,
            log_slope: 1.0,
            log_offset: 0.0,
            lin_slope: 1.0,
            lin_offset: 0.0,
            camera: None,
        }
    }

    pub(super) fn apply(&self, at: f64) -> f64 {
        match (self.style, self.camera) {
            (LogStyle::LinToLog, Some(camera)) if at <= camera.lin_break => {
                let (slope, offset) = self.line(camera);
                slope * at + offset
            }
            (LogStyle::LinToLog, _) => self.log(at),
            (LogStyle::LogToLin, Some(camera)) if at <= self.log(camera.lin_break) => {
                let (slope, offset) = self.line(camera);
                (at - offset) / slope
            }
            (LogStyle::LogToLin, _) => {
                let power = (at - self.log_offset) / self.log_slope;
                (self.base.powf(power) - self.lin_offset) / self.lin_slope
            }
        }
    }

    fn log(&self, at: f64) -> f64 {
        let argument = (self.lin_slope * at + self.lin_offset).max(SMALLEST);
        // The library knows the two common bases better than a quotient of logarithms does.
        let log = if self.base == 2.0 {
            argument.log2()
        } else if self.base == 10.0 {
            argument.log10()
        } else {
            argument.ln() / self.base.ln()
        };
        self.log_slope * log + self.log_offset
    }

    /// Slope and offset of the line, which meets the curve at the break.
    fn line(&self, camera: Camera) -> (f64, f64) {
        let slope = camera.linear_slope.unwrap_or_else(|| {
            let argument = self.lin_slope * camera.lin_break + self.lin_offset;
            self.log_slope * self.lin_slope / (argument * self.base.ln())
        });
        (slope, self.log(camera.lin_break) - slope * camera.lin_break)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ACEScct, Academy S-2016-001: below 0.0078125 y = 10.5402377416545·x + 0.0729055341958355, above
    /// (log2 x + 9.72)/17.52. Values from memory of the document, checked against each other at the break.
    #[test]
    fn a_camera_curve_is_that_of_acescct() {
        const PRINTED: f64 = 1e-9; // the parameters below are printed to ten digits
        let curve = Log {
            log_slope: 0.057_077_625_57,
            log_offset: 0.554_794_520_5,
            camera: Some(Camera {
                lin_break: 0.007_812_5,
                linear_slope: None,
            }),
            ..Log::plain(LogStyle::LinToLog, 2.0)
        };
        for (lin, log) in [
            (0.0, 0.072_905_534_195_835_5),
            (
                0.005,
                10.540_237_741_654_5 * 0.005 + 0.072_905_534_195_835_5,
            ),
            (0.18, (0.18_f64.log2() + 9.72) / 17.52),
        ] {
            assert!((curve.apply(lin) - log).abs() < PRINTED, "{lin}");
        }
    }

    #[test]
    fn the_inverse_undoes_the_logarithm() {
        const ROUNDOFF: f64 = 1e-12; // a logarithm and a power of values up to 4
        for camera in [
            None,
            Some(Camera {
                lin_break: 0.01,
                linear_slope: None,
            }),
            Some(Camera {
                lin_break: 0.01,
                linear_slope: Some(6.0),
            }),
        ] {
            let forward = Log {
                style: LogStyle::LinToLog,
                base: 8.0,
                log_slope: 0.3,
                log_offset: 0.6,
                lin_slope: 0.9,
                lin_offset: 0.05,
                camera,
            };
            let back = Log {
                style: LogStyle::LogToLin,
                ..forward
            };
            for at in [0.0, 0.002, 0.01, 0.5, 4.0] {
                let there = back.apply(forward.apply(at));
                assert!((there - at).abs() < ROUNDOFF, "{camera:?}: {at} to {there}");
            }
        }
    }

    #[test]
    fn nothing_below_the_smallest_number_is_asked_for() {
        let log = Log::plain(LogStyle::LinToLog, 2.0);
        assert_eq!(log.apply(-1.0), -126.0);
        assert_eq!(log.apply(8.0), 3.0);
    }
}
