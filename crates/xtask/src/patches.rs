//! The patch lists of the scenario in `examples/foyer`.

use std::path::Path;

use evenstep_readings::{PatchRequest, write_patches_csv};

/// Neutral levels in per cent of drive: closer near black, where the eye and the panel both change fastest.
const NEUTRAL: [u32; 21] = [
    0, 2, 4, 6, 8, 10, 12, 15, 20, 25, 30, 35, 40, 45, 50, 60, 70, 80, 90, 95, 100,
];
/// Levels of R, G and B alone.
const PRIMARY: [u32; 7] = [8, 16, 30, 45, 60, 80, 100];
/// Levels of C, M and Y.
const SECONDARY: [u32; 4] = [25, 50, 75, 100];
/// Patches inside the cube, which bring the list to 101.
const INTERIOR: u32 = 47;
/// A white, a mid grey and a black come back after every so many patches, for noise and drift.
const ANCHOR_EVERY: usize = 25;

/// Writes `examples/foyer/sparse-patches.csv`.
///
/// # Errors
/// What writing the file says.
pub fn write() -> anyhow::Result<()> {
    let path =
        Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/foyer/sparse-patches.csv");
    write_patches_csv(&sparse(), &path, true)?;
    Ok(())
}

/// 101 distinct patches with anchors between them: 21 greys, 7 of each primary, 4 of each mixture of two, 47 inside.
#[must_use]
pub fn sparse() -> Vec<PatchRequest> {
    let mut all: Vec<PatchRequest> = Vec::new();
    let mut add = |id: String, drive: [f64; 3]| all.push(PatchRequest { id, drive });
    for level in NEUTRAL {
        add(format!("N{level:03}"), [share(level); 3]);
    }
    for (name, mask, levels) in [
        ("R", [1.0, 0.0, 0.0], &PRIMARY[..]),
        ("G", [0.0, 1.0, 0.0], &PRIMARY[..]),
        ("B", [0.0, 0.0, 1.0], &PRIMARY[..]),
        ("C", [0.0, 1.0, 1.0], &SECONDARY[..]),
        ("M", [1.0, 0.0, 1.0], &SECONDARY[..]),
        ("Y", [1.0, 1.0, 0.0], &SECONDARY[..]),
    ] {
        for &level in levels {
            add(format!("{name}{level:03}"), mask.map(|m| m * share(level)));
        }
    }
    for i in 1..=INTERIOR {
        add(
            format!("I{i:02}"),
            [2, 3, 5].map(|base| inside(radical_inverse(i, base))),
        );
    }
    let anchors = [("A-white", 1.0), ("A-grey", 0.5), ("A-black", 0.0)];
    let mut list = Vec::new();
    for (i, patch) in all.into_iter().enumerate() {
        list.push(patch);
        if (i + 1) % ANCHOR_EVERY == 0 {
            list.extend(anchors.map(|(id, level)| PatchRequest {
                id: id.to_owned(),
                drive: [level; 3],
            }));
        }
    }
    list
}

/// Per cent to drive, exact to the decimals that are written.
fn share(per_cent: u32) -> f64 {
    f64::from(per_cent) / 100.0
}

/// Keeps interior patches off the faces, to four decimals.
fn inside(v: f64) -> f64 {
    ((0.06 + 0.88 * v) * 1e4).round() / 1e4
}

/// Halton's sequence in one base.
fn radical_inverse(mut i: u32, base: u32) -> f64 {
    let (mut value, mut scale) = (0.0, 1.0);
    while i > 0 {
        scale /= f64::from(base);
        value += scale * f64::from(i % base);
        i /= base;
    }
    value
}
