/// Whole numbers that carry a signal at full range: 0 is 0, the largest is 1.
pub trait Code: Copy + Default + Send + Sync + 'static {
    /// The code of 1.
    const LARGEST: u16;

    /// As a number.
    fn number(self) -> u16;

    /// From a number, of which only the bits of a code count.
    fn from_bits(bits: u32) -> Self;

    /// The code of another depth for the same share of the largest, to the nearest.
    #[inline(always)]
    fn scaled<O: Code>(self) -> O {
        let (from, to) = (u32::from(Self::LARGEST), u32::from(O::LARGEST));
        O::from_bits((u32::from(self.number()) * to + from / 2) / from)
    }
}

impl Code for u8 {
    const LARGEST: u16 = 255;

    #[inline(always)]
    fn number(self) -> u16 {
        u16::from(self)
    }

    #[inline(always)]
    fn from_bits(bits: u32) -> Self {
        bits as Self
    }
}

impl Code for u16 {
    const LARGEST: u16 = 65_535;

    #[inline(always)]
    fn number(self) -> u16 {
        self
    }

    #[inline(always)]
    fn from_bits(bits: u32) -> Self {
        bits as Self
    }
}
