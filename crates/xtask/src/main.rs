//! Regenerates the files of the repository that are made by a command: `cargo run -p xtask -- patches`.

mod patches;

use anyhow::bail;

fn main() -> anyhow::Result<()> {
    match std::env::args().nth(1).as_deref() {
        Some("patches") => patches::write(),
        _ => bail!("say what to regenerate: patches"),
    }
}
