//! The schemes by their command-line names.

use std::fmt;
use std::str::FromStr;

use crate::{FitError, Interpolant, Kernel, LeaveOneOut, Nearest, Rbf, Shepard, Sites};

/// A scattered-data scheme with its usual parameters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Scheme {
    /// [`Nearest`].
    Nearest,
    /// [`Shepard`].
    Shepard,
    /// [`Rbf`] with [`Kernel::Linear`], degree 0.
    RbfLinear,
    /// [`Rbf`] with [`Kernel::ThinPlate`], degree 1.
    RbfThinPlate,
    /// [`Rbf`] with [`Kernel::Cubic`], degree 1.
    RbfCubic,
}

impl Scheme {
    /// Every scheme, in the order of listings.
    pub const ALL: [Self; 5] = [
        Self::Nearest,
        Self::Shepard,
        Self::RbfLinear,
        Self::RbfThinPlate,
        Self::RbfCubic,
    ];

    /// The name on the command line.
    pub fn name(self) -> &'static str {
        match self {
            Self::Nearest => "nearest",
            Self::Shepard => "shepard",
            Self::RbfLinear => "rbf-linear",
            Self::RbfThinPlate => "rbf-thin-plate",
            Self::RbfCubic => "rbf-cubic",
        }
    }

    /// Whether smoothing and relative variances have an effect.
    pub fn uses_smoothing(self) -> bool {
        self.rbf().is_some()
    }

    /// Fits the scheme; [`Scheme::Nearest`] and [`Scheme::Shepard`] ignore the smoothing.
    ///
    /// # Errors
    /// As stated by the scheme: [`Rbf::fit`], [`Nearest::fit`], [`Shepard::fit`].
    pub fn fit(&self, data: Sites<'_>, smoothing: f64) -> Result<Box<dyn Interpolant>, FitError> {
        Ok(match (self, self.rbf()) {
            (_, Some(rbf)) => Box::new(rbf.fit(data, smoothing)?),
            (Self::Nearest, _) => Box::new(Nearest::fit(data)?),
            _ => Box::new(Shepard::fit(data)?),
        })
    }

    /// Residuals of each site predicted from the others, for each smoothing value.
    ///
    /// Schemes that ignore smoothing give the same residuals for every value.
    ///
    /// # Errors
    /// As stated by the scheme: [`Rbf::leave_one_out`], [`Nearest::leave_one_out`],
    /// [`Shepard::leave_one_out`].
    pub fn leave_one_out(
        &self,
        data: Sites<'_>,
        smoothings: &[f64],
    ) -> Result<Vec<LeaveOneOut>, FitError> {
        match (self, self.rbf()) {
            (_, Some(rbf)) => rbf.leave_one_out(data, smoothings),
            (Self::Nearest, _) => Nearest::leave_one_out(data, smoothings),
            _ => Shepard::leave_one_out(data, smoothings),
        }
    }

    fn rbf(self) -> Option<Rbf> {
        match self {
            Self::Nearest | Self::Shepard => None,
            Self::RbfLinear => Some(Rbf::new(Kernel::Linear)),
            Self::RbfThinPlate => Some(Rbf::new(Kernel::ThinPlate)),
            Self::RbfCubic => Some(Rbf::new(Kernel::Cubic)),
        }
    }
}

impl fmt::Display for Scheme {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

/// A name that is none of [`Scheme::ALL`].
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "no scheme is called {0:?}; use one of nearest, shepard, rbf-linear, rbf-thin-plate, rbf-cubic"
)]
pub struct UnknownScheme(pub String);

impl FromStr for Scheme {
    type Err = UnknownScheme;

    fn from_str(name: &str) -> Result<Self, UnknownScheme> {
        Self::ALL
            .into_iter()
            .find(|kind| kind.name() == name)
            .ok_or_else(|| UnknownScheme(name.to_owned()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_round_trip_and_the_message_lists_all() {
        let message = "spline".parse::<Scheme>().unwrap_err().to_string();
        for kind in Scheme::ALL {
            assert_eq!(kind.to_string().parse(), Ok(kind));
            assert!(message.contains(kind.name()), "{message}");
        }
    }
}
