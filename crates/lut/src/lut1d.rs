use std::ops::RangeInclusive;

use crate::LutError;
use crate::axis::Axis;
use crate::error::all_finite;
use crate::lattice::mix;

/// Three curves of equal length, one for each channel, linear between nodes.
///
/// Row i holds the outputs of red, green and blue at `min + i/(n − 1)·(max − min)` of their own channel. The
/// domain is 0 to 1 unless [`with_domain`](Self::with_domain) says otherwise.
#[derive(Clone, Debug, PartialEq)]
pub struct Lut1d {
    rows: Vec<[f64; 3]>,
    axes: [Axis; 3],
}

impl Lut1d {
    /// Rows that curves may have. The upper limit is that of the cube text format.
    pub const SIZES: RangeInclusive<usize> = 2..=65_536;

    /// Curves over 0 to 1.
    ///
    /// # Errors
    /// [`LutError::Size`] outside [`SIZES`](Self::SIZES), [`LutError::NotFinite`] for a NaN or an infinity.
    pub fn new(rows: Vec<[f64; 3]>) -> Result<Self, LutError> {
        let size = rows.len();
        if !Self::SIZES.contains(&size) {
            return Err(LutError::Size {
                found: size,
                least: *Self::SIZES.start(),
                most: *Self::SIZES.end(),
            });
        }
        all_finite(&rows)?;
        Ok(Self {
            rows,
            axes: [Axis::unit(size); 3],
        })
    }

    /// For readers that have checked the parts: `rows` are finite and `axes` have as many nodes.
    pub(crate) fn from_parts(rows: Vec<[f64; 3]>, axes: [Axis; 3]) -> Self {
        Self { rows, axes }
    }

    /// The same rows, spread over `min` to `max` of each channel.
    ///
    /// # Errors
    /// [`LutError::Domain`] unless each `min` lies below its `max` and their distance is a finite number.
    pub fn with_domain(mut self, min: [f64; 3], max: [f64; 3]) -> Result<Self, LutError> {
        for (channel, axis) in self.axes.iter_mut().enumerate() {
            *axis = axis.over(channel, min[channel], max[channel])?;
        }
        Ok(self)
    }

    /// Curves that change nothing, over 0 to 1.
    ///
    /// # Panics
    /// When `size` is outside [`SIZES`](Self::SIZES).
    #[must_use]
    pub fn identity(size: usize) -> Self {
        Self::from_fn(size, |signal| [signal; 3])
    }

    /// Curves whose row at signal s is `f(s)`, over 0 to 1. Values are taken as they are.
    ///
    /// # Panics
    /// When `size` is outside [`SIZES`](Self::SIZES).
    #[must_use]
    pub fn from_fn(size: usize, f: impl FnMut(f64) -> [f64; 3]) -> Self {
        assert!(
            Self::SIZES.contains(&size),
            "curves have {:?} rows, not {size}",
            Self::SIZES
        );
        let axis = Axis::unit(size);
        Self {
            rows: (0..size).map(|i| axis.position(i)).map(f).collect(),
            axes: [axis; 3],
        }
    }

    /// Number of rows.
    #[must_use]
    pub fn size(&self) -> usize {
        self.rows.len()
    }

    /// All rows, from the low end of the domain to the high one.
    #[must_use]
    pub fn rows(&self) -> &[[f64; 3]] {
        &self.rows
    }

    /// The signals, one for each channel, at which row `index` stands.
    #[must_use]
    pub fn position(&self, index: usize) -> [f64; 3] {
        self.axes.map(|axis| axis.position(index))
    }

    /// Low end of the domain of each channel.
    #[must_use]
    pub fn domain_min(&self) -> [f64; 3] {
        self.axes.map(|axis| axis.min)
    }

    /// High end of the domain of each channel.
    #[must_use]
    pub fn domain_max(&self) -> [f64; 3] {
        self.axes.map(|axis| axis.max)
    }

    /// The output for signal `at`. Outside the domain the nearest end answers; NaN counts as the low end.
    #[must_use]
    #[inline]
    pub fn sample(&self, at: [f64; 3]) -> [f64; 3] {
        std::array::from_fn(|channel| {
            let (row, fraction) = self.axes[channel].locate(at[channel]);
            mix(self.rows[row], self.rows[row + 1], fraction)[channel]
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_channel_reads_its_own_curve_over_its_own_domain() {
        let curves = Lut1d::new(vec![[0.0, 1.0, 2.0], [10.0, 11.0, 12.0]])
            .unwrap()
            .with_domain([0.0, -1.0, 2.0], [1.0, 1.0, 4.0])
            .unwrap();
        assert_eq!(curves.sample([0.5, 0.5, 2.5]), [5.0, 8.5, 4.5]);
        assert_eq!(curves.sample([f64::NAN, -9.0, 9.0]), [0.0, 1.0, 12.0]);
    }

    #[test]
    fn length_and_values_are_checked() {
        assert!(matches!(
            Lut1d::new(vec![[0.0; 3]]),
            Err(LutError::Size { found: 1, .. })
        ));
        assert!(matches!(
            Lut1d::new(vec![[0.0; 3]; 65_537]),
            Err(LutError::Size { .. })
        ));
        let nan = Lut1d::new(vec![[0.0; 3], [0.0, f64::NAN, 0.0]]);
        assert!(matches!(
            nan,
            Err(LutError::NotFinite {
                node: 1,
                channel: 1,
                ..
            })
        ));
    }
}
