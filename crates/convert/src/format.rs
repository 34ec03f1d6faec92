use std::fmt;
use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

use evenstep_lut::format::{clf, cube, table};
use serde::Serialize;

/// Bytes looked at to tell what a file is.
const LOOKED_AT: u64 = 1 << 16;

/// The formats of LUT files.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum FileFormat {
    /// Cube text.
    Cube,
    /// Common LUT Format.
    Clf,
    /// A lattice as the pixels of a PNG or TIFF picture.
    Picture,
    /// Integer table.
    Table,
}

/// The name of an output ends in nothing that names a format.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{name}: which format? let the name end in .cube, .clf, .png, .tif, .tiff or .table")]
pub struct UnknownFormat {
    /// The name.
    pub name: String,
}

impl FileFormat {
    /// The format that the ending of a name asks for.
    ///
    /// # Errors
    /// [`UnknownFormat`]
    pub fn of_name(path: &Path) -> Result<Self, UnknownFormat> {
        let ending = path
            .extension()
            .map(|e| e.to_string_lossy().to_ascii_lowercase());
        match ending.as_deref() {
            Some("cube") => Ok(Self::Cube),
            Some("clf") => Ok(Self::Clf),
            Some("png" | "tif" | "tiff") => Ok(Self::Picture),
            Some("table") => Ok(Self::Table),
            _ => Err(UnknownFormat {
                name: path.display().to_string(),
            }),
        }
    }

    /// The format that the first bytes of a file belong to, `None` where they belong to none.
    #[must_use]
    pub fn of_start(start: &[u8]) -> Option<Self> {
        // PNG (ISO/IEC 15948:2004, 5.2) and TIFF (revision 6.0, section 2) start with these bytes.
        let pictures: [&[u8]; 3] = [b"\x89PNG\r\n\x1a\n", b"II*\0", b"MM\0*"];
        if pictures.iter().any(|magic| start.starts_with(magic)) {
            Some(Self::Picture)
        } else if clf::is_clf(start) {
            Some(Self::Clf)
        } else if table::is_table(start) {
            Some(Self::Table)
        } else if cube::names_a_size(start) {
            Some(Self::Cube)
        } else {
            None
        }
    }

    /// The format of the file at `path`, by its first 64 KiB.
    pub(crate) fn of_file(path: &Path) -> io::Result<Option<Self>> {
        let mut start = Vec::new();
        File::open(path)?.take(LOOKED_AT).read_to_end(&mut start)?;
        Ok(Self::of_start(&start))
    }
}

impl fmt::Display for FileFormat {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Cube => "cube text",
            Self::Clf => "Common LUT Format",
            Self::Picture => "picture lattice",
            Self::Table => "integer table",
        })
    }
}

/// Whether the file at `path` is a LUT by its first bytes. Says nothing about whether it can be read.
///
/// # Errors
/// What the system says.
pub fn is_lut(path: &Path) -> io::Result<bool> {
    Ok(FileFormat::of_file(path)?.is_some())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn content_decides_what_a_file_is() {
        for (start, format) in [
            (&b"TITLE \"x\"\nLUT_3D_SIZE 2\n"[..], Some(FileFormat::Cube)),
            (
                b"\xEF\xBB\xBF<?xml?><clf:ProcessList id='a'>",
                Some(FileFormat::Clf),
            ),
            (b"EVENSTEP-TABLE 1\n", Some(FileFormat::Table)),
            (b"\x89PNG\r\n\x1a\n\0\0", Some(FileFormat::Picture)),
            (b"r,g,b,X,Y,Z\n", None),
            (b"CGATS.17\n# LUT_3D_SIZE\n", None),
            (b"", None),
        ] {
            assert_eq!(FileFormat::of_start(start), format);
        }
    }

    #[test]
    fn names_decide_what_an_output_is() {
        assert_eq!(
            FileFormat::of_name(Path::new("a/b.CLF")),
            Ok(FileFormat::Clf)
        );
        assert!(FileFormat::of_name(Path::new("b.txt")).is_err());
    }
}
