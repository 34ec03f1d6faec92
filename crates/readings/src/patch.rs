use evenstep_colour::Xyz;

/// One colour shown and read, all its repeats kept.
#[derive(Clone, Debug, PartialEq)]
pub struct Patch {
    /// The id the file gave (SAMPLE_ID), or the row number where it gave none; the first reading's where repeated.
    pub id: String,
    /// Drive sent to the panel, each channel in [0, 1].
    pub drive: [f64; 3],
    /// Every reading in the order taken; never empty.
    pub repeats: Vec<Xyz>,
    /// Position of the first reading in the file, from 0.
    pub order: usize,
    /// Positions of the repeats after the first, in the order taken; as many as they are.
    pub later: Vec<usize>,
    /// What the standard deviation of the noise is multiplied with: 1 for a reading that is trusted, more for one that
    /// the others contradict.
    pub doubt: f64,
}

/// One reading as it stands in a file, before repeats are joined.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// The id the file gave, or the row number where it gave none.
    pub id: String,
    /// Drive sent to the panel, each channel in [0, 1].
    pub drive: [f64; 3],
    /// The colour read, in cd/m².
    pub xyz: Xyz,
    /// When it was read, in the seconds of column `t`; `None` where the file has none.
    pub seconds: Option<f64>,
}

/// A patch to be shown.
#[derive(Clone, Debug, PartialEq)]
pub struct PatchRequest {
    /// The id the list gave, or the row number where it gave none.
    pub id: String,
    /// Drive, each channel in [0, 1].
    pub drive: [f64; 3],
}

/// A set of patches in the order they were first read; drives are distinct.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Readings {
    /// The patches.
    pub patches: Vec<Patch>,
}

impl Patch {
    /// Mean of the repeats.
    #[must_use]
    pub fn xyz(&self) -> Xyz {
        let n = self.repeats.len().max(1) as f64;
        let mut sum = [0.0; 3];
        for reading in &self.repeats {
            for (s, v) in sum.iter_mut().zip(reading.0) {
                *s += v;
            }
        }
        Xyz(sum.map(|s| s / n))
    }

    /// Variance of the mean over that of one trusted reading: doubt² over the number of repeats.
    #[must_use]
    pub fn variance_factor(&self) -> f64 {
        self.doubt * self.doubt / self.repeats.len().max(1) as f64
    }

    /// Whether the instrument saw nothing, though the panel was driven: every repeat is exactly 0. Black is not meant, of
    /// which nothing else tells.
    #[must_use]
    pub fn reads_nothing(&self) -> bool {
        self.drive != [0.0; 3] && self.repeats.iter().all(|xyz| xyz.0 == [0.0; 3])
    }

    /// Whether the three channels are driven alike.
    #[must_use]
    pub fn is_neutral(&self) -> bool {
        self.drive[0] == self.drive[1] && self.drive[1] == self.drive[2]
    }
}
