use evenstep_colour::{Itp, Xyz, itp_from_xyz};
use evenstep_display::{Encoding, PanelModel};
use nalgebra::{Matrix3, Vector3};

/// Rows: I, T = Ct/2 and P from PQ-encoded LMS, times 720 so that one unit is one ΔE ITP.
///
/// # Source
/// Rec. ITU-R BT.2100-2 (07/2018) table 7; Rec. ITU-R BT.2124-0 (01/2019) annex 1.
pub(crate) fn itp_from_lms() -> Matrix3<f64> {
    Matrix3::new(
        2048.0, 2048.0, 0.0, 3305.0, -6806.5, 3501.5, 17933.0, -17390.0, -543.0,
    ) * (720.0 / 4096.0)
}

/// Chroma, in ΔE ITP, at which a colour counts as half-way between a neutral and a hue. Our choice.
const HUE_CHROMA: f64 = 10.0;
/// Weight of hue against chroma for a coloured target out of reach: hue is kept, chroma gives way.
const HUE_WEIGHT: f64 = 30.0;
/// Weight of lightness against chroma for a target out of reach, neutral or not. With more, a white that the model shows
/// a little too dark is answered with a tint, for the last of its light.
const LIGHTNESS_WEIGHT: f64 = 2.0;

const MOST_STEPS: usize = 40;
/// Steps of a search that starts beside the answer.
const FEW_STEPS: usize = 12;
/// ΔE ITP from which a colour is far out of reach. Our choice.
const FAR_ITP: f64 = 5.0;
/// A weighted miss below this many ΔE ITP is solved: a thousandth of a just-noticeable difference.
const SOLVED_ITP: f64 = 1e-3;
/// A step below this ends the search: a fiftieth of a 16-bit code.
const SMALLEST_STEP: f64 = 3e-7;
/// A step that takes off less than this share of the squared miss ends the search: only a colour out of reach makes such
/// steps, and there they go on for ever along the edge of what the panel shows.
const SMALLEST_GAIN: f64 = 1e-4;

/// A channel is flat when full drive along its slope would change less than this share of what the steepest does.
const FLAT: f64 = 1e-6;
/// Step and number of steps by which a flat channel is raised: up to a quarter of the range in 8-bit pairs.
const LIFT: f64 = 1.0 / 128.0;
const LIFTS: usize = 32;
/// Drive at which every panel of the field answers plainly. Our choice.
const WELL_LIT: f64 = 0.25;

/// Drive above which channels saturate where they do. Our choice.
const SATURATING: f64 = 0.5;
/// ΔE ITP that full drive of a channel is worth: one that would change less along its slope sits on a plateau, and less
/// drive is better there. Our choice; where channels answer it is some hundreds.
const WORTH_A_DRIVE_ITP: f64 = 30.0;
/// ΔE ITP that may be given away for less drive: half of what is just noticeable.
const MOST_GIVEN_ITP: f64 = 0.5;
/// How closely the edge of a plateau is found: half a 10-bit code.
const PLATEAU_RESOLUTION: f64 = 1.0 / 2048.0;
/// Share that a golden section keeps.
const GOLDEN: f64 = 0.618_033_988_75;

/// The drive found for one colour.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Inversion {
    /// Drive, each channel in [0, 1].
    pub drive: [f64; 3],
    /// ΔE ITP between the colour asked for and the nearest that the model shows. Where a channel saturates the drive is that
    /// of a colour up to half a unit further, with less of that channel.
    pub miss_itp: f64,
    /// What was minimised: the miss with hue, chroma and lightness weighted.
    weighted: f64,
}

impl Inversion {
    /// Whether another inversion of the same colour is better by more than rounding.
    #[must_use]
    pub fn is_worse_than(&self, other: &Self) -> bool {
        self.weighted > 1.02 * other.weighted + SOLVED_ITP
    }
}

/// Bounded Newton search for the drive that shows a colour.
///
/// Minimises the distance to the colour in the ITP space of BT.2124 over drives in [0, 1]³ by damped Gauss-Newton
/// steps (Levenberg-Marquardt) on the channels that are not held at a bound. Where the colour is out of reach, the
/// result is the nearest one the panel shows with hue weighing most, then lightness, then chroma. Where a channel
/// saturates the result is the least drive that shows as much.
pub struct Inverter<'a> {
    panel: &'a dyn PanelModel,
    itp: Matrix3<f64>,
}

struct Aim {
    lms: [f64; 3],
    itp: Itp,
    weights: Matrix3<f64>,
}

impl<'a> Inverter<'a> {
    /// An inverter of a panel model.
    #[must_use]
    pub fn new(panel: &'a dyn PanelModel) -> Self {
        Self {
            panel,
            itp: itp_from_lms(),
        }
    }

    /// The model that is inverted.
    #[must_use]
    pub fn panel(&self) -> &'a dyn PanelModel {
        self.panel
    }

    /// Searches from `start` for the drive that shows `xyz`.
    #[must_use]
    pub fn invert(&self, xyz: Xyz, start: [f64; 3]) -> Inversion {
        let aim = self.aim(xyz);
        let start = Vector3::from(start.map(|v| v.clamp(0.0, 1.0)));
        let mut best = self.search(&aim, start, MOST_STEPS);
        // A channel below its panel's threshold feels no slope and stays: lift it off and look again. Just above the
        // threshold it feels little, so the last start is well above.
        for from in [
            start,
            Vector3::from(best.drive),
            start.map(|v| v.max(WELL_LIT)),
        ] {
            if best.weighted < SOLVED_ITP {
                break;
            }
            let again = match self.lifted(&aim, from) {
                Some(lifted) => self.search(&aim, lifted, MOST_STEPS),
                None if from != start => self.search(&aim, from, MOST_STEPS),
                None => continue,
            };
            if best.is_worse_than(&again) {
                best = again;
            }
        }
        best
    }

    /// The better of the short searches from two starts, without looking further: for a colour out of reach beside one
    /// that was looked for at length. Where that was far out of reach, the search goes on from its answer alone.
    pub(crate) fn invert_beside(&self, xyz: Xyz, own: [f64; 3], before: &Inversion) -> Inversion {
        let aim = self.aim(xyz);
        let beside = self.search(&aim, Vector3::from(before.drive), FEW_STEPS);
        let start = Vector3::from(own.map(|v| v.clamp(0.0, 1.0)));
        // Unless its own start already shows the colour better: then the neighbour's answer was a wrong branch, and
        // would be handed on along the row.
        let is_far = before.miss_itp > FAR_ITP && beside.miss_itp > FAR_ITP;
        if is_far && beside.weighted <= self.miss(&aim, start).0.norm() {
            return beside;
        }
        let own = self.search(&aim, start, MOST_STEPS);
        if own.is_worse_than(&beside) {
            beside
        } else {
            own
        }
    }

    /// The search from whichever of `starts` already shows the colour best.
    pub(crate) fn invert_from_best(&self, xyz: Xyz, starts: &[[f64; 3]]) -> Option<Inversion> {
        let aim = self.aim(xyz);
        let start = starts
            .iter()
            .map(|s| (self.miss(&aim, Vector3::from(*s)).0.norm(), s))
            .min_by(|a, b| a.0.total_cmp(&b.0))?
            .1;
        Some(self.search(&aim, Vector3::from(*start), FEW_STEPS))
    }

    /// A start whose flat channels are raised until the panel answers; `None` when no channel is flat.
    fn lifted(&self, aim: &Aim, start: Vector3<f64>) -> Option<Vector3<f64>> {
        let mut drive = start;
        for _ in 0..LIFTS {
            let (_, slope) = self.miss(aim, drive);
            let steepest = (0..3).map(|c| slope.column(c).norm()).fold(0.0, f64::max);
            let mut flat = false;
            for c in 0..3 {
                if slope.column(c).norm() <= FLAT * steepest.max(1.0) && drive[c] < 0.5 {
                    drive[c] += LIFT;
                    flat = true;
                }
            }
            if !flat {
                break;
            }
        }
        (drive != start).then_some(drive)
    }

    fn search(&self, aim: &Aim, start: Vector3<f64>, most: usize) -> Inversion {
        let mut drive = start;
        let (mut miss, mut slope) = self.miss(aim, drive);
        let mut damping = 1e-6;
        for _ in 0..most {
            if miss.norm() < SOLVED_ITP {
                break;
            }
            let gradient = slope.transpose() * miss;
            let held: [bool; 3] = std::array::from_fn(|c| {
                (drive[c] <= 0.0 && gradient[c] > 0.0) || (drive[c] >= 1.0 && gradient[c] < 0.0)
            });
            let mut normal = slope.transpose() * slope;
            let scale = normal.trace().max(f64::MIN_POSITIVE);
            let mut right = -gradient;
            for c in 0..3 {
                normal[(c, c)] += damping * (normal[(c, c)] + 1e-6 * scale);
                if held[c] {
                    normal.row_mut(c).fill(0.0);
                    normal.column_mut(c).fill(0.0);
                    normal[(c, c)] = 1.0;
                    right[c] = 0.0;
                }
            }
            let Some(step) = normal.try_inverse().map(|inverse| inverse * right) else {
                break;
            };
            let next = (drive + step).map(|v| v.clamp(0.0, 1.0));
            if (next - drive).amax() < SMALLEST_STEP {
                break;
            }
            let (next_miss, next_slope) = self.miss(aim, next);
            if next_miss.norm_squared() < miss.norm_squared() {
                let gain = 1.0 - next_miss.norm_squared() / miss.norm_squared();
                (drive, miss, slope) = (next, next_miss, next_slope);
                damping = (damping * 0.2).max(1e-9);
                if gain < SMALLEST_GAIN {
                    break;
                }
            } else {
                damping = (damping * 8.0).max(1e-4);
                if damping > 1e8 {
                    break;
                }
            }
        }
        let shown = self.panel.xyz(drive.into());
        let miss_itp = evenstep_colour::delta_e_itp(itp_from_xyz(shown), aim.itp);
        Inversion {
            drive: self.off_plateaus(aim, drive, &miss, &slope).into(),
            miss_itp,
            weighted: miss.norm(),
        }
    }

    /// A drive that shows as much with less. Where a channel hardly answers, above where it saturates, an answer would
    /// wander over flat ground for what nobody sees, and cells beside it would interpolate towards there.
    fn off_plateaus(
        &self,
        aim: &Aim,
        mut drive: Vector3<f64>,
        miss: &Vector3<f64>,
        slope: &Matrix3<f64>,
    ) -> Vector3<f64> {
        let most = miss.norm() + MOST_GIVEN_ITP;
        for c in 0..3 {
            if drive[c] < SATURATING || slope.column(c).norm() > WORTH_A_DRIVE_ITP {
                continue;
            }
            let with = |value: f64| {
                let mut tried = drive;
                tried[c] = value;
                tried
            };
            let cost = |value: f64| {
                let miss = self.miss(aim, with(value)).0.norm();
                if miss > most {
                    f64::INFINITY
                } else {
                    miss + WORTH_A_DRIVE_ITP * value
                }
            };
            // The miss flattens out towards the plateau, so that there is one least cost; beyond `most` lies to the left.
            let (mut low, mut high) = (SATURATING, drive[c]);
            let (mut left, mut right) = (high - GOLDEN * (high - low), low + GOLDEN * (high - low));
            let (mut at_left, mut at_right) = (cost(left), cost(right));
            while high - low > PLATEAU_RESOLUTION {
                if at_left < at_right {
                    (high, right, at_right) = (right, left, at_left);
                    left = high - GOLDEN * (high - low);
                    at_left = cost(left);
                } else {
                    (low, left, at_left) = (left, right, at_right);
                    right = low + GOLDEN * (high - low);
                    at_right = cost(right);
                }
            }
            if cost(high) < cost(drive[c]) {
                drive = with(high);
            }
        }
        drive
    }

    /// Ratio of the largest to the smallest change of colour (ΔE ITP per unit drive) at a drive.
    #[must_use]
    pub fn condition(&self, drive: [f64; 3]) -> f64 {
        let (_, slope) = self.panel.pq_lms_with_jacobian(drive);
        let values = (self.itp * slope).singular_values();
        values.max() / values.min().max(f64::MIN_POSITIVE)
    }

    fn aim(&self, xyz: Xyz) -> Aim {
        let lms = Encoding::PqLms.encode(xyz);
        let itp = self.itp * Vector3::from(lms);
        let chroma = itp[1].hypot(itp[2]);
        let hue_share = chroma / (chroma + HUE_CHROMA);
        let (along, across) = if chroma > 0.0 {
            (itp[1] / chroma, itp[2] / chroma)
        } else {
            (1.0, 0.0)
        };
        let hue = 1.0 + hue_share * (HUE_WEIGHT - 1.0);
        let turn = Matrix3::new(
            LIGHTNESS_WEIGHT,
            0.0,
            0.0,
            0.0,
            along,
            across,
            0.0,
            -across * hue,
            along * hue,
        );
        Aim {
            lms,
            itp: itp_from_xyz(xyz),
            weights: turn * self.itp,
        }
    }

    /// Weighted miss and its slope per unit drive.
    fn miss(&self, aim: &Aim, drive: Vector3<f64>) -> (Vector3<f64>, Matrix3<f64>) {
        let (lms, slope) = self.panel.pq_lms_with_jacobian(drive.into());
        let miss = aim.weights * (Vector3::from(lms) - Vector3::from(aim.lms));
        (miss, aim.weights * slope)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenstep_colour::{Chromaticity, delta_e_itp};
    use evenstep_display::SimulatedPanel;
    use proptest::prelude::*;

    /// Above its peak a panel is flat, and an answer there is any drive at all: it is the least of them, where the peak is
    /// reached within half of what is just noticeable. This panel's is reached from a drive of 0.784 on.
    #[test]
    fn the_least_drive_that_reaches_a_plateau() {
        const EDGE: f64 = 0.784;
        let panel = SimulatedPanel::by_name("hdr-wrgb").unwrap();
        for peak in [1.0, 1.01] {
            let white = Xyz(panel.xyz([1.0; 3]).0.map(|v| v * peak));
            for start in [[1.0; 3], [0.7; 3], [0.8, 0.9, 1.0]] {
                let found = Inverter::new(&panel).invert(white, start);
                let shown = delta_e_itp(itp_from_xyz(panel.xyz(found.drive)), itp_from_xyz(white));
                assert!(
                    found.drive.iter().all(|d| *d <= EDGE),
                    "{start:?} {found:?}"
                );
                assert!(shown < found.miss_itp + 1.0, "{start:?} {found:?} {shown}");
            }
        }
    }

    /// A white that is 1.5 % too bright is answered with less light rather than with a tint: the panel shows D65 up to 689
    /// cd/m², and more only in its own bluer white.
    #[test]
    fn a_white_out_of_reach_keeps_its_colour() {
        let panel = SimulatedPanel::by_name("hdr-wrgb").unwrap();
        let white = evenstep_colour::Primaries::BT709.xyz_from_rgb(Chromaticity::D65) * 700.0;
        let white = Xyz((white * Vector3::from([1.0; 3])).into());
        let found = Inverter::new(&panel).invert(white, [0.75; 3]);
        let (shown, aim) = (itp_from_xyz(panel.xyz(found.drive)), itp_from_xyz(white));
        let tint = 720.0 * (shown.t - aim.t).hypot(shown.p - aim.p);
        assert!(tint < 2.0, "{tint} {found:?}");
    }

    proptest! {
        /// What a panel shows at some drive is found again, from a start well away.
        #[test]
        fn a_shown_colour_is_reached(drive in prop::array::uniform3(0.08..1.0_f64), off in -0.1..0.1_f64) {
            let panel = SimulatedPanel::wrgb();
            let start = drive.map(|d| (d + off).clamp(0.0, 1.0));
            let found = Inverter::new(&panel).invert(panel.xyz(drive), start);
            prop_assert!(found.miss_itp < 0.01, "{found:?} for {drive:?}");
        }

        /// A colour out of reach gives a drive in range whose hue is within three degrees of the one asked for.
        #[test]
        fn out_of_reach_keeps_range_and_hue(signal in prop::array::uniform3(0.0..1.0_f64)) {
            let panel = SimulatedPanel::wrgb();
            let wide = evenstep_colour::Primaries::BT2020.xyz_from_rgb(evenstep_colour::Chromaticity::D65) * 150.0;
            let xyz = Xyz((wide * Vector3::from(signal.map(|v| v.powf(2.4)))).into());
            let found = Inverter::new(&panel).invert(xyz, signal);
            prop_assert!(found.drive.iter().all(|d| (0.0..=1.0).contains(d)));
            let (a, b) = (itp_from_xyz(xyz), itp_from_xyz(panel.xyz(found.drive)));
            let (wanted, shown) = (a.t.hypot(a.p), b.t.hypot(b.p));
            prop_assume!(720.0 * wanted > 40.0 && 720.0 * shown > 20.0 && xyz.luminance_cd_m2() > 1.0);
            let turn = ((a.t * b.p - a.p * b.t) / (wanted * shown)).asin().to_degrees();
            prop_assert!(turn.abs() < 3.0, "hue turned by {turn} degrees");
        }
    }
}
