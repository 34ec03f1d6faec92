use std::ops::RangeInclusive;

use crate::axis::Axis;
use crate::error::all_finite;
use crate::evaluation::MOST_WEIGHT_BITS;
use crate::lattice::Cell;
use crate::{Evaluation, LutError};

/// A 3D lattice of output triples, the same number of nodes along red, green and blue.
///
/// Node (r, g, b) stands at index `r + n·(g + n·b)`: red fastest. Its position is
/// `min + i/(n − 1)·(max − min)` along each axis; the domain is 0 to 1 unless [`with_domain`](Self::with_domain)
/// says otherwise. Outputs are free: they may leave 0 to 1.
///
/// # Source
/// Order and node positions as in the Cube LUT Specification, version 1.0 (2013).
#[derive(Clone, Debug, PartialEq)]
pub struct Lut3d {
    size: usize,
    nodes: Vec<[f64; 3]>,
    axes: [Axis; 3],
}

impl Lut3d {
    /// Nodes along one axis that a lattice may have. The upper limit is that of the cube text format.
    pub const SIZES: RangeInclusive<usize> = 2..=256;

    /// A lattice of `size`³ nodes, red fastest, over 0 to 1.
    ///
    /// # Errors
    /// [`LutError::Size`] outside [`SIZES`](Self::SIZES), [`LutError::Count`] when `nodes` does not hold `size`³
    /// triples, [`LutError::NotFinite`] for a NaN or an infinity.
    pub fn new(size: usize, nodes: Vec<[f64; 3]>) -> Result<Self, LutError> {
        check_size(size)?;
        let need = size.pow(3);
        if nodes.len() != need {
            return Err(LutError::Count {
                found: nodes.len(),
                size,
                need,
            });
        }
        all_finite(&nodes)?;
        Ok(Self {
            size,
            nodes,
            axes: [Axis::unit(size); 3],
        })
    }

    /// The same nodes, spread over `min` to `max` of each channel.
    ///
    /// # Errors
    /// [`LutError::Domain`] unless each `min` lies below its `max` and their distance is a finite number.
    pub fn with_domain(mut self, min: [f64; 3], max: [f64; 3]) -> Result<Self, LutError> {
        for (channel, axis) in self.axes.iter_mut().enumerate() {
            *axis = axis.over(channel, min[channel], max[channel])?;
        }
        Ok(self)
    }

    /// The lattice that changes nothing, over 0 to 1.
    ///
    /// # Panics
    /// When `size` is outside [`SIZES`](Self::SIZES).
    #[must_use]
    pub fn identity(size: usize) -> Self {
        Self::from_fn(size, |signal| signal)
    }

    /// The lattice whose node at signal s is `f(s)`, over 0 to 1. Calls run red fastest.
    ///
    /// Values are taken as they are; [`new`](Self::new) is the way in that checks them.
    ///
    /// # Panics
    /// When `size` is outside [`SIZES`](Self::SIZES).
    #[must_use]
    pub fn from_fn(size: usize, f: impl FnMut([f64; 3]) -> [f64; 3]) -> Self {
        assert!(
            Self::SIZES.contains(&size),
            "a lattice has {:?} nodes along an axis, not {size}",
            Self::SIZES
        );
        Self::over_axes(size, [Axis::unit(size); 3], f)
    }

    /// For readers that have checked the parts: `nodes` holds `size`³ finite triples and `axes` have `size` nodes.
    pub(crate) fn from_parts(size: usize, nodes: Vec<[f64; 3]>, axes: [Axis; 3]) -> Self {
        Self { size, nodes, axes }
    }

    fn over_axes(size: usize, axes: [Axis; 3], mut f: impl FnMut([f64; 3]) -> [f64; 3]) -> Self {
        let mut nodes = Vec::with_capacity(size.pow(3));
        for b in 0..size {
            for g in 0..size {
                for r in 0..size {
                    nodes.push(f([
                        axes[0].position(r),
                        axes[1].position(g),
                        axes[2].position(b),
                    ]));
                }
            }
        }
        Self { size, nodes, axes }
    }

    /// Nodes along one axis.
    #[must_use]
    pub fn size(&self) -> usize {
        self.size
    }

    /// All nodes, red fastest.
    #[must_use]
    pub fn nodes(&self) -> &[[f64; 3]] {
        &self.nodes
    }

    /// All nodes, red fastest, to be changed in place.
    pub fn nodes_mut(&mut self) -> &mut [[f64; 3]] {
        &mut self.nodes
    }

    /// Index of node (r, g, b) in [`nodes`](Self::nodes).
    #[must_use]
    pub fn index(&self, r: usize, g: usize, b: usize) -> usize {
        r + self.size * (g + self.size * b)
    }

    /// Output at node (r, g, b).
    ///
    /// # Panics
    /// When the node lies past the end of the table.
    #[must_use]
    pub fn node(&self, r: usize, g: usize, b: usize) -> [f64; 3] {
        self.nodes[self.index(r, g, b)]
    }

    /// The signal at which node (r, g, b) stands.
    #[must_use]
    pub fn position(&self, r: usize, g: usize, b: usize) -> [f64; 3] {
        [
            self.axes[0].position(r),
            self.axes[1].position(g),
            self.axes[2].position(b),
        ]
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
    ///
    /// At a node the answer is the node's own value, whatever the evaluation (unless the domain is so far from 0
    /// for its length that an `f64` cannot say where the node stands).
    #[must_use]
    #[inline]
    pub fn sample(&self, at: [f64; 3], how: Evaluation) -> [f64; 3] {
        let [(r, fr), (g, fg), (b, fb)] =
            [0, 1, 2].map(|channel| self.axes[channel].locate(at[channel]));
        let cell = Cell {
            nodes: &self.nodes,
            base: self.index(r, g, b),
            strides: [1, self.size, self.size * self.size],
        };
        let inside = [fr, fg, fb];
        match how {
            Evaluation::Trilinear => cell.trilinear(inside),
            Evaluation::Tetrahedral => cell.tetrahedral(inside),
            Evaluation::Weights { bits } => {
                let levels = (1_u64 << bits.min(MOST_WEIGHT_BITS)) as f64;
                // A cast truncates; `floor` is a call into the mathematics library on older processors.
                let rounded = |f: f64| (f * levels + 0.5) as i64 as f64 * levels.recip();
                cell.tetrahedral(inside.map(rounded))
            }
        }
    }
}

fn check_size(size: usize) -> Result<(), LutError> {
    if Lut3d::SIZES.contains(&size) {
        return Ok(());
    }
    Err(LutError::Size {
        found: size,
        least: *Lut3d::SIZES.start(),
        most: *Lut3d::SIZES.end(),
    })
}

/// The nodes with red and blue in each other's place in the order: from blue fastest to red fastest, and back.
pub(crate) fn with_ends_swapped(nodes: &[[f64; 3]], size: usize) -> Vec<[f64; 3]> {
    let mut swapped = Vec::with_capacity(nodes.len());
    for slow in 0..size {
        for middle in 0..size {
            swapped.extend((0..size).map(|fast| nodes[slow + size * (middle + size * fast)]));
        }
    }
    swapped
}

/// One lattice that does what `first` and then `second` do, exact at its own nodes.
///
/// The result has `size` nodes along each axis and the domain of `first`. Between nodes it only approximates the
/// chain; the closer the nodes, the better.
///
/// # Panics
/// When `size` is outside [`Lut3d::SIZES`].
#[must_use]
pub fn compose(first: &Lut3d, second: &Lut3d, size: usize, how: Evaluation) -> Lut3d {
    let mut chain = Lut3d::identity(size);
    for channel in 0..3 {
        let Axis { min, max, .. } = first.axes[channel];
        // A domain that `first` accepts suits every size but for the last few numbers an f64 can hold.
        if let Ok(axis) = chain.axes[channel].over(channel, min, max) {
            chain.axes[channel] = axis;
        }
    }
    Lut3d::over_axes(size, chain.axes, |signal| {
        second.sample(first.sample(signal, how), how)
    })
}
