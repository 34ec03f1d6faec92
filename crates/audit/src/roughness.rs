use std::ops::Range;

use evenstep_colour::{Lab, Xyz, delta_e_2000_of_pairs, lab_from_xyz};
use serde::Serialize;

use crate::light::Light;
use crate::trend::moving_mean;
use crate::walk::Guide;
use evenstep_colour::{percentile, root_mean_square};

/// Summary of a roughness.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Roughness {
    /// Root of the mean square.
    pub rms: f64,
    /// 95th percentile of the magnitude.
    pub p95: f64,
}

impl Roughness {
    fn of(mut values: Vec<f64>) -> Option<Self> {
        let rms = root_mean_square(values.iter().copied())?;
        for value in &mut values {
            *value = value.abs();
        }
        Some(Self {
            rms,
            p95: percentile(&mut values, 95.0)?,
        })
    }
}

/// First differences of steps, each given with the code it starts from; steps that do not adjoin give none.
fn first_differences(steps: impl Iterator<Item = (usize, f64)>) -> Vec<f64> {
    let mut before: Option<(usize, f64)> = None;
    let mut differences = Vec::new();
    for (i, step) in steps {
        if let Some((at, earlier)) = before
            && at + 1 == i
        {
            differences.push(step - earlier);
        }
        before = Some((i, step));
    }
    differences
}

/// First differences of the CIEDE2000 between consecutive colours, over neighbouring judged pairs: Green 2008;
/// root mean square as Marchessoux & Rostang 2017 recommend.
///
/// It cannot see a reversal: a fold back has the same colour difference.
pub(crate) fn colour_roughness(
    guide: &Guide,
    part: &Range<usize>,
    light: &Light,
    white: Xyz,
) -> Option<Roughness> {
    let end = (part.end + 1).min(light.xyz.len());
    let colours: Vec<Lab> = light.xyz[part.start..end]
        .iter()
        .map(|&c| lab_from_xyz(c, white))
        .collect();
    let steps = match colours.as_slice() {
        [_, later @ ..] => delta_e_2000_of_pairs(&colours[..later.len()], later),
        [] => Vec::new(),
    };
    let step = |i: usize| (i, steps[i - part.start]);
    Roughness::of(first_differences(guide.pairs(part).map(step)))
}

/// Distance of the drive from its own trend (moving mean over 1/16 of the signal), over judged codes.
pub(crate) fn drive_roughness(
    guide: &Guide,
    part: &Range<usize>,
    drive: &[[f64; 3]],
    trend: &[[f64; 3]],
) -> Option<Roughness> {
    let distance = |i: usize| {
        let squares = (0..3).map(|c| (drive[i][c] - trend[i][c]).powi(2));
        squares.sum::<f64>().sqrt()
    };
    Roughness::of(guide.judged_codes(part).map(distance).collect())
}

/// Distance, in ΔE ITP, of the neutral ramp's chroma error from its own trend, with its code, for every judged code.
///
/// The error is what is shown less what is wanted, in T and P: a target that glides from the black's colour to
/// the white's is no wobble.
pub(crate) fn wobbles(guide: &Guide, light: &Light, target: &Light) -> Vec<(f64, usize)> {
    let codes: Vec<usize> = guide.judged_codes(&guide.whole()).collect();
    let error = |&i: &usize| {
        let (shown, wanted) = (light.itp[i], target.itp[i]);
        [shown.t - wanted.t, shown.p - wanted.p]
    };
    let errors: Vec<[f64; 2]> = codes.iter().map(error).collect();
    let trend = moving_mean(&errors, guide.half);
    let distance =
        |(e, t): (&[f64; 2], &[f64; 2])| crate::light::ITP_SCALE * (e[0] - t[0]).hypot(e[1] - t[1]);
    errors.iter().zip(&trend).map(distance).zip(codes).collect()
}

/// The largest of [`wobbles`], the first of equals.
pub(crate) fn largest(wobbles: impl Iterator<Item = (f64, usize)>) -> Option<(f64, usize)> {
    wobbles.reduce(|most, here| if here.0 > most.0 { here } else { most })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// L*, a*, b* of a 17-step neutral ramp with node 8 displaced by (1.5, 0.6, −0.4) and node 9 by
    /// (0, −0.3, 0).
    fn example() -> Vec<Lab> {
        let mut ramp: Vec<Lab> = (0..17)
            .map(|i| Lab {
                l: 6.25 * f64::from(i),
                a: 0.0,
                b: 0.0,
            })
            .collect();
        ramp[8] = Lab {
            l: 51.5,
            a: 0.6,
            b: -0.4,
        };
        ramp[9].a = -0.3;
        ramp
    }

    #[test]
    fn statistics_of_the_worked_example() {
        // CIEDE2000 by an independent open implementation; statistics as Green 2008 (95th percentile, type 7)
        // and Marchessoux & Rostang 2017 (root mean square) take them. Printed to nine decimals; the root mean
        // square of the printed differences themselves ends in 4, not 5, so one unit is allowed.
        const LAST_DIGIT: f64 = 1e-9;
        let ramp = example();
        let steps = ramp
            .windows(2)
            .map(|p| evenstep_colour::delta_e_2000(p[0], p[1]))
            .enumerate();
        let got = Roughness::of(first_differences(steps)).unwrap();
        assert!((got.rms - 0.995_144_665).abs() < LAST_DIGIT, "{got:?}");
        assert!((got.p95 - 2.366_587_419).abs() < LAST_DIGIT, "{got:?}");
    }

    #[test]
    fn only_adjoining_steps_are_compared() {
        let steps = [(0, 1.0), (1, 3.0), (4, 9.0), (5, 8.0)];
        assert_eq!(first_differences(steps.into_iter()), [2.0, -1.0]);
        assert_eq!(Roughness::of(Vec::new()), None);
    }
}
