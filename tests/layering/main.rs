//! Rules of the workspace that no compiler checks: which crate may depend on which, and what no file may hold.

mod house;
mod layers;

use std::path::{Path, PathBuf};

/// The root of the workspace.
fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}
