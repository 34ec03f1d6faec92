//! Colour science: tristimulus values, uniform spaces, colour differences, transfer functions and the
//! visibility of luminance steps.
//!
//! Must not know about files, panels, lattices or terminals: numbers in, numbers out.

mod adaptation;
mod barten;
mod delta_e_2000;
mod gsdf;
mod itp;
mod lab;
mod matrix;
mod primaries;
mod statistics;
mod transfer;
mod tristimulus;

pub use adaptation::AdaptationTransform;
pub use barten::{BartenObserver, ContrastConvention};
pub use delta_e_2000::{delta_e_2000, delta_e_2000_of_pairs};
pub use gsdf::{gsdf_index, gsdf_luminance};
pub use itp::{
    Ictcp, Itp, LMS_FROM_XYZ, XYZ_FROM_LMS, delta_e_itp, ictcp_from_xyz, itp_from_xyz,
    lms_from_xyz, xyz_from_ictcp, xyz_from_itp, xyz_from_lms,
};
pub use lab::{Lab, lab_from_xyz, xyz_from_lab};
pub use primaries::Primaries;
pub use statistics::{percentile, root_mean_square};
pub use transfer::{
    Bt1886, Hlg, PQ_PEAK_CD_M2, bt709_oetf, hlg_inverse_oetf, hlg_oetf, power_eotf,
    power_inverse_eotf, pq_eotf, pq_eotf_with_slope, pq_inverse_eotf, pq_inverse_eotf_with_slope,
    srgb_eotf, srgb_inverse_eotf,
};
pub use tristimulus::{Chromaticity, Xyz};
