use std::fmt;

use evenstep_colour::Xyz;

use crate::patch::{Patch, Readings};

/// A one-dimensional set of patches through black.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Ramp {
    /// All channels driven alike.
    Neutral,
    /// One channel driven, 0 = red, 1 = green, 2 = blue; the others at 0.
    Channel(usize),
}

impl Ramp {
    /// Neutral, red, green, blue.
    pub const ALL: [Self; 4] = [
        Self::Neutral,
        Self::Channel(0),
        Self::Channel(1),
        Self::Channel(2),
    ];

    /// Position on the ramp of a patch that lies on it, from 0 to 1.
    #[must_use]
    pub fn position(self, patch: &Patch) -> Option<f64> {
        let drive = patch.drive;
        match self {
            Self::Neutral => patch.is_neutral().then_some(drive[0]),
            Self::Channel(c) => {
                let others = (0..3).filter(|k| *k != c).all(|k| drive[k] == 0.0);
                drive.get(c).copied().filter(|_| others)
            }
        }
    }
}

impl fmt::Display for Ramp {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Neutral => "neutral",
            Self::Channel(0) => "red",
            Self::Channel(1) => "green",
            Self::Channel(_) => "blue",
        })
    }
}

impl Readings {
    /// Readings in which patches other than black that show no more than `floor_cd_m2` read 0: an instrument's figures
    /// below its floor are not light.
    #[must_use]
    pub fn silent_below(mut self, floor_cd_m2: f64) -> Self {
        for patch in &mut self.patches {
            if patch.drive != [0.0; 3] && patch.xyz().luminance_cd_m2() <= floor_cd_m2 {
                patch.repeats.fill(Xyz([0.0; 3]));
            }
        }
        self
    }

    /// The patches of which something was seen, black in any case.
    #[must_use]
    pub fn seen(&self) -> Self {
        let seen = self.patches.iter().filter(|p| !p.reads_nothing());
        Self {
            patches: seen.cloned().collect(),
        }
    }

    /// The patch of drive (0, 0, 0).
    #[must_use]
    pub fn black(&self) -> Option<&Patch> {
        self.patches.iter().find(|p| p.drive == [0.0; 3])
    }

    /// The patch of drive (1, 1, 1).
    #[must_use]
    pub fn white(&self) -> Option<&Patch> {
        self.patches.iter().find(|p| p.drive == [1.0; 3])
    }

    /// Patches on a ramp by rising drive, black included where it was read.
    #[must_use]
    pub fn ramp(&self, ramp: Ramp) -> Vec<&Patch> {
        let on_ramp = |p| Some((ramp.position(p)?, p));
        let mut found: Vec<(f64, &Patch)> = self.patches.iter().filter_map(on_ramp).collect();
        found.sort_by(|a, b| a.0.total_cmp(&b.0));
        found.into_iter().map(|(_, patch)| patch).collect()
    }

    /// Patches whose channels are driven alike, by rising drive, black and white included.
    #[must_use]
    pub fn neutral_ramp(&self) -> Vec<&Patch> {
        self.ramp(Ramp::Neutral)
    }

    /// Patches in which `channel` (0 = red, 1 = green, 2 = blue) alone is driven, by rising drive, black included.
    /// Empty for any other channel number.
    #[must_use]
    pub fn channel_ramp(&self, channel: usize) -> Vec<&Patch> {
        self.ramp(Ramp::Channel(channel))
    }

    /// Number of patches inside the cube of drives: every channel strictly between 0 and 1, neutrals left out.
    #[must_use]
    pub fn interior(&self) -> usize {
        let inside = |p: &&Patch| p.drive.iter().all(|v| 0.0 < *v && *v < 1.0);
        self.patches
            .iter()
            .filter(inside)
            .filter(|p| !p.is_neutral())
            .count()
    }

    /// Number of patches that lie on none of the four ramps: interior and faces.
    #[must_use]
    pub fn off_ramps(&self) -> usize {
        let off = |p: &&Patch| Ramp::ALL.iter().all(|r| r.position(p).is_none());
        self.patches.iter().filter(off).count()
    }

    /// Number of distinct drives.
    #[must_use]
    pub fn distinct(&self) -> usize {
        self.patches.len()
    }

    /// Number of readings, repeats counted.
    #[must_use]
    pub fn reading_count(&self) -> usize {
        self.patches.iter().map(|p| p.repeats.len()).sum()
    }
}
