use crate::Format;

/// What a file says about the colours of its samples. Kept as it is read; nothing here is applied to a pixel.
///
/// Not kept are notes, resolution, significant bits, and data about light of a mastering display.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ColourTags {
    /// An ICC profile (ISO 15076-1), not looked into. PNG chunk iCCP, TIFF tag 34675.
    pub icc_profile: Option<Vec<u8>>,
    /// Primaries, transfer characteristics, matrix and full-range flag by Rec. ITU-T H.273. PNG chunk cICP.
    pub code_points: Option<[u8; 4]>,
    /// Rendering intent of a picture in sRGB (IEC 61966-2-1). PNG chunk sRGB.
    pub srgb_intent: Option<u8>,
    /// Exponent of the encoding in 1/100 000. PNG chunk gAMA.
    pub gamma: Option<u32>,
    /// x and y of white, red, green and blue in 1/100 000. PNG chunk cHRM.
    pub chromaticities: Option<[u32; 8]>,
    /// Names of tags about colours or light that the file holds and that were left behind on reading: nothing here keeps
    /// them, or they are damaged or too long.
    pub left_behind: Vec<&'static str>,
}

impl ColourTags {
    /// Names of the tags that a file of `format` would not hold, those left behind on reading first.
    #[must_use]
    pub fn lost_in(&self, format: Format) -> Vec<&'static str> {
        let mut lost = self.left_behind.clone();
        let overruled = self.srgb_intent.is_some() && self.icc_profile.is_some();
        match format {
            // A PNG should not hold both; of the two the profile counts (third edition, W3C 2025: cICP goes before iCCP,
            // that before sRGB, that before gAMA and cHRM).
            Format::Png if overruled => lost.push("sRGB"),
            Format::Png => {}
            Format::Tiff => {
                let only_in_png = [
                    (self.code_points.is_some(), "cICP"),
                    (self.srgb_intent.is_some(), "sRGB"),
                    (self.gamma.is_some(), "gAMA"),
                    (self.chromaticities.is_some(), "cHRM"),
                ];
                lost.extend(
                    only_in_png
                        .iter()
                        .filter(|(is, _)| *is)
                        .map(|(_, name)| *name),
                );
            }
        }
        lost
    }
}
