use evenstep_colour::Bt1886;
use evenstep_lut::{BitDepth, CodeRange, CodeScale, Correction};
use rayon::prelude::*;
use serde::Serialize;

use crate::banding::{Luma, banding_index};
use crate::context::PanelContext;
use crate::walk::{clipped, drive_at};
use crate::{AuditOptions, AuditReport};

/// Bits of the luma that bands are looked for in.
const LUMA_BITS: BitDepth = BitDepth::TEN;
/// Luma of non-linear signals: Rec. ITU-R BT.709-6, item 3.2.
const LUMA: [f64; 3] = [0.2126, 0.7152, 0.0722];

/// The banding index of a picture as it is meant to look and as it looks through the correction.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct PictureBands {
    /// As the target shows it.
    pub before: f64,
    /// Through the correction, on the panel where it is known.
    pub after: f64,
}

/// What was found in a picture. Serialises into the report's `image`.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PictureReport {
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// The picture as it is.
    #[serde(flatten)]
    pub bands: PictureBands,
    /// The same after lossy compression; left out where none was asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub compressed: Option<CompressedBands>,
}

/// A picture after lossy compression.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct CompressedBands {
    /// Quality the encoder was asked for, 1 to 100.
    pub quality: u8,
    /// What was found.
    #[serde(flatten)]
    pub bands: PictureBands,
}

/// A picture of 8-bit codes as the target shows it, ready to be looked at through any number of corrections.
///
/// With a panel, luma is the code of the luminance on the target's own BT.1886 curve from black to white: the target's before,
/// the panel's after. Without one it is the luma of the signal, and that of the drive after, as a panel would show it that
/// needs no correction.
pub struct PreparedPicture<'a> {
    width: usize,
    /// Each colour once, sorted.
    colours: Vec<[u8; 3]>,
    /// Each pixel's colour, by its place in that list.
    pixels: Vec<u32>,
    options: &'a AuditOptions,
    luma: LumaOf<'a>,
    before: f64,
}

impl<'a> PreparedPicture<'a> {
    /// Prepares a picture of `width` columns. `None` for one without whole rows.
    #[must_use]
    pub fn new(
        codes: &[[u8; 3]],
        width: usize,
        options: &'a AuditOptions,
        context: Option<&'a PanelContext<'a>>,
    ) -> Option<Self> {
        let mut colours = codes.to_vec();
        colours.par_sort_unstable();
        colours.dedup();
        // Every colour is in the list it was made from, which has at most 2²⁴.
        let of = |code: &[u8; 3]| colours.binary_search(code).unwrap_or(0) as u32;
        let mut picture = Self {
            width,
            pixels: codes.par_iter().map(of).collect(),
            colours,
            options,
            luma: LumaOf::new(context),
            before: 0.0,
        };
        picture.before = picture.index(|signal| picture.luma.wanted(picture.rounded(signal)))?;
        Some(picture)
    }

    /// Bands as the target shows the picture and through a correction, both rounded to the audit's output depth.
    #[must_use]
    pub fn bands(&self, correction: &dyn Correction) -> PictureBands {
        let source = self.scale(self.options.source_bits);
        let after = self.index(|signal| {
            let drive = clipped(drive_at(correction, signal, source));
            self.luma.shown(self.rounded(drive))
        });
        PictureBands {
            before: self.before,
            // It had whole rows when it was prepared.
            after: after.unwrap_or(0.0),
        }
    }

    /// To the audit's output depth, on which a panel is sent a picture with or without a correction.
    fn rounded(&self, drive: [f64; 3]) -> [f64; 3] {
        let output = self.scale(self.options.output_bits);
        drive.map(|v| output.signal_from_code(f64::from(output.nearest_code(v))))
    }

    /// The banding index of a luma of the signal, which is computed once for each colour, however often it occurs.
    fn index(&self, luma: impl Fn([f64; 3]) -> u16 + Sync) -> Option<f64> {
        let picture = self.scale(BitDepth::EIGHT);
        let signal = |v: u8| picture.signal_from_code(f64::from(v)).clamp(0.0, 1.0);
        let lumas: Vec<u16> = self
            .colours
            .par_iter()
            .map(|code| luma(code.map(signal)))
            .collect();
        let plane = self.pixels.par_iter().map(|&i| lumas[i as usize]).collect();
        Some(banding_index(&Luma::new(self.width, plane)?))
    }

    fn scale(&self, depth: BitDepth) -> CodeScale {
        CodeScale {
            depth,
            range: self.options.range,
        }
    }
}

/// How colours become luma.
struct LumaOf<'a> {
    context: Option<&'a PanelContext<'a>>,
    curve: Bt1886,
}

impl<'a> LumaOf<'a> {
    fn new(context: Option<&'a PanelContext<'a>>) -> Self {
        let ends = context.map_or([1.0, 0.0], |c| {
            [c.target.white(), c.target.black()].map(|xyz| xyz.luminance_cd_m2())
        });
        Self {
            context,
            curve: Bt1886::new(ends[0], ends[1]),
        }
    }

    fn wanted(&self, signal: [f64; 3]) -> u16 {
        match self.context {
            Some(c) => self.of_luminance(c.target.xyz(signal).luminance_cd_m2()),
            None => of_signal(signal),
        }
    }

    fn shown(&self, drive: [f64; 3]) -> u16 {
        match self.context {
            Some(c) => self.of_luminance(c.panel.xyz(drive).luminance_cd_m2()),
            None => of_signal(drive),
        }
    }

    fn of_luminance(&self, cd_m2: f64) -> u16 {
        code(self.curve.inverse_eotf(cd_m2.max(0.0)))
    }
}

fn of_signal(signal: [f64; 3]) -> u16 {
    code((0..3).map(|c| LUMA[c] * signal[c]).sum())
}

fn code(signal: f64) -> u16 {
    let scale = CodeScale {
        depth: LUMA_BITS,
        range: CodeRange::Narrow,
    };
    // At most 1023.
    scale.nearest_code(signal) as u16
}

impl AuditReport {
    /// The report with what was found in a picture.
    #[must_use]
    pub fn with_picture(mut self, picture: PictureReport) -> Self {
        self.why.forget("image");
        self.image = Some(picture);
        self
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenstep_lut::{Evaluation, Lut, Lut3d};

    /// A sky of 8 bits: a slow ramp of blue-grey.
    fn sky() -> (Vec<[u8; 3]>, usize) {
        let width = 256;
        let pixel = |i: usize| {
            let level = 40 + (i % width / 16) as u8;
            [level, level, level + 10]
        };
        ((0..width * 64).map(pixel).collect(), width)
    }

    fn through(lattice: Lut3d) -> PictureBands {
        let lut = Lut::from(lattice);
        let (codes, width) = sky();
        let correction = lut.evaluated(Evaluation::Tetrahedral);
        let options = AuditOptions::default();
        let picture = PreparedPicture::new(&codes, width, &options, None).unwrap();
        let found = picture.bands(&correction);
        // What is prepared serves any number of corrections.
        assert_eq!(picture.bands(&correction), found);
        found
    }

    #[test]
    fn the_identity_leaves_bands_as_they_are() {
        let found = through(Lut3d::identity(17));
        assert!(found.before > 0.0);
        assert_eq!(found.before, found.after);
    }

    /// A LUT that shows one colour has no bands, and one that halves the drive halves the steps, which count less.
    #[test]
    fn a_flat_lut_has_none_and_a_dark_one_less() {
        assert_eq!(through(Lut3d::from_fn(17, |_| [0.2; 3])).after, 0.0);
        let dark = through(Lut3d::from_fn(17, |s| s.map(|v| 0.5 * v)));
        assert!(0.0 < dark.after && dark.after < dark.before, "{dark:?}");
    }

    #[test]
    fn a_picture_needs_whole_rows() {
        let options = AuditOptions::default();
        for (codes, width) in [(&[[0; 3]; 5][..], 2), (&[], 0), (&[], 2)] {
            assert!(PreparedPicture::new(codes, width, &options, None).is_none());
        }
    }
}
