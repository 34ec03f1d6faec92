/// What a stroke stands for. One meaning has one colour in every figure of a page, and a dash of its own, so that no
/// figure asks the eye to tell two hues apart.
///
/// # Source
/// Hues: M. Okabe & K. Ito, "Color Universal Design" (2002, revised 2008), the palette of eight, its
/// values from memory. Greys, and the lighter hues that the style sheet puts in their place on a dark page: our choice.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Ink {
    /// What is wanted.
    Target,
    /// The correction the page is about; of two, the candidate.
    First,
    /// The correction it is held against.
    Second,
    /// A third correction.
    Third,
    /// The base correction.
    Base,
    /// No correction.
    Uncorrected,
    /// The red, green and blue channel, where these are what is drawn.
    Red,
    /// See [`Red`](Self::Red).
    Green,
    /// See [`Red`](Self::Red).
    Blue,
}

/// Shape of a mark that stands alone: no two corrections have the same, so that a print without colour can be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Shape {
    Dot,
    Triangle,
    Square,
    Diamond,
    Ring,
    Cross,
}

impl Shape {
    /// Its name in legends.
    pub(crate) fn word(self) -> &'static str {
        match self {
            Self::Dot => "dot",
            Self::Triangle => "triangle",
            Self::Square => "square",
            Self::Diamond => "diamond",
            Self::Ring => "ring",
            Self::Cross => "cross",
        }
    }
}

impl Ink {
    /// Hexadecimal sRGB, as the style sheet knows it.
    pub(crate) fn hex(self) -> &'static str {
        match self {
            Self::Target => "#1B1F24",
            Self::First | Self::Blue => "#0072B2",
            Self::Second | Self::Green => "#009E73",
            Self::Third => "#CC79A7",
            Self::Base | Self::Red => "#D55E00",
            Self::Uncorrected => "#6B7178",
        }
    }

    /// The same as three bytes.
    pub(crate) fn rgb(self) -> [u8; 3] {
        bytes(self.hex())
    }

    /// Shape of a mark that stands alone. Those of channels stand alone nowhere.
    pub(crate) fn shape(self) -> Shape {
        match self {
            Self::First | Self::Red | Self::Green | Self::Blue => Shape::Dot,
            Self::Second => Shape::Triangle,
            Self::Third => Shape::Square,
            Self::Base => Shape::Diamond,
            Self::Target => Shape::Ring,
            Self::Uncorrected => Shape::Cross,
        }
    }

    /// Width of a line, in pixels: the subject stands out.
    pub(crate) fn width(self) -> u32 {
        match self {
            Self::First => 4,
            _ => 2,
        }
    }
}

/// Lettering, and lines that mark a level.
pub(crate) const LETTERS: [u8; 3] = bytes("#1B1F24");
/// Frame of a plot.
pub(crate) const FRAME: [u8; 3] = bytes("#8A9099");
/// Lines behind a plot.
pub(crate) const GRID: [u8; 3] = bytes("#DDE1E5");

const fn bytes(hex: &str) -> [u8; 3] {
    const fn digit(c: u8) -> u8 {
        if c <= b'9' { c - b'0' } else { c - b'A' + 10 }
    }
    let text = hex.as_bytes();
    let mut out = [0; 3];
    let mut i = 0;
    while i < 3 {
        out[i] = 16 * digit(text[1 + 2 * i]) + digit(text[2 + 2 * i]);
        i += 1;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The style sheet dresses strokes by these values: each must be there.
    #[test]
    fn the_style_sheet_knows_every_hue() {
        let style = include_str!("style.css");
        for ink in [
            Ink::Target,
            Ink::First,
            Ink::Second,
            Ink::Third,
            Ink::Base,
            Ink::Uncorrected,
        ] {
            assert!(style.contains(ink.hex()), "{ink:?}");
        }
    }

    #[test]
    fn hexadecimal_digits_are_read() {
        assert_eq!(Ink::First.rgb(), [0x00, 0x72, 0xB2]);
        assert_eq!(GRID, [0xDD, 0xE1, 0xE5]);
    }
}
