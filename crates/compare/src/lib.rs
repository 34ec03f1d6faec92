//! evenstep compare.
