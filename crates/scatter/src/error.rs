//! What can be wrong with a set of sites.

use crate::Kernel;

/// Why a scheme could not be fitted.
///
/// Indices count from 0 in the order of the sites given.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum FitError {
    /// Fewer sites than the polynomial part has coefficients.
    #[error(
        "{found} sites, but this scheme needs at least {need}; add sites or use a scheme of lower degree"
    )]
    TooFewSites {
        /// Sites given.
        found: usize,
        /// Least number the scheme works with.
        need: usize,
    },
    /// More sites than the search tree can number.
    #[error("{found} sites are too many for a search tree; use a subset below 2³²")]
    TooManySites {
        /// Sites given.
        found: usize,
    },
    /// Sites, values and variances do not have the same length.
    #[error("{sites} sites, but {found} {what}; give one for each site")]
    Length {
        /// Number of sites.
        sites: usize,
        /// What was counted: values or relative variances.
        what: &'static str,
        /// How many there were.
        found: usize,
    },
    /// A coordinate or a value is infinite or not a number.
    #[error("site {site}: its {what} is not finite; remove the site or correct it")]
    NotFinite {
        /// Index of the site.
        site: usize,
        /// Position or value.
        what: &'static str,
    },
    /// A relative variance that is zero, negative or not finite.
    #[error("site {site}: relative variance {found} must be finite and above 0")]
    Variance {
        /// Index of the site.
        site: usize,
        /// The variance given.
        found: f64,
    },
    /// Smoothing that is negative or not finite.
    #[error("smoothing {found} must be finite and at least 0")]
    Smoothing {
        /// The smoothing given.
        found: f64,
    },
    /// A polynomial degree the kernel cannot be solved with, or one that is not implemented.
    #[error("degree {found} does not fit the {kernel} kernel; use {least} to {most}")]
    Degree {
        /// The kernel.
        kernel: Kernel,
        /// The degree asked for.
        found: i8,
        /// Lowest degree that makes the system solvable.
        least: i8,
        /// Highest degree implemented.
        most: i8,
    },
    /// A shape that is not above 0, or given to a kernel that has none.
    #[error("shape {found} does not fit the {kernel} kernel; {need}")]
    Shape {
        /// The kernel.
        kernel: Kernel,
        /// The shape given.
        found: f64,
        /// What is wanted instead.
        need: &'static str,
    },
    /// A correlation length that is not above 0.
    #[error("correlation length {found} must be finite and above 0, in the units of the sites")]
    CorrelationLength {
        /// The length given.
        found: f64,
    },
    /// A lattice that is too coarse or too fine.
    #[error("{found} nodes along an axis; use {least} to {most}")]
    Nodes {
        /// The number given.
        found: usize,
        /// Fewest.
        least: usize,
        /// Most.
        most: usize,
    },
    /// Two sites are equal and smoothing is 0, so that no function can pass through both.
    #[error("sites {first} and {second} coincide; average them, or use a smoothing above 0")]
    Coincident {
        /// Index of the first of the two.
        first: usize,
        /// Index of the second.
        second: usize,
    },
    /// The polynomial part is not determined, as when all sites lie in one plane.
    #[error(
        "the sites do not determine a polynomial of degree {degree}, as when all lie on one plane or line; \
         spread them in all three coordinates or use a scheme of lower degree"
    )]
    Degenerate {
        /// Degree of the polynomial part.
        degree: i8,
    },
    /// Rounding makes the kernel matrix singular, mostly because two sites nearly coincide.
    #[error(
        "the system is singular in double precision; the closest sites are {first} and {second}, \
         {distance:.3e} apart; average them, use a larger smoothing, or a kernel of narrower shape"
    )]
    Singular {
        /// Index of one of the two closest sites.
        first: usize,
        /// Index of the other.
        second: usize,
        /// Their distance, in the units of the sites.
        distance: f64,
    },
    /// The eigenvalue iteration of the closed-form leave-one-out did not converge.
    #[error(
        "the eigenvalue iteration did not converge; the values or variances span too many orders of magnitude"
    )]
    Eigenvalues,
    /// A rule that this scheme has no figures for.
    #[error(
        "this scheme chooses its smoothing by leave-one-out only; ask for that, or give a number"
    )]
    Rule,
    /// No candidate of the smoothing has a finite score.
    #[error("no smoothing among those tried gives a finite score; give candidates above 0")]
    NoSmoothing,
    /// A covariance that is not positive definite to double precision.
    #[error(
        "the covariance of the sites is not positive definite; look for readings that are not finite"
    )]
    Indefinite,
    /// Without this site the others no longer determine the interpolant.
    #[error(
        "without site {site} the others do not determine the interpolant; add sites near it for leave-one-out"
    )]
    Indispensable {
        /// Index of the site.
        site: usize,
    },
}
