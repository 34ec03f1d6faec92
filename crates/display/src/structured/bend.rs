use evenstep_scatter::Smoothness;

/// Drive at which the axis of the bends turns from a straight line into a root: about the first level of a ramp.
const TOE: f64 = 0.01;

/// Intervals of the table: cubic pieces on them are within 1e-6 of a correlation half as long as the shortest tried.
const INTERVALS: usize = 256;

/// The axis bends are smooth on, from 0 to 1 as the drive, and its slope by drive: a root, since channels depart from a
/// common tone curve fastest near black.
pub(super) fn warped(drive: f64) -> (f64, f64) {
    let from = TOE.sqrt();
    let span = (1.0 + TOE).sqrt() - from;
    let root = (drive.max(0.0) + TOE).sqrt();
    ((root - from) / span, 0.5 / (root * span))
}

/// A smooth function of one warped drive, as a table of values and slopes.
pub(super) struct Bend(Vec<(f64, f64)>);

impl Bend {
    /// Σ wᵢ κ((u − uᵢ)/length) over terms (uᵢ, wᵢ).
    pub(super) fn new(
        smoothness: Smoothness,
        length: f64,
        terms: impl Iterator<Item = (f64, f64)>,
    ) -> Self {
        let mut table = vec![(0.0, 0.0); INTERVALS + 1];
        let (mut k, mut dk) = (vec![0.0; INTERVALS + 1], vec![0.0; INTERVALS + 1]);
        for (at, weight) in terms.filter(|t| t.1 != 0.0) {
            for (i, k) in k.iter_mut().enumerate() {
                *k = (i as f64 / INTERVALS as f64 - at) / length;
            }
            smoothness.correlations(&mut k, &mut dk);
            for ((value, slope), (k, dk)) in table.iter_mut().zip(k.iter().zip(&dk)) {
                *value += weight * k;
                *slope += weight * dk / length;
            }
        }
        Self(table)
    }

    /// Value and slope by the warped drive.
    pub(super) fn at(&self, u: f64) -> (f64, f64) {
        let n = INTERVALS as f64;
        let position = u.clamp(0.0, 1.0) * n;
        let first = (position as usize).min(INTERVALS - 1);
        let t = position - first as f64;
        let ((a, da), (b, db)) = (self.0[first], self.0[first + 1]);
        let (da, db) = (da / n, db / n);
        let rise = b - a;
        let (c2, c3) = (3.0 * rise - 2.0 * da - db, da + db - 2.0 * rise);
        (
            a + t * (da + t * (c2 + t * c3)),
            (da + t * (2.0 * c2 + t * 3.0 * c3)) * n,
        )
    }
}
