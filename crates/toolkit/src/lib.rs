//! Evenstep: display-correction LUTs from sparse readings, with gradation held above average colour error.
//!
//! # Scope
//! - [`readings`]: files of readings and patches, noise, fitness for a correction;
//! - [`display`]: targets, forward models of a panel, a simulated panel;
//! - [`scatter`]: scattered-data interpolation;
//! - [`fit`]: from readings and a target to a 3D LUT;
//! - [`lut`]: 1D and 3D LUTs, their evaluation and their files;
//! - [`audit`]: what a LUT does to ramps, and whether to load it;
//! - [`compare`]: two LUTs, or sparse against dense readings;
//! - [`repair`]: faults of a LUT removed with a small change of colour;
//! - [`study`]: schemes held against each other on panels whose truth is known;
//! - [`convert`]: LUT files of every format by one door, and from one to another;
//! - [`picture`]: PNG and TIFF files, a band of rows at a time;
//! - [`apply`]: pictures through LUTs;
//! - [`colour`]: colorimetry by published standards;
//! - [`report`]: JSON and text of all this; [`files`]: outputs written whole or not at all.
//!
//! # Not in scope
//! Driving instruments or screens, loading LUTs into a display, ICC profiles, video, and printing.
//! Nothing here reads a clock, the network or the environment: equal inputs give equal outputs.
//!
//! # Example
//! A correction for a simulated panel, and its audit:
//!
//! ```
//! use evenstep::audit::{AuditOptions, Subject, audit};
//! use evenstep::display::{Disturbance, SimulatedPanel, simulate};
//! use evenstep::fit::{FitOptions, fit};
//! use evenstep::lut::{Evaluation, Lut};
//! use evenstep::readings::{PatchRequest, merged};
//!
//! // Five greys, and every combination of three levels.
//! let level = |i: usize| i as f64 / 2.0;
//! let mut drives: Vec<[f64; 3]> = (0..5).map(|i| [i as f64 / 4.0; 3]).collect();
//! drives.extend((0..27).map(|i| [level(i / 9), level(i / 3 % 3), level(i % 3)]));
//! let patches: Vec<PatchRequest> = drives
//!     .into_iter()
//!     .enumerate()
//!     .map(|(i, drive)| PatchRequest { id: i.to_string(), drive })
//!     .collect();
//! let quiet = Disturbance { noise: 0.0, drift: 0.0, outliers: 0.0 };
//! let readings = merged(simulate(&SimulatedPanel::wrgb(), &patches, quiet, 1));
//!
//! let options = FitOptions { nodes: 5, ..FitOptions::default() };
//! let fitted = fit(&readings, &options, &|_, _| {})?;
//!
//! let lut = Lut::from(fitted.lut);
//! let report = audit(
//!     &Subject::of_lut(&lut.evaluated(Evaluation::Tetrahedral), &lut),
//!     &AuditOptions::default(),
//!     None,
//! );
//! println!("{}", report.verdict);
//! # Ok::<(), evenstep::fit::FitFailure>(())
//! ```

pub use evenstep_apply as apply;
pub use evenstep_audit as audit;
pub use evenstep_colour as colour;
pub use evenstep_compare as compare;
pub use evenstep_convert as convert;
pub use evenstep_display as display;
pub use evenstep_files as files;
pub use evenstep_fit as fit;
pub use evenstep_lut as lut;
pub use evenstep_picture as picture;
pub use evenstep_readings as readings;
pub use evenstep_repair as repair;
pub use evenstep_report as report;
pub use evenstep_scatter as scatter;
pub use evenstep_study as study;
