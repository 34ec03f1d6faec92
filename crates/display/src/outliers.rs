//! Readings that the others contradict: found by leaving each out, weighed down, named.

use evenstep_colour::{delta_e_2000, lab_from_xyz, percentile};
use evenstep_readings::{NoiseModel, Patch, Readings};
use nalgebra::Vector3;

use crate::{Encoding, StructuredModel, panel_white};

/// Distance, in robust standard deviations, from which a reading is named and its noise taken to be larger than stated:
/// what is weighed down is always named.
pub(crate) const NAMED: f64 = 5.0;
/// Distance a doubted reading is put at by its larger noise: a redescending weight, bounded, never 0.
const AT_MOST: f64 = 0.5;
/// Share of a squared residual that lies along the colour from which it is one of the amount of light. Our choice.
const ALONG: f64 = 0.8;
/// Share of the white's luminance below which a residual is put down to the model. Our choice: the second level of a
/// usual ramp.
const DARKEST: f64 = 1e-3;
/// Median of the absolute value of a standard normal deviate.
const MEDIAN_DEVIATE: f64 = 0.6745;
/// Levels of the neutral ramp, from black, that the screen leaves alone: panels start to light there, and a cubic
/// through four levels does not follow.
const DARK_LEVELS: usize = 3;
/// Share of a ramp's local bend that a cubic through its neighbours may miss. Our choice.
const MISSED: f64 = 0.3;
/// Share of the neutral levels the screen may doubt; beyond, the ramp is not as smooth as it takes it to be.
const MOST_DOUBTED: f64 = 0.15;

/// A reading that the others contradict.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct Outlier {
    /// Id of its patch.
    pub patch: String,
    /// Position of the reading in the file, from 0.
    pub order: usize,
    /// Distance from what the others predict, in standard deviations of that difference.
    pub sigma: f64,
    /// The same as CIEDE2000; `None` for one of several repeats that was set aside.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub de2000: Option<f64>,
}

/// Doubts the neutral levels that do not lie on a smooth ramp, so that the base's tone curves do not follow them.
///
/// Each level is predicted by the cubic through the two trusted levels on each side, in PQ-encoded LMS; the furthest, in
/// robust standard deviations, is doubted and taken out, until none is beyond five. What is doubted wrongly is given its
/// weight back by the model, which sees the other patches too.
pub(crate) fn screen_neutrals(readings: &mut Readings, noise: &NoiseModel) {
    let mut ramp: Vec<usize> = (0..readings.patches.len())
        .filter(|i| readings.patches[*i].is_neutral())
        .collect();
    ramp.sort_by(|a, b| {
        let drive = |i: &usize| readings.patches[*i].drive[0];
        drive(a).total_cmp(&drive(b))
    });
    let most = (MOST_DOUBTED * ramp.len() as f64) as usize;
    for _ in 0..most {
        let distances = ramp_distances(readings, noise, &ramp);
        let mut sizes: Vec<f64> = distances.iter().map(|d| d.1).collect();
        let scale = percentile(&mut sizes, 50.0).unwrap_or(0.0) / MEDIAN_DEVIATE;
        let furthest = distances.iter().max_by(|a, b| a.1.total_cmp(&b.1));
        let Some(&(at, distance)) = furthest else {
            return;
        };
        let relative = distance / scale.max(1.0);
        if relative <= NAMED {
            return;
        }
        readings.patches[ramp[at]].doubt = distance / AT_MOST;
        ramp.remove(at);
    }
}

/// Positions in the ramp and distances from the cubic through four neighbours.
fn ramp_distances(readings: &Readings, noise: &NoiseModel, ramp: &[usize]) -> Vec<(usize, f64)> {
    let encoding = Encoding::PqLms;
    let level = |at: usize| &readings.patches[ramp[at]];
    let ends = DARK_LEVELS..ramp.len().saturating_sub(2);
    ends.map(|at| {
        let around = [at - 2, at - 1, at + 1, at + 2];
        let x = level(at).drive[0];
        let weight = around.map(|i| {
            let others = around.into_iter().filter(|j| *j != i);
            others
                .map(|j| (x - level(j).drive[0]) / (level(i).drive[0] - level(j).drive[0]))
                .product::<f64>()
        });
        let value = |i: usize| encoding.encode(level(i).xyz());
        let variance = |i: usize| encoded_variance(level(i), noise);
        let (own, own_variance) = (value(at), variance(at));
        let mut furthest = 0.0_f64;
        for k in 0..3 {
            // What the cubic adds to the straight line between the next levels says how far the ramp bends here, and
            // so how far a cubic may miss it.
            let (near, far) = (value(at - 1)[k], value(at + 1)[k]);
            let (a, b) = (level(at - 1).drive[0], level(at + 1).drive[0]);
            let line = near + (far - near) * (x - a) / (b - a);
            let (mut rest, mut spread) = (own[k], own_variance[k]);
            for (i, w) in around.into_iter().zip(weight) {
                rest -= w * value(i)[k];
                spread += w * w * variance(i)[k];
            }
            let bend = MISSED * (own[k] - rest - line);
            spread += bend * bend;
            furthest = furthest.max(rest.abs() / spread.sqrt());
        }
        (at, furthest)
    })
    .collect()
}

fn encoded_variance(patch: &Patch, noise: &NoiseModel) -> [f64; 3] {
    let slope = Encoding::PqLms.derivative(patch.xyz());
    let spread = slope * noise.variance_of(patch.xyz()) * slope.transpose();
    std::array::from_fn(|k| spread[(k, k)] / patch.repeats.len().max(1) as f64)
}

/// Places in the file of patches that read 0: by a fault, and held at a bound in place of that.
#[derive(Default)]
pub(crate) struct Zeros {
    pub(crate) faults: Vec<usize>,
    pub(crate) held: Vec<usize>,
}

/// What leaving each patch out says of it.
pub(crate) struct LeftOut {
    /// Encoded residual from the prediction of the others.
    residual: [f64; 3],
    /// Distance in robust standard deviations, the patch's own noise as if it were trusted; 0 where the residual is not
    /// that of a wrong amount of light.
    pub(crate) distance: f64,
}

/// Leaves every patch out.
///
/// A model that is wrong about a hue must not call the patches faulty that say so. A fault of the instrument or of the
/// moment changes the amount of light: residuals that are not along the colour's own direction, and those of the darkest
/// patches, where panels begin to light, are put down to the model. What is held at a bound was not read, and is no fault.
pub(crate) fn left_out(
    readings: &Readings,
    noise: &NoiseModel,
    model: &StructuredModel,
    zeros: &Zeros,
) -> Vec<LeftOut> {
    let factor = model.scales().noise.powi(2);
    let darkest = DARKEST * panel_white(readings).luminance_cd_m2();
    let mut all: Vec<LeftOut> = readings
        .patches
        .iter()
        .zip(model.left_out())
        .map(|(patch, (residual, sd))| {
            let trusted = encoded_variance(patch, noise);
            let (_, slope) = Encoding::PqLms.encode_with_derivative(patch.xyz());
            let along = slope * Vector3::from(patch.xyz().0);
            let residual = Vector3::from(residual);
            let share = residual.dot(&along).powi(2)
                / (residual.norm_squared() * along.norm_squared()).max(f64::MIN_POSITIVE);
            // A patch that reads nothing by a fault has no colour that a residual could be along.
            let of_light = zeros.faults.contains(&patch.order)
                || (share > ALONG && patch.xyz().luminance_cd_m2() > darkest);
            let of_light = of_light && !zeros.held.contains(&patch.order);
            let largest = (0..3).map(|k| {
                let extra = factor * trusted[k] * (patch.doubt.powi(2) - 1.0);
                let variance = (sd[k].powi(2) - extra).max(factor * trusted[k]);
                residual[k].abs() / variance.sqrt()
            });
            LeftOut {
                residual: residual.into(),
                distance: if of_light {
                    largest.fold(0.0, f64::max)
                } else {
                    0.0
                },
            }
        })
        .collect();
    let judged = all.iter().map(|l| l.distance).filter(|d| *d > 0.0);
    let typical = percentile(&mut judged.collect::<Vec<f64>>(), 50.0).unwrap_or(0.0);
    let scale = (typical / MEDIAN_DEVIATE).max(1.0);
    for one in &mut all {
        one.distance /= scale;
    }
    all
}

/// Doubts the patches at a distance beyond `from`, and no others. Returns whether any was not doubted before, or is no longer.
pub(crate) fn doubt(readings: &mut Readings, left_out: &[LeftOut], from: f64) -> bool {
    let mut changed = false;
    for (patch, one) in readings.patches.iter_mut().zip(left_out) {
        let doubt = if one.distance > from {
            one.distance / AT_MOST
        } else {
            1.0
        };
        changed |= (doubt > 1.0) != (patch.doubt > 1.0);
        patch.doubt = doubt;
    }
    changed
}

/// The patches to be named.
pub(crate) fn named(readings: &Readings, left_out: &[LeftOut]) -> Vec<Outlier> {
    let white = panel_white(readings);
    let each = readings.patches.iter().zip(left_out);
    each.filter(|(_, one)| one.distance > NAMED)
        .map(|(patch, one)| {
            let read = Encoding::PqLms.encode(patch.xyz());
            let value = std::array::from_fn(|k| read[k] - one.residual[k]);
            let predicted = Encoding::PqLms.decode(value);
            Outlier {
                patch: patch.id.clone(),
                order: patch.order,
                sigma: one.distance,
                de2000: Some(delta_e_2000(
                    lab_from_xyz(predicted, white),
                    lab_from_xyz(patch.xyz(), white),
                )),
            }
        })
        .collect()
}
