//! evenstep audit.
