use evenstep_colour::{
    Itp, Lab, Xyz, delta_e_2000_of_pairs, delta_e_itp, itp_from_xyz, lab_from_xyz,
};
use evenstep_lut::{CodeScale, Correction};
use rayon::prelude::*;
use serde::Serialize;

use crate::context::PanelContext;
use crate::walk::{drive_at, shown_by};
use crate::why::Known;

/// The 26-neighbour test: around every neutral code within reach, the colour difference to the 26 signals that differ from
/// it by at most one code in each channel. The largest of the 26 is the step of that code; a depth whose steps stay below
/// the visible suffices, and a correction should leave them as large as its target has them.
///
/// Unrounded, at the source depth; neighbours outside the signal range are left out.
///
/// # Source
/// S. Miller, M. Nezamabadi & S. Daly, "Perceptual Signal Coding for More Efficient Usage of Bit Codes", SMPTE Motion
/// Imaging Journal 122(4), 2013, compares each grey with its 26 neighbours by CIEDE2000.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Neighbours26 {
    /// Largest CIEDE2000, white the target's.
    pub de2000_max: f64,
    /// The neutral code of it.
    pub de2000_code: u32,
    /// Largest CIEDE2000 of the target itself.
    pub de2000_ideal_max: f64,
    /// Largest ΔE ITP.
    pub itp_max: f64,
    /// The neutral code of it.
    pub itp_code: u32,
    /// Largest ΔE ITP of the target itself.
    pub itp_ideal_max: f64,
    /// Largest amount by which a code's step exceeds its ideal, in ΔE ITP; 0 where none does.
    pub itp_excess_max: f64,
    /// The neutral code of that excess.
    pub itp_excess_code: u32,
}

/// The 26 offsets to the corners, edges and faces of a cube, each coordinate −1, 0 or 1.
///
/// An offset and its opposite stand at mirrored places, so that the first 13 are one of each pair.
pub(crate) fn offsets() -> Vec<[f64; 3]> {
    let step = |i: i32| f64::from(i % 3 - 1);
    (0..27)
        .map(|i| [step(i), step(i / 3), step(i / 9)])
        .filter(|v| *v != [0.0; 3])
        .collect()
}

/// A colour in the two spaces it is compared in.
struct Seen {
    lab: Lab,
    itp: Itp,
}

impl Seen {
    fn new(xyz: Xyz, white: Xyz) -> Self {
        Self {
            lab: lab_from_xyz(xyz, white),
            itp: itp_from_xyz(xyz),
        }
    }

    /// Largest CIEDE2000 and ΔE ITP to any of `others`.
    fn farthest(&self, others: &[Self]) -> [f64; 2] {
        let labs: Vec<Lab> = others.iter().map(|other| other.lab).collect();
        let de2000 = delta_e_2000_of_pairs(&vec![self.lab; labs.len()], &labs);
        let itp = others.iter().map(|other| delta_e_itp(self.itp, other.itp));
        [
            de2000.into_iter().fold(0.0, f64::max),
            itp.fold(0.0, f64::max),
        ]
    }
}

/// The step of one code, shown and wanted, as CIEDE2000 and ΔE ITP.
struct Step {
    code: u32,
    shown: [f64; 2],
    ideal: [f64; 2],
}

/// Runs the test along the neutral axis.
pub(crate) fn neighbours26(
    correction: &dyn Correction,
    context: &PanelContext<'_>,
    scale: CodeScale,
) -> Known<Neighbours26> {
    let white = context.target.white();
    let code_step = scale.signal_from_code(1.0) - scale.signal_from_code(0.0);
    let offsets = offsets();
    let steps: Vec<Step> = (scale.black()..=scale.white())
        .into_par_iter()
        .filter_map(|code| {
            let grey = scale.signal_from_code(f64::from(code));
            if !(context.reachable)([grey; 3]) {
                return None;
            }
            let around = offsets.iter().map(|o| o.map(|v| grey + v * code_step));
            let in_range = around.filter(|s| s.iter().all(|v| (0.0..=1.0).contains(v)));
            let signals: Vec<[f64; 3]> = std::iter::once([grey; 3]).chain(in_range).collect();
            let wanted: Vec<Seen> = signals
                .iter()
                .map(|&s| Seen::new(context.target.xyz(s), white))
                .collect();
            let shown: Vec<Seen> = signals
                .iter()
                .map(|&s| drive_at(correction, s, scale))
                .map(|drive| Seen::new(shown_by(context.panel, drive), white))
                .collect();
            Some(Step {
                code,
                shown: shown[0].farthest(&shown[1..]),
                ideal: wanted[0].farthest(&wanted[1..]),
            })
        })
        .collect();
    let Some(first) = steps.first() else {
        return Err("no neutral code can be judged");
    };
    // The first of equals, so that the code does not depend on anything but the figures.
    let largest = |of: &dyn Fn(&Step) -> f64| {
        steps.iter().fold((of(first), first.code), |best, step| {
            if of(step) > best.0 {
                (of(step), step.code)
            } else {
                best
            }
        })
    };
    let (de2000_max, de2000_code) = largest(&|s| s.shown[0]);
    let (itp_max, itp_code) = largest(&|s| s.shown[1]);
    let (excess, itp_excess_code) = largest(&|s| s.shown[1] - s.ideal[1]);
    Ok(Neighbours26 {
        de2000_max,
        de2000_code,
        de2000_ideal_max: largest(&|s| s.ideal[0]).0,
        itp_max,
        itp_code,
        itp_ideal_max: largest(&|s| s.ideal[1]).0,
        itp_excess_max: excess.max(0.0),
        itp_excess_code,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn there_are_26_offsets_in_mirrored_pairs() {
        let all = offsets();
        assert_eq!(all.len(), 26);
        for (a, b) in all.iter().zip(all.iter().rev()) {
            assert_eq!(a.map(|x| 0.0 - x), *b);
        }
    }
}
