use std::io;
use std::path::Path;

use evenstep_files::{WriteError, write_atomic};

use crate::Readings;
use crate::patch::PatchRequest;

/// Writes readings as CSV, columns `r,g,b,X,Y,Z,id`: drive from 0 to 1, XYZ in cd/m², one row a reading, every
/// number with the digits that bring it back exactly.
///
/// # Errors
/// [`WriteError`].
pub fn write_csv(readings: &Readings, path: &Path, force: bool) -> Result<(), WriteError> {
    write_atomic(path, force, |out| write_csv_to(readings, out))
}

/// Writes the text of [`write_csv`] to an open output.
///
/// # Errors
/// Those of `out`.
pub fn write_csv_to(readings: &Readings, out: &mut dyn io::Write) -> io::Result<()> {
    let mut out = csv::Writer::from_writer(out);
    // The id comes last: as the first cell one that begins with # would read as a comment.
    record(
        &mut out,
        ["r", "g", "b", "X", "Y", "Z", "id"].map(str::to_owned),
    )?;
    for (patch, repeat) in readings.rows() {
        let [r, g, b] = patch.drive.map(|v| v.to_string());
        let [x, y, z] = patch.repeats[repeat].0.map(|v| v.to_string());
        record(&mut out, [r, g, b, x, y, z, patch.id.clone()])?;
    }
    out.flush()
}

/// Writes a list of patches to show as CSV, columns `r,g,b,id`, drive from 0 to 1.
///
/// # Errors
/// [`WriteError`].
pub fn write_patches_csv(
    patches: &[PatchRequest],
    path: &Path,
    force: bool,
) -> Result<(), WriteError> {
    write_atomic(path, force, |out| write_patches_csv_to(patches, out))
}

/// Writes the text of [`write_patches_csv`] to an open output.
///
/// # Errors
/// Those of `out`.
pub fn write_patches_csv_to(patches: &[PatchRequest], out: &mut dyn io::Write) -> io::Result<()> {
    let mut out = csv::Writer::from_writer(out);
    record(&mut out, ["r", "g", "b", "id"].map(str::to_owned))?;
    for patch in patches {
        let [r, g, b] = patch.drive.map(|v| v.to_string());
        record(&mut out, [r, g, b, patch.id.clone()])?;
    }
    out.flush()
}

fn record<const N: usize>(
    out: &mut csv::Writer<impl io::Write>,
    cells: [String; N],
) -> io::Result<()> {
    out.write_record(cells).map_err(io::Error::from)
}
