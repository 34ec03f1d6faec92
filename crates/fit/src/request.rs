use evenstep_colour::{Chromaticity, Primaries, Xyz};
use evenstep_display::{PanelModel, Target, Transfer};
use evenstep_readings::Readings;

use crate::{BaseCorrection, Inverter};

/// Chromaticity of the target's white.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum White {
    /// A given chromaticity.
    Given(Chromaticity),
    /// The panel's own at full drive.
    Native,
}

/// Luminance of the target's white.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Peak {
    /// The most the panel reaches at the target's chromaticity, less a margin.
    Measured,
    /// A given luminance in cd/m².
    Given(f64),
}

/// Luminance of the target's black.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Black {
    /// The panel's own.
    Measured,
    /// A given luminance in cd/m².
    Given(f64),
}

/// Chromaticity of the target's black.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BlackColour {
    /// The panel's own: neutrals glide from it to the white.
    Measured,
    /// The white's; codes the panel cannot show so are reported.
    White,
}

/// What the user asks the correction to aim at, before the panel is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TargetRequest {
    /// Primaries.
    pub primaries: Primaries,
    /// Transfer function.
    pub transfer: Transfer,
    /// White chromaticity.
    pub white: White,
    /// White luminance.
    pub peak: Peak,
    /// Black luminance.
    pub black: Black,
    /// Black chromaticity.
    pub black_colour: BlackColour,
}

impl Default for TargetRequest {
    fn default() -> Self {
        Self {
            primaries: Primaries::BT709,
            transfer: Transfer::Bt1886,
            white: White::Given(Chromaticity::D65),
            peak: Peak::Measured,
            black: Black::Measured,
            black_colour: BlackColour::Measured,
        }
    }
}

/// A target settled on a panel.
#[derive(Clone, Debug)]
pub struct Settled {
    /// The target.
    pub target: Target,
    /// Largest luminance the model reaches at the target's chromaticity, in cd/m².
    pub reach_cd_m2: f64,
    /// Share by which the white was lowered below 0.995 of that until the whole neutral axis could be inverted.
    pub lowered: f64,
    /// Codes of a 10-bit neutral ramp below the panel's own black; more than 0 only where a black was asked for
    /// that the panel does not have.
    pub neutral_codes_missed: usize,
}

/// Keeps noise from choosing a white that the panel only just does not reach (method, section 1).
const MARGIN: f64 = 0.995;
/// Step by which the white is lowered when the neutral axis cannot be inverted, and how often at most.
const LOWER_BY: f64 = 0.99;
const MOST_LOWERINGS: usize = 35;
/// A neutral is shown when the model misses it by at most this many ΔE ITP.
const NEUTRAL_MISS_ITP: f64 = 0.2;
/// Largest ratio between the panel's quickest and slowest change of colour per drive near white: beyond it a reading
/// error of 0.1 % moves a drive by several per cent. Our choice.
const WORST_CONDITION: f64 = 200.0;
/// Drives from which the search for the largest luminance starts: where a panel rolls off it is flat above, and a search
/// that starts there finds no slope to follow. Our choice.
const REACH_STARTS: [f64; 3] = [0.9, 0.7, 0.5];
/// Neutral signals that are tried, the bright half closely since that is where panels saturate.
const TRIED: usize = 48;

impl TargetRequest {
    /// Settles the request on a panel: black from its reading, white luminance from what it reaches.
    ///
    /// `base` gives starts for the search; without it the drives themselves do.
    #[must_use]
    pub fn settle(&self, readings: &Readings, panel: &dyn PanelModel) -> Settled {
        let shown_white = panel.xyz([1.0; 3]);
        let shown_black = readings
            .black()
            .map_or_else(|| panel.xyz([0.0; 3]), evenstep_readings::Patch::xyz);
        let white = match self.white {
            White::Given(xy) => xy,
            White::Native => shown_white.chromaticity().unwrap_or(Chromaticity::D65),
        };
        let black = self.settle_black(shown_black, white);
        let inverter = Inverter::new(panel);
        let reach = largest_reached(&inverter, white, shown_white.luminance_cd_m2());
        let start = match self.peak {
            Peak::Given(cd_m2) => cd_m2,
            Peak::Measured => MARGIN * reach,
        };
        let mut target = Target::new(self.primaries, self.transfer, white, start, black);
        let mut lowered = 0.0;
        // A white that is not above the black is no target; the caller refuses it.
        if self.peak == Peak::Measured && start > black.luminance_cd_m2() {
            for step in 1..=MOST_LOWERINGS {
                if neutral_axis_inverts(&inverter, &target) {
                    break;
                }
                let scale = LOWER_BY.powi(step as i32);
                target = target.with_white_cd_m2(start * scale);
                lowered = 1.0 - scale;
            }
        }
        let neutral_codes_missed = (0..1024)
            .filter(|i| {
                let y = target.xyz([f64::from(*i) / 1023.0; 3]).luminance_cd_m2();
                y < shown_black.luminance_cd_m2() * (1.0 - 1e-9)
            })
            .count();
        Settled {
            target,
            reach_cd_m2: reach,
            lowered,
            neutral_codes_missed,
        }
    }

    fn settle_black(&self, shown: Xyz, white: Chromaticity) -> Xyz {
        let luminance = match self.black {
            Black::Measured => shown.luminance_cd_m2().max(0.0),
            Black::Given(cd_m2) => cd_m2,
        };
        match (self.black_colour, self.black) {
            (BlackColour::White, _) => white.xyz_at(luminance),
            (BlackColour::Measured, Black::Measured) => Xyz(shown.0.map(|v| v.max(0.0))),
            (BlackColour::Measured, Black::Given(_)) => shown
                .chromaticity()
                .filter(|xy| xy.y > 0.0)
                .unwrap_or(white)
                .xyz_at(luminance),
        }
    }
}

/// Largest luminance at a chromaticity that the model shows with every drive in range.
fn largest_reached(inverter: &Inverter<'_>, white: Chromaticity, full_cd_m2: f64) -> f64 {
    let reached = |cd_m2: f64| {
        let miss = |start| inverter.invert(white.xyz_at(cd_m2), [start; 3]).miss_itp;
        REACH_STARTS.iter().any(|&s| miss(s) <= NEUTRAL_MISS_ITP)
    };
    let (mut low, mut high) = (0.0, 1.05 * full_cd_m2);
    // 24 halvings: a ten-millionth of the white.
    for _ in 0..24 {
        let middle = 0.5 * (low + high);
        if reached(middle) {
            low = middle
        } else {
            high = middle
        }
    }
    low
}

fn neutral_axis_inverts(inverter: &Inverter<'_>, target: &Target) -> bool {
    // From black upwards, each solution starting the next, so that the search stays on one branch.
    let mut start = [0.05; 3];
    for i in 1..=TRIED {
        let signal = (i as f64 / TRIED as f64).sqrt();
        let found = inverter.invert(target.xyz([signal; 3]), start);
        if found.miss_itp > NEUTRAL_MISS_ITP
            || (signal > 0.5 && inverter.condition(found.drive) > WORST_CONDITION)
        {
            return false;
        }
        start = found.drive;
    }
    true
}

/// The base correction for a settled target, where the model has a base.
#[must_use]
pub(crate) fn base_correction(
    model: &evenstep_display::ForwardModel,
    target: &Target,
) -> Option<BaseCorrection> {
    model
        .base()
        .map(|base| BaseCorrection::new(base.clone(), target.clone()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenstep_display::SimulatedPanel;

    /// Full drive of this panel lies on its flat part, where a search feels no slope.
    #[test]
    fn the_reach_of_a_panel_that_rolls_off_is_found() {
        let panel = SimulatedPanel::by_name("hdr-wrgb").unwrap();
        let settled = TargetRequest::default().settle(&Readings::default(), &panel);
        let full = panel.xyz([1.0; 3]).luminance_cd_m2();
        // Its white is near D65, so that the reach is near full.
        assert!(settled.reach_cd_m2 > 0.9 * full, "{}", settled.reach_cd_m2);
    }
}
