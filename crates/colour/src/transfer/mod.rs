//! Transfer functions: one file per standard.

mod bt1886;
mod bt709;
mod hlg;
mod power;
mod pq;
mod srgb;

pub use bt709::bt709_oetf;
pub use bt1886::Bt1886;
pub use hlg::{Hlg, hlg_inverse_oetf, hlg_oetf};
pub use power::{power_eotf, power_inverse_eotf};
pub use pq::{
    PQ_PEAK_CD_M2, pq_eotf, pq_eotf_with_slope, pq_inverse_eotf, pq_inverse_eotf_with_slope,
};
pub use srgb::{srgb_eotf, srgb_inverse_eotf};
