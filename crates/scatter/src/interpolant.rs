//! The fitted map that every scheme gives.

use nalgebra::Matrix3;
use rayon::prelude::*;

/// Points per task: fixed, so that the split never depends on the number of threads.
pub(crate) const CHUNK: usize = 64;

/// A fitted map R³ → R³, shareable between threads so that a LUT fills in parallel.
///
/// Coordinates have the units of the sites, outputs those of the values. A coordinate that is not
/// finite gives outputs that are not finite; it never panics.
pub trait Interpolant: Send + Sync {
    /// The three outputs at a point.
    fn eval(&self, at: [f64; 3]) -> [f64; 3];

    /// The three outputs and their Jacobian: `jacobian[(output, input)]`, analytic.
    ///
    /// Where a scheme has no derivative (the sites of the linear kernel, the cell borders of the
    /// nearest site) the one-sided parts that exist are returned: the singular term counts as 0.
    fn eval_with_gradient(&self, at: [f64; 3]) -> ([f64; 3], Matrix3<f64>);

    /// One standard error of each output, in the units of the values, where the scheme has one.
    fn standard_error(&self, _at: [f64; 3]) -> Option<[f64; 3]> {
        None
    }

    /// Evaluates many points, in parallel; the result does not depend on the number of threads.
    ///
    /// # Panics
    /// If `at` and `out` differ in length.
    fn eval_into(&self, at: &[[f64; 3]], out: &mut [[f64; 3]]) {
        each_into(self, at, out);
    }

    /// Evaluates every node of a lattice, the first axis running fastest; in parallel, the result does not depend on
    /// the number of threads.
    ///
    /// `axes` holds the coordinates along each axis; `out` their product of values. Schemes whose kernel factors by
    /// axis do this as matrix products and may differ from [`Interpolant::eval`] in the last digits.
    ///
    /// # Panics
    /// If `out` is not as long as the product of the axes.
    fn eval_lattice(&self, axes: [&[f64]; 3], out: &mut [[f64; 3]]) {
        let [x, y, z] = axes;
        let row = |(y, z): (f64, f64)| x.iter().map(move |&x| [x, y, z]);
        let rows = z.iter().flat_map(|&z| y.iter().map(move |&y| (y, z)));
        let at: Vec<[f64; 3]> = rows.flat_map(row).collect();
        self.eval_into(&at, out);
    }
}

/// [`Interpolant::eval`] at each of many points, in parallel.
pub(crate) fn each_into<I: Interpolant + ?Sized>(
    fitted: &I,
    at: &[[f64; 3]],
    out: &mut [[f64; 3]],
) {
    assert_eq!(at.len(), out.len(), "eval_into: one output for each point");
    at.par_chunks(CHUNK)
        .zip(out.par_chunks_mut(CHUNK))
        .for_each(|(at, out)| {
            for (at, out) in at.iter().zip(out) {
                *out = fitted.eval(*at);
            }
        });
}
