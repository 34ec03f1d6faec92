use std::io;
use std::path::{Path, PathBuf};

use evenstep_lut::format::table::TableLayout;
use evenstep_lut::format::{Note, clf, cube, table};
use evenstep_lut::process::{Operation, ProcessList};
use evenstep_lut::{Correction, Evaluation, Lut, Lut3d};

use crate::{FileFormat, LatticePictureError, picture};

/// Why a LUT file was refused.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ReadError {
    /// The operating system could not read the file.
    #[error("{}: cannot read: {source}", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// Not cube text, and no other format either.
    #[error(transparent)]
    Cube(#[from] cube::CubeError),
    /// Not a Common LUT Format file that is read.
    #[error(transparent)]
    Clf(#[from] clf::ClfError),
    /// Not a picture that holds a lattice.
    #[error(transparent)]
    Picture(#[from] LatticePictureError),
    /// Not an integer table.
    #[error(transparent)]
    Table(#[from] table::TableError),
    /// A chain where curves and a lattice are needed.
    #[error(
        "{}: the chain {operations} is more than curves and a lattice; sample it first: evenstep convert FILE -o LUT.cube",
        path.display()
    )]
    Chain {
        /// The file.
        path: PathBuf,
        /// Its operations.
        operations: String,
    },
}

/// What a LUT file holds.
#[derive(Clone, Debug, PartialEq)]
pub enum Content {
    /// Curves, a lattice, or curves before a lattice.
    Lut(Lut),
    /// A chain of operations.
    List(ProcessList),
}

impl Content {
    /// The names of a chain's operations: `Matrix, LUT1D`.
    #[must_use]
    pub fn operations(list: &ProcessList) -> String {
        let names: Vec<&str> = list.nodes.iter().map(|n| n.operation.name()).collect();
        names.join(", ")
    }

    /// How the content is evaluated; `how` is for LUTs, a chain says it itself.
    #[must_use]
    pub fn evaluated(&self, how: Evaluation) -> Box<dyn Correction + '_> {
        match self {
            Self::Lut(lut) => Box::new(lut.evaluated(how)),
            Self::List(list) => Box::new(list),
        }
    }
}

/// A LUT file that was read.
#[derive(Clone, Debug, PartialEq)]
pub struct Loaded {
    /// What it was.
    pub format: FileFormat,
    /// What it holds.
    pub content: Content,
    /// Bits of the codes in it, where it is made of codes.
    pub bits: Option<u8>,
    /// What was unusual about it, each with its place.
    pub notes: Vec<String>,
}

/// Reads a LUT file of any format, which its first bytes tell.
///
/// # Errors
/// [`ReadError`]; of a file that is none of the formats, the cube reader says why.
pub fn read(path: &Path) -> Result<Loaded, ReadError> {
    let format = FileFormat::of_file(path).map_err(|source| ReadError::Io {
        path: path.to_owned(),
        source,
    })?;
    Ok(match format {
        Some(FileFormat::Clf) => clf::read(path)?.into(),
        Some(FileFormat::Picture) => picture::read(path)?.into(),
        Some(FileFormat::Table) => table::read(path)?.into(),
        Some(FileFormat::Cube) | None => cube::read(path)?.into(),
    })
}

/// The same from memory; `path` names the file in messages and is not opened.
///
/// # Errors
/// Those of [`read`].
pub fn parse(bytes: &[u8], path: &Path) -> Result<Loaded, ReadError> {
    Ok(match FileFormat::of_start(bytes) {
        Some(FileFormat::Clf) => clf::parse(bytes, path)?.into(),
        Some(FileFormat::Picture) => picture::read_from(io::Cursor::new(bytes), path)?.into(),
        Some(FileFormat::Table) => table::parse(bytes, path)?.into(),
        Some(FileFormat::Cube) | None => cube::parse(bytes, path)?.into(),
    })
}

fn lines(notes: &[Note]) -> Vec<String> {
    notes.iter().map(ToString::to_string).collect()
}

impl From<(ProcessList, Vec<Note>)> for Loaded {
    fn from((list, notes): (ProcessList, Vec<Note>)) -> Self {
        Self {
            format: FileFormat::Clf,
            content: Content::List(list),
            bits: None,
            notes: lines(&notes),
        }
    }
}

impl From<(Lut, Vec<Note>)> for Loaded {
    fn from((lut, notes): (Lut, Vec<Note>)) -> Self {
        Self {
            format: FileFormat::Cube,
            content: Content::Lut(lut),
            bits: None,
            notes: lines(&notes),
        }
    }
}

impl From<(Lut3d, u8)> for Loaded {
    fn from((lattice, bits): (Lut3d, u8)) -> Self {
        Self {
            format: FileFormat::Picture,
            content: Content::Lut(lattice.into()),
            bits: Some(bits),
            notes: Vec::new(),
        }
    }
}

impl From<(Lut, TableLayout)> for Loaded {
    fn from((lut, layout): (Lut, TableLayout)) -> Self {
        Self {
            format: FileFormat::Table,
            content: Content::Lut(lut),
            bits: Some(layout.depth.bits()),
            notes: Vec::new(),
        }
    }
}

/// Reads a LUT file of any format as curves and a lattice, with notes on what was unusual.
///
/// # Errors
/// [`ReadError`], [`ReadError::Chain`] where a Common LUT Format file holds more.
pub fn read_lut(path: &Path) -> Result<(Lut, Vec<String>), ReadError> {
    read(path)?.into_lut(path)
}

impl Loaded {
    /// Curves and a lattice, with notes on what was unusual; `path` names the file in them.
    ///
    /// # Errors
    /// [`ReadError::Chain`] where the file holds more.
    pub fn into_lut(self, path: &Path) -> Result<(Lut, Vec<String>), ReadError> {
        let Self {
            content, mut notes, ..
        } = self;
        let list = match content {
            Content::Lut(lut) => return Ok((lut, notes)),
            Content::List(list) => list,
        };
        let Some(lut) = list.to_lut() else {
            return Err(ReadError::Chain {
                path: path.to_owned(),
                operations: Content::operations(&list),
            });
        };
        if let Some(how) = asked(&list) {
            notes.push(format!(
                "{}: asks for {how} evaluation; --evaluate decides here",
                path.display()
            ));
        }
        Ok((lut, notes))
    }
}

/// The evaluation that the lattice of a chain asks for.
pub(crate) fn asked(list: &ProcessList) -> Option<Evaluation> {
    list.nodes.iter().find_map(|n| match &n.operation {
        Operation::Lattice { evaluation, .. } => Some(*evaluation),
        _ => None,
    })
}
