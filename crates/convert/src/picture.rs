//! A lattice as the pixels of a square picture, red fastest: node i is pixel i, row by row from the top.
//!
//! For level L the lattice has L² nodes along each axis, and the picture L³ pixels: both hold L⁶ colours.

use std::io::{Cursor, Write};
use std::path::{Path, PathBuf};

use evenstep_lut::{Lut3d, LutError};
use evenstep_picture::{Depth, Format, Header, Picture, PictureError, Samples};

/// Why a picture holds no lattice, or a lattice fits no picture.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum LatticePictureError {
    /// The picture could not be read.
    #[error(transparent)]
    Picture(#[from] PictureError),
    /// Not L³ pixels wide and high.
    #[error(
        "{}: {width} x {height} pixels hold no lattice; the picture must be square with 8, 27, 64, 125 … 4096 pixels on a side",
        path.display()
    )]
    Size {
        /// The file.
        path: PathBuf,
        /// Pixels in a row.
        width: u32,
        /// Rows.
        height: u32,
    },
    /// The picture has an alpha channel, which a lattice has no place for.
    #[error("{}: the picture has an alpha channel; save it without", path.display())]
    Alpha {
        /// The file.
        path: PathBuf,
    },
    /// The nodes are not a lattice.
    #[error(transparent)]
    Lattice(#[from] LutError),
    /// The number of nodes is not a square.
    #[error("{size} nodes along an axis fit no picture; use a square such as 16, 25, 36 or 64")]
    Nodes {
        /// Nodes along an axis.
        size: usize,
    },
}

/// The levels L that a picture may have: 4 to 256 nodes along each axis.
const LEVELS: std::ops::RangeInclusive<usize> = 2..=16;

/// Nodes along an axis that a picture can hold.
pub fn picture_sizes() -> impl Iterator<Item = usize> {
    LEVELS.map(|level| level * level)
}

fn level(size: usize) -> Option<usize> {
    LEVELS.into_iter().find(|l| l * l == size)
}

/// Reads the picture at `path` as a lattice, and the bits of its samples.
pub(crate) fn read(path: &Path) -> Result<(Lut3d, u8), LatticePictureError> {
    let file = std::fs::File::open(path).map_err(|source| PictureError::Io {
        path: path.to_owned(),
        source,
    })?;
    read_from(std::io::BufReader::new(file), path)
}

/// The same from memory; the size is looked at before any pixel is.
pub(crate) fn read_from(
    input: impl std::io::BufRead + std::io::Seek,
    path: &Path,
) -> Result<(Lut3d, u8), LatticePictureError> {
    let mut reader = evenstep_picture::Reader::new(input, path)?;
    let header = reader.header().clone();
    let side = header.width as usize;
    let Some(level) = LEVELS
        .into_iter()
        .find(|l| l.pow(3) == side && header.width == header.height)
    else {
        return Err(LatticePictureError::Size {
            path: path.to_owned(),
            width: header.width,
            height: header.height,
        });
    };
    if header.has_alpha {
        return Err(LatticePictureError::Alpha {
            path: path.to_owned(),
        });
    }
    let mut nodes = Vec::new();
    let mut rows = Samples::empty(header.depth);
    while reader.rows_read() < header.height {
        reader.read_rows(level as u32 * 4, &mut rows)?;
        nodes.extend((0..rows.len() / 3).map(|i| [0, 1, 2].map(|c| rows.signal(3 * i + c))));
    }
    Ok((Lut3d::new(level * level, nodes)?, header.depth.bits()))
}

/// The picture of `lattice` in memory, values limited to 0 to 1 and rounded.
pub(crate) fn encoded(
    lattice: &Lut3d,
    depth: Depth,
    format: Format,
    out: &mut dyn Write,
) -> Result<(), super::WriteLutError> {
    let size = lattice.size();
    let level = level(size).ok_or(LatticePictureError::Nodes { size })?;
    let side = level.pow(3) as u32;
    let code = |v: &f64, top: f64| (v * top).round().clamp(0.0, top);
    let values = lattice.nodes().iter().flatten();
    let samples = match depth {
        Depth::Eight => Samples::Eight(values.map(|v| code(v, 255.0) as u8).collect()),
        Depth::Sixteen => Samples::Sixteen(values.map(|v| code(v, 65_535.0) as u16).collect()),
    };
    let picture = Picture::new(Header::rgb(side, side, depth), samples)
        .map_err(LatticePictureError::Picture)?;
    let mut file = Cursor::new(Vec::new());
    picture.write(&mut file, format)?;
    out.write_all(file.get_ref())?;
    Ok(())
}
