//! The picture an audit looks for bands in, as 8-bit codes, with and without lossy compression.

use std::path::Path;

use anyhow::Context as _;
use evenstep::audit::{
    AuditOptions, CompressedBands, PanelContext, PictureReport, PreparedPicture,
};
use evenstep::lut::Correction;
use evenstep::picture::Picture;
use jpeg_encoder::{ColorType, Encoder};
use zune_jpeg::JpegDecoder;
use zune_jpeg::zune_core::bytestream::ZCursor;
use zune_jpeg::zune_core::options::DecoderOptions;

/// Pixels along a side that JPEG has room for: 16 bits (ITU-T T.81 (1992), B.2.2).
const JPEG_SIDE: u16 = u16::MAX;

/// A picture ready to be looked at through any number of LUTs.
pub(crate) struct AuditPicture {
    width: usize,
    codes: Vec<[u8; 3]>,
    /// Quality and what it makes of the picture.
    compressed: Option<(u8, Vec<[u8; 3]>)>,
}

impl AuditPicture {
    /// Reads a file, deeper samples rounded to 8 bits, and compresses the picture where a quality is given.
    pub(crate) fn read(path: &Path, quality: Option<u8>) -> anyhow::Result<Self> {
        let picture = Picture::read(path)?;
        let (header, samples) = picture.into_parts();
        let (channels, width) = (header.channels(), header.width as usize);
        let code = |i: usize| (255.0 * samples.signal(i)).round() as u8;
        let codes: Vec<[u8; 3]> = (0..samples.len() / channels)
            .map(|pixel| [0, 1, 2].map(|c| code(channels * pixel + c)))
            .collect();
        let compressed = quality
            .map(|quality| {
                let noisy = lossy(&codes, header.width, header.height, quality)
                    .with_context(|| format!("{}: cannot be compressed", path.display()))?;
                anyhow::Ok((quality, noisy))
            })
            .transpose()?;
        Ok(Self {
            width,
            codes,
            compressed,
        })
    }

    /// The picture as one run of audits looks at it.
    pub(crate) fn prepared<'a>(
        &self,
        options: &'a AuditOptions,
        context: Option<&'a PanelContext<'a>>,
    ) -> Option<PreparedAuditPicture<'a>> {
        let prepare = |codes: &[[u8; 3]]| PreparedPicture::new(codes, self.width, options, context);
        let compressed = match &self.compressed {
            Some((quality, codes)) => Some((*quality, prepare(codes)?)),
            None => None,
        };
        Some(PreparedAuditPicture {
            width: self.width,
            height: self.codes.len() / self.width,
            picture: prepare(&self.codes)?,
            compressed,
        })
    }
}

/// The picture and, with its quality, the compressed one.
pub(crate) struct PreparedAuditPicture<'a> {
    width: usize,
    height: usize,
    picture: PreparedPicture<'a>,
    compressed: Option<(u8, PreparedPicture<'a>)>,
}

impl PreparedAuditPicture<'_> {
    /// Bands before and after a correction.
    pub(crate) fn bands(&self, correction: &dyn Correction) -> PictureReport {
        PictureReport {
            width: self.width,
            height: self.height,
            bands: self.picture.bands(correction),
            compressed: self
                .compressed
                .as_ref()
                .map(|(quality, picture)| CompressedBands {
                    quality: *quality,
                    bands: picture.bands(correction),
                }),
        }
    }
}

/// The picture after a turn through a JPEG encoder.
fn lossy(codes: &[[u8; 3]], width: u32, height: u32, quality: u8) -> anyhow::Result<Vec<[u8; 3]>> {
    let flat: Vec<u8> = codes.iter().flatten().copied().collect();
    let side = |pixels: u32| {
        u16::try_from(pixels).with_context(|| {
            format!("JPEG holds at most {JPEG_SIDE} pixels along a side; use a smaller picture")
        })
    };
    let mut file = Vec::new();
    Encoder::new(&mut file, quality).encode(&flat, side(width)?, side(height)?, ColorType::Rgb)?;
    // By itself the decoder stops at 16384.
    let options = DecoderOptions::default()
        .set_max_width(JPEG_SIDE.into())
        .set_max_height(JPEG_SIDE.into());
    let back = JpegDecoder::new_with_options(ZCursor::new(file), options).decode()?;
    Ok(back.chunks_exact(3).map(|p| [p[0], p[1], p[2]]).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_picture_as_wide_as_jpeg_allows_is_compressed_and_a_wider_one_refused_by_name() {
        for [width, height] in [[65_535, 1], [1, 65_535]] {
            let back = lossy(&vec![[90; 3]; 65_535], width, height, 90).unwrap();
            assert_eq!(back.len(), 65_535);
        }
        let refused = lossy(&vec![[90; 3]; 65_536], 65_536, 1, 90).unwrap_err();
        assert!(
            refused.to_string().contains("at most 65535 pixels"),
            "{refused}"
        );
    }
}
