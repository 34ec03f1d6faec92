//! What a panel shows: targets, forward models fitted to readings, and simulated panels.
//!
//! Must not know about LUT files, audits or terminals.

mod at_floor;
mod banded;
mod base;
mod choice;
mod curve;
mod encoding;
mod halves;
mod model;
mod outliers;
mod panel;
mod rough;
mod simulated;
mod smoothing;
mod structured;
mod target;

pub use at_floor::{AtFloor, without_floor};
pub use base::{BaseError, BaseModel, FEWEST_LEVELS};
pub use choice::{
    Choice, ChosenModel, LeaveOneOutError, ModelError, RunnerUp, choose_model, fit_residual,
    model_error, panel_white,
};
pub use curve::{Level, ToneCurve};
pub use encoding::{Encoding, PQ_TOE_CD_M2};
pub use halves::halves;
pub use model::{Form, ForwardModel, Structure};
pub use outliers::Outlier;
pub use panel::PanelModel;
pub use simulated::{Disturbance, SimulatedPanel, simulate};
pub use smoothing::SmoothingChoice;
pub use structured::{Scales, Sharing, StructuredModel};
pub use target::{ParseTransferError, Target, Transfer};
