//! Audits the gradation of a correction: its lattice, its ramps on a known panel or alone, and a verdict.
//!
//! Definitions, sources and limits of every figure are in `docs/methods/audit.md`; the JSON is described in
//! `docs/methods/json.md`. Must not know about files, fitting or terminals: maps in, figures out.
//!
//! ```
//! use evenstep_audit::{AuditOptions, Load, Subject, audit};
//! use evenstep_lut::{Evaluation, Lut, Lut3d};
//!
//! let lut = Lut::from(Lut3d::identity(17));
//! let correction = lut.evaluated(Evaluation::Tetrahedral);
//! let report = audit(&Subject::of_lut(&correction, &lut), &AuditOptions::default(), None);
//! assert_eq!(report.ramps[0].figures.reversed_steps, 0);
//! // Without readings nothing better can be said.
//! assert_eq!(report.verdict.to_string(), "load with care: panel unknown");
//! ```

mod against;
mod audit;
mod banding;
mod bump;
mod carried;
mod cells;
mod context;
mod curves;
mod evaluation;
mod figures;
mod fold_depth;
mod folds;
mod in_depth;
mod lattice;
mod light;
mod margin;
mod neighbours;
mod node_figures;
mod noise_gain;
mod picture_bands;
mod places;
mod plateau;
mod ramp_nodes;
mod reason;
mod regions;
mod report;
mod reversal;
mod roughness;
mod scales;
mod threshold_file;
pub mod thresholds;
mod traces;
mod trend;
mod unevenness;
mod verdict;
mod viewing;
mod walk;
mod walked;
mod why;
mod worst;

pub use against::Effect;
pub use audit::{AuditOptions, audit};
pub use banding::{Luma, banding_index};
pub use context::{AuditTarget, PanelContext, ReadingFacts, Subject};
pub use curves::{CurvesReport, FirstFall};
pub use evaluation::{Apart, EvaluationSensitivity};
pub use evenstep_lut::{
    BitDepth, CodeRange, CodeScale, FOLIAGE_END, Ramp, RampError, Region, Regions, SKIN_END,
    SKY_END, Walk,
};
pub use figures::{FloorFigures, RampFigures};
pub use folds::{COLLAPSED, Folds};
pub use lattice::{LocalStepVariance, NeighbourSteps, SecondDifference};
pub use margin::{Margin, VISIBILITY_SCALE};
pub use neighbours::Neighbours26;
pub use node_figures::{is_clipped, node_signal};
pub use noise_gain::{NoiseGain, NoiseGrey};
pub use picture_bands::{CompressedBands, PictureBands, PictureReport, PreparedPicture};
pub use places::{Place, RampPlaces, RampSearch};
pub use ramp_nodes::nodes_on_ramps;
pub use reason::VerdictReason;
pub use regions::RegionFigures;
pub use report::{
    AuditReport, Distance, EndPoints, LatticeReport, MeasuredOn, NearBlack, RampReport,
    ReferenceRamp, References, RoundedFigures, SCHEMA,
};
pub use roughness::Roughness;
pub use threshold_file::{
    ReasonedThresholds, THRESHOLDS_SCHEMA, ThresholdFileError, parse_thresholds, thresholds_text,
};
pub use thresholds::{LIMITS, Limit, LimitError, Thresholds};
pub use traces::{
    ColourTrace, LightTrace, Miss, PLANE_SIDE, PlaneTrace, RampTrace, Traces, neutral_trace, traces,
};
pub use verdict::{Load, Verdict};
pub use viewing::{ParseViewingError, Viewing};
pub use walk::Span;
pub use why::Why;
pub use worst::WorstPlace;
