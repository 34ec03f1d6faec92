//! Two corrections side by side on one panel: how far their colours are apart, what each does to gradation,
//! whether the difference is beyond noise, where it hurts and which patches to read next.
//!
//! Must not know about files or terminals.

mod colour;
mod dense;
mod gradation;
mod luts;
mod places;
mod redraw;
mod report;
mod shaper_gain;
mod tour;

pub use colour::{ColourSummary, colour_between, colour_error};
pub use dense::{DenseComparison, DenseOptions, compare_dense};
pub use evenstep_fit::{NextPatch, Region, Regions};
pub use gradation::gradation_figures;
pub use luts::{LutPair, Seen, compare_luts, lut_traces};
pub use report::{CompareReport, CompareVerdict, GradationFigure, HarmPlace, Judge, Standing};
pub use shaper_gain::shaper_gain;
pub use tour::{Tour, TourOptions, TourRow, audit_fit, audit_fit_traced, dense_patches, tour};
