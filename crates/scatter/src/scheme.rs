//! The schemes behind one type, with their parameters.

use crate::smoothing::left_out_square;
use crate::{
    DelaunayLinear, FitError, Interpolant, Kernel, Kriging, LatticeRegression, LeaveOneOut,
    LocalRbf, MovingLeastSquares, NaturalNeighbour, Nearest, QuadraticShepard, Rbf, Rule, Selected,
    Shepard, Sites,
};

/// A scattered-data scheme with its parameters; written and read as `name:option,option`, see
/// [`Scheme::SPECS`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Scheme {
    /// [`Nearest`].
    Nearest,
    /// [`Shepard`].
    Shepard,
    /// [`QuadraticShepard`].
    QuadraticShepard,
    /// [`DelaunayLinear`].
    DelaunayLinear,
    /// [`NaturalNeighbour`].
    NaturalNeighbour,
    /// [`MovingLeastSquares`].
    MovingLeastSquares(MovingLeastSquares),
    /// [`Rbf`].
    Rbf(Rbf),
    /// [`LocalRbf`].
    RbfLocal(LocalRbf),
    /// [`Kriging`].
    Kriging(Kriging),
    /// [`LatticeRegression`].
    LatticeRegression(LatticeRegression),
}

impl Scheme {
    /// [`Rbf`] with [`Kernel::Linear`], degree 0.
    pub const RBF_LINEAR: Self = Self::Rbf(Rbf::new(Kernel::Linear));
    /// [`Rbf`] with [`Kernel::ThinPlate`], degree 1.
    pub const RBF_THIN_PLATE: Self = Self::Rbf(Rbf::new(Kernel::ThinPlate));
    /// [`Rbf`] with [`Kernel::Cubic`], degree 1.
    pub const RBF_CUBIC: Self = Self::Rbf(Rbf::new(Kernel::Cubic));

    /// One scheme for every spec of [`Scheme::SPECS`], in its order.
    pub fn all() -> Vec<Self> {
        let parsed = |spec: &&str| spec.parse().ok();
        Self::SPECS.iter().filter_map(parsed).collect()
    }

    /// Whether smoothing and relative variances have an effect.
    pub fn uses_smoothing(self) -> bool {
        !matches!(
            self,
            Self::Nearest
                | Self::Shepard
                | Self::QuadraticShepard
                | Self::DelaunayLinear
                | Self::NaturalNeighbour
        )
    }

    /// Fits the scheme; those of which [`Scheme::uses_smoothing`] is false ignore the smoothing.
    ///
    /// # Errors
    /// As stated by the scheme.
    pub fn fit(&self, data: Sites<'_>, smoothing: f64) -> Result<Box<dyn Interpolant>, FitError> {
        Ok(match self {
            Self::Nearest => Box::new(Nearest::fit(data)?),
            Self::Shepard => Box::new(Shepard::fit(data)?),
            Self::QuadraticShepard => Box::new(QuadraticShepard::fit(data)?),
            Self::DelaunayLinear => Box::new(DelaunayLinear.fit(data)?),
            Self::NaturalNeighbour => Box::new(NaturalNeighbour.fit(data)?),
            Self::MovingLeastSquares(scheme) => Box::new(scheme.fit(data, smoothing)?),
            Self::Rbf(scheme) => Box::new(scheme.fit(data, smoothing)?),
            Self::RbfLocal(scheme) => Box::new(scheme.fit(data, smoothing)?),
            Self::Kriging(scheme) => Box::new(scheme.fit(data, smoothing)?),
            Self::LatticeRegression(scheme) => Box::new(scheme.fit(data, smoothing)?),
        })
    }

    /// Residuals of each site predicted from the others, for each smoothing value.
    ///
    /// Schemes that ignore smoothing give the same residuals for every value.
    ///
    /// # Errors
    /// As stated by the scheme.
    pub fn leave_one_out(
        &self,
        data: Sites<'_>,
        smoothings: &[f64],
    ) -> Result<Vec<LeaveOneOut>, FitError> {
        match self {
            Self::Nearest => Nearest::leave_one_out(data, smoothings),
            Self::Shepard => Shepard::leave_one_out(data, smoothings),
            Self::QuadraticShepard => QuadraticShepard::leave_one_out(data, smoothings),
            Self::DelaunayLinear => DelaunayLinear.leave_one_out(data, smoothings),
            Self::NaturalNeighbour => NaturalNeighbour.leave_one_out(data, smoothings),
            Self::MovingLeastSquares(scheme) => scheme.leave_one_out(data, smoothings),
            Self::Rbf(scheme) => scheme.leave_one_out(data, smoothings),
            Self::RbfLocal(scheme) => scheme.leave_one_out(data, smoothings),
            Self::Kriging(scheme) => scheme.leave_one_out(data, smoothings),
            Self::LatticeRegression(scheme) => scheme.leave_one_out(data, smoothings),
        }
    }

    /// Chooses the smoothing among candidates; a scheme without smoothing takes 0 and scores nothing.
    ///
    /// # Errors
    /// As stated by the scheme.
    pub fn select(
        &self,
        data: Sites<'_>,
        rule: Rule,
        candidates: &[f64],
    ) -> Result<Selected, FitError> {
        match self {
            Self::Rbf(scheme) => scheme.select(data, rule, candidates),
            Self::Kriging(scheme) => scheme.select(data, rule, candidates),
            _ if !self.uses_smoothing() => Ok(Selected::unscored(0.0)),
            _ => self.select_by_leaving_out(data, rule, candidates),
        }
    }

    /// For schemes whose smoother has no spectrum at hand.
    fn select_by_leaving_out(
        &self,
        data: Sites<'_>,
        rule: Rule,
        candidates: &[f64],
    ) -> Result<Selected, FitError> {
        match rule {
            Rule::Given(smoothing) => Ok(Selected::unscored(smoothing)),
            Rule::LeaveOneOut => {
                let left_out = self.leave_one_out(data, candidates)?;
                let scored = left_out
                    .iter()
                    .map(|one| (one.smoothing, left_out_square(data, one)));
                Selected::best(scored.collect())
            }
            _ => Err(FitError::Rule),
        }
    }
}
