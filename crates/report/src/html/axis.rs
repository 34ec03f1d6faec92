/// How an axis places its values.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Scale {
    /// Equal differences, equal distances.
    Linear,
    /// Equal ratios, equal distances.
    Log,
}

/// One axis of a chart.
#[derive(Clone, Debug)]
pub(crate) struct Axis {
    label: String,
    scale: Scale,
    low: f64,
    high: f64,
}

/// Marks that an axis has at least: fewer say little, more are hard to read.
const MARKS: f64 = 4.0;
/// Room above the highest value, as a share of the extent.
const HEADROOM: f64 = 0.05;

impl Axis {
    /// A linear axis from `low` to `high`.
    pub(crate) fn linear(label: impl Into<String>, low: f64, high: f64) -> Self {
        let high = if high > low { high } else { low + 1.0 };
        Self {
            label: label.into(),
            scale: Scale::Linear,
            low,
            high,
        }
    }

    /// A linear axis with room for all `values` and for 0.
    pub(crate) fn around(label: impl Into<String>, values: impl Iterator<Item = f64>) -> Self {
        let (low, high) = extent(values.chain([0.0]));
        let room = HEADROOM * (high - low);
        Self::linear(
            label,
            if low < 0.0 { low - room } else { low },
            if high > 0.0 { high + room } else { high },
        )
    }

    /// A logarithmic axis with room for all `values` that are positive.
    pub(crate) fn log(label: impl Into<String>, values: impl Iterator<Item = f64>) -> Self {
        let (low, high) = extent(values.filter(|v| *v > 0.0));
        let (low, high) = if low < high { (low, high) } else { (0.1, 10.0) };
        Self {
            label: label.into(),
            scale: Scale::Log,
            low: 10_f64.powf(low.log10().floor()),
            high: 10_f64.powf((1.05 * high).log10()),
        }
    }

    pub(crate) fn label(&self) -> &str {
        &self.label
    }

    /// Place of a value on the drawn, linear axis; what cannot stand on it has none.
    pub(crate) fn place(&self, value: f64) -> Option<f64> {
        match self.scale {
            Scale::Linear => value.is_finite().then_some(value),
            Scale::Log => (value > 0.0 && value.is_finite()).then(|| value.log10()),
        }
    }

    /// Ends of the drawn axis.
    pub(crate) fn ends(&self) -> std::ops::Range<f64> {
        match self.scale {
            Scale::Linear => self.low..self.high,
            Scale::Log => self.low.log10()..self.high.log10(),
        }
    }

    /// Places of the marks: round numbers, or decades.
    pub(crate) fn marks(&self) -> Vec<f64> {
        let ends = self.ends();
        let step = match self.scale {
            Scale::Linear => round_step((ends.end - ends.start) / MARKS),
            Scale::Log => ((ends.end - ends.start) / 6.0).ceil().max(1.0),
        };
        let first = (ends.start / step - 1e-9).ceil() as i64;
        let last = (ends.end / step + 1e-9).floor() as i64;
        (first..=last).map(|i| i as f64 * step).collect()
    }

    /// The number that stands at a mark.
    pub(crate) fn number(&self, place: f64) -> String {
        match self.scale {
            Scale::Linear => {
                let step = round_step((self.high - self.low) / MARKS);
                let decimals = (-step.log10().floor()).max(0.0) as usize;
                // A mark at −0 is 0.
                format!("{:.decimals$}", place + 0.0)
            }
            Scale::Log if place >= 0.0 => format!("{:.0}", 10_f64.powf(place)),
            Scale::Log => {
                let decimals = (-place).ceil() as usize;
                format!("{:.decimals$}", 10_f64.powf(place))
            }
        }
    }
}

/// 1, 2 or 5 times a power of ten, not above `most` by more than rounding.
fn round_step(most: f64) -> f64 {
    let decade = 10_f64.powf(most.log10().floor());
    let lead = most / decade;
    let round = if lead >= 5.0 {
        5.0
    } else if lead >= 2.0 {
        2.0
    } else {
        1.0
    };
    round * decade
}

fn extent(values: impl Iterator<Item = f64>) -> (f64, f64) {
    values
        .filter(|v| v.is_finite())
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| {
            (low.min(v), high.max(v))
        })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// An axis has between four and eleven marks, all within its ends and told apart by their numbers.
        #[test]
        fn marks_are_few_within_and_distinct(low in -1e3_f64..1e3, width in 1e-3_f64..1e4) {
            let axis = Axis::linear("", low, low + width);
            let (marks, ends) = (axis.marks(), axis.ends());
            prop_assert!((4..=11).contains(&marks.len()), "{marks:?}");
            let slack = 1e-8 * width;
            prop_assert!(marks.iter().all(|m| *m >= ends.start - slack && *m <= ends.end + slack));
            let mut numbers: Vec<String> = marks.iter().map(|m| axis.number(*m)).collect();
            numbers.dedup();
            prop_assert_eq!(numbers.len(), marks.len());
        }
    }

    #[test]
    fn decades_are_written_out() {
        let axis = Axis::log("", [0.02, 300.0, 0.0, -1.0].into_iter());
        let numbers: Vec<String> = axis.marks().iter().map(|m| axis.number(*m)).collect();
        assert_eq!(numbers, ["0.01", "0.1", "1", "10", "100"]);
        assert_eq!(axis.place(0.0), None);
    }
}
