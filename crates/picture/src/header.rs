use crate::ColourTags;

/// Bits of a sample as stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Depth {
    /// 0 to 255.
    Eight,
    /// 0 to 65 535.
    Sixteen,
}

impl Depth {
    /// The number of bits.
    #[must_use]
    pub fn bits(self) -> u8 {
        match self {
            Self::Eight => 8,
            Self::Sixteen => 16,
        }
    }

    /// Bytes of a sample.
    pub(crate) fn bytes(self) -> u64 {
        u64::from(self.bits() / 8)
    }
}

/// What a picture is: its size, the kind of its samples, and what its file says about their colours.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Header {
    /// Pixels in a row, at least 1.
    pub width: u32,
    /// Rows, at least 1.
    pub height: u32,
    /// Bits of every sample.
    pub depth: Depth,
    /// Whether a fourth sample follows red, green and blue: how much the pixel covers, which does not scale them.
    pub has_alpha: bool,
    /// What the file says about colours.
    pub tags: ColourTags,
}

impl Header {
    /// A picture without alpha and without tags.
    #[must_use]
    pub fn rgb(width: u32, height: u32, depth: Depth) -> Self {
        Self {
            width,
            height,
            depth,
            has_alpha: false,
            tags: ColourTags::default(),
        }
    }

    /// Samples of a pixel: 3 or 4.
    #[must_use]
    pub fn channels(&self) -> usize {
        3 + usize::from(self.has_alpha)
    }

    /// Samples of a row.
    #[must_use]
    pub fn row_samples(&self) -> usize {
        self.width as usize * self.channels()
    }

    /// Bytes of a row.
    #[must_use]
    pub fn row_bytes(&self) -> u64 {
        self.row_samples() as u64 * self.depth.bytes()
    }
}
