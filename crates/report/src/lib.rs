//! evenstep report.
