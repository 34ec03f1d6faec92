use std::ops::Range;

use evenstep_colour::{ContrastConvention, gsdf_index};

use crate::light::Light;
use crate::walk::Guide;

/// Named in the report beside the figure, by the viewing conditions.
const CONVENTION: ContrastConvention = ContrastConvention::SquareWave;

/// Largest judged step in ΔE ITP (Rec. ITU-R BT.2124-0) with its first code.
pub(crate) fn largest_itp(
    guide: &Guide,
    part: &Range<usize>,
    light: &Light,
) -> Option<(f64, usize)> {
    guide
        .pairs(part)
        .map(|i| (light.step_itp(i), i))
        .fold(None, |best, step| match best {
            Some((most, _)) if most >= step.0 => best,
            _ => Some(step),
        })
}

/// Largest judged luminance step in thresholds of the Barten model, rising or falling.
pub(crate) fn largest_barten(guide: &Guide, part: &Range<usize>, light: &Light) -> Option<f64> {
    let (eye, veil) = (guide.viewing.observer(), guide.veil_cd_m2());
    guide
        .pairs(part)
        .map(|i| (veil + light.luminance(i), veil + light.luminance(i + 1)))
        .filter(|(from, to)| from + to > 0.0)
        .map(|(from, to)| eye.steps_between(from, to, CONVENTION).abs())
        .reduce(f64::max)
}

/// Largest judged luminance step in indices of DICOM's GSDF, of pairs that lie wholly on that scale.
pub(crate) fn largest_gsdf(guide: &Guide, part: &Range<usize>, light: &Light) -> Option<f64> {
    // Each luminance is inverted once: neighbours share theirs.
    let mut before: Option<(usize, Option<f64>)> = None;
    let mut most: Option<f64> = None;
    let index_at = |i: usize| gsdf_index(guide.veil_cd_m2() + light.luminance(i));
    for i in guide.pairs(part) {
        let from = match before {
            Some((at, index)) if at == i => index,
            _ => index_at(i),
        };
        let to = index_at(i + 1);
        before = Some((i + 1, to));
        if let (Some(from), Some(to)) = (from, to) {
            let step = (to - from).abs();
            most = Some(most.map_or(step, |most| most.max(step)));
        }
    }
    most
}

#[cfg(test)]
mod tests {
    use evenstep_colour::{Chromaticity, Xyz};

    use super::*;

    /// L, L of the next code, ΔJ by exact inversion, step over the Barten threshold at 60° and 2/(1.27·S).
    ///
    /// DICOM PS3.14 (2024c) clause 7.1 and Report ITU-R BT.2246 (Barten 1999 equation 3.26), computed by an
    /// independent open implementation: PQ 10-bit codes 102, 511, 920 (SMPTE ST 2084:2014) and BT.1886 codes 12
    /// of 8 bits on 100/0.05 cd/m² and 51 of 10 bits on 700/0.05 cd/m² (Rec. ITU-R BT.1886-0).
    const STEPS: [(f64, f64, f64, f64); 5] = [
        (0.322_068_97, 0.330_444_8, 0.672_013, 4.375_8),
        (91.795_005, 92.698_47, 1.298_22, 4.466_03),
        (3_880.931_3, 3_916.285_3, 1.396_05, 4.585_99),
        (0.286_609_98, 0.317_138_51, 2.562_22, 16.834_1),
        (1.090_629_8, 1.128_115, 1.446_48, 8.039_37),
    ];
    /// Luminances are printed to eight digits: half a unit of the last over a step of 0.9 % and more.
    const PRINTED: f64 = 1e-5;

    fn two_codes() -> Guide {
        Guide {
            codes: vec![0, 1],
            signals: vec![[0.0; 3], [1.0; 3]],
            rising: [true; 3],
            is_neutral: true,
            half: 1,
            viewing: crate::Viewing::default(),
            near_black: 0..0,
            target: None,
            judged: vec![true],
        }
    }

    #[test]
    fn steps_on_the_published_scales() {
        for (from, to, gsdf, barten) in STEPS {
            let light = Light::new([from, to].map(|y| Chromaticity::D65.xyz_at(y)).to_vec());
            let got = largest_gsdf(&two_codes(), &(0..2), &light).unwrap();
            assert!((got / gsdf - 1.0).abs() < PRINTED, "{from}: {got}, {gsdf}");
            let got = largest_barten(&two_codes(), &(0..2), &light).unwrap();
            assert!(
                (got / barten - 1.0).abs() < PRINTED,
                "{from}: {got}, {barten}"
            );
        }
    }

    #[test]
    fn gsdf_is_not_defined_below_its_range() {
        let light = Light::new(vec![Xyz::new(0.01, 0.01, 0.01), Xyz::new(0.04, 0.04, 0.04)]);
        assert_eq!(largest_gsdf(&two_codes(), &(0..2), &light), None);
    }
}
