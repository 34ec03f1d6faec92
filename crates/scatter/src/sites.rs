//! The data every scheme is fitted to, and the checks they share.

use crate::FitError;

/// `values[i]` observed at `sites[i]`, with the relative noise variance of each observation.
///
/// Sites are in any unit and range; the schemes are isotropic, so the three coordinates should be
/// comparable. Variances are relative to their mean: 1 is an ordinary site, 4 one of twice the
/// noise. They scale the smoothing and have no effect where it is 0.
#[derive(Clone, Copy, Debug)]
pub struct Sites<'a> {
    /// Where: n points.
    pub sites: &'a [[f64; 3]],
    /// What: n triples, each output interpolated by itself.
    pub values: &'a [[f64; 3]],
    /// n relative variances above 0, mean about 1; `None` means 1 everywhere.
    pub relative_variance: Option<&'a [f64]>,
}

impl<'a> Sites<'a> {
    /// Sites of equal noise.
    pub fn new(sites: &'a [[f64; 3]], values: &'a [[f64; 3]]) -> Self {
        Self {
            sites,
            values,
            relative_variance: None,
        }
    }

    /// The same sites with a relative noise variance for each.
    #[must_use]
    pub fn with_relative_variance(self, variance: &'a [f64]) -> Self {
        Self {
            relative_variance: Some(variance),
            ..self
        }
    }

    /// Number of sites.
    pub fn len(&self) -> usize {
        self.sites.len()
    }

    /// Whether there is no site at all.
    pub fn is_empty(&self) -> bool {
        self.sites.is_empty()
    }

    /// Checks lengths, finiteness and variances.
    pub(crate) fn check(&self, need: usize) -> Result<(), FitError> {
        let n = self.sites.len();
        if self.values.len() != n {
            return Err(FitError::Length {
                sites: n,
                what: "values",
                found: self.values.len(),
            });
        }
        for (site, (at, value)) in self.sites.iter().zip(self.values).enumerate() {
            for (what, triple) in [("position", at), ("value", value)] {
                if triple.iter().any(|v| !v.is_finite()) {
                    return Err(FitError::NotFinite { site, what });
                }
            }
        }
        if let Some(variance) = self.relative_variance {
            if variance.len() != n {
                return Err(FitError::Length {
                    sites: n,
                    what: "relative variances",
                    found: variance.len(),
                });
            }
            if let Some(site) = variance.iter().position(|v| !(v.is_finite() && *v > 0.0)) {
                return Err(FitError::Variance {
                    site,
                    found: variance[site],
                });
            }
        }
        if n < need {
            return Err(FitError::TooFewSites { found: n, need });
        }
        Ok(())
    }

    /// First pair of equal sites, in the order of the lower index.
    pub(crate) fn coincident(&self) -> Option<(usize, usize)> {
        // Adding 0 makes −0 equal to +0 under `total_cmp`.
        let key = |i: usize| self.sites[i].map(|v| v + 0.0);
        let order = |a: usize, b: usize| {
            let (a, b) = (key(a), key(b));
            (a[0].total_cmp(&b[0]))
                .then(a[1].total_cmp(&b[1]))
                .then(a[2].total_cmp(&b[2]))
        };
        let mut sorted: Vec<usize> = (0..self.sites.len()).collect();
        sorted.sort_by(|&a, &b| order(a, b)); // stable: equal sites keep their order
        sorted
            .windows(2)
            .filter(|pair| order(pair[0], pair[1]).is_eq())
            .map(|pair| (pair[0], pair[1]))
            .min()
    }
}

/// Squared Euclidean distance.
pub(crate) fn squared_distance(a: [f64; 3], b: [f64; 3]) -> f64 {
    let d = [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
    d[0] * d[0] + d[1] * d[1] + d[2] * d[2]
}

/// Diagonal of the sites' bounding box.
pub(crate) fn diagonal(sites: &[[f64; 3]]) -> f64 {
    let side = |c: usize| {
        let low = sites.iter().map(|s| s[c]).fold(f64::INFINITY, f64::min);
        let high = sites.iter().map(|s| s[c]).fold(f64::NEG_INFINITY, f64::max);
        high - low
    };
    (0..3).map(|c| side(c).powi(2)).sum::<f64>().sqrt()
}

/// The error that names them.
pub(crate) fn singular(sites: &[[f64; 3]]) -> FitError {
    let (first, second, distance) = closest_pair(sites);
    FitError::Singular {
        first,
        second,
        distance,
    }
}

/// The two closest sites and their distance; for error messages, so the O(n²) search is affordable.
pub(crate) fn closest_pair(sites: &[[f64; 3]]) -> (usize, usize, f64) {
    let mut best = (0, 0, f64::INFINITY);
    for (i, a) in sites.iter().enumerate() {
        for (j, b) in sites.iter().enumerate().skip(i + 1) {
            let squared = squared_distance(*a, *b);
            if squared < best.2 {
                best = (i, j, squared);
            }
        }
    }
    (best.0, best.1, best.2.sqrt())
}
