//! Regenerates the files of the repository that are made by a command: `cargo run -p xtask -- patches` and
//! `cargo run -p xtask -- luts`.

use anyhow::bail;

fn main() -> anyhow::Result<()> {
    match std::env::args().nth(1).as_deref() {
        Some("patches") => xtask::patches::write(),
        Some("luts") => xtask::luts::write(),
        _ => bail!("say what to regenerate: patches or luts"),
    }
}
