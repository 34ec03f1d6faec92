//! evenstep scatter.
