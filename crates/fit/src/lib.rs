//! From readings to a correction: the target settled, each node inverted through the forward model, the lattice
//! filled.
//!
//! Must not know about files, terminals or what an audit would say.

mod base_correction;
mod build;
mod gamut;
mod gradation;
mod invert;
mod lattice;
mod range;
mod report;
mod request;

pub use base_correction::{BaseCorrection, CurvesAndMatrix};
pub use build::{
    Fit, FitFailure, FitOptions, Modelled, Solve, examine, fit, fit_with_model, model, noise_of,
};
pub use evenstep_lut::CodeRange;
pub use gamut::{Gamut, UNREACHABLE_ITP};
pub use gradation::GradationReport;
pub use invert::{Inversion, Inverter};
pub use lattice::{Filled, NodeSolver, fill_lattice};
pub use range::InSignal;
pub use report::{FitReport, GamutReport, NoiseReport, PatchesReport, TargetReport};
pub use request::{Black, BlackColour, Peak, Settled, TargetRequest, White};
