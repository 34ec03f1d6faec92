use std::io::{self, Write};
use std::path::Path;

use evenstep_files::{WriteError, write_atomic};

use crate::Readings;

/// What the head of a CGATS file says about the readings.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct CgatsHeader {
    /// Who or what made the file.
    pub originator: String,
    /// What is in it.
    pub descriptor: String,
    /// Date made, as `YYYY-MM-DD`. Given by the caller: nothing here reads a clock.
    pub created: String,
}

/// Writes readings as CGATS text: drive from 0 to 1 as declared by `DRIVE_MAXIMUM`, XYZ in cd/m², one row a
/// reading, every number with the digits that bring it back exactly.
///
/// # Errors
/// [`WriteError`]; among them texts that the format cannot hold: a line end, or both kinds of quote, in an id or
/// in the header.
pub fn write_cgats(
    readings: &Readings,
    header: &CgatsHeader,
    path: &Path,
    force: bool,
) -> Result<(), WriteError> {
    write_atomic(path, force, |out| write_cgats_to(readings, header, out))
}

/// Writes the text of [`write_cgats`] to an open output.
///
/// # Errors
/// Those of `out`, and [`io::ErrorKind::InvalidInput`] for texts that the format cannot hold.
pub fn write_cgats_to(
    readings: &Readings,
    header: &CgatsHeader,
    out: &mut dyn Write,
) -> io::Result<()> {
    let rows = readings.rows();
    writeln!(out, "CGATS.17\n")?;
    writeln!(out, "ORIGINATOR\t{}", quoted(&header.originator)?)?;
    writeln!(out, "FILE_DESCRIPTOR\t{}", quoted(&header.descriptor)?)?;
    writeln!(out, "CREATED\t{}", quoted(&header.created)?)?;
    writeln!(out, "KEYWORD\t\"DRIVE_MAXIMUM\"\nDRIVE_MAXIMUM\t\"1\"")?;
    let units = "cd/m2, CIE 1931 2 degree observer";
    writeln!(out, "KEYWORD\t\"XYZ_UNITS\"\nXYZ_UNITS\t\"{units}\"\n")?;
    writeln!(out, "NUMBER_OF_FIELDS\t7\nBEGIN_DATA_FORMAT")?;
    writeln!(out, "SAMPLE_ID\tRGB_R\tRGB_G\tRGB_B\tXYZ_X\tXYZ_Y\tXYZ_Z")?;
    writeln!(
        out,
        "END_DATA_FORMAT\n\nNUMBER_OF_SETS\t{}\nBEGIN_DATA",
        rows.len()
    )?;
    for (patch, repeat) in rows {
        let [r, g, b] = patch.drive;
        let [x, y, z] = patch.repeats[repeat].0;
        let id = id(&patch.id)?;
        writeln!(out, "{id}\t{r}\t{g}\t{b}\t{x}\t{y}\t{z}")?;
    }
    writeln!(out, "END_DATA")
}

/// An id that is a plain word stands as it is, any other in quotes.
fn id(text: &str) -> io::Result<String> {
    let plain = |b: u8| b.is_ascii_alphanumeric() || matches!(b, b'_' | b'-' | b'.');
    let keyword = text.eq_ignore_ascii_case("END_DATA");
    if !text.is_empty() && text.bytes().all(plain) && !keyword {
        return Ok(text.to_owned());
    }
    quoted(text)
}

fn quoted(text: &str) -> io::Result<String> {
    let ends_line_or_text = |c| matches!(c, '\n' | '\r' | '\0' | '\x1a');
    if !text.contains(ends_line_or_text) {
        if !text.contains('"') {
            return Ok(format!("\"{text}\""));
        }
        if !text.contains('\'') {
            return Ok(format!("'{text}'"));
        }
    }
    Err(io::Error::new(
        io::ErrorKind::InvalidInput,
        format!(
            "{text:?} has a line end or both kinds of quote, which CGATS text cannot hold; use CSV"
        ),
    ))
}
