use std::fs::File;
use std::io::{BufRead, BufReader, Read as _, Seek, SeekFrom};
use std::path::{Path, PathBuf};

use crate::png_rows::PngRows;
use crate::tiff_rows::TiffRows;
use crate::{Format, Header, PictureError, Samples};

/// A picture in a file, read from the top a band of rows at a time.
///
/// Greys become three equal samples; a palette becomes its colours, and what a PNG declares transparent becomes alpha;
/// 1, 2 and 4 bits become 8. TIFF files with palettes, greys with alpha, separate planes, colours multiplied by alpha,
/// samples other than unsigned 8 or 16 bits, or rows that do not begin at the top left are refused. Of a TIFF with several pictures the first is read. Memory is bounded by
/// [`MOST_BYTES`](crate::MOST_BYTES) as said there, whatever the file holds.
pub struct Reader<R: BufRead + Seek> {
    header: Header,
    format: Format,
    path: PathBuf,
    rows: Rows<R>,
    next: u32,
}

enum Rows<R: BufRead + Seek> {
    // Much larger than the other.
    Png(Box<PngRows<R>>),
    Tiff(Box<TiffRows<R>>),
}

impl Reader<BufReader<File>> {
    /// Opens a file and reads its header.
    ///
    /// # Errors
    /// Any [`PictureError`] but [`NoFormat`](PictureError::NoFormat) and [`Count`](PictureError::Count).
    pub fn open(path: &Path) -> Result<Self, PictureError> {
        let file = File::open(path).map_err(|source| PictureError::Io {
            path: path.to_owned(),
            source,
        })?;
        Self::new(BufReader::with_capacity(1 << 16, file), path)
    }
}

impl<R: BufRead + Seek> Reader<R> {
    /// Reads the header of what `input` holds from its start; `path` only names it in errors.
    ///
    /// # Errors
    /// Those of [`open`](Reader::open).
    pub fn new(mut input: R, path: &Path) -> Result<Self, PictureError> {
        let io = |source| PictureError::Io {
            path: path.to_owned(),
            source,
        };
        input.seek(SeekFrom::Start(0)).map_err(io)?;
        let mut start = Vec::new();
        (&mut input).take(8).read_to_end(&mut start).map_err(io)?;
        input.seek(SeekFrom::Start(0)).map_err(io)?;
        let format = Format::from_start(&start).ok_or_else(|| PictureError::NotAPicture {
            path: path.to_owned(),
        })?;
        let (header, rows) = match format {
            Format::Png => {
                let (header, rows) = PngRows::new(input, path)?;
                (header, Rows::Png(Box::new(rows)))
            }
            Format::Tiff => {
                let (header, rows) = TiffRows::new(input, path)?;
                (header, Rows::Tiff(Box::new(rows)))
            }
        };
        Ok(Self {
            header,
            format,
            path: path.to_owned(),
            rows,
            next: 0,
        })
    }

    /// What the picture is.
    #[must_use]
    pub fn header(&self) -> &Header {
        &self.header
    }

    /// The format of the file.
    #[must_use]
    pub fn format(&self) -> Format {
        self.format
    }

    /// Rows that were read so far.
    #[must_use]
    pub fn rows_read(&self) -> u32 {
        self.next
    }

    /// Puts up to `most` further rows into `into`, in place of what it held, and says how many: 0 after the last.
    ///
    /// # Errors
    /// [`PictureError::Damaged`] and [`PictureError::Io`]; with the last rows also for what comes after them.
    /// [`PictureError::Unsupported`] where only the pixels show that they are of a kind that is not read.
    pub fn read_rows(&mut self, most: u32, into: &mut Samples) -> Result<u32, PictureError> {
        into.clear(self.header.depth);
        let count = most.min(self.header.height - self.next);
        for _ in 0..count {
            match &mut self.rows {
                Rows::Png(rows) => rows.append_row(self.next, &self.path, into)?,
                Rows::Tiff(rows) => rows.append_row(self.next, &self.path, into)?,
            }
            self.next += 1;
        }
        if count > 0
            && self.next == self.header.height
            && let Rows::Png(rows) = &mut self.rows
        {
            rows.finish(self.next, &self.path)?;
        }
        Ok(count)
    }
}
