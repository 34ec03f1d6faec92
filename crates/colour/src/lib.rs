//! Colour science: tristimulus values, uniform spaces, colour differences, transfer functions and the
//! visibility of luminance steps.
//!
//! Must not know about files, panels, lattices or terminals: numbers in, numbers out.

mod tristimulus;

pub use tristimulus::{Chromaticity, Xyz};
