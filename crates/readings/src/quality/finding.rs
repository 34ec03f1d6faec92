use std::fmt;

use super::fitness::{MIN_DISTINCT_3D, MIN_DISTINCT_BASE, MIN_OFF_RAMPS_3D};
use crate::Ramp;
use crate::format::shorten;

/// How much a finding matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// Worth knowing, no fault.
    Info,
    /// A limit of the set, or a fault that noise explains.
    Warn,
    /// A fault that noise does not explain, or a gap that costs accuracy.
    Strong,
    /// Nothing should be fitted to the set.
    Refuse,
}

/// One thing seen in a set of readings. Prints as one line in plain words.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum Finding {
    /// The panel did not follow its drive.
    IgnoredDrive {
        /// Largest departure of a patch's luminance from the mean of all, in per cent.
        spread_percent: f64,
        /// Mean luminance, cd/m².
        mean_cd_m2: f64,
        /// Luminance read at drive 0, cd/m², where it was read.
        black_cd_m2: Option<f64>,
    },
    /// No patch of drive (0, 0, 0).
    NoBlack,
    /// No patch of drive (1, 1, 1).
    NoWhite {
        /// Whether full red, green and blue were read.
        primaries: bool,
    },
    /// Fewer distinct patches than a correction needs.
    TooFew {
        /// Distinct patches read.
        distinct: usize,
    },
    /// All drives in one point, on one line or in one plane.
    Flat {
        /// Dimensions that the drives span: 0, 1 or 2.
        dimensions: usize,
    },
    /// No patch off the ramps.
    OnlyRamps,
    /// Some patches off the ramps, but fewer than a 3D correction needs.
    FewMixtures {
        /// Patches off the ramps.
        off_ramps: usize,
    },
    /// Too few greys between black and white.
    NoNeutralRamp {
        /// Greys strictly between black and white.
        greys: usize,
    },
    /// No patch inside the cube of drives.
    NoInterior,
    /// A ramp falls from one patch to the next.
    NonMonotone {
        /// The ramp.
        ramp: Ramp,
        /// Id of the patch with the lower drive and more light.
        from: String,
        /// Id of the patch with the higher drive and less light.
        to: String,
        /// Drive of the first, from 0 to 1.
        from_drive: f64,
        /// Drive of the second, from 0 to 1.
        to_drive: f64,
        /// How far luminance falls, cd/m².
        drop_cd_m2: f64,
        /// The same in standard deviations of the difference of the two readings.
        sigmas: f64,
    },
    /// A ramp stays flat over a range of drive.
    Plateau {
        /// The ramp.
        ramp: Ramp,
        /// First drive of the flat range, from 0 to 1.
        from_drive: f64,
        /// Last drive of the flat range, from 0 to 1.
        to_drive: f64,
        /// Luminance at its start, cd/m².
        cd_m2: f64,
        /// Largest less smallest luminance in it, in per cent of the light above black.
        spread_percent: f64,
    },
    /// Black reads exactly zero.
    BlackReadsZero,
    /// Some patches were read more than once.
    Repeated {
        /// Distinct patches.
        distinct: usize,
        /// Patches read more than once.
        patches: usize,
        /// Readings of all patches.
        readings: usize,
    },
}

impl Finding {
    /// A fall of at most this many standard deviations is within noise. Common practice, no source: of normal
    /// differences, one in 740 exceeds it on this side.
    pub const WITHIN_NOISE_SIGMAS: f64 = 3.0;

    /// How much it matters.
    #[must_use]
    pub fn severity(&self) -> Severity {
        match self {
            Self::IgnoredDrive { .. } | Self::NoBlack | Self::Flat { .. } => Severity::Refuse,
            Self::NoWhite { primaries: false } => Severity::Refuse,
            Self::TooFew { distinct } if *distinct < MIN_DISTINCT_BASE => Severity::Refuse,
            Self::NoWhite { primaries: true } | Self::OnlyRamps => Severity::Strong,
            Self::NonMonotone { sigmas, .. } if *sigmas > Self::WITHIN_NOISE_SIGMAS => {
                Severity::Strong
            }
            Self::Repeated { .. } => Severity::Info,
            Self::NonMonotone { .. }
            | Self::TooFew { .. }
            | Self::FewMixtures { .. }
            | Self::NoNeutralRamp { .. }
            | Self::NoInterior
            | Self::Plateau { .. }
            | Self::BlackReadsZero => Severity::Warn,
        }
    }
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::IgnoredDrive {
                spread_percent,
                mean_cd_m2,
                black_cd_m2,
            } => {
                write!(
                    f,
                    "the panel ignored its drive: every patch reads within {spread_percent:.2} % of {mean_cd_m2:.1} cd/m²"
                )?;
                if let Some(black) = black_cd_m2 {
                    write!(f, ", black reads {black:.1} cd/m²")?;
                }
                write!(f, "; check what was on the screen and read again")
            }
            Self::NoBlack => write!(
                f,
                "no black (drive 0): dark tones cannot be placed; read it and add it"
            ),
            Self::NoWhite { primaries: true } => write!(
                f,
                "no white (drive 1, 1, 1): it must be guessed from the primaries, wrongly where the panel does not add"
            ),
            Self::NoWhite { primaries: false } => write!(
                f,
                "neither white (drive 1, 1, 1) nor all three full primaries: the peak is unknown; read white"
            ),
            Self::TooFew { distinct } => write!(
                f,
                "{distinct} distinct patches: a base correction needs {MIN_DISTINCT_BASE}, a 3D correction {MIN_DISTINCT_3D}"
            ),
            Self::Flat { dimensions } => {
                let shape = ["in one point", "on one line", "in one plane"];
                let shape = shape.get(*dimensions).copied().unwrap_or("in one plane");
                write!(
                    f,
                    "all drives lie {shape}: the channels cannot be told apart, no correction of colour can be fitted"
                )
            }
            Self::OnlyRamps => write!(
                f,
                "ramps only: how the channels act on each other was not read, so a 3D fit is declined and a base correction fitted; read mixed colours"
            ),
            Self::FewMixtures { off_ramps } => write!(
                f,
                "{off_ramps} mixed colours, a 3D correction needs {MIN_OFF_RAMPS_3D}: a 3D fit is declined and a base correction fitted"
            ),
            Self::NoNeutralRamp { greys } => write!(
                f,
                "no neutral ramp ({greys} greys between black and white): greys must be guessed from single channels; read at least {}",
                super::ramps::MIN_GREYS
            ),
            Self::NoInterior => write!(
                f,
                "no interior patches: mixtures of all three channels were not read, colours of low saturation are a guess"
            ),
            Self::NonMonotone {
                ramp,
                from,
                to,
                from_drive,
                to_drive,
                drop_cd_m2,
                sigmas,
            } => {
                let (from, to) = (shorten(from.as_bytes()), shorten(to.as_bytes()));
                let cause = if *sigmas > Self::WITHIN_NOISE_SIGMAS {
                    "beyond noise: the panel or the run is at fault"
                } else {
                    "within noise"
                };
                write!(
                    f,
                    "{ramp} ramp falls by {drop_cd_m2:.4} cd/m² ({sigmas:.1} sigma, {cause}) from patch {from} (drive {from_drive:.4}) to patch {to} (drive {to_drive:.4})"
                )
            }
            Self::Plateau {
                ramp,
                from_drive,
                to_drive,
                cd_m2,
                spread_percent,
            } => write!(
                f,
                "{ramp} ramp is flat within {spread_percent:.2} % at {cd_m2:.4} cd/m² from drive {from_drive:.4} to {to_drive:.4}: the channel saturates there"
            ),
            Self::BlackReadsZero => write!(
                f,
                "black reads exactly 0: it lies below the instrument's floor, so its true value is unknown, only small"
            ),
            Self::Repeated {
                distinct,
                patches,
                readings,
            } => write!(
                f,
                "{readings} readings of {distinct} patches, {patches} of them read more than once: repeats are averaged and tell the noise"
            ),
        }
    }
}
