use std::io::{self, BufRead, Seek, SeekFrom};
use std::path::Path;

use png::{BitDepth, ColorType, Decoder, DecodingError, Limits, Reader, Transformations};

use crate::limits::{MOST_BYTES, MOST_PROFILE_BYTES, check_bytes, check_pixels};
use crate::{ColourTags, Depth, Header, PictureError, Samples};

/// Bytes before the first chunk.
const SIGNATURE: i64 = 8;

/// What the decoder may set aside in all: a row, and beside it a profile, packed and unpacked.
const DECODER_BYTES: usize = MOST_BYTES as usize + 2 * MOST_PROFILE_BYTES;

/// Rows of a PNG, unpacked as they are asked for; an interlaced one is unpacked whole, because its last pass touches
/// every row.
pub(crate) struct PngRows<R: BufRead + Seek> {
    reader: Reader<R>,
    /// Samples of a stored pixel after palettes and narrow greys are spread out: 1 to 4.
    stored: usize,
    depth: Depth,
    row: Vec<u8>,
    /// All rows of an interlaced picture, once read.
    frame: Option<Vec<u8>>,
}

impl<R: BufRead + Seek> PngRows<R> {
    pub(crate) fn new(mut input: R, path: &Path) -> Result<(Header, Self), PictureError> {
        let fault = |e| fault(path, 0, e);
        let has_profile = holds_profile(&mut input).map_err(|source| PictureError::Io {
            path: path.to_owned(),
            source,
        })?;
        let mut decoder = Decoder::new_with_limits(
            input,
            Limits {
                bytes: DECODER_BYTES,
            },
        );
        decoder.set_ignore_text_chunk(true);
        decoder.set_transformations(Transformations::EXPAND);
        let info = decoder.read_header_info().map_err(fault)?;
        let (width, height) = info.size();
        // Before anything as long as a row is set up; at most four samples make a pixel.
        check_pixels(path, width, height)?;
        let sample_bytes = if info.bit_depth == BitDepth::Sixteen {
            2
        } else {
            1
        };
        check_bytes(path, "a row", u64::from(width) * 4 * sample_bytes)?;
        let reader = decoder.read_info().map_err(fault)?;
        let (kind, bits) = reader.output_color_type();
        let depth = match bits {
            BitDepth::Sixteen => Depth::Sixteen,
            _ => Depth::Eight,
        };
        if reader.info().animation_control.is_some() {
            return Err(PictureError::Unsupported {
                path: path.to_owned(),
                found: "an animation".to_owned(),
                advice: "save one of its pictures by itself",
            });
        }
        let is_grey = matches!(kind, ColorType::Grayscale | ColorType::GrayscaleAlpha);
        let header = Header {
            width,
            height,
            depth,
            has_alpha: matches!(kind, ColorType::GrayscaleAlpha | ColorType::Rgba),
            tags: tags(reader.info(), has_profile, is_grey),
        };
        if reader.info().interlaced {
            let all = header.row_bytes() * u64::from(height);
            check_bytes(path, "the interlaced picture", all)?;
        }
        let rows = Self {
            stored: kind.samples(),
            depth,
            row: vec![0; reader.output_line_size(width).unwrap_or(0)],
            frame: None,
            reader,
        };
        Ok((header, rows))
    }

    /// Appends row `index`; rows are asked for in order.
    pub(crate) fn append_row(
        &mut self,
        index: u32,
        path: &Path,
        into: &mut Samples,
    ) -> Result<(), PictureError> {
        let fault = |e| fault(path, index, e);
        if self.reader.info().interlaced && self.frame.is_none() {
            let mut frame = vec![0; self.row.len() * self.reader.info().height as usize];
            self.reader.next_frame(&mut frame).map_err(fault)?;
            self.frame = Some(frame);
        }
        let bytes = match &self.frame {
            Some(frame) => &frame[index as usize * self.row.len()..][..self.row.len()],
            None => {
                self.reader.read_row(&mut self.row).map_err(fault)?;
                &self.row
            }
        };
        match into {
            Samples::Eight(all) => spread(bytes.iter().copied(), self.stored, all),
            Samples::Sixteen(all) => {
                let whole = bytes
                    .chunks_exact(2)
                    .map(|b| u16::from_be_bytes([b[0], b[1]]));
                spread(whole, self.stored, all);
            }
        }
        debug_assert_eq!(into.depth(), self.depth);
        Ok(())
    }

    /// After the last row: what is still to come must be whole too.
    pub(crate) fn finish(&mut self, rows: u32, path: &Path) -> Result<(), PictureError> {
        self.reader.finish().map_err(|e| fault(path, rows, e))
    }
}

/// Appends a row of pixels of 1 to 4 samples as RGB or RGBA: a grey becomes three equal samples.
pub(crate) fn spread<T: Copy>(row: impl Iterator<Item = T>, stored: usize, into: &mut Vec<T>) {
    if stored >= 3 {
        into.extend(row);
        return;
    }
    for (i, sample) in row.enumerate() {
        // A pixel of two samples is a grey and its alpha.
        let copies = if i % stored == 0 { 3 } else { 1 };
        into.extend(std::iter::repeat_n(sample, copies));
    }
}

/// Whether an iCCP chunk comes before the pixels. The decoder forgets one that it cannot unpack without a word.
fn holds_profile(input: &mut (impl BufRead + Seek)) -> io::Result<bool> {
    let mut found = false;
    input.seek_relative(SIGNATURE)?;
    let mut start = [0; 8];
    while !found {
        match input.read_exact(&mut start) {
            Err(e) if e.kind() == io::ErrorKind::UnexpectedEof => break,
            read => read?,
        }
        let [a, b, c, d, name @ ..] = start;
        if name == *b"IDAT" {
            break;
        }
        found = name == *b"iCCP";
        // The data and its checksum.
        input.seek_relative(i64::from(u32::from_be_bytes([a, b, c, d])) + 4)?;
    }
    input.seek(SeekFrom::Start(0))?;
    Ok(found)
}

fn tags(info: &png::Info<'_>, has_profile: bool, is_grey: bool) -> ColourTags {
    let mut left_behind = Vec::new();
    let profile = info.icc_profile.as_ref();
    // A profile of greys does not describe the three channels they become.
    let kept = profile.filter(|p| p.len() <= MOST_PROFILE_BYTES && !is_grey);
    let icc_profile = kept.map(|p| p.to_vec());
    if has_profile && icc_profile.is_none() {
        left_behind.push("iCCP");
    }
    let light = [
        (info.mastering_display_color_volume.is_some(), "mDCV"),
        (info.content_light_level.is_some(), "cLLI"),
    ];
    left_behind.extend(light.iter().filter(|(is, _)| *is).map(|(_, name)| *name));
    ColourTags {
        icc_profile,
        code_points: info.coding_independent_code_points.map(|c| {
            [
                c.color_primaries,
                c.transfer_function,
                c.matrix_coefficients,
                u8::from(c.is_video_full_range_image),
            ]
        }),
        srgb_intent: info.srgb.map(|intent| intent as u8),
        gamma: info.gama_chunk.map(|g| g.into_scaled()),
        chromaticities: info.chrm_chunk.map(|c| {
            let [(wx, wy), (rx, ry), (gx, gy), (bx, by)] = [c.white, c.red, c.green, c.blue];
            [wx, wy, rx, ry, gx, gy, bx, by].map(|v| v.into_scaled())
        }),
        left_behind,
    }
}

fn fault(path: &Path, row: u32, error: DecodingError) -> PictureError {
    match error {
        DecodingError::IoError(source) if source.kind() != std::io::ErrorKind::UnexpectedEof => {
            PictureError::Io {
                path: path.to_owned(),
                source,
            }
        }
        DecodingError::LimitsExceeded => PictureError::Unsupported {
            path: path.to_owned(),
            found: "a size or a chunk past all limits".to_owned(),
            advice: "make the picture smaller, or save it without notes and profile",
        },
        error => PictureError::Damaged {
            path: path.to_owned(),
            row,
            format: "PNG",
            why: error.to_string(),
        },
    }
}
