//! evenstep fit.
