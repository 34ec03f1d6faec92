use std::io::{self, Seek, Write};

use png::chunk::ChunkType;
use png::{BitDepth, ColorType, Encoder, EncodingError};
use tiff::TiffError;
use tiff::encoder::TiffEncoder;
use tiff::encoder::TiffValue;
use tiff::encoder::colortype::{self, RGB8, RGB16};
use tiff::tags::{ExtraSamples, Tag};

use crate::samples::Sample;
use crate::{Depth, Format, Header, Samples};

/// Bytes of a strip, about: large enough to be read at speed, small enough that a reader holds little. TIFF 6.0
/// (section "RowsPerStrip") recommended 8 KiB for the memory of its time.
const STRIP_BYTES: u64 = 1 << 18;

/// Writes a picture whose rows are asked for as they are needed: each call of `next` puts one or more whole rows into
/// the samples it is given, in place of what they held, until there are as many as `header` says.
///
/// A PNG is filtered and compressed; a TIFF is not compressed, because every program reads that and time counts more.
/// Tags that the format has no place for are left out: [`ColourTags::lost_in`](crate::ColourTags::lost_in) names them.
///
/// # Errors
/// What `next` returns, and what the system says about `out`; rows of another length or depth are
/// [`InvalidInput`](io::ErrorKind::InvalidInput).
pub fn write_rows<E: From<io::Error>>(
    out: impl Write + Seek,
    format: Format,
    header: &Header,
    next: impl FnMut(&mut Samples) -> Result<(), E>,
) -> Result<(), E> {
    match format {
        Format::Png => png(out, header, next),
        Format::Tiff => match header.depth {
            Depth::Eight => tiff::<RGB8, _, _>(out, header, next),
            Depth::Sixteen => tiff::<RGB16, _, _>(out, header, next),
        },
    }
}

/// Rows of about [`STRIP_BYTES`].
pub(crate) fn rows_at_a_time(header: &Header) -> u32 {
    let rows = STRIP_BYTES / header.row_bytes().max(1);
    // At most the height.
    rows.clamp(1, u64::from(header.height).max(1)) as u32
}

/// Takes rows from `next` until the picture is complete, and hands each batch to `put`.
fn pull<E: From<io::Error>>(
    header: &Header,
    mut next: impl FnMut(&mut Samples) -> Result<(), E>,
    mut put: impl FnMut(&Samples) -> io::Result<()>,
) -> Result<(), E> {
    let mut left = header.height as usize;
    let mut batch = Samples::empty(header.depth);
    while left > 0 {
        next(&mut batch)?;
        let row = header.row_samples();
        let rows = batch.len() / row;
        if batch.depth() != header.depth || batch.len() != rows * row || rows == 0 || rows > left {
            return Err(E::from(io::Error::new(
                io::ErrorKind::InvalidInput,
                "the rows to be written do not belong to the picture",
            )));
        }
        put(&batch)?;
        left -= rows;
    }
    Ok(())
}

fn png<E: From<io::Error>>(
    out: impl Write,
    header: &Header,
    next: impl FnMut(&mut Samples) -> Result<(), E>,
) -> Result<(), E> {
    let system = |e: EncodingError| E::from(io::Error::from(e));
    let mut info = png::Info::with_size(header.width, header.height);
    info.color_type = if header.has_alpha {
        ColorType::Rgba
    } else {
        ColorType::Rgb
    };
    info.bit_depth = match header.depth {
        Depth::Eight => BitDepth::Eight,
        Depth::Sixteen => BitDepth::Sixteen,
    };
    info.icc_profile = header.tags.icc_profile.as_deref().map(Into::into);
    let mut encoder = Encoder::with_info(out, info).map_err(system)?;
    encoder.set_compression(png::Compression::Fast);
    let mut writer = encoder.write_header().map_err(system)?;
    for (name, data) in plain_chunks(header) {
        writer.write_chunk(ChunkType(name), &data).map_err(system)?;
    }
    let mut rows = writer.stream_writer().map_err(system)?;
    let mut bytes = Vec::new();
    pull(header, next, |batch| match batch {
        Samples::Eight(all) => rows.write_all(all),
        Samples::Sixteen(all) => {
            for row in all.chunks_exact(header.row_samples()) {
                bytes.clear();
                bytes.extend(row.iter().flat_map(|v| v.to_be_bytes()));
                rows.write_all(&bytes)?;
            }
            Ok(())
        }
    })?;
    rows.finish().map_err(system)?;
    writer.finish().map_err(system)
}

/// The chunks about colours that are a few numbers. Written by hand, because the encoder keeps gAMA and cHRM only where
/// they repeat what sRGB says, and has no cICP.
fn plain_chunks(header: &Header) -> Vec<([u8; 4], Vec<u8>)> {
    let tags = &header.tags;
    let mut chunks = Vec::new();
    if let Some(numbers) = tags.code_points {
        chunks.push((*b"cICP", numbers.to_vec()));
    }
    // A profile goes before sRGB, and both should not be there; see `ColourTags::lost_in`.
    if let (Some(intent), None) = (tags.srgb_intent, &tags.icc_profile) {
        chunks.push((*b"sRGB", vec![intent]));
    }
    if let Some(gamma) = tags.gamma {
        chunks.push((*b"gAMA", gamma.to_be_bytes().to_vec()));
    }
    if let Some(numbers) = tags.chromaticities {
        chunks.push((
            *b"cHRM",
            numbers.iter().flat_map(|v| v.to_be_bytes()).collect(),
        ));
    }
    chunks
}

fn tiff<C, E, T>(
    out: impl Write + Seek,
    header: &Header,
    next: impl FnMut(&mut Samples) -> Result<(), E>,
) -> Result<(), E>
where
    C: colortype::ColorType<Inner = T>,
    E: From<io::Error>,
    T: Sample,
    [T]: TiffValue,
{
    let system = |e| E::from(io_error(e));
    let mut encoder = TiffEncoder::new(out).map_err(system)?;
    let mut image = encoder
        .new_image::<C>(header.width, header.height)
        .map_err(system)?;
    if header.has_alpha {
        image
            .extra_samples(&[ExtraSamples::UnassociatedAlpha])
            .map_err(system)?;
    }
    if let Some(profile) = &header.tags.icc_profile {
        image
            .encoder()
            .write_tag(Tag::IccProfile, Undefined(profile))
            .map_err(system)?;
    }
    image
        .rows_per_strip(rows_at_a_time(header))
        .map_err(system)?;
    // What is left of a batch until the strip it begins is full.
    let mut waiting: Vec<T> = Vec::new();
    pull(header, next, |batch| {
        let mut batch = T::slice(batch).unwrap_or_default();
        loop {
            let strip = image.next_strip_sample_count() as usize;
            if strip == 0 || waiting.len() + batch.len() < strip {
                break;
            }
            let (first, rest) = batch.split_at(strip - waiting.len());
            batch = rest;
            if waiting.is_empty() {
                image.write_strip(first).map_err(io_error)?;
            } else {
                waiting.extend_from_slice(first);
                image.write_strip(&waiting).map_err(io_error)?;
                waiting.clear();
            }
        }
        waiting.extend_from_slice(batch);
        Ok(())
    })?;
    image.finish().map_err(system)
}

/// Bytes of the type that TIFF calls UNDEFINED.
struct Undefined<'a>(&'a [u8]);

impl TiffValue for Undefined<'_> {
    const BYTE_LEN: u8 = 1;
    const FIELD_TYPE: tiff::tags::Type = tiff::tags::Type::UNDEFINED;

    fn count(&self) -> usize {
        self.0.len()
    }

    fn data(&self) -> std::borrow::Cow<'_, [u8]> {
        self.0.into()
    }
}

fn io_error(error: TiffError) -> io::Error {
    match error {
        TiffError::IoError(error) => error,
        other => io::Error::other(other),
    }
}
