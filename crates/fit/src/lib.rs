//! From readings to a correction: the target settled, each node inverted through the forward model, the lattice
//! filled.
//!
//! Must not know about files, terminals or what an audit would say.

mod assess;
mod base_correction;
mod build;
mod confidence;
mod gamut;
mod gradation;
mod invert;
mod lattice;
mod left_out;
mod next_patches;
mod patch_misses;
mod range;
mod report;
mod request;
mod shaper;
mod through;

pub use base_correction::{BaseCorrection, CurvesAndMatrix};
pub use build::{
    Fit, FitFailure, FitOptions, Modelled, Solve, examine, fit, fit_with_model, model, noise_of,
};
pub use confidence::{Band, Doubt};
pub use evenstep_lut::CodeRange;
pub use evenstep_lut::{Region, Regions};
pub use gamut::{Gamut, UNREACHABLE_ITP};
pub use gradation::GradationReport;
pub use invert::{Inversion, Inverter};
pub use lattice::{Filled, NodeSolver, fill_lattice};
pub use left_out::refitted;
pub use next_patches::{NextPatch, most_missed, next_patches};
pub use patch_misses::{PatchMiss, patch_misses};
pub use range::InSignal;
pub use report::{
    FitReport, GamutReport, NoiseReport, PatchesReport, ShaperFigures, ShaperReport, TargetReport,
};
pub use request::{Black, BlackColour, Peak, Settled, TargetRequest, White};
pub use shaper::{Shaped, Shaper};
pub use through::through;
