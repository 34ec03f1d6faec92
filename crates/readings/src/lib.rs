//! Readings of a panel: patches, their files, their noise, and whether they can be trusted.
//!
//! Must not know about models of the panel or about LUTs.

mod drift;
mod error;
mod format;
mod layout;
mod merge;
mod noise;
mod patch;
mod quality;
mod repeats;
mod scale;
mod select;

pub use drift::Drift;
pub use error::{Note, ReadingsError};
pub use format::{
    CgatsHeader, load, lowest_light_cd_m2, parse, parse_patches, parse_sequence, read,
    read_patches, read_sequence, write_cgats, write_cgats_to, write_csv, write_csv_to,
    write_patches_csv, write_patches_csv_to,
};
pub use merge::merged;
pub use noise::NoiseModel;
pub use patch::{Patch, PatchRequest, Reading, Readings};
pub use quality::{
    Finding, Fitness, MIN_DISTINCT_3D, MIN_DISTINCT_BASE, MIN_OFF_RAMPS_3D, Severity, check,
};
pub use repeats::OutlyingRepeat;
pub use scale::{FullScale, RgbScale, UnknownRgbScale};
pub use select::Ramp;
