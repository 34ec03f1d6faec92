//! What a panel shows: targets, forward models fitted to readings, and simulated panels.
//!
//! Must not know about LUT files, audits or terminals.

mod panel;

pub use panel::PanelModel;
