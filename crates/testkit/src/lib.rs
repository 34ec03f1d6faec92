//! evenstep testkit.
