use crate::banded::Banded;

/// Intervals of the spline: fine enough that the knots sit closer than any ramp that is read by hand.
const INTERVALS: usize = 128;
const COEFFICIENTS: usize = INTERVALS + 3;
/// Exponent of the axis the curve is smoothed on: light^(1/2.4) is nearly straight in drive for the panels of the
/// field, so that its second difference measures wobble rather than the panel's own bend. Our choice.
const EXPONENT: f64 = 2.4;
/// Least light at which that axis turns into its tangent; noise at black raises it, so that readings about zero stay
/// finite.
const LEAST_TOE: f64 = 1e-7;
/// Weight of the shape penalty against the largest data weight; large enough to be a constraint.
const SHAPE_PENALTY: f64 = 1e6;
const SHAPE_ROUNDS: usize = 60;
/// Weight of the black, which is the zero of the scale by definition.
const BLACK_WEIGHT: f64 = 1e12;

/// Leave-one-out scores that count as equal, of which the smoother is taken.
const EQUAL: f64 = 1.0001;
/// The same for how channels differ, where the curve is small against its noise and a score of some twenty levels does not
/// tell more. Our choice.
const UNRESOLVED: f64 = 1.5;

/// Drives between which channels pass from each by itself to all together: the dark tenth of a ramp, and as far beyond
/// it again. Our choice.
const LIT: [f64; 2] = [0.1, 0.3];

/// How closely a drive is found: four times the rounding of a drive near 1.
const RESOLUTION: f64 = 4.0 * f64::EPSILON;

/// A smooth curve from drive to the light of one channel, never falling: 0 at drive 0.
///
/// A cubic B-spline with non-decreasing coefficients, so that it is twice differentiable and monotone by
/// construction, fitted with a second-difference penalty whose weight is chosen by leave-one-out.
///
/// # Source
/// P. H. C. Eilers & B. D. Marx, "Flexible smoothing with B-splines and penalties", Statistical Science 11(2),
/// 1996; shape constraint by asymmetric penalties after K. Bollaerts, P. H. C. Eilers & I. van Mechelen, "Simple
/// and multiple P-splines regression with shape constraints", British J. Math. Stat. Psychol. 59, 2006 (both titles
/// from memory).
#[derive(Clone, Debug)]
pub struct ToneCurve {
    coefficients: Vec<f64>,
    axis: Axis,
}

/// The axis a curve is smoothed on: `(light + lift)^(1/2.4)`, linear below the toe.
///
/// The lift is the panel's black: the eye sees light above black on top of it, and so does the axis.
#[derive(Clone, Copy, Debug)]
struct Axis {
    lift: f64,
    toe: f64,
    /// The axis at the toe and its slope per light there.
    at_toe: f64,
    toe_slope: f64,
}

impl Axis {
    fn new(lift: f64, toe: f64) -> Self {
        let at_toe = toe.powf(1.0 / EXPONENT);
        Self {
            lift,
            toe,
            at_toe,
            toe_slope: at_toe / (EXPONENT * toe),
        }
    }

    fn of_light(self, light: f64) -> f64 {
        let seen = light + self.lift;
        if seen > self.toe {
            seen.powf(1.0 / EXPONENT)
        } else {
            self.at_toe + (seen - self.toe) * self.toe_slope
        }
    }

    /// Light of an axis value, and d light / d axis.
    fn light(self, axis: f64) -> (f64, f64) {
        if axis > self.at_toe {
            let seen = axis.powf(EXPONENT);
            (seen - self.lift, EXPONENT * seen / axis)
        } else {
            let seen = self.toe + (axis - self.at_toe) / self.toe_slope;
            (seen - self.lift, 1.0 / self.toe_slope)
        }
    }

    /// d axis / d light.
    fn slope(self, light: f64) -> f64 {
        1.0 / self.light(self.of_light(light)).1
    }
}

/// One level of a ramp for a curve fit.
#[derive(Clone, Copy, Debug)]
pub struct Level {
    /// Drive in [0, 1].
    pub drive: f64,
    /// Light relative to full drive.
    pub light: f64,
    /// Standard deviation of `light`.
    pub sd: f64,
}

/// The levels of a ramp on the axis a curve is smoothed on.
struct Ramp<'a> {
    levels: &'a [Level],
    scale: Axis,
    axis: Vec<f64>,
    weight: Vec<f64>,
}

impl<'a> Ramp<'a> {
    fn new(levels: &'a [Level], lift: f64) -> Self {
        let noise = levels.iter().map(|l| l.sd).fold(f64::INFINITY, f64::min);
        let scale = Axis::new(lift.max(0.0), noise.max(LEAST_TOE));
        let axis = levels.iter().map(|l| scale.of_light(l.light)).collect();
        // The black is the zero of the scale by definition, so its level binds tightly.
        let weight = levels
            .iter()
            .map(|l| {
                let sd = (l.sd * scale.slope(l.light)).max(1e-5);
                if l.drive == 0.0 {
                    BLACK_WEIGHT
                } else {
                    sd.powi(-2)
                }
            })
            .collect();
        Self {
            levels,
            scale,
            axis,
            weight,
        }
    }

    /// The curve of this ramp alone, and its smoothing weight.
    fn curve(&self) -> (ToneCurve, f64) {
        let lambda = chosen(self.levels, &self.weight, &[&self.axis], EQUAL);
        let curve = ToneCurve {
            coefficients: monotone_solution(self.levels, &self.axis, &self.weight, lambda),
            axis: self.scale,
        };
        (curve, lambda)
    }
}

/// 0 in the dark, 1 where channels are lit, smoothly between.
fn lit(drive: f64) -> f64 {
    let [dark, lit] = LIT;
    let t = ((drive - dark) / (lit - dark)).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

/// The smoothing weight of some ramps with the same levels that leave-one-out chooses: the largest that scores at most
/// `prefer` times as much as a smaller one.
fn chosen(levels: &[Level], weight: &[f64], ramps: &[&[f64]], prefer: f64) -> f64 {
    let mut best: Option<(f64, f64)> = None;
    for step in 0..=28 {
        let lambda = 10f64.powf(-4.0 + 0.5 * f64::from(step));
        let scores = ramps
            .iter()
            .map(|axis| leave_one_out(levels, axis, weight, lambda));
        if let Some(score) = scores.sum::<Option<f64>>()
            && best.is_none_or(|(s, _)| score <= s * prefer)
        {
            best = Some((score.min(best.map_or(score, |b| b.0)), lambda));
        }
    }
    best.map_or(1.0, |b| b.1)
}

impl ToneCurve {
    /// Fits a curve to the levels of one ramp. Returns it with the smoothing weight that leave-one-out chose.
    /// `lift` is the panel's black on the scale of `light`.
    ///
    /// `levels` must hold at least three distinct drives, the end points 0 and 1 among them.
    #[must_use]
    pub fn fit(levels: &[Level], lift: f64) -> (Self, f64) {
        Ramp::new(levels, lift).curve()
    }

    /// Fits the curves of channels that were read together: their mean on the axis they are smoothed on, then how each
    /// differs from it, with a smoothing weight for either that leave-one-out chose. In the dark each channel is fitted
    /// by itself.
    ///
    /// The noise of a reading is mostly its light's and so common to the channels. Smoothed alike it stays common, while
    /// weights of their own would turn it into a tint; and the tint of a grey ramp, which changes more slowly than its
    /// light, is not left as rough as a curve of light has to be. Near black neither is so: what stays of the noise there
    /// is each channel's own, and each begins to light in its own way.
    #[must_use]
    pub fn fit_together<const N: usize>(ramps: [&[Level]; N], lifts: [f64; N]) -> [Self; N] {
        let ramps: [Ramp<'_>; N] = std::array::from_fn(|c| Ramp::new(ramps[c], lifts[c]));
        let levels = ramps[0].levels;
        let over = |of: &dyn Fn(&Ramp<'_>) -> f64| ramps.iter().map(of).sum::<f64>() / N as f64;
        let mean: Vec<f64> = (0..levels.len()).map(|i| over(&|r| r.axis[i])).collect();
        let weight: Vec<f64> = (0..levels.len()).map(|i| over(&|r| r.weight[i])).collect();
        let apart: Vec<Vec<f64>> = ramps
            .iter()
            .map(|r| r.axis.iter().zip(&mean).map(|(y, m)| y - m).collect())
            .collect();
        let smooth = |values: &[f64], lambda| {
            let (matrix, mut solution) = normal_equations(levels, values, &weight, lambda);
            matrix.cholesky()?.solve(&mut solution);
            Some(solution)
        };
        let shared = smooth(&mean, chosen(levels, &weight, &[&mean], EQUAL));
        let own: Vec<&[f64]> = apart.iter().map(Vec::as_slice).collect();
        let lambda = chosen(levels, &weight, &own, UNRESOLVED);
        let mut apart = apart.iter();
        ramps.map(|ramp| {
            let mut curve = ramp.curve().0;
            let own = apart.next().and_then(|values| smooth(values, lambda));
            if let Some((shared, own)) = shared.as_ref().zip(own) {
                let joined = |(i, dark): (usize, &f64)| {
                    let lit = lit(i as f64 / INTERVALS as f64);
                    lit * (shared[i] + own[i]) + (1.0 - lit) * dark
                };
                let all: Vec<f64> = curve.coefficients.iter().enumerate().map(joined).collect();
                // Where they would fall, the curve that cannot stays.
                if all.windows(2).all(|pair| pair[0] <= pair[1]) {
                    curve.coefficients = all;
                }
            }
            curve
        })
    }

    /// Light at a drive in [0, 1]; drives outside are clipped.
    #[must_use]
    pub fn light(&self, drive: f64) -> f64 {
        self.axis.light(self.at(drive).0).0
    }

    /// Light and its slope per unit drive.
    #[must_use]
    pub fn light_with_slope(&self, drive: f64) -> (f64, f64) {
        let (axis, slope) = self.at(drive);
        let (light, per_axis) = self.axis.light(axis);
        (light, slope * per_axis)
    }

    /// The least drive that gives at least `light`; 1 when no drive does.
    #[must_use]
    pub fn drive(&self, light: f64) -> f64 {
        let aim = self.axis.of_light(light);
        if aim <= self.at(0.0).0 {
            return 0.0;
        }
        if aim >= self.at(1.0).0 {
            return 1.0;
        }
        self.least_drive(aim)
    }

    /// Where the curve first reaches a value between its ends: the interval by halving, then Newton's method held
    /// within a bracket, whose lower end is always below the aim.
    fn least_drive(&self, aim: f64) -> f64 {
        let (mut below, mut reached) = (0, INTERVALS);
        while reached - below > 1 {
            let middle = usize::midpoint(below, reached);
            if self.at(knot(middle)).0 < aim {
                below = middle
            } else {
                reached = middle
            }
        }
        let (mut low, mut high) = (knot(below), knot(reached));
        let mut drive = 0.5 * (low + high);
        // Halvings alone would reach the last bit of a drive in these rounds.
        for _ in 0..52 {
            let (value, slope) = self.at(drive);
            if value < aim {
                low = drive
            } else {
                high = drive
            }
            if high - low <= RESOLUTION {
                break;
            }
            let mut step = (aim - value) / slope;
            if step.abs() < RESOLUTION {
                // Arrived from one side: look just beyond, to close the bracket.
                step = if value < aim { RESOLUTION } else { -RESOLUTION };
            }
            drive += step;
            // Also where the curve is flat and the step is not a number.
            if !(low < drive && drive < high) {
                drive = 0.5 * (low + high);
            }
        }
        high
    }

    fn at(&self, drive: f64) -> (f64, f64) {
        let (first, basis, slope) = basis(drive);
        let local = &self.coefficients[first..first + 4];
        let sum = |weights: [f64; 4]| weights.iter().zip(local).map(|(w, c)| w * c).sum();
        (sum(basis), sum(slope))
    }
}

/// Drive at which interval `i` begins.
fn knot(i: usize) -> f64 {
    i as f64 / INTERVALS as f64
}

/// First coefficient, the four cubic basis values and their slopes per unit drive.
fn basis(drive: f64) -> (usize, [f64; 4], [f64; 4]) {
    let position = drive.clamp(0.0, 1.0) * INTERVALS as f64;
    let first = (position.floor() as usize).min(INTERVALS - 1);
    let t = position - first as f64;
    let s = 1.0 - t;
    let values = [
        s * s * s / 6.0,
        (3.0 * t * t * t - 6.0 * t * t + 4.0) / 6.0,
        (-3.0 * t * t * t + 3.0 * t * t + 3.0 * t + 1.0) / 6.0,
        t * t * t / 6.0,
    ];
    let n = INTERVALS as f64;
    let slopes = [
        -0.5 * s * s * n,
        (1.5 * t * t - 2.0 * t) * n,
        (-1.5 * t * t + t + 0.5) * n,
        0.5 * t * t * n,
    ];
    (first, values, slopes)
}

/// Normal matrix of the weighted fit with the second-difference penalty, and its right-hand side.
fn normal_equations(
    levels: &[Level],
    axis: &[f64],
    weight: &[f64],
    lambda: f64,
) -> (Banded, Vec<f64>) {
    let mut matrix = Banded::zeros(COEFFICIENTS);
    let mut right = vec![0.0; COEFFICIENTS];
    for ((level, y), w) in levels.iter().zip(axis).zip(weight) {
        let (first, b, _) = basis(level.drive);
        for i in 0..4 {
            right[first + i] += w * b[i] * y;
            for j in 0..=i {
                matrix.add(first + i, first + j, w * b[i] * b[j]);
            }
        }
    }
    // Scaled so that λ multiplies the integral of the squared second derivative.
    let scale = lambda * (INTERVALS as f64).powi(3);
    for first in 0..COEFFICIENTS - 2 {
        let second_difference = [1.0, -2.0, 1.0];
        for i in 0..3 {
            for j in 0..=i {
                matrix.add(
                    first + i,
                    first + j,
                    scale * second_difference[i] * second_difference[j],
                );
            }
        }
    }
    (matrix, right)
}

/// Mean squared leave-one-out residual in units of each level's own standard deviation; the black is not left out.
fn leave_one_out(levels: &[Level], axis: &[f64], weight: &[f64], lambda: f64) -> Option<f64> {
    let (matrix, mut solution) = normal_equations(levels, axis, weight, lambda);
    let factor = matrix.cholesky()?;
    factor.solve(&mut solution);
    let inverse = factor.inverse_band();
    let (mut sum, mut count) = (0.0, 0.0);
    for ((level, y), w) in levels.iter().zip(axis).zip(weight) {
        if level.drive == 0.0 {
            continue;
        }
        let (first, b, _) = basis(level.drive);
        let pairs = (0..4).flat_map(|i| (0..4).map(move |j| (i, j)));
        let leverage: f64 = pairs
            .map(|(i, j)| w * b[i] * b[j] * inverse.at(first + i, first + j))
            .sum();
        let local = &solution[first..first + 4];
        let fitted: f64 = b.iter().zip(local).map(|(b, c)| b * c).sum();
        let residual = (y - fitted) / (1.0 - leverage).max(1e-9);
        sum += w * residual * residual;
        count += 1.0;
    }
    (count > 0.0).then(|| sum / count)
}

/// Solves with the penalty on falling coefficients switched on where they fall, until none does.
fn monotone_solution(levels: &[Level], axis: &[f64], weight: &[f64], lambda: f64) -> Vec<f64> {
    let (matrix, right) = normal_equations(levels, axis, weight, lambda);
    let heavy = SHAPE_PENALTY
        * weight
            .iter()
            .copied()
            .filter(|w| *w < BLACK_WEIGHT)
            .fold(1.0, f64::max);
    let mut falling = [false; COEFFICIENTS - 1];
    let mut coefficients = vec![0.0; COEFFICIENTS];
    for _ in 0..SHAPE_ROUNDS {
        let mut shaped = matrix.clone();
        for (i, _) in falling.iter().enumerate().filter(|(_, f)| **f) {
            shaped.add(i, i, heavy);
            shaped.add(i + 1, i + 1, heavy);
            shaped.add(i + 1, i, -heavy);
        }
        let Some(factor) = shaped.cholesky() else {
            break;
        };
        coefficients.copy_from_slice(&right);
        factor.solve(&mut coefficients);
        let mut changed = false;
        for i in 0..COEFFICIENTS - 1 {
            let falls = coefficients[i + 1] < coefficients[i];
            changed |= falls && !falling[i];
            falling[i] |= falls;
        }
        if !changed {
            break;
        }
    }
    // What rounding left of the penalty is removed exactly.
    for i in 1..COEFFICIENTS {
        coefficients[i] = coefficients[i].max(coefficients[i - 1]);
    }
    coefficients
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn ramp(count: usize, light: impl Fn(f64) -> f64, sd: f64) -> Vec<Level> {
        (0..count)
            .map(|i| {
                let drive = i as f64 / (count - 1) as f64;
                let v = light(drive);
                Level {
                    drive,
                    light: v,
                    sd: sd * v.max(1e-4),
                }
            })
            .collect()
    }

    #[test]
    fn a_power_curve_is_followed() {
        // 21 levels of an exact 2.2 power: the spline errs by less than 0.1 % of full light anywhere.
        let (curve, _) = ToneCurve::fit(&ramp(21, |d| d.powf(2.2), 1e-3), 0.0);
        for i in 0..=200 {
            let d = f64::from(i) / 200.0;
            assert!(
                (curve.light(d) - d.powf(2.2)).abs() < 1e-3,
                "{d}: {}",
                curve.light(d)
            );
        }
        assert!(curve.light(0.0).abs() < 1e-6);
    }

    /// Between black and the first level of a usual ramp the light of a power panel with some black is met: the axis
    /// sees light on top of the black, as the eye does.
    #[test]
    fn a_raised_black_is_no_threshold() {
        let lift = 0.045 / 120.0;
        let (curve, _) = ToneCurve::fit(&ramp(51, |d| d.powf(2.4), 1e-4), lift);
        for d in [0.0025, 0.005, 0.0075, 0.01, 0.015] {
            let ratio = (curve.light(d) + lift) / (f64::powf(d, 2.4) + lift);
            // One ΔE ITP is about 2.5 % of the light at 0.05 cd/m² (BT.2124: 720·dPQ).
            assert!((ratio - 1.0).abs() < 0.025, "{d}: {ratio}");
        }
    }

    /// A tint that reading noise puts into a grey ramp is smoothed more than by curves that know nothing of each other,
    /// while noise of the light that all channels share gives none.
    #[test]
    fn channels_together_have_less_tint_than_each_by_itself() {
        /// Over 20 sets of noise; 0.21 when this was written.
        const LESS: f64 = 0.5;
        let powers = [2.28, 2.21, 2.34];
        let (mut together, mut apart) = (0.0, 0.0);
        for set in 0..20 {
            // Noise by the golden ratio: 0.15 % of all light, 0.05 % of each channel.
            let wave = |i: usize, c: usize| {
                let x = 0.618_033_988_7 * (i + 1) as f64 + 0.414_213_562_4 * (7 * set + c) as f64;
                3.0 * (x.fract() - 0.5)
            };
            let ramps: [Vec<Level>; 3] = std::array::from_fn(|c| {
                let mut levels = ramp(21, |d| d.powf(powers[c]), 0.0015);
                for (i, level) in levels.iter_mut().enumerate() {
                    level.light *= 1.0 + 0.0015 * wave(i, 3) + 0.0005 * wave(i, c);
                }
                levels
            });
            let [r, g, b] = &ramps;
            let joined = ToneCurve::fit_together([r, g, b], [0.0; 3]);
            let own = [r, g, b].map(|levels| ToneCurve::fit(levels, 0.0).0);
            let tint = |curves: &[ToneCurve; 3]| -> f64 {
                let at = |i: usize| {
                    let d = i as f64 / 100.0;
                    let off = |c: usize| curves[c].light(d).ln() - powers[c] * d.ln();
                    (off(0) - off(1)).powi(2) + (off(2) - off(1)).powi(2)
                };
                (30..100).map(at).sum::<f64>().sqrt()
            };
            together += tint(&joined);
            apart += tint(&own);
        }
        assert!(together < LESS * apart, "{together} against {apart}");
    }

    proptest! {
        /// Whatever the readings, the curve never falls and `drive` inverts `light`.
        #[test]
        fn never_falls_and_inverts(noise in prop::collection::vec(-0.03..0.03_f64, 19), gamma in 1.0..3.0_f64) {
            let mut levels = ramp(21, |d| d.powf(gamma), 1e-2);
            for (level, n) in levels[1..20].iter_mut().zip(&noise) {
                level.light += n;
            }
            let (curve, _) = ToneCurve::fit(&levels, 0.0);
            for together in ToneCurve::fit_together([&levels, &ramp(21, |d| d.powf(2.2), 1e-2)], [0.0; 2]) {
                let lights: Vec<f64> = (0..=1000).map(|i| together.light(f64::from(i) / 1000.0)).collect();
                prop_assert!(lights.windows(2).all(|pair| pair[1] >= pair[0] - 1e-12));
            }
            let mut last = f64::NEG_INFINITY;
            for i in 0..=1000 {
                let light = curve.light(f64::from(i) / 1000.0);
                // Roundoff of four products.
                prop_assert!(light >= last - 1e-12, "falls at {i}");
                last = light;
            }
            for i in 0..=20 {
                let aim = curve.light(f64::from(i) / 20.0);
                prop_assert!((curve.light(curve.drive(aim)) - aim).abs() < 1e-9);
            }
            // The least drive that reaches the aim, found by halving on the curve itself.
            for i in 1..20 {
                let aim = curve.light(f64::from(i) / 20.0) + 1e-4;
                let reach = curve.axis.of_light(aim);
                if curve.at(1.0).0 <= reach {
                    continue;
                }
                let (mut low, mut high) = (0.0, 1.0);
                for _ in 0..52 {
                    let middle = 0.5 * (low + high);
                    if curve.at(middle).0 < reach { low = middle } else { high = middle }
                }
                let drive = curve.drive(aim);
                prop_assert!(curve.at(drive).0 >= reach);
                // Where the curve is nearly flat, rounding of its four products decides by a few hundred bits.
                prop_assert!((drive - high).abs() < 1e-11, "{drive} {high}");
            }
        }

        /// The slope is the derivative of the light.
        #[test]
        fn slope_agrees_with_differences(drive in 0.1..0.9_f64) {
            let (curve, _) = ToneCurve::fit(&ramp(33, |d| d.powf(2.4), 1e-3), 0.0);
            let h = 1e-6;
            let difference = (curve.light(drive + h) - curve.light(drive - h)) / (2.0 * h);
            prop_assert!((curve.light_with_slope(drive).1 - difference).abs() < 1e-5);
        }
    }
}
