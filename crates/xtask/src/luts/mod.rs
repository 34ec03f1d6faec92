//! The sample LUTs in `luts/`: identities, a good correction, specimens with one fault each, and the readings they
//! are audited with. `luts/README.md` describes them; `luts/expected.csv` says what the audit must find.

mod faults;
mod panel;
pub mod table;

use std::path::{Path, PathBuf};

use anyhow::Context as _;
use evenstep_files::write_atomic;
use evenstep_fit::{FitOptions, fit};
use evenstep_lut::format::cube;
use evenstep_lut::{Lut, Lut3d};
use evenstep_readings::{CgatsHeader, Readings, write_cgats_to};

pub use panel::{MildPanel, readings};

/// Decimals of node values in the files: a step of 1e-5 is less than a 16-bit code (1.5e-5), and 33³ nodes stay
/// under a mebibyte.
const DECIMALS: f64 = 1e5;

/// Depth the good correction is fitted with; [`DECIMALS`] is what rounds its file.
const NODE_BITS: u8 = 16;

/// A file of the folder.
pub struct Sample {
    /// Name in `luts/`.
    pub name: &'static str,
    /// The whole file.
    pub bytes: Vec<u8>,
    /// Whether the repository keeps it; too large a file is made by the command alone.
    pub is_kept: bool,
}

/// The folder `luts/` of the repository.
#[must_use]
pub fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../luts")
}

/// Writes every sample to `luts/`.
///
/// # Errors
/// What fitting or writing says.
pub fn write() -> anyhow::Result<()> {
    for sample in samples()? {
        let path = folder().join(sample.name);
        write_atomic(&path, true, |out| out.write_all(&sample.bytes))?;
    }
    Ok(())
}

/// Writes `luts/table.csv`.
///
/// # Errors
/// What modelling the panel or writing says.
pub fn write_table() -> anyhow::Result<()> {
    let text = table::csv()?;
    write_atomic(&folder().join("table.csv"), true, |out| {
        out.write_all(text.as_bytes())
    })?;
    Ok(())
}

/// Makes every file, in the order of the table in `luts/README.md`.
///
/// # Errors
/// What the fit of the good correction says.
pub fn samples() -> anyhow::Result<Vec<Sample>> {
    let readings = readings();
    let good_17 = good(&readings, 17)?;
    let good_33 = good(&readings, 33)?;
    let identity_17 = Lut3d::identity(17);
    Ok(vec![
        Sample {
            name: "panel.cgats",
            bytes: cgats(&readings)?,
            is_kept: true,
        },
        lut(
            "identity-17.cube",
            "Identity, 17 nodes",
            identity_17.clone(),
        )?,
        lut(
            "identity-33.cube",
            "Identity, 33 nodes",
            Lut3d::identity(33),
        )?,
        Sample {
            is_kept: false,
            ..lut(
                "identity-65.cube",
                "Identity, 65 nodes",
                Lut3d::identity(65),
            )?
        },
        lut("good-17.cube", "Good correction, 17 nodes", good_17.clone())?,
        lut("good-33.cube", "Good correction, 33 nodes", good_33.clone())?,
        lut(
            "stair-steps.cube",
            "Good correction with neutral stair-steps",
            faults::stair_steps(good_17.clone()),
        )?,
        lut(
            "near-black-dip.cube",
            "Good correction with a dip near black",
            faults::near_black_dip(good_33.clone()),
        )?,
        lut(
            "crushed-black.cube",
            "Good correction with crushed black",
            faults::crushed_black(good_17.clone()),
        )?,
        lut(
            "fold.cube",
            "Good correction with a fold",
            faults::fold(good_17.clone()),
        )?,
        lut(
            "clipped-primary.cube",
            "Identity with clipped red",
            faults::clipped_primary(identity_17),
        )?,
        lut(
            "eight-bit.cube",
            "Good correction rounded to 8 bits",
            faults::eight_bit(good_33),
        )?,
        lut(
            "neutral-tint.cube",
            "Good correction with tinted greys",
            faults::neutral_tint(good_17),
        )?,
    ])
}

/// The correction a fit with default choices makes of the readings.
fn good(readings: &Readings, nodes: usize) -> anyhow::Result<Lut3d> {
    let options = FitOptions {
        nodes,
        node_bits: NODE_BITS,
        ..FitOptions::default()
    };
    let fit = fit(readings, &options, &|_, _| {})
        .with_context(|| format!("cannot fit the good correction of {nodes} nodes"))?;
    Ok(fit.lut)
}

fn lut(name: &'static str, title: &str, mut lattice: Lut3d) -> anyhow::Result<Sample> {
    for node in lattice.nodes_mut() {
        // An identity of 65 nodes needs six decimals (1/64) and is not rounded; the others keep five.
        if !name.starts_with("identity") {
            *node = node.map(|v| (v * DECIMALS).round() / DECIMALS);
        }
    }
    let lut = Lut {
        title: Some(title.to_owned()),
        ..Lut::from(lattice)
    };
    let mut bytes = Vec::new();
    cube::write_to(&lut, &mut bytes)?;
    Ok(Sample {
        name,
        bytes,
        is_kept: true,
    })
}

fn cgats(readings: &Readings) -> anyhow::Result<Vec<u8>> {
    let header = CgatsHeader {
        originator: "cargo run -p xtask -- luts".to_owned(),
        descriptor: "Computed light of an invented panel, without noise; see README.md".to_owned(),
        created: "2026-01-01".to_owned(),
    };
    let mut bytes = Vec::new();
    write_cgats_to(readings, &header, &mut bytes)?;
    Ok(bytes)
}
