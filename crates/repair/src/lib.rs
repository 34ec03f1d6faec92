//! Repairs LUTs: finds reversals, plateaus, stair-steps, bumps, folds and, on a known panel, tint, and removes them with a
//! small change of colour. What is right is not touched.
//!
//! The method, its limits and what it costs are in `docs/methods/repair.md`. Must not know about files or terminals.
//!
//! ```
//! use evenstep_audit::AuditOptions;
//! use evenstep_lut::{Lut, Lut3d};
//! use evenstep_repair::repair;
//!
//! let mut lattice = Lut3d::identity(9);
//! let dip = lattice.index(4, 4, 4);
//! lattice.nodes_mut()[dip] = [0.3; 3];
//! let repaired = repair(&Lut::from(lattice), &AuditOptions::default(), None, "")?;
//! assert!(repaired.report.faults_after.is_empty());
//! assert!(repaired.report.nodes_changed < 20);
//! # Ok::<(), evenstep_repair::RepairError>(())
//! ```

mod cells;
mod cost;
mod error;
mod fault;
mod nominal;
mod repair;
mod search;
mod smooth;
mod stairs;

pub use cost::Cost;
pub use error::RepairError;
pub use fault::{Fault, FaultKind, SizeUnit};
pub use nominal::NominalPanel;
pub use repair::{RepairReport, Repaired, repair};
