use std::io::{self, Write};
use std::path::Path;

use evenstep_files::{WriteError, write_atomic};
use evenstep_lut::format::{clf, cube, table};
use evenstep_picture::{Depth, Format};

use crate::{Content, Conversion, FileFormat, LatticePictureError, picture};

/// Why a LUT was not written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum WriteLutError {
    /// Cube text cannot hold it.
    #[error(transparent)]
    Cube(#[from] cube::CubeWriteError),
    /// The Common LUT Format cannot hold it.
    #[error(transparent)]
    Clf(#[from] clf::ClfWriteError),
    /// A picture cannot hold it.
    #[error(transparent)]
    Picture(#[from] LatticePictureError),
    /// An integer table cannot hold it.
    #[error(transparent)]
    Table(#[from] table::TableWriteError),
    /// A chain for a format without chains; [`convert`](crate::convert) makes none.
    #[error("a chain of operations fits the Common LUT Format alone; convert it first")]
    Chain,
    /// The stream could not be written.
    #[error("cannot write the LUT: {0}")]
    Stream(#[from] io::Error),
    /// The file could not be written.
    #[error(transparent)]
    File(#[from] WriteError),
}

impl Conversion {
    /// Writes the file, whole or not at all. The name says PNG or TIFF for pictures.
    ///
    /// # Errors
    /// [`WriteLutError`]
    pub fn write(&self, path: &Path, force: bool) -> Result<(), WriteLutError> {
        let bytes = self.file(path)?;
        write_atomic(path, force, |out| out.write_all(&bytes))?;
        Ok(())
    }

    /// What a file of this name would hold; the name says PNG or TIFF for pictures, and nothing is written.
    ///
    /// # Errors
    /// [`WriteLutError`]
    pub fn file(&self, name: &Path) -> Result<Vec<u8>, WriteLutError> {
        let mut bytes = Vec::new();
        let picture = Format::from_name(name).unwrap_or(Format::Png);
        self.write_to(picture, &mut bytes)?;
        Ok(bytes)
    }

    /// Writes what the file would hold to `out`; `picture` is the format of a picture lattice.
    ///
    /// # Errors
    /// [`WriteLutError`]
    pub fn write_to(&self, picture: Format, out: &mut dyn Write) -> Result<(), WriteLutError> {
        let lut = match &self.content {
            Content::List(list) if self.format == FileFormat::Clf => {
                return Ok(clf::write_list_to(list, self.bits, out)?);
            }
            Content::List(_) => return Err(WriteLutError::Chain),
            Content::Lut(lut) => lut,
        };
        match (self.format, &lut.lattice, self.layout) {
            (FileFormat::Cube, ..) => cube::write_to(lut, out)?,
            (FileFormat::Clf, ..) => clf::write_to(lut, self.evaluation, self.bits, out)?,
            (FileFormat::Picture, Some(lattice), _) => {
                let depth = match self.bits {
                    Some(bits) if bits.bits() == 8 => Depth::Eight,
                    _ => Depth::Sixteen,
                };
                picture::encoded(lattice, depth, picture, out)?;
            }
            (FileFormat::Table, _, Some(layout)) => table::write_to(lut, layout, out)?,
            (FileFormat::Picture | FileFormat::Table, ..) => {
                return Err(table::TableWriteError::NoTable.into());
            }
        }
        Ok(())
    }
}
