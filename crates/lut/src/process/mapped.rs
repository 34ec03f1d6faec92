use crate::Lut1d;

/// Curves whose nodes stand where a list of pairs says: the input map of version 2 of the Common LUT Format.
///
/// Each pair gives an input and the position in the table that it falls on, in rows from 0; between pairs the position
/// is linear, outside them it stays at the end.
#[derive(Clone, Debug, PartialEq)]
pub struct MappedCurves {
    pairs: Vec<[f64; 2]>,
    curves: Lut1d,
}

impl MappedCurves {
    /// `None` unless there are two pairs at least, whose inputs rise and whose positions never fall.
    #[must_use]
    pub fn new(pairs: Vec<[f64; 2]>, curves: Lut1d) -> Option<Self> {
        let rises = pairs
            .windows(2)
            .all(|w| w[0][0] < w[1][0] && w[0][1] <= w[1][1]);
        (pairs.len() >= 2 && rises).then_some(Self { pairs, curves })
    }

    pub(crate) fn sample(&self, at: [f64; 3]) -> [f64; 3] {
        let cells = (self.curves.size() - 1) as f64;
        // The domain of the curves is 0 to 1, and they limit positions beyond it.
        self.curves.sample(at.map(|v| self.position(v) / cells))
    }

    fn position(&self, at: f64) -> f64 {
        let after = self.pairs.partition_point(|[input, _]| *input <= at);
        let (Some(low), Some(high)) =
            (self.pairs.get(after.wrapping_sub(1)), self.pairs.get(after))
        else {
            let end = if after == 0 { 0 } else { self.pairs.len() - 1 };
            return self.pairs[end][1];
        };
        let fraction = (at - low[0]) / (high[0] - low[0]);
        low[1] * (1.0 - fraction) + high[1] * fraction
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn positions_are_linear_between_pairs_and_stay_at_the_ends() {
        let curves = Lut1d::new(vec![[0.0; 3], [0.5; 3], [0.6; 3]]).unwrap();
        let mapped = MappedCurves::new(vec![[0.1, 0.0], [0.2, 1.0], [1.0, 2.0]], curves).unwrap();
        for (at, expected) in [
            (0.0, 0.0),
            (0.1, 0.0),
            (0.15, 0.25),
            (0.2, 0.5),
            (0.6, 0.55),
            (3.0, 0.6),
        ] {
            let got = mapped.sample([at; 3])[1];
            assert!((got - expected).abs() < 1e-15, "{at}: {got}");
        }
    }

    #[test]
    fn pairs_must_rise() {
        let curves = || Lut1d::identity(2);
        for pairs in [
            vec![[0.0, 0.0]],
            vec![[0.0, 0.0], [0.0, 1.0]],
            vec![[0.0, 1.0], [1.0, 0.0]],
        ] {
            assert!(MappedCurves::new(pairs, curves()).is_none());
        }
    }
}
