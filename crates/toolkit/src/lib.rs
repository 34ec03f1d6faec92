//! evenstep toolkit.
