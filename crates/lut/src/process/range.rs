/// A linear map from one range to another, or a limit on one side or both.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Range {
    /// Low end of the input and of the output.
    pub low: Option<[f64; 2]>,
    /// High end of the input and of the output.
    pub high: Option<[f64; 2]>,
    /// Whether the output is limited to the ends given.
    pub clamps: bool,
}

impl Range {
    /// Scale and offset: out = scale·in + offset. One end alone moves nothing.
    #[must_use]
    pub fn affine(&self) -> (f64, f64) {
        match (self.low, self.high) {
            (Some([low_in, low_out]), Some([high_in, high_out])) => {
                let scale = (high_out - low_out) / (high_in - low_in);
                (scale, low_out - low_in * scale)
            }
            _ => (1.0, 0.0),
        }
    }

    pub(super) fn apply(&self, at: f64) -> f64 {
        let mapped = match (self.low, self.high) {
            (Some([low_in, low_out]), Some([high_in, high_out])) => {
                low_out + (at - low_in) * ((high_out - low_out) / (high_in - low_in))
            }
            _ => at,
        };
        if self.clamps {
            self.limited(mapped)
        } else {
            mapped
        }
    }

    fn limited(&self, value: f64) -> f64 {
        let value = self.low.map_or(value, |[_, out]| value.max(out));
        self.high.map_or(value, |[_, out]| value.min(out))
    }

    /// Whether `value` lies where nothing is limited.
    pub(super) fn passes(&self, value: f64) -> bool {
        !self.clamps
            || (self.low.is_none_or(|[at, _]| value >= at)
                && self.high.is_none_or(|[at, _]| value <= at))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_ends_map_and_limit() {
        let mut range = Range {
            low: Some([0.25, 0.0]),
            high: Some([0.75, 1.0]),
            clamps: true,
        };
        assert_eq!([0.0, 0.5, 2.0].map(|v| range.apply(v)), [0.0, 0.5, 1.0]);
        range.clamps = false;
        assert_eq!([0.0, 0.5, 2.0].map(|v| range.apply(v)), [-0.5, 0.5, 3.5]);
        assert_eq!(range.affine(), (2.0, -0.5));
    }

    #[test]
    fn one_end_limits_alone() {
        let range = Range {
            low: None,
            high: Some([0.5, 0.5]),
            clamps: true,
        };
        assert_eq!([-3.0, 0.7].map(|v| range.apply(v)), [-3.0, 0.5]);
        assert!(range.passes(0.5) && !range.passes(0.51));
    }
}
