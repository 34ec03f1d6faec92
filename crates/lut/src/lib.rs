//! Correction LUTs: 1D curves and 3D lattices, how they are evaluated, and the text formats they travel in.
//!
//! Must not know about panels, readings or colour spaces: a LUT maps three signals to three drives.
//!
//! ```
//! use evenstep_lut::{Correction, Evaluation, Lut, Lut3d};
//!
//! let dimmer = Lut3d::from_fn(17, |signal| signal.map(|v| 0.9 * v));
//! let lut = Lut::from(dimmer);
//! let drive = lut.evaluated(Evaluation::Tetrahedral).drive([1.0, 0.5, 0.0]);
//! assert!((drive[1] - 0.45).abs() < 1e-12);
//! ```

mod axis;
mod codes;
mod correction;
mod error;
mod evaluation;
pub mod format;
mod lattice;
mod lut;
mod lut1d;
mod lut3d;
mod packed;
pub mod process;
mod ramp;
mod regions;
mod tetrahedra;
mod weights;

pub use codes::{BitDepth, CodeRange, CodeScale};
pub use correction::Correction;
pub use error::LutError;
pub use evaluation::{Evaluation, ParseEvaluationError};
pub use lut::{EvaluatedLut, Lut};
pub use lut1d::Lut1d;
pub use lut3d::{Lut3d, compose};
pub use packed::{Code, CodeLut, Offsets, PackedLut, TILE};
pub use ramp::{FOLIAGE_END, NEAR_BLACK, Ramp, RampError, SKIN_END, SKY_END, Walk};
pub use regions::{Region, Regions};
pub use tetrahedra::{TETRAHEDRON_CORNERS, tetrahedron_volumes};
pub use weights::node_weights;
