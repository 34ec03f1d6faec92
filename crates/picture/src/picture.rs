use std::io::{self, BufRead, Seek, Write};
use std::path::Path;

use crate::limits::check_bytes;
use crate::write::rows_at_a_time;
use crate::{Format, Header, PictureError, Reader, Samples, write_rows};

/// A picture held whole.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Picture {
    header: Header,
    samples: Samples,
}

impl Picture {
    /// A picture of these samples.
    ///
    /// # Errors
    /// [`PictureError::Count`] unless there are as many as the header says and at least one.
    pub fn new(header: Header, samples: Samples) -> Result<Self, PictureError> {
        // 2⁶⁶ at most.
        let need = u128::from(header.width) * header.channels() as u128 * u128::from(header.height);
        if samples.len() as u128 == need && need > 0 && samples.depth() == header.depth {
            return Ok(Self { header, samples });
        }
        Err(PictureError::Count {
            width: header.width,
            height: header.height,
            need,
            found: samples.len(),
        })
    }

    /// Reads a file whole.
    ///
    /// # Errors
    /// Those of [`Reader::open`] and [`Reader::read_rows`], and [`PictureError::TooMuchMemory`] when all pixels take
    /// more than [`MOST_BYTES`](crate::MOST_BYTES).
    pub fn read(path: &Path) -> Result<Self, PictureError> {
        Self::rest_of(Reader::open(path)?, path)
    }

    /// Reads what `input` holds; `path` only names it in errors.
    ///
    /// # Errors
    /// Those of [`read`](Self::read).
    pub fn read_from(input: impl BufRead + Seek, path: &Path) -> Result<Self, PictureError> {
        Self::rest_of(Reader::new(input, path)?, path)
    }

    fn rest_of<R: BufRead + Seek>(
        mut reader: Reader<R>,
        path: &Path,
    ) -> Result<Self, PictureError> {
        let header = reader.header().clone();
        check_bytes(
            path,
            "the picture",
            header.row_bytes() * u64::from(header.height),
        )?;
        let mut samples = Samples::empty(header.depth);
        reader.read_rows(header.height, &mut samples)?;
        Ok(Self { header, samples })
    }

    /// Writes the picture.
    ///
    /// # Errors
    /// What the system says.
    pub fn write(&self, out: impl Write + Seek, format: Format) -> io::Result<()> {
        let step = rows_at_a_time(&self.header) as usize * self.header.row_samples();
        let mut done = 0;
        write_rows(out, format, &self.header, |into| {
            let end = self.samples.len().min(done + step);
            into.copy_from(&self.samples, done..end);
            done = end;
            Ok(())
        })
    }

    /// What the picture is.
    #[must_use]
    pub fn header(&self) -> &Header {
        &self.header
    }

    /// All samples.
    #[must_use]
    pub fn samples(&self) -> &Samples {
        &self.samples
    }

    /// Header and samples.
    #[must_use]
    pub fn into_parts(self) -> (Header, Samples) {
        (self.header, self.samples)
    }
}
