//! Regenerates the files of the repository that are made by a command: `cargo run -p xtask -- patches`,
//! `cargo run -p xtask -- luts` and `cargo run --release -p xtask -- luts-table`.

use anyhow::bail;

fn main() -> anyhow::Result<()> {
    match std::env::args().nth(1).as_deref() {
        Some("patches") => xtask::patches::write(),
        Some("luts") => xtask::luts::write(),
        Some("luts-table") => xtask::luts::write_table(),
        _ => bail!("say what to regenerate: patches, luts or luts-table"),
    }
}
