//! Finds how a panel shares light between its sub-pixels, and where its channels saturate.

use nalgebra::{Matrix3, SMatrix, SVector, Vector3};

use super::Training;
use super::emission::{Emission, Sharing};
use super::together::Together;
use crate::encoding::pq_with_toe;

/// Patches it is found from where there are more, evenly picked: some twenty times its parameters are enough.
const MOST: usize = 300;
/// What such an emission may leave of each encoded component beside the noise, in PQ signal: one and a half just
/// noticeable differences, beyond which a patch counts less and less. Our choice.
const LEFT: f64 = 0.002;
/// Root mean square that the base may leave by the same measure before another emission is looked for. Our choice.
const BASE_WRONG: f64 = 1.0;
/// Share of the base's error that may be left, or the panel is taken to add. Our choice.
const WORTH: f64 = 0.25;

/// Nine of the primaries, the share, three levels of saturation, the sharpness.
const PARAMETERS: usize = 14;
type Vector = SVector<f64, PARAMETERS>;
type Normal = SMatrix<f64, PARAMETERS, PARAMETERS>;
type Slope = SMatrix<f64, 3, PARAMETERS>;

/// Median and standard deviation of the last five on their scales: weak, they hold what the readings do not tell.
const PRIOR: [(f64, f64); 5] = [(-1.0, 3.0), (0.0, 3.0), (0.0, 3.0), (0.0, 3.0), (1.0, 3.0)];
/// Least sharpness: below it a saturation bends all light.
const LEAST_SHARPNESS: f64 = 2.0;
/// Bounds of the last five on their scales: nothing real lies beyond, and exponentials stay finite.
const WIDEST: f64 = 6.0;

const STEPS: usize = 60;
/// A step that takes off less than this share of the cost ends the search.
const SMALLEST_GAIN: f64 = 1e-7;

/// The emission that explains readings best: the base's own unless another is worth it.
pub(super) fn emission(training: &Training, near: Option<&Emission>) -> Emission {
    let plain = Emission::plain(training.matrix);
    let search = Search::new(training);
    let start = near.filter(|e| e.sharing.is_some()).map_or_else(
        || scales_of(&plain.primaries, None),
        |e| scales_of(&e.primaries, e.sharing),
    );
    let base = search.error(&plain);
    if !training.greys || base < BASE_WRONG {
        return plain;
    }
    let found = search.emission(&search.descend(start));
    if search.error(&found) < WORTH * base {
        found
    } else {
        plain
    }
}

struct Search<'a> {
    training: &'a Training,
    picked: Vec<usize>,
    together: Vec<Together>,
    /// What turns the miss of a reading into standard deviations.
    whitened: Vec<Matrix3<f64>>,
}

impl<'a> Search<'a> {
    fn new(training: &'a Training) -> Self {
        let n = training.drives.len();
        let picked: Vec<usize> = if n <= MOST {
            (0..n).collect()
        } else {
            (0..MOST).map(|i| i * n / MOST).collect()
        };
        let whiten = |i: &usize| {
            let spread = training.noise[*i] + Matrix3::identity() * LEFT.powi(2);
            let factor = spread.cholesky().map(|c| c.l());
            factor
                .and_then(|l| l.try_inverse())
                .unwrap_or_else(|| Matrix3::identity() / LEFT)
        };
        Self {
            together: picked
                .iter()
                .map(|i| Together::of(training.lights[*i]))
                .collect(),
            whitened: picked.iter().map(whiten).collect(),
            training,
            picked,
        }
    }

    fn emission(&self, at: &Vector) -> Emission {
        let scale = self.training.matrix.amax();
        let last = |i: usize| at[9 + i].clamp(-WIDEST, WIDEST);
        Emission {
            primaries: Matrix3::from_fn(|k, c| scale * at[3 * k + c]),
            white: self.training.matrix.column_sum(),
            sharing: Some(Sharing {
                share: 1.0 / (1.0 + (-last(0)).exp()),
                most: [1, 2, 3].map(|i| last(i).exp()),
                sharpness: LEAST_SHARPNESS + last(4).exp(),
            }),
        }
    }

    /// Miss of every picked reading in standard deviations.
    fn misses(&self, emission: &Emission) -> Vec<Vector3<f64>> {
        let one = |(j, i): (usize, &usize)| {
            let lms = emission.lms(self.training.lights[*i], &self.together[j]);
            let miss = Vector3::from_fn(|k, _| {
                pq_with_toe(self.training.black[k] + lms[k]).0 - self.training.encoded[*i][k]
            });
            self.whitened[j] * miss
        };
        self.picked.iter().enumerate().map(one).collect()
    }

    /// Miss of one picked reading, with its slope by every parameter.
    fn miss_with_slope(&self, emission: &Emission, j: usize) -> (Vector3<f64>, Slope) {
        let sharing = emission.sharing.expect("what is searched for shares");
        let (i, m) = (self.picked[j], self.together[j].value);
        let scale = self.training.matrix.amax();
        let mut lms = emission.white * m;
        let mut slope = Slope::zeros();
        for c in 0..3 {
            let light = self.training.lights[i][c];
            let (own, own_by) = sharing.saturated_with_slopes(c, light - sharing.share * m);
            let (grey, grey_by) = sharing.saturated_with_slopes(c, (1.0 - sharing.share) * m);
            let by = |k: usize| own_by[k] - grey_by[k];
            let primary: Vector3<f64> = emission.primaries.column(c).into();
            lms += primary * (own - grey);
            for k in 0..3 {
                slope[(k, 3 * k + c)] = scale * (own - grey);
            }
            let logistic = sharing.share * (1.0 - sharing.share);
            let mut add = |p: usize, by: f64| {
                for k in 0..3 {
                    slope[(k, p)] += primary[k] * by;
                }
            };
            add(9, -m * logistic * by(0));
            add(10 + c, by(1));
            add(13, (sharing.sharpness - LEAST_SHARPNESS) * by(2));
        }
        let mut miss = Vector3::zeros();
        for k in 0..3 {
            let (value, per_light) = pq_with_toe(self.training.black[k] + lms[k]);
            miss[k] = value - self.training.encoded[i][k];
            slope.row_mut(k).scale_mut(per_light);
        }
        (self.whitened[j] * miss, self.whitened[j] * slope)
    }

    /// Root mean square miss, large ones counting as their root.
    fn error(&self, emission: &Emission) -> f64 {
        let misses = self.misses(emission);
        (misses.iter().map(robust).sum::<f64>() / misses.len() as f64).sqrt()
    }

    fn cost(&self, at: &Vector) -> f64 {
        let misses = self.misses(&self.emission(at));
        let held = PRIOR
            .iter()
            .enumerate()
            .map(|(i, (median, sd))| ((at[9 + i] - median) / sd).powi(2));
        misses.iter().map(robust).sum::<f64>() + held.sum::<f64>()
    }

    /// Levenberg-Marquardt with reweighting.
    fn descend(&self, start: Vector) -> Vector {
        let (mut at, mut cost, mut damping) = (start, self.cost(&start), 1e-3);
        for _ in 0..STEPS {
            let (normal, right) = self.normal(&at);
            let mut taken = false;
            while damping < 1e8 {
                let mut damped = normal;
                for i in 0..PARAMETERS {
                    damped[(i, i)] += damping * normal[(i, i)].max(f64::MIN_POSITIVE);
                }
                let Some(step) = damped.cholesky().map(|c| c.solve(&right)) else {
                    damping *= 8.0;
                    continue;
                };
                let mut next = at - step;
                for i in 9..PARAMETERS {
                    next[i] = next[i].clamp(-WIDEST, WIDEST);
                }
                let found = self.cost(&next);
                if found < cost {
                    taken = cost - found > SMALLEST_GAIN * cost;
                    (at, cost) = (next, found);
                    damping = (damping * 0.2).max(1e-9);
                    break;
                }
                damping *= 8.0;
            }
            if !taken {
                break;
            }
        }
        at
    }

    /// Normal equations at a place.
    fn normal(&self, at: &Vector) -> (Normal, Vector) {
        let (mut normal, mut right) = (Normal::zeros(), Vector::zeros());
        let emission = self.emission(at);
        for j in 0..self.picked.len() {
            let (miss, slope) = self.miss_with_slope(&emission, j);
            let weight = (1.0 + miss.norm_squared()).powf(-0.5);
            right += weight * slope.transpose() * miss;
            normal += weight * slope.transpose() * slope;
        }
        for (i, (median, sd)) in PRIOR.iter().enumerate() {
            normal[(9 + i, 9 + i)] += sd.powi(-2);
            right[9 + i] += (at[9 + i] - median) * sd.powi(-2);
        }
        (normal, right)
    }
}

/// `2(√(1 + x²) − 1)`: x² where small, 2x where large.
fn robust(miss: &Vector3<f64>) -> f64 {
    2.0 * ((1.0 + miss.norm_squared()).sqrt() - 1.0)
}

/// Parameters of an emission; of a panel that adds, the medians.
fn scales_of(primaries: &Matrix3<f64>, sharing: Option<Sharing>) -> Vector {
    let scale = primaries.amax();
    let last = sharing.map_or_else(
        || PRIOR.map(|p| p.0),
        |s| {
            let [r, g, b] = s.most.map(f64::ln);
            [
                (s.share / (1.0 - s.share)).ln(),
                r,
                g,
                b,
                (s.sharpness - LEAST_SHARPNESS).ln(),
            ]
        },
    );
    Vector::from_fn(|i, _| {
        if i < 9 {
            primaries[(i / 3, i % 3)] / scale
        } else {
            last[i - 9]
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rough::tests::session;
    use crate::{BaseModel, Disturbance, SimulatedPanel};
    use evenstep_readings::NoiseModel;

    /// Slopes of the misses are those of central differences, at a place off the medians.
    #[test]
    fn slopes_are_those_of_the_misses() {
        const STEP: f64 = 1e-5;
        /// Share of the largest slope: the third derivative's part of the differences.
        const RELATIVE: f64 = 1e-4;
        let quiet = Disturbance {
            noise: 1.0,
            drift: 0.0,
            outliers: 0.0,
        };
        let readings = session(&SimulatedPanel::by_name("hdr-wrgb").unwrap(), quiet, 1);
        let noise = NoiseModel::from_repeats(&readings).unwrap();
        let base = BaseModel::fit(&readings, &noise).unwrap();
        let training = Training::new(&readings, &noise, &base);
        let search = Search::new(&training);
        let mut at = scales_of(&training.matrix, None);
        for (i, by) in [0.3, -0.5, -0.2, 0.1, 0.4].into_iter().enumerate() {
            at[9 + i] += by;
        }
        let slopes: Vec<Slope> = (0..search.picked.len())
            .map(|j| search.miss_with_slope(&search.emission(&at), j).1)
            .collect();
        for p in 0..PARAMETERS {
            let moved = |by: f64| {
                let mut at = at;
                at[p] += by;
                search.misses(&search.emission(&at))
            };
            let differences = moved(STEP).into_iter().zip(moved(-STEP));
            for (j, (up, down)) in differences.enumerate() {
                let slope = (up - down) / (2.0 * STEP);
                let apart = (slopes[j].column(p) - slope).amax();
                let largest = slopes[j].amax();
                assert!(apart < RELATIVE * largest, "{p} of {j}: {apart} {largest}");
            }
        }
    }
}
