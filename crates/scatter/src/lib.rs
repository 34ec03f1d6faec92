//! Scattered-data interpolation of maps R³ → R³; knows nothing of colour.
//!
//! A scheme ([`Scheme`], or [`Rbf`] with its polynomial degree spelled out) holds parameters
//! only. Fitting it to [`Sites`] gives an [`Interpolant`], which can be evaluated, with its
//! Jacobian, from many threads at once. [`Scheme::leave_one_out`] predicts every site from the
//! others without refitting, for choosing a scheme and its smoothing.
//!
//! ```
//! use evenstep_scatter::{Scheme, Sites};
//!
//! let sites = [[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [0.4, 0.5, 0.6]];
//! let values = sites.map(|[r, g, b]| [2.0 * r, g - b, 1.0]);
//! let scheme: Scheme = "rbf-thin-plate".parse()?;
//! let fitted = scheme.fit(Sites::new(&sites, &values), 0.0)?;
//! let [x, y, z] = fitted.eval([0.2, 0.3, 0.1]);
//! assert!((x - 0.4).abs() < 1e-12 && (y - 0.2).abs() < 1e-12 && (z - 1.0).abs() < 1e-12);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod cholesky;
mod coverage;
mod delaunay_linear;
mod descent;
mod distinct;
mod error;
mod interpolant;
mod kernel;
mod kernel_sum;
mod kriging;
mod lattice_regression;
mod leave_one_out;
mod local_rbf;
mod moving_least_squares;
mod natural_neighbour;
mod nearest;
mod neighbours;
mod polyhedron;
mod polynomial;
mod projection;
mod quadratic_shepard;
mod radial;
mod rbf;
mod scheme;
mod shepard;
mod sibson;
mod sites;
mod smoothing;
mod span;
mod sparse;
mod spec;
mod spectrum;
mod triangulation;

pub use cholesky::Cholesky;
pub use coverage::Coverage;
pub use delaunay_linear::{DelaunayLinear, DelaunayLinearInterpolant};
pub use error::FitError;
pub use interpolant::Interpolant;
pub use kernel::Kernel;
pub use kriging::{AnovaSum, AnovaTable, Estimate, Kriging, KrigingInterpolant, Smoothness};
pub use lattice_regression::{LatticeInterpolant, LatticeRegression, Penalty};
pub use leave_one_out::LeaveOneOut;
pub use local_rbf::{LocalRbf, LocalRbfInterpolant};
pub use moving_least_squares::{MovingLeastSquares, MovingLeastSquaresInterpolant};
pub use natural_neighbour::{NaturalNeighbour, NaturalNeighbourInterpolant};
pub use nearest::Nearest;
pub use quadratic_shepard::QuadraticShepard;
pub use rbf::{Rbf, RbfInterpolant};
pub use scheme::Scheme;
pub use shepard::Shepard;
pub use sites::Sites;
pub use smoothing::{Rule, Selected};
pub use spec::SchemeError;
