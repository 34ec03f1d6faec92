use std::fmt;
use std::path::Path;

use crate::PictureError;

/// The file formats of pictures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// Portable Network Graphics.
    ///
    /// # Source
    /// W3C Recommendation, Portable Network Graphics (PNG) Specification, third edition (2025).
    Png,
    /// Tag Image File Format: classic TIFF and, for reading, the one with 64-bit offsets.
    ///
    /// # Source
    /// TIFF, revision 6.0 (1992).
    Tiff,
}

impl Format {
    /// The format that the ending of a name stands for.
    ///
    /// # Errors
    /// [`PictureError::NoFormat`] unless the name ends in `.png`, `.tif` or `.tiff`, in any case.
    pub fn from_name(path: &Path) -> Result<Self, PictureError> {
        let ending = path.extension().and_then(|e| e.to_str()).unwrap_or("");
        match ending.to_ascii_lowercase().as_str() {
            "png" => Ok(Self::Png),
            "tif" | "tiff" => Ok(Self::Tiff),
            _ => Err(PictureError::NoFormat {
                path: path.to_owned(),
            }),
        }
    }

    /// The format that the first eight bytes of a file show.
    pub(crate) fn from_start(start: &[u8]) -> Option<Self> {
        if start.starts_with(b"\x89PNG\r\n\x1a\n") {
            return Some(Self::Png);
        }
        let order_and_number = [
            b"II\x2a\0",
            b"MM\0\x2a", // classic
            b"II\x2b\0",
            b"MM\0\x2b", // 64-bit offsets
        ];
        order_and_number
            .iter()
            .any(|n| start.starts_with(*n))
            .then_some(Self::Tiff)
    }
}

impl fmt::Display for Format {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Png => "PNG",
            Self::Tiff => "TIFF",
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn endings_are_read_in_any_case() {
        for (name, format) in [
            ("a.png", Format::Png),
            ("b.TIF", Format::Tiff),
            ("c.d.tiff", Format::Tiff),
        ] {
            assert_eq!(Format::from_name(Path::new(name)).unwrap(), format);
        }
        for name in ["png", "a.jpg", "a.png/", ""] {
            assert_eq!(Format::from_name(Path::new(name)).is_ok(), name == "a.png/");
        }
    }
}
