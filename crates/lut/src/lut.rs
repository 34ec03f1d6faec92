use crate::{Correction, Evaluation, Lut1d, Lut3d};

/// What a LUT file holds: a name, curves, a lattice. The curves come first and feed the lattice.
///
/// Without either it is the identity.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Lut {
    /// Free text from the file.
    pub title: Option<String>,
    /// Applied first.
    pub curves: Option<Lut1d>,
    /// Applied to what the curves give.
    pub lattice: Option<Lut3d>,
}

impl Lut {
    /// The output for signal `at`. Each part clamps to its own domain; `how` concerns the lattice, the curves are
    /// always linear and never rounded.
    #[must_use]
    #[inline]
    pub fn sample(&self, at: [f64; 3], how: Evaluation) -> [f64; 3] {
        let shaped = match &self.curves {
            Some(curves) => curves.sample(at),
            None => at,
        };
        match &self.lattice {
            Some(lattice) => lattice.sample(shaped, how),
            None => shaped,
        }
    }

    /// This LUT as a [`Correction`] with a stated evaluation.
    #[must_use]
    pub fn evaluated(&self, how: Evaluation) -> EvaluatedLut<'_> {
        EvaluatedLut { lut: self, how }
    }
}

impl From<Lut3d> for Lut {
    fn from(lattice: Lut3d) -> Self {
        Self {
            lattice: Some(lattice),
            ..Self::default()
        }
    }
}

impl From<Lut1d> for Lut {
    fn from(curves: Lut1d) -> Self {
        Self {
            curves: Some(curves),
            ..Self::default()
        }
    }
}

/// A LUT together with the way its lattice is read.
#[derive(Clone, Copy, Debug)]
pub struct EvaluatedLut<'a> {
    /// The tables.
    pub lut: &'a Lut,
    /// How the lattice is read between nodes.
    pub how: Evaluation,
}

impl Correction for EvaluatedLut<'_> {
    fn drive(&self, signal: [f64; 3]) -> [f64; 3] {
        self.lut.sample(signal, self.how)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn curves_feed_the_lattice() {
        let square = Lut1d::from_fn(3, |v| [v * v; 3]);
        let swap = Lut3d::from_fn(2, |[r, g, b]| [b, g, r]);
        let lut = Lut {
            title: None,
            curves: Some(square),
            lattice: Some(swap),
        };
        let drive = lut
            .evaluated(Evaluation::Tetrahedral)
            .drive([0.5, 0.0, 1.0]);
        assert_eq!(drive, [1.0, 0.0, 0.25]);
    }

    #[test]
    fn an_empty_lut_changes_nothing() {
        let at = [0.1, -2.0, 7.0];
        assert_eq!(Lut::default().sample(at, Evaluation::Trilinear), at);
    }
}
