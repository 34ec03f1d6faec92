//! Correction LUTs: 1D curves and 3D lattices, how they are evaluated, and the text formats they travel in.
//!
//! Must not know about panels, readings or colour spaces: a LUT maps three signals to three drives.
