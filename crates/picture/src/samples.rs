use crate::Depth;

/// Samples of whole rows: red, green, blue and perhaps alpha of each pixel, from the left, row after row from the top.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Samples {
    /// 0 to 255.
    Eight(Vec<u8>),
    /// 0 to 65 535.
    Sixteen(Vec<u16>),
}

impl Samples {
    /// None yet.
    #[must_use]
    pub fn empty(depth: Depth) -> Self {
        match depth {
            Depth::Eight => Self::Eight(Vec::new()),
            Depth::Sixteen => Self::Sixteen(Vec::new()),
        }
    }

    /// Forgets all samples and takes those of `depth` from now on; memory is kept where it can be.
    pub(crate) fn clear(&mut self, depth: Depth) {
        match (&mut *self, depth) {
            (Self::Eight(all), Depth::Eight) => all.clear(),
            (Self::Sixteen(all), Depth::Sixteen) => all.clear(),
            _ => *self = Self::empty(depth),
        }
    }

    /// Becomes a copy of some of the samples of another.
    pub(crate) fn copy_from(&mut self, other: &Self, range: std::ops::Range<usize>) {
        self.clear(other.depth());
        match (self, other) {
            (Self::Eight(all), Self::Eight(other)) => all.extend_from_slice(&other[range]),
            (Self::Sixteen(all), Self::Sixteen(other)) => all.extend_from_slice(&other[range]),
            _ => unreachable!("cleared to the same depth"),
        }
    }

    /// Bits of each.
    #[must_use]
    pub fn depth(&self) -> Depth {
        match self {
            Self::Eight(_) => Depth::Eight,
            Self::Sixteen(_) => Depth::Sixteen,
        }
    }

    /// How many there are.
    #[must_use]
    pub fn len(&self) -> usize {
        match self {
            Self::Eight(all) => all.len(),
            Self::Sixteen(all) => all.len(),
        }
    }

    /// Whether there are none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Sample `index` as a number of 0 to 1.
    ///
    /// # Panics
    /// When there are not so many.
    #[must_use]
    pub fn signal(&self, index: usize) -> f64 {
        match self {
            Self::Eight(all) => f64::from(all[index]) / 255.0,
            Self::Sixteen(all) => f64::from(all[index]) / 65535.0,
        }
    }
}

/// The two kinds of sample, for code that is the same for both.
pub trait Sample: Copy {
    /// The samples, if they are of this kind.
    fn slice(samples: &Samples) -> Option<&[Self]>;

    /// The samples, to be changed; those of the other kind are forgotten.
    fn vec(samples: &mut Samples) -> &mut Vec<Self>;
}

impl Sample for u8 {
    fn slice(samples: &Samples) -> Option<&[Self]> {
        match samples {
            Samples::Eight(all) => Some(all),
            Samples::Sixteen(_) => None,
        }
    }

    fn vec(samples: &mut Samples) -> &mut Vec<Self> {
        if let Samples::Sixteen(_) = samples {
            *samples = Samples::Eight(Vec::new());
        }
        match samples {
            Samples::Eight(all) => all,
            Samples::Sixteen(_) => unreachable!("replaced above"),
        }
    }
}

impl Sample for u16 {
    fn slice(samples: &Samples) -> Option<&[Self]> {
        match samples {
            Samples::Eight(_) => None,
            Samples::Sixteen(all) => Some(all),
        }
    }

    fn vec(samples: &mut Samples) -> &mut Vec<Self> {
        if let Samples::Eight(_) = samples {
            *samples = Samples::Sixteen(Vec::new());
        }
        match samples {
            Samples::Sixteen(all) => all,
            Samples::Eight(_) => unreachable!("replaced above"),
        }
    }
}
