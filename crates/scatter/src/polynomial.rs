//! The polynomial part of a radial interpolant.

/// Monomials up to degree 2 in three variables: exponents of x, y, z, by rising degree.
const EXPONENTS: [[u8; 3]; 10] = [
    [0, 0, 0],
    [1, 0, 0],
    [0, 1, 0],
    [0, 0, 1],
    [2, 0, 0],
    [0, 2, 0],
    [0, 0, 2],
    [1, 1, 0],
    [1, 0, 1],
    [0, 1, 1],
];

/// Monomials of one degree in shifted and scaled coordinates.
///
/// The shift and the scale keep the columns of comparable size whatever the range of the sites;
/// they change the coefficients but not the interpolant.
#[derive(Clone, Debug)]
pub(crate) struct Basis {
    degree: i8,
    centre: [f64; 3],
    scale: f64,
}

impl Basis {
    /// Centres on the middle of the sites' bounding box and scales by its largest half width.
    pub(crate) fn new(degree: i8, sites: &[[f64; 3]]) -> Self {
        let mut low = [f64::INFINITY; 3];
        let mut high = [f64::NEG_INFINITY; 3];
        for site in sites {
            for c in 0..3 {
                low[c] = low[c].min(site[c]);
                high[c] = high[c].max(site[c]);
            }
        }
        let centre = std::array::from_fn(|c| 0.5 * low[c] + 0.5 * high[c]);
        let half = (0..3)
            .map(|c| 0.5 * high[c] - 0.5 * low[c])
            .fold(0.0, f64::max);
        let scale = if half > 0.0 { half } else { 1.0 };
        Self {
            degree,
            centre,
            scale,
        }
    }

    /// Number of monomials of one degree: 1, 4 or 10, and none for −1.
    pub(crate) fn terms(degree: i8) -> usize {
        EXPONENTS
            .iter()
            .filter(|e| i32::from(e.iter().sum::<u8>()) <= i32::from(degree))
            .count()
    }

    /// Number of monomials.
    pub(crate) fn len(&self) -> usize {
        Self::terms(self.degree)
    }

    /// Every monomial at a point.
    pub(crate) fn values(&self, at: [f64; 3]) -> impl Iterator<Item = f64> {
        let t = self.local(at);
        EXPONENTS[..self.len()]
            .iter()
            .map(move |e| (0..3).map(|c| power(t[c], e[c])).product())
    }

    /// Every monomial's derivative by each coordinate.
    pub(crate) fn gradients(&self, at: [f64; 3]) -> impl Iterator<Item = [f64; 3]> {
        let t = self.local(at);
        let scale = self.scale;
        EXPONENTS[..self.len()].iter().map(move |e| {
            std::array::from_fn(|axis| {
                let factor = |c: usize| {
                    if c == axis {
                        derivative(t[c], e[c]) / scale
                    } else {
                        power(t[c], e[c])
                    }
                };
                factor(0) * factor(1) * factor(2)
            })
        })
    }

    fn local(&self, at: [f64; 3]) -> [f64; 3] {
        std::array::from_fn(|c| (at[c] - self.centre[c]) / self.scale)
    }
}

fn power(t: f64, exponent: u8) -> f64 {
    match exponent {
        0 => 1.0,
        1 => t,
        _ => t * t,
    }
}

fn derivative(t: f64, exponent: u8) -> f64 {
    match exponent {
        0 => 0.0,
        1 => 1.0,
        _ => 2.0 * t,
    }
}
