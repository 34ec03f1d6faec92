use evenstep_colour::Xyz;
use nalgebra::{Matrix3, Vector3};

use super::spectrum::{band, luminous_sum, xyz_of};
use crate::PanelModel;

/// Transmissive, with a black that leaks:
/// - backlight: a blue band at 449 nm (22 nm wide) and two phosphors, 0.58 as high at 533 nm (52 nm) and 0.52 at 628 nm
///   (48 nm);
/// - filters: red a band at 635 nm (80 nm), green 537 nm (70 nm), blue 452 nm (70 nm), each with 0.6 % everywhere;
/// - drive to transmission: `u = d^γ`, then `t = u − 0.18·sin(2πu)/(2π)`, an S above the power;
/// - a sub-pixel whose right neighbour is dark loses up to 2 %: `t_c·(1 − 0.02·(1 − t_{c+1}))`;
/// - crossed polarisers let through 1/1050 of the backlight, twice as much at 430 nm as at the red end.
#[derive(Clone, Debug)]
pub(super) struct Lcd {
    filtered: Matrix3<f64>,
    leak: Vector3<f64>,
}

/// Drive to transmission.
const EXPONENT: [f64; 3] = [2.28, 2.21, 2.34];
/// Depth of the S.
const S_DEPTH: f64 = 0.18;
/// Light of a full white, in cd/m².
const WHITE_CD_M2: f64 = 350.0;
/// Light of black, in cd/m².
const BLACK_CD_M2: f64 = WHITE_CD_M2 / 1050.0;
/// What a dark neighbour takes.
const FRINGE: f64 = 0.02;

impl Lcd {
    pub(super) fn new() -> Self {
        let backlight = |nm| {
            band(nm, 449.0, 22.0) + 0.58 * band(nm, 533.0, 52.0) + 0.52 * band(nm, 628.0, 48.0)
        };
        let filters = [(635.0, 80.0), (537.0, 70.0), (452.0, 70.0)];
        // Luminance of each relative to an unfiltered backlight, so that the three keep their shares of the white.
        let unfiltered = luminous_sum(backlight);
        let columns = filters.map(|(peak, fwhm)| {
            let through = move |nm| backlight(nm) * (0.006 + 0.994 * band(nm, peak, fwhm));
            xyz_of(through, luminous_sum(through) / unfiltered).0
        });
        let mut filtered = Matrix3::from_columns(&columns.map(Vector3::from));
        filtered *= (WHITE_CD_M2 - BLACK_CD_M2) / filtered.row(1).sum();
        let leak = xyz_of(
            |nm| backlight(nm) * (1.0 + band(nm, 430.0, 160.0)),
            BLACK_CD_M2,
        );
        Self {
            filtered,
            leak: Vector3::from(leak.0),
        }
    }
}

impl PanelModel for Lcd {
    fn xyz(&self, drive: [f64; 3]) -> Xyz {
        let transmission: [f64; 3] = std::array::from_fn(|c| {
            let u = drive[c].max(0.0).powf(EXPONENT[c]);
            let turn = std::f64::consts::TAU;
            u - S_DEPTH * (turn * u).sin() / turn
        });
        let seen = Vector3::from_fn(|c, _| {
            transmission[c] * (1.0 - FRINGE * (1.0 - transmission[(c + 1) % 3]))
        });
        Xyz((self.leak + self.filtered * seen).into())
    }
}
