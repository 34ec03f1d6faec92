use half::f16;

/// Entries of a table over all 16-bit floating point numbers.
const ENTRIES: usize = 1 << 16;

/// Three curves over the 16-bit floating point numbers: entry i belongs to the number with bit pattern i.
///
/// Between two numbers the curve is linear; beyond the largest, ±65504, it is the end's own value, and NaN is answered
/// like 0. The table keeps what a file holds, infinities and NaN among it; what is answered is finite.
#[derive(Clone, Debug, PartialEq)]
pub struct HalfCurves {
    rows: Vec<[f64; 3]>,
}

impl HalfCurves {
    /// Entries of such a table.
    pub const SIZE: usize = ENTRIES;

    /// Curves with these rows; `None` unless there are [`SIZE`](Self::SIZE) of them.
    #[must_use]
    pub fn new(rows: Vec<[f64; 3]>) -> Option<Self> {
        (rows.len() == ENTRIES).then_some(Self { rows })
    }

    /// `f` at every finite number; the entries of infinities are those of the largest numbers, NaN's that of 0.
    pub(crate) fn sampled(f: impl Fn(f64) -> [f64; 3]) -> Self {
        let rows = (0..=u16::MAX)
            .map(|bits| {
                let at = f16::from_bits(bits).to_f64();
                let at = if at.is_nan() { 0.0 } else { at };
                f(at.clamp(f16::MIN.to_f64(), f16::MAX.to_f64()))
            })
            .collect();
        Self { rows }
    }

    /// Row i is the output for the number with bit pattern i.
    #[must_use]
    pub fn rows(&self) -> &[[f64; 3]] {
        &self.rows
    }

    /// Whether every entry is a half-float number, an infinity or NaN, so that its pattern says all of it.
    pub(crate) fn are_halfs(&self) -> bool {
        let is_half = |v: &f64| f16::from_f64(*v).to_f64() == *v || v.is_nan();
        self.rows.iter().flatten().all(is_half)
    }

    pub(super) fn sample(&self, at: [f64; 3]) -> [f64; 3] {
        [0, 1, 2].map(|c| self.channel(at[c], c))
    }

    fn channel(&self, at: f64, channel: usize) -> f64 {
        let at = if at.is_nan() { 0.0 } else { at };
        let at = at.clamp(f16::MIN.to_f64(), f16::MAX.to_f64());
        let near = f16::from_f64(at);
        let value = |number: f16| self.rows[usize::from(number.to_bits())][channel];
        let from = near.to_f64();
        if from == at {
            return value(near);
        }
        let next = neighbour(near, at > from);
        let fraction = (at - from) / (next.to_f64() - from);
        value(near) * (1.0 - fraction) + value(next) * fraction
    }
}

/// The finite number after `from`, upwards or downwards. `from` is not the largest that way.
fn neighbour(from: f16, upwards: bool) -> f16 {
    let bits = from.to_bits();
    let is_negative = bits & 0x8000 != 0;
    f16::from_bits(match (bits & 0x7FFF == 0, upwards == is_negative) {
        // The smallest number on the other side of zero, or on this side: both zeros are one point.
        (true, _) if upwards => 0x0001,
        (true, _) => 0x8001,
        (false, true) => bits - 1,
        (false, false) => bits + 1,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn identity() -> HalfCurves {
        let rows = (0..=u16::MAX)
            .map(|bits| [f16::from_bits(bits).to_f64(); 3])
            .collect();
        HalfCurves::new(rows).unwrap()
    }

    #[test]
    fn one_is_entry_15360() {
        // Academy S-2014-006 v3.0: 1.0 is the entry 15360 of a table over the half-float numbers.
        assert_eq!(identity().rows()[15_360], [1.0; 3]);
    }

    #[test]
    fn the_identity_stays_it_between_entries() {
        const ROUNDOFF: f64 = 1e-16; // relative to the value
        let curves = identity();
        for at in [
            0.0, 0.1, 0.3333, 1.0, 1.0007, 1000.3, 65_503.0, 1e-8, -1e-8, -0.7, -65_504.0,
        ] {
            let got = curves.sample([at; 3])[0];
            assert!(
                (got - at).abs() <= ROUNDOFF * at.abs().max(1e-8) * 8.0,
                "{at}: {got}"
            );
        }
        assert_eq!(
            curves.sample([1e9, -1e9, f64::NAN]),
            [65_504.0, -65_504.0, 0.0]
        );
    }

    #[test]
    fn a_short_table_is_none() {
        assert!(HalfCurves::new(vec![[0.0; 3]; 2]).is_none());
    }
}
