/// The number that stands for 1 in the numbers of a file.
///
/// A depth only scales: it neither limits nor rounds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Depth {
    Integer(u8),
    Float(u8),
}

impl Depth {
    pub(super) fn spelled(text: &str) -> Option<Self> {
        Some(match text {
            "8i" => Self::Integer(8),
            "10i" => Self::Integer(10),
            "12i" => Self::Integer(12),
            "16i" => Self::Integer(16),
            "16f" => Self::Float(16),
            "32f" => Self::Float(32),
            _ => return None,
        })
    }

    pub(super) fn scale(self) -> f64 {
        match self {
            Self::Integer(bits) => f64::from((1_u32 << bits) - 1),
            Self::Float(_) => 1.0,
        }
    }
}
