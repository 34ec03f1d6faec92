use std::io::{BufRead, Seek, Write};

use evenstep_lut::{Code, CodeLut, Evaluation, Lut, PackedLut};
use evenstep_picture::{Depth, Format, Header, Reader, Sample, Samples, write_rows};
use rayon::prelude::*;

use crate::dither::OffsetRows;
use crate::{ApplyError, Dither};

/// Bytes of a band of rows on either side, about: enough for every thread to have rows, little beside what a decoder holds.
const BAND_BYTES: u64 = 8 << 20;

/// How a picture goes through a LUT.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ApplyOptions {
    /// How the lattice is read between nodes.
    pub evaluation: Evaluation,
    /// How drives become codes.
    pub dither: Dither,
    /// Bits of the output; those of the input if `None`.
    pub depth: Option<Depth>,
    /// Format of the output.
    pub format: Format,
}

/// What became of a picture.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ApplyReport {
    /// Pixels in a row.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// Bits of a sample read and written.
    pub bits: [u8; 2],
    /// Pixels of which at least one sample stands for another signal than before, to the nearest code of the output.
    pub pixels_changed: u64,
    /// The largest change of a sample, in codes of the output.
    pub largest_change: u16,
    /// Names of tags about colours that the output does not hold.
    pub tags_lost: Vec<&'static str>,
}

/// Passes a picture through a LUT, band by band: memory does not grow with the picture, and the bytes written are the
/// same whatever the number of threads. Alpha and tags about colours are kept as far as the format holds them.
///
/// `progress` is told the rows done and their number.
///
/// # Errors
/// [`ApplyError::Picture`] when the picture cannot be read, [`ApplyError::Write`] when `out` refuses.
pub fn apply<R: BufRead + Seek>(
    lut: &Lut,
    picture: &mut Reader<R>,
    out: impl Write + Seek,
    options: ApplyOptions,
    progress: &dyn Fn(usize, usize),
) -> Result<ApplyReport, ApplyError> {
    let from = picture.header().clone();
    let to = Header {
        depth: options.depth.unwrap_or(from.depth),
        ..from.clone()
    };
    let packed = PackedLut::new(lut, options.evaluation);
    let offsets = OffsetRows::new(options.dither);
    let job = Job {
        packed: &packed,
        offsets: &offsets,
        to: &to,
        format: options.format,
        progress,
    };
    let change = match (from.depth, from.has_alpha) {
        (Depth::Eight, false) => job.run::<u8, 3, _>(picture, out),
        (Depth::Eight, true) => job.run::<u8, 4, _>(picture, out),
        (Depth::Sixteen, false) => job.run::<u16, 3, _>(picture, out),
        (Depth::Sixteen, true) => job.run::<u16, 4, _>(picture, out),
    }?;
    Ok(ApplyReport {
        width: from.width,
        height: from.height,
        bits: [from.depth.bits(), to.depth.bits()],
        pixels_changed: change.pixels,
        largest_change: change.largest,
        tags_lost: from.tags.lost_in(options.format),
    })
}

struct Job<'a> {
    packed: &'a PackedLut,
    offsets: &'a OffsetRows,
    to: &'a Header,
    format: Format,
    progress: &'a dyn Fn(usize, usize),
}

impl Job<'_> {
    fn run<I: Code + Sample, const N: usize, R: BufRead + Seek>(
        &self,
        picture: &mut Reader<R>,
        out: impl Write + Seek,
    ) -> Result<Change, ApplyError> {
        let codes = self.packed.codes::<I>();
        // The deeper side counts.
        let row_bytes = picture.header().row_bytes().max(self.to.row_bytes());
        let rows = BAND_BYTES / row_bytes;
        let rows = rows.clamp(1, u64::from(self.to.height)) as u32;
        let mut band = Samples::empty(picture.header().depth);
        let mut change = Change::default();
        write_rows(out, self.format, self.to, |batch| {
            let first = picture.rows_read() as usize;
            picture.read_rows(rows, &mut band)?;
            let band = I::slice(&band).unwrap_or_default().as_chunks::<N>().0;
            change = change.and(match self.to.depth {
                Depth::Eight => self.band(&codes, first, band, u8::vec(batch)),
                Depth::Sixteen => self.band(&codes, first, band, u16::vec(batch)),
            });
            (self.progress)(picture.rows_read() as usize, self.to.height as usize);
            Ok(())
        })
        .map(|()| change)
    }

    /// Rows from `first` on, each by itself, so that threads share nothing.
    fn band<I: Code, O: Code, const N: usize>(
        &self,
        codes: &CodeLut<'_, I>,
        first: usize,
        band: &[[I; N]],
        out: &mut Vec<O>,
    ) -> Change {
        let width = self.to.width as usize;
        out.resize(band.len() * N, O::default());
        let out = out.as_chunks_mut::<N>().0;
        band.par_chunks(width)
            .zip(out.par_chunks_mut(width))
            .enumerate()
            .map(|(y, (row, out))| {
                codes.row(row, self.offsets.row(first + y), out);
                Change::of(row, out)
            })
            .reduce(Change::default, Change::and)
    }
}

/// How far samples moved.
#[derive(Clone, Copy, Default)]
struct Change {
    pixels: u64,
    largest: u16,
}

impl Change {
    fn of<I: Code, O: Code, const N: usize>(before: &[[I; N]], after: &[[O; N]]) -> Self {
        let mut change = Self::default();
        for (before, after) in before.iter().zip(after) {
            let mut most = 0;
            for c in 0..3 {
                let kept: O = before[c].scaled();
                most = kept.number().abs_diff(after[c].number()).max(most);
            }
            change.pixels += u64::from(most > 0);
            change.largest = change.largest.max(most);
        }
        change
    }

    fn and(self, other: Self) -> Self {
        Self {
            pixels: self.pixels + other.pixels,
            largest: self.largest.max(other.largest),
        }
    }
}
