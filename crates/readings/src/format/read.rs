//! Entry points: from a path or from bytes to readings.

use std::fs::File;
use std::io::Read as _;
use std::path::Path;

use evenstep_files::Place;

use super::limits::MAX_FILE_BYTES;
use super::rows::{Rows, Want, xyz};
use super::{cgats_rows, csv};
use crate::merge::merged;
use crate::patch::{PatchRequest, Reading, Readings};
use crate::scale::RgbScale;
use crate::{Note, ReadingsError};

/// Reads a file of readings, CGATS text or CSV as its content says.
///
/// # Errors
/// [`ReadingsError`], with file, line, column and patch.
pub fn read(path: &Path, scale: RgbScale) -> Result<(Readings, Vec<Note>), ReadingsError> {
    parse(&load(path)?, path, scale)
}

/// Reads readings from bytes; `path` serves messages only.
///
/// Readings of the same drive, wherever they stand, become one patch. X, Y and Z are taken as cd/m².
///
/// # Errors
/// [`ReadingsError`], with file, line, column and patch.
pub fn parse(
    bytes: &[u8],
    path: &Path,
    scale: RgbScale,
) -> Result<(Readings, Vec<Note>), ReadingsError> {
    let (sequence, notes) = parse_sequence(bytes, path, scale)?;
    Ok((merged(sequence), notes))
}

/// Reads a file of readings one by one, in the order taken: what an estimate of drift needs.
///
/// # Errors
/// As [`read`].
pub fn read_sequence(
    path: &Path,
    scale: RgbScale,
) -> Result<(Vec<Reading>, Vec<Note>), ReadingsError> {
    parse_sequence(&load(path)?, path, scale)
}

/// Readings one by one, in the order taken: file order, or rising time where a CSV file has the column `t`.
///
/// # Errors
/// As [`parse`].
pub fn parse_sequence(
    bytes: &[u8],
    path: &Path,
    scale: RgbScale,
) -> Result<(Vec<Reading>, Vec<Note>), ReadingsError> {
    let (rows, mut notes, full) = scaled(bytes, path, scale, Want::Readings)?;
    let mut all = Vec::with_capacity(rows.rows.len());
    for row in &rows.rows {
        let drive = rows.drive(row, full, path)?;
        // Rows read for `Want::Readings` always carry colour cells: the columns were required.
        let Some(xyz) = xyz(row, path)? else { continue };
        all.push(Reading {
            id: row.id.clone(),
            drive,
            xyz,
            seconds: row.time,
        });
    }
    let timed = all.iter().all(|r| r.seconds.is_some());
    if timed && !all.is_sorted_by_key(|r| r.seconds) {
        all.sort_by(|a, b| {
            a.seconds
                .unwrap_or(0.0)
                .total_cmp(&b.seconds.unwrap_or(0.0))
        });
        notes.push(Note {
            place: Place::file(path),
            text: "rows put in the order of column t".to_owned(),
        });
    }
    let exactly_100 = |r: &Reading| r.drive == [1.0; 3] && r.xyz.0[1] == 100.0;
    if all.iter().any(exactly_100) {
        notes.push(Note {
            place: Place::file(path),
            text: "white reads exactly 100, as in files relative to white; taken as 100 cd/m²"
                .to_owned(),
        });
    }
    if rows.rows.iter().any(|row| row.stdev.is_some()) {
        notes.push(Note {
            place: Place::file(path),
            text: "stated standard deviations are not used; noise is estimated from repeats"
                .to_owned(),
        });
    }
    Ok((all, notes))
}

/// Reads a list of patches to show, CSV with columns `r,g,b` or CGATS text; colour columns are ignored.
///
/// # Errors
/// As [`read`].
pub fn read_patches(
    path: &Path,
    scale: RgbScale,
) -> Result<(Vec<PatchRequest>, Vec<Note>), ReadingsError> {
    parse_patches(&load(path)?, path, scale)
}

/// Reads a list of patches from bytes, in file order, repeats kept: a drift anchor is listed many times.
///
/// # Errors
/// As [`parse`].
pub fn parse_patches(
    bytes: &[u8],
    path: &Path,
    scale: RgbScale,
) -> Result<(Vec<PatchRequest>, Vec<Note>), ReadingsError> {
    let (rows, notes, full) = scaled(bytes, path, scale, Want::Drive)?;
    let request = |row| {
        let drive = rows.drive(row, full, path)?;
        Ok(PatchRequest {
            id: row.id.clone(),
            drive,
        })
    };
    let requests = rows.rows.iter().map(request).collect::<Result<_, _>>()?;
    Ok((requests, notes))
}

fn scaled(
    bytes: &[u8],
    path: &Path,
    scale: RgbScale,
    want: Want,
) -> Result<(Rows, Vec<Note>, crate::FullScale), ReadingsError> {
    let (bytes, with_bom) = match bytes.strip_prefix(b"\xef\xbb\xbf") {
        Some(rest) => (rest, true),
        None => (bytes, false),
    };
    let mut rows = match kind(bytes, path)? {
        Kind::Cgats => cgats_rows::rows(bytes, path, want)?,
        Kind::Csv => csv::rows(bytes, path, want)?,
    };
    if rows.rows.is_empty() {
        return Err(ReadingsError::NoRows {
            place: Place::file(path),
        });
    }
    let (full, note) = rows.scale(scale, path)?;
    let mut notes = std::mem::take(&mut rows.notes);
    if with_bom {
        let text = "begins with a byte order mark; accepted".to_owned();
        let place = Place::new(path, 1, 1);
        notes.insert(0, Note { place, text });
    }
    notes.push(note);
    Ok((rows, notes, full))
}

enum Kind {
    Cgats,
    Csv,
}

/// Tells the format by content: the identifier or the blocks of CGATS, else a first line with separators.
fn kind(bytes: &[u8], path: &Path) -> Result<Kind, ReadingsError> {
    let place = Place::file(path);
    if bytes.starts_with(b"\xff\xfe") || bytes.starts_with(b"\xfe\xff") || bytes.first() == Some(&0)
    {
        return Err(ReadingsError::NotText { place });
    }
    let lines = || {
        bytes
            .split(|b| matches!(b, b'\n' | b'\r'))
            .map(<[u8]>::trim_ascii)
    };
    let content = |line: &&[u8]| !line.is_empty() && !line.starts_with(b"#");
    let Some(first) = lines().find(content) else {
        return Err(ReadingsError::Empty { place });
    };
    let is_identifier = first.len() >= 5 && first[..5].eq_ignore_ascii_case(b"CGATS");
    let is_block = |line: &[u8]| {
        let word = line
            .split(u8::is_ascii_whitespace)
            .next()
            .unwrap_or_default();
        word.eq_ignore_ascii_case(b"BEGIN_DATA_FORMAT") || word.eq_ignore_ascii_case(b"BEGIN_DATA")
    };
    if is_identifier || lines().any(is_block) {
        return Ok(Kind::Cgats);
    }
    if first.iter().any(|b| matches!(b, b',' | b';')) {
        return Ok(Kind::Csv);
    }
    let line = 1 + lines().take_while(|line| !content(line)).count();
    if bytes.contains(&0) {
        return Err(ReadingsError::NotText { place });
    }
    Err(ReadingsError::UnknownFormat {
        place: Place::new(path, line, 0),
    })
}

/// The bytes of a file of readings or patches, for [`parse`] and its like: what else is made of them, a digest for
/// instance, is then of the very same.
///
/// # Errors
/// [`ReadingsError::Io`], and [`ReadingsError::Limit`] for a file beyond what is read.
pub fn load(path: &Path) -> Result<Vec<u8>, ReadingsError> {
    let io = |source| ReadingsError::Io {
        path: path.to_owned(),
        source,
    };
    let mut bytes = Vec::new();
    let limit = MAX_FILE_BYTES as u64 + 1;
    let file = File::open(path).map_err(io)?;
    file.take(limit).read_to_end(&mut bytes).map_err(io)?;
    if bytes.len() > MAX_FILE_BYTES {
        return Err(ReadingsError::Limit {
            place: Place::file(path),
            what: "bytes",
            limit: MAX_FILE_BYTES,
        });
    }
    Ok(bytes)
}
