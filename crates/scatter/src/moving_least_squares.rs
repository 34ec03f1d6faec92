//! A polynomial fitted anew at every point, with weights that decay with the distance.

use nalgebra::{Cholesky, Const, Matrix3, SMatrix, SVector};
use rayon::prelude::*;

use crate::neighbours::Neighbours;
use crate::sites::{diagonal, squared_distance};
use crate::span::Span;
use crate::{FitError, Interpolant, LeaveOneOut, Sites};

/// A site's radius is the distance to the nearest other site but this many. Our choice: the axis neighbours of a lattice.
const RADIUS_NEIGHBOUR: usize = 6;

/// Others nearer than this share of the diagonal of the sites' bounding box are the same place read again: they do not
/// count for the radius, which repeated readings would shrink to nothing. Our choice: a quarter of an 8-bit step.
const SAME_PLACE: f64 = 5e-4;

/// What is added to every smoothing: an isolated site is met to this share, times the others' weights, of its distance
/// from their polynomial, and sites that coincide count as their mean. Our choice: below any reading's digits.
const FLOOR: f64 = 1e-12;

/// Added to the unit diagonal of the scaled system, so that rounding never makes it indefinite.
const RIDGE: f64 = 1e-14;

/// Moving least squares: at every point x the polynomial of the degree that minimises
/// Σ wᵢ(x) (p(xᵢ) − fᵢ)², wᵢ(x) = 1 / (λ vᵢ + 10⁻¹² + (|x − xᵢ| / hᵢ)^2q), is evaluated at x.
///
/// To choose for a smooth map of moderate n without a large system. The weights are the inverse of what the square of
/// (p(xᵢ) − fᵢ) may be: noise, and the part of the map that a polynomial at x does not describe, which grows with the
/// distance. hᵢ, the distance from xᵢ to the sixth nearest site at another place, makes a ramp's many sites count as much as the
/// few of the interior. As every weight is above 0 and smooth, the map is smooth everywhere, outside the hull too.
///
/// | parameter | default | range |
/// | --- | --- | --- |
/// | `degree` | 1 | 1 or 2; q = degree + 2 |
///
/// Never ill-posed: on a line, in a plane or with few sites the polynomial has no part that the sites do not determine.
/// Smoothing λ is a noise variance in units of the squared error of a polynomial at distance hᵢ; 0 interpolates to
/// about 10⁻⁹ of that error, the mean where sites coincide. Sites close together that disagree make a steep slope about
/// them, as in any smooth interpolation: a smoothing above 0 removes it.
///
/// Cost: n log n to fit, 2 n (m + 3)² operations a point with m = 3 or 9.
///
/// # Source
/// Lancaster & Salkauskas (1981): the method and its singular weights. The form of the weights is our choice.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct MovingLeastSquares {
    /// Degree of the polynomials, 1 or 2; others count as the nearer one.
    pub degree: i8,
}

impl MovingLeastSquares {
    /// Degree 1.
    pub const DEFAULT: Self = Self { degree: 1 };

    /// Computes the radii.
    ///
    /// # Errors
    /// [`FitError::Length`], [`FitError::NotFinite`], [`FitError::Variance`], [`FitError::Smoothing`],
    /// [`FitError::TooFewSites`] without any site.
    pub fn fit(
        &self,
        data: Sites<'_>,
        smoothing: f64,
    ) -> Result<MovingLeastSquaresInterpolant, FitError> {
        check(data, smoothing, 1)?;
        let radii = Radii::new(data.sites)?;
        Ok(self.with_radii(data, smoothing, &radii, None))
    }

    /// Each site predicted from all others: n fits and n evaluations for each smoothing, n² m² operations. What counts as
    /// the same place is taken from all sites.
    ///
    /// # Errors
    /// Those of [`MovingLeastSquares::fit`]; two sites are needed.
    pub fn leave_one_out(
        &self,
        data: Sites<'_>,
        smoothings: &[f64],
    ) -> Result<Vec<LeaveOneOut>, FitError> {
        for smoothing in smoothings {
            check(data, *smoothing, 2)?;
        }
        let radii = Radii::new(data.sites)?;
        let by_site: Vec<Vec<[f64; 3]>> = (0..data.len())
            .into_par_iter()
            .map(|i| {
                let mut others = self.with_radii(data, 0.0, &radii, Some(i));
                let residual = smoothings.iter().map(|smoothing| {
                    others.smooth(*smoothing);
                    let predicted = others.eval(data.sites[i]);
                    std::array::from_fn(|k| data.values[i][k] - predicted[k])
                });
                residual.collect()
            })
            .collect();
        let one = |(s, smoothing): (usize, &f64)| LeaveOneOut {
            smoothing: *smoothing,
            residual: by_site.iter().map(|residual| residual[s]).collect(),
        };
        Ok(smoothings.iter().enumerate().map(one).collect())
    }

    fn with_radii(
        &self,
        data: Sites<'_>,
        smoothing: f64,
        radii: &Radii,
        without: Option<usize>,
    ) -> MovingLeastSquaresInterpolant {
        let kept = || (0..data.len()).filter(|i| Some(*i) != without);
        let sites: Vec<[f64; 3]> = kept().map(|i| data.sites[i]).collect();
        let site = |i: usize| Site {
            at: data.sites[i],
            value: data.values[i],
            variance: data.relative_variance.map_or(1.0, |v| v[i]),
            squared_radius: radii.squared(i, without),
        };
        let placed: Vec<Site> = kept().map(site).collect();
        let fits = if self.degree <= 1 {
            Fits::Linear(Local::new(Span::new(&sites), placed, smoothing))
        } else {
            Fits::Quadratic(Local::new(Span::new(&sites), placed, smoothing))
        };
        MovingLeastSquaresInterpolant { fits }
    }
}

fn check(data: Sites<'_>, smoothing: f64, need: usize) -> Result<(), FitError> {
    data.check(need)?;
    if !(smoothing.is_finite() && smoothing >= 0.0) {
        return Err(FitError::Smoothing { found: smoothing });
    }
    Ok(())
}

/// For each site its nearest others, so that a radius without any one of them is at hand.
struct Radii {
    /// One more than the radius needs: squared distance and index.
    nearest: Vec<Vec<(f64, usize)>>,
}

impl Radii {
    fn new(sites: &[[f64; 3]]) -> Result<Self, FitError> {
        let tree = Neighbours::new(sites)?;
        let same = (SAME_PLACE * diagonal(sites)).powi(2);
        let others = |i: usize| {
            let mut count = 2 * RADIUS_NEIGHBOUR;
            loop {
                let found = tree.nearest(sites[i], count, Some(i));
                let exhausted = found.len() < count;
                let squared = |j: usize| squared_distance(sites[i], sites[j]);
                let apart = found.into_iter().map(|j| (squared(j), j));
                let apart: Vec<(f64, usize)> = apart.filter(|(s, _)| *s > same).collect();
                if apart.len() > RADIUS_NEIGHBOUR || exhausted {
                    return apart;
                }
                count *= 2;
            }
        };
        Ok(Self {
            nearest: (0..sites.len()).into_par_iter().map(others).collect(),
        })
    }

    /// hᵢ²: to the sixth nearest, the last if there are fewer.
    fn squared(&self, i: usize, without: Option<usize>) -> f64 {
        let left = self.nearest[i].iter().filter(|(_, j)| Some(*j) != without);
        // All sites at one place: any radius gives their mean.
        left.take(RADIUS_NEIGHBOUR)
            .last()
            .map_or(1.0, |near| near.0)
    }
}

struct Site {
    at: [f64; 3],
    value: [f64; 3],
    variance: f64,
    squared_radius: f64,
}

/// A fitted [`MovingLeastSquares`].
pub struct MovingLeastSquaresInterpolant {
    fits: Fits,
}

enum Fits {
    Linear(Local<3>),
    Quadratic(Local<9>),
}

impl MovingLeastSquaresInterpolant {
    fn smooth(&mut self, smoothing: f64) {
        match &mut self.fits {
            Fits::Linear(local) => local.smoothing = smoothing,
            Fits::Quadratic(local) => local.smoothing = smoothing,
        }
    }
}

impl Interpolant for MovingLeastSquaresInterpolant {
    fn eval(&self, at: [f64; 3]) -> [f64; 3] {
        match &self.fits {
            Fits::Linear(local) => local.at(at).value(),
            Fits::Quadratic(local) => local.at(at).value(),
        }
    }

    fn eval_with_gradient(&self, at: [f64; 3]) -> ([f64; 3], Matrix3<f64>) {
        match &self.fits {
            Fits::Linear(local) => local.with_gradient(at),
            Fits::Quadratic(local) => local.with_gradient(at),
        }
    }
}

/// What the fits at all points share; R monomials beside the constant.
struct Local<const R: usize> {
    span: Span<R>,
    sites: Vec<Site>,
    /// ψ at the sites.
    terms: Vec<[f64; R]>,
    smoothing: f64,
}

/// The polynomial at a point: value of the nearest site + offset + slopes · (ψ − mean), all relative to the nearest site
/// so that nothing cancels where its weight is many orders above the others'.
struct Fitted<const R: usize> {
    nearest: usize,
    nearest_value: [f64; 3],
    weights: Vec<f64>,
    /// 1 / Σ w.
    share: f64,
    /// Weighted mean of ψ and f, less those of the nearest site.
    mean: SVector<f64, R>,
    offset: [f64; 3],
    /// Coefficients of ψ, a column an output.
    slopes: SMatrix<f64, R, 3>,
    /// M⁻¹ (ψ(x) − mean), M = Σ w (ψᵢ − mean)(ψᵢ − mean)ᵀ: how a site's slope part reaches x.
    reach: SVector<f64, R>,
    /// ψ(x) − mean.
    ahead: SVector<f64, R>,
}

impl<const R: usize> Fitted<R> {
    fn value(&self) -> [f64; 3] {
        std::array::from_fn(|k| {
            self.nearest_value[k] + (self.offset[k] + self.slopes.column(k).dot(&self.ahead))
        })
    }
}

impl<const R: usize> Local<R> {
    /// q: the weights fall with the distance to the power 2q, fast enough that the error of the polynomial, which grows
    /// with the power of the degree + 1, sums to a finite value in three dimensions.
    const FALL: i32 = if R == 3 { 3 } else { 4 };

    fn new(span: Span<R>, sites: Vec<Site>, smoothing: f64) -> Self {
        let terms = sites.iter().map(|site| span.values(site.at)).collect();
        Self {
            span,
            sites,
            terms,
            smoothing,
        }
    }

    /// 1 / w.
    fn spread(&self, at: [f64; 3], site: &Site) -> f64 {
        let s = squared_distance(at, site.at) / site.squared_radius;
        self.smoothing * site.variance + FLOOR + s.powi(Self::FALL)
    }

    fn at(&self, at: [f64; 3]) -> Fitted<R> {
        let (mut least, mut nearest) = (f64::INFINITY, 0);
        let mut weights: Vec<f64> = Vec::with_capacity(self.sites.len());
        for (i, site) in self.sites.iter().enumerate() {
            let spread = self.spread(at, site);
            if spread < least {
                (least, nearest) = (spread, i);
            }
            weights.push(1.0 / spread);
        }
        let (origin, value) = (self.terms[nearest], self.sites[nearest].value);
        let mut total = 0.0;
        let mut first = [0.0; R];
        let mut first_value = [0.0; 3];
        let mut second = [[0.0; R]; R];
        let mut cross = [[0.0; R]; 3];
        for (i, &w) in weights.iter().enumerate() {
            let psi: [f64; R] = std::array::from_fn(|j| self.terms[i][j] - origin[j]);
            let f: [f64; 3] = std::array::from_fn(|k| self.sites[i].value[k] - value[k]);
            total += w;
            for a in 0..R {
                let weighted = w * psi[a];
                first[a] += weighted;
                for b in 0..R {
                    second[a][b] += weighted * psi[b];
                }
            }
            for k in 0..3 {
                let weighted = w * f[k];
                first_value[k] += weighted;
                for a in 0..R {
                    cross[k][a] += weighted * psi[a];
                }
            }
        }
        let share = 1.0 / total;
        let mean = SVector::<f64, R>::from_fn(|a, _| first[a] * share);
        let offset = first_value.map(|f| f * share);
        let here = self.span.values(at);
        let ahead = SVector::<f64, R>::from_fn(|a, _| here[a] - origin[a] - mean[a]);
        let moments = SMatrix::<f64, R, R>::from_fn(|a, b| second[a][b] - first[a] * mean[b]);
        let right = SMatrix::<f64, R, 3>::from_fn(|a, k| cross[k][a] - first[a] * offset[k]);
        let normal = Normal::new(&moments);
        let mut fitted = Fitted {
            nearest,
            nearest_value: value,
            weights,
            share,
            mean,
            offset,
            slopes: normal.solve(&right),
            reach: normal.solve(&ahead),
            ahead,
        };
        let (offset, right) = self.left_over(&fitted);
        for (sum, more) in fitted.offset.iter_mut().zip(offset) {
            *sum += more;
        }
        fitted.slopes += normal.solve(&right);
        fitted
    }

    /// Sums of what a fit leaves at the sites, by which it is mended: Σ w e / Σ w, and Σ w (ψ − mean) eᵀ.
    ///
    /// The moments of sites near the edge of what determines the polynomial have the square of their condition; one step
    /// of refinement with the residual itself brings the error back to the condition's own.
    ///
    /// # Source
    /// Björck (1987): the corrected seminormal equations, there with the factor of an orthogonal decomposition (from
    /// memory).
    fn left_over(&self, fitted: &Fitted<R>) -> ([f64; 3], SMatrix<f64, R, 3>) {
        let origin = self.terms[fitted.nearest];
        let mut sum = [0.0; 3];
        let mut cross = SMatrix::<f64, R, 3>::zeros();
        for (i, &w) in fitted.weights.iter().enumerate() {
            let psi: [f64; R] =
                std::array::from_fn(|a| self.terms[i][a] - origin[a] - fitted.mean[a]);
            for (k, sum) in sum.iter_mut().enumerate() {
                let value = self.sites[i].value[k] - fitted.nearest_value[k];
                let slopes = fitted.slopes.column(k);
                let terms = psi.iter().zip(&slopes);
                let left = terms.fold(value - fitted.offset[k], |left, (p, s)| left - p * s);
                *sum += w * left;
                for (cross, p) in cross.column_mut(k).iter_mut().zip(&psi) {
                    *cross += w * left * p;
                }
            }
        }
        (sum.map(|s| s * fitted.share), cross)
    }

    /// ∇s = Σ c ∇ψ + Σ ℓᵢ eᵢ ∇ln wᵢ with the weight ℓᵢ = wᵢ (1 / Σ w + (ψᵢ − mean)ᵀ reach) of fᵢ in s and the residual
    /// eᵢ = fᵢ − p(xᵢ): from the derivative of the normal equations.
    fn with_gradient(&self, at: [f64; 3]) -> ([f64; 3], Matrix3<f64>) {
        let fitted = self.at(at);
        let mut jacobian = Matrix3::zeros();
        for (a, gradient) in self.span.gradients(at).iter().enumerate() {
            for output in 0..3 {
                for input in 0..3 {
                    jacobian[(output, input)] += fitted.slopes[(a, output)] * gradient[input];
                }
            }
        }
        let origin = self.terms[fitted.nearest];
        for (i, site) in self.sites.iter().enumerate() {
            let w = fitted.weights[i];
            let psi =
                SVector::<f64, R>::from_fn(|a, _| self.terms[i][a] - origin[a] - fitted.mean[a]);
            let share = w * (fitted.share + psi.dot(&fitted.reach));
            let s = squared_distance(at, site.at) / site.squared_radius;
            // ∇ln w = −w q s^(q−1) ∇s, ∇s = 2 (x − xᵢ) / hᵢ².
            let fall = -2.0 * f64::from(Self::FALL) * s.powi(Self::FALL - 1) * w;
            for output in 0..3 {
                let residual = (site.value[output] - fitted.nearest_value[output])
                    - fitted.offset[output]
                    - fitted.slopes.column(output).dot(&psi);
                for input in 0..3 {
                    let step = (at[input] - site.at[input]) / site.squared_radius;
                    jacobian[(output, input)] += share * residual * fall * step;
                }
            }
        }
        (fitted.value(), jacobian)
    }
}

/// The normal equations, scaled to a unit diagonal.
struct Normal<const R: usize> {
    /// 0 for a term that the sites do not determine, which is 0 at each of them: so is its coefficient.
    scale: SVector<f64, R>,
    /// `None` where the moments are not finite, because the point is not.
    factor: Option<Cholesky<f64, Const<R>>>,
}

impl<const R: usize> Normal<R> {
    fn new(moments: &SMatrix<f64, R, R>) -> Self {
        let scale = SVector::<f64, R>::from_fn(|a, _| {
            let square = moments[(a, a)];
            if square > 0.0 {
                1.0 / square.sqrt()
            } else {
                0.0
            }
        });
        let unit = SMatrix::<f64, R, R>::from_fn(|a, b| {
            if a == b {
                1.0 + RIDGE
            } else {
                moments[(a, b)] * scale[a] * scale[b]
            }
        });
        let factor = unit.cholesky();
        Self { scale, factor }
    }

    /// M⁻¹ right.
    fn solve<const C: usize>(&self, right: &SMatrix<f64, R, C>) -> SMatrix<f64, R, C> {
        let Some(factor) = &self.factor else {
            return SMatrix::repeat(f64::NAN);
        };
        let mut solved = *right;
        for mut column in solved.column_iter_mut() {
            column.component_mul_assign(&self.scale);
        }
        factor.solve_mut(&mut solved);
        for mut column in solved.column_iter_mut() {
            column.component_mul_assign(&self.scale);
        }
        solved
    }
}
