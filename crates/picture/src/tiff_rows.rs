use std::io::{Read, Seek};
use std::path::Path;

use tiff::ColorType;
use tiff::TiffError;
use tiff::decoder::{Decoder, DecodingResult, Limits};
use tiff::tags::Tag;

use crate::limits::{MOST_BYTES, MOST_PROFILE_BYTES, check_bytes, check_pixels};
use crate::png_rows::spread;
use crate::{ColourTags, Depth, Header, PictureError, Samples};

/// PhotometricInterpretation: 0 and 1 are greys, 2 is RGB (TIFF 6.0, section 8).
const RGB: u16 = 2;

/// Tags about colours that are named when they are there, and not kept (TIFF 6.0, section 20).
const NOT_KEPT: [(u16, &str); 3] = [
    (301, "TransferFunction"),
    (318, "WhitePoint"),
    (319, "PrimaryChromaticities"),
];

const SAVE_PLAIN: &str = "save the picture as RGB or grey at 8 or 16 bits";

const SAVE_UNPACKED: &str = "save the picture uncompressed, as RGB or grey at 8 or 16 bits";

/// Rows of the first picture of a TIFF. What is unpacked at a time is a strip, or a row of tiles.
pub(crate) struct TiffRows<R: Read + Seek> {
    decoder: Decoder<R>,
    width: usize,
    height: u32,
    /// Samples of a stored pixel: 1, 3 or 4.
    stored: usize,
    chunk: (u32, u32),
    band: Samples,
    /// First row of the band, and the one after its last.
    band_rows: (u32, u32),
}

impl<R: Read + Seek> TiffRows<R> {
    pub(crate) fn new(input: R, path: &Path) -> Result<(Header, Self), PictureError> {
        let fault = |e| fault(path, 0, e);
        let unsupported = |found: String, advice| PictureError::Unsupported {
            path: path.to_owned(),
            found,
            advice,
        };
        let mut limits = Limits::default();
        limits.decoding_buffer_size = MOST_BYTES as usize;
        limits.intermediate_buffer_size = MOST_BYTES as usize;
        limits.ifd_value_size = MOST_PROFILE_BYTES;
        let mut decoder = Decoder::new(input).map_err(fault)?.with_limits(limits);
        let (width, height) = decoder.dimensions().map_err(fault)?;
        check_pixels(path, width, height)?;
        let mut number = |tag, without: u16| -> Result<u16, PictureError> {
            Ok(decoder
                .find_tag_unsigned(tag)
                .map_err(fault)?
                .unwrap_or(without))
        };
        if let Some(kind) = kind_not_read(number(Tag::PhotometricInterpretation, RGB)?) {
            return Err(unsupported(kind, SAVE_PLAIN));
        }
        // 1 is "row 0 is the top, column 0 the left" (TIFF 6.0, section 8).
        if number(Tag::Orientation, 1)? != 1 {
            return Err(unsupported(
                "the picture is stored turned or mirrored".to_owned(),
                "save it upright",
            ));
        }
        if number(Tag::PlanarConfiguration, 1)? != 1 {
            return Err(unsupported(
                "channels stored in separate planes".to_owned(),
                "save them pixel by pixel",
            ));
        }
        let (stored, bits) = match decoder.colortype().map_err(fault)? {
            ColorType::Gray(bits) => (1, bits),
            ColorType::RGB(bits) => (3, bits),
            ColorType::RGBA(bits) => (4, bits),
            _ => {
                return Err(unsupported(
                    "grey with alpha or other further channels".to_owned(),
                    SAVE_PLAIN,
                ));
            }
        };
        let depth = match bits {
            8 => Depth::Eight,
            16 => Depth::Sixteen,
            _ => return Err(unsupported(format!("samples of {bits} bits"), SAVE_PLAIN)),
        };
        let samples: u16 = decoder
            .find_tag_unsigned(Tag::SamplesPerPixel)
            .map_err(fault)?
            .unwrap_or(1);
        if usize::from(samples) != stored {
            return Err(unsupported(format!("{samples} channels"), SAVE_PLAIN));
        }
        let extra: Vec<u16> = decoder
            .find_tag_unsigned_vec(Tag::ExtraSamples)
            .map_err(fault)?
            .unwrap_or_default();
        // 1 is "associated": red, green and blue were scaled by alpha (TIFF 6.0, section 18).
        if extra.first() == Some(&1) {
            return Err(unsupported(
                "colours were multiplied by alpha".to_owned(),
                "save the picture with separate alpha, or without",
            ));
        }
        let header = Header {
            width,
            height,
            depth,
            has_alpha: stored == 4,
            tags: tags(&mut decoder, stored == 1).map_err(fault)?,
        };
        let (across, down) = decoder.chunk_dimensions();
        let (across, down) = (across.min(width), down.min(height));
        let band_bytes = u64::from(down) * header.row_bytes();
        check_bytes(
            path,
            if across < width {
                "a row of tiles"
            } else {
                "a strip"
            },
            band_bytes,
        )?;
        let rows = Self {
            chunk: decoder.chunk_dimensions(),
            decoder,
            width: width as usize,
            height,
            stored,
            band: Samples::empty(depth),
            band_rows: (0, 0),
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
        if index >= self.band_rows.1 {
            self.read_band(path)?;
        }
        let length = self.width * self.stored;
        let start = (index - self.band_rows.0) as usize * length;
        match (&self.band, into) {
            (Samples::Eight(band), Samples::Eight(all)) => {
                spread(
                    band[start..start + length].iter().copied(),
                    self.stored,
                    all,
                );
            }
            (Samples::Sixteen(band), Samples::Sixteen(all)) => {
                spread(
                    band[start..start + length].iter().copied(),
                    self.stored,
                    all,
                );
            }
            _ => unreachable!("the band and the rows asked for have the depth of the header"),
        }
        Ok(())
    }

    /// Unpacks the strip or the row of tiles after the last one.
    fn read_band(&mut self, path: &Path) -> Result<(), PictureError> {
        let first = self.band_rows.1;
        let rows = self.chunk.1.min(self.height - first);
        let across = (self.width as u32).div_ceil(self.chunk.0);
        let row_of_chunks = first / self.chunk.1;
        let all = self.width * self.stored * rows as usize;
        // The old band goes before the new one comes.
        self.band = Samples::empty(self.band.depth());
        for column in 0..across {
            let fault = |e| fault(path, first, e);
            let index = row_of_chunks * across + column;
            let (wide, high) = self.decoder.chunk_data_dimensions(index);
            let chunk = self.decoder.read_chunk(index).map_err(fault)?;
            let place = Place {
                at: column as usize * self.chunk.0 as usize * self.stored,
                length: wide as usize * self.stored,
                stride: self.width * self.stored,
                all,
            };
            let is_whole = high == rows
                && match (chunk, &mut self.band) {
                    (DecodingResult::U8(chunk), Samples::Eight(band)) => place.put(chunk, band),
                    (DecodingResult::U16(chunk), Samples::Sixteen(band)) => place.put(chunk, band),
                    _ => {
                        return Err(PictureError::Unsupported {
                            path: path.to_owned(),
                            found: "samples that are no unsigned whole numbers".to_owned(),
                            advice: SAVE_PLAIN,
                        });
                    }
                };
            if !is_whole {
                return Err(PictureError::Damaged {
                    path: path.to_owned(),
                    row: first,
                    format: "TIFF",
                    why: "a piece has another size than the picture gives it".to_owned(),
                });
            }
        }
        self.band_rows = (first, first + rows);
        Ok(())
    }
}

/// Where the samples of a chunk go in a band.
struct Place {
    /// First sample in each row.
    at: usize,
    /// Samples of a row of the chunk.
    length: usize,
    /// Samples of a row of the band.
    stride: usize,
    /// Samples of the band.
    all: usize,
}

impl Place {
    /// Puts a chunk in its place; false when it does not fit there.
    fn put<T: Copy + Default>(&self, chunk: Vec<T>, band: &mut Vec<T>) -> bool {
        if self.length == self.stride {
            *band = chunk;
            return band.len() == self.all;
        }
        band.resize(self.all, T::default());
        let is_whole = chunk.len() * self.stride == self.length * self.all
            && self.at + self.length <= self.stride;
        if is_whole {
            for (row, part) in band
                .chunks_exact_mut(self.stride)
                .zip(chunk.chunks_exact(self.length))
            {
                row[self.at..self.at + self.length].copy_from_slice(part);
            }
        }
        is_whole
    }
}

fn tags<R: Read + Seek>(decoder: &mut Decoder<R>, is_grey: bool) -> Result<ColourTags, TiffError> {
    let mut tags = ColourTags::default();
    if let Some(profile) = decoder.find_tag(Tag::IccProfile)? {
        // A profile of greys does not describe the three channels they become.
        if is_grey {
            tags.left_behind.push("ICC profile");
        } else {
            tags.icc_profile = Some(profile.into_u8_vec()?);
        }
    }
    for (tag, name) in NOT_KEPT {
        if decoder.find_tag(Tag::Unknown(tag))?.is_some() {
            tags.left_behind.push(name);
        }
    }
    Ok(tags)
}

/// What a PhotometricInterpretation that is not read stands for; `None` for greys and RGB.
///
/// # Source
/// TIFF 6.0 (1992), sections 5, 8, 16, 21 and 23; 9, a second L*a*b*, from memory.
fn kind_not_read(number: u16) -> Option<String> {
    Some(match number {
        0..=RGB => return None,
        3 => "colours from a palette".to_owned(),
        4 => "a mask of transparency".to_owned(),
        5 => "colours in CMYK".to_owned(),
        6 => "colours in YCbCr".to_owned(),
        8 | 9 => "colours in CIE L*a*b*".to_owned(),
        other => format!("colours of kind {other} (PhotometricInterpretation)"),
    })
}

fn fault(path: &Path, row: u32, error: TiffError) -> PictureError {
    let path = path.to_owned();
    match error {
        TiffError::IoError(source) if source.kind() != std::io::ErrorKind::UnexpectedEof => {
            PictureError::Io { path, source }
        }
        TiffError::LimitsExceeded => PictureError::Unsupported {
            path,
            found: "a strip or a colour profile past all limits".to_owned(),
            advice: "save the picture in smaller strips, or without the profile",
        },
        TiffError::UnsupportedError(what) => PictureError::Unsupported {
            path,
            found: format!("packed or coded in a way that is not read ({what})"),
            advice: SAVE_UNPACKED,
        },
        error => PictureError::Damaged {
            path,
            row,
            format: "TIFF",
            why: error.to_string(),
        },
    }
}
