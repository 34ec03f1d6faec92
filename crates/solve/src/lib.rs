//! Node values of a 3D lattice as unknowns: penalised least squares, and the linear conditions under which its ramps
//! cannot fall, held exactly on integer codes.
//!
//! Must not know what the values mean: no panels, no colours, no files.

mod conjugate;
mod grid;
mod held;
mod isotonic;
mod penalised;
mod rising;
mod roughness;

pub use grid::Grid;
pub use held::{Moving, smooth_held};
pub use penalised::{Penalised, Solved};
pub use rising::{Broken, Chain, Link, broken, chains, round_rising};
pub use roughness::add_roughness;
