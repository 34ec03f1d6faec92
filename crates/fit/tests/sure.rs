//! How sure a fit says it is, and which patches it asks for, held against panels whose behaviour is known.

use evenstep_colour::{delta_e_itp, itp_from_xyz, root_mean_square};
use evenstep_display::{
    BaseModel, Disturbance, Encoding, Form, ForwardModel, PanelModel, SimulatedPanel, Structure,
    Target, simulate,
};
use evenstep_fit::{
    BaseCorrection, Doubt, Gamut, NodeSolver, Region, TargetRequest, most_missed, next_patches,
    noise_of, through,
};
use evenstep_lut::{Correction, NEAR_BLACK};
use evenstep_readings::{FullScale, PatchRequest, Readings, RgbScale, merged, parse_patches};
use evenstep_scatter::Scheme;
use proptest::prelude::*;

fn foyer() -> Vec<PatchRequest> {
    let text = include_bytes!("../../../examples/foyer/sparse-patches.csv");
    let path = std::path::Path::new("sparse-patches.csv");
    parse_patches(text, path, RgbScale::Given(FullScale::One))
        .unwrap()
        .0
}

/// What is known of a panel from patches: readings, a model and the target.
struct Known {
    panel: SimulatedPanel,
    readings: Readings,
    model: ForwardModel,
}

impl Known {
    fn new(name: &str, patches: &[PatchRequest], seed: u64) -> Self {
        let noisy = Disturbance {
            noise: 1.0,
            drift: 0.0,
            outliers: 0.0,
        };
        let panel = SimulatedPanel::by_name(name).unwrap();
        Self::of(name, merged(simulate(&panel, patches, noisy, seed)))
    }

    fn of(name: &str, readings: Readings) -> Self {
        let panel = SimulatedPanel::by_name(name).unwrap();
        let (noise, _) = noise_of(&readings);
        // One structure for all, so that no choice of a model takes time or hides what the patches do.
        let structure = Structure {
            form: Form::Residual,
            encoding: Encoding::PqLms,
            scheme: Scheme::RBF_CUBIC,
            smoothing: 1e-4,
        };
        let base = BaseModel::fit(&readings, &noise).unwrap();
        let model = ForwardModel::fit(&readings, &noise, Some(base), structure).unwrap();
        Self {
            panel,
            readings,
            model,
        }
    }

    fn target(&self) -> Target {
        let (primaries, transfer) = self.panel.usual_target();
        let peak = 0.75 * self.panel.xyz([1.0; 3]).luminance_cd_m2();
        let request = TargetRequest {
            primaries,
            transfer,
            peak: evenstep_fit::Peak::Given(peak),
            ..TargetRequest::default()
        };
        request.settle(&self.readings, &self.model).target
    }

    fn base(&self) -> BaseCorrection {
        BaseCorrection::new(self.model.base().unwrap().clone(), self.target())
    }

    /// Mean ΔE ITP between panel and model at the drives that the base gives the signals of the cube.
    fn error(&self, drives: &[[f64; 3]]) -> f64 {
        let itp = |xyz| itp_from_xyz(xyz);
        let each = drives
            .iter()
            .map(|d| delta_e_itp(itp(self.panel.xyz(*d)), itp(self.model.xyz(*d))));
        each.sum::<f64>() / drives.len() as f64
    }
}

/// The model inverted for every signal that is asked for.
struct Solved<'a>(NodeSolver<'a>);

impl Correction for Solved<'_> {
    fn drive(&self, signal: [f64; 3]) -> [f64; 3] {
        self.0.solve(signal).drive
    }
}

/// No correction at all.
struct Straight;

impl Correction for Straight {
    fn drive(&self, signal: [f64; 3]) -> [f64; 3] {
        signal
    }
}

/// About 95 in 100 signals are shown within the band, where the model itself is inverted and so all that is wrong is what
/// it does not know.
#[test]
fn the_truth_lies_inside_the_band() {
    /// `docs/methods/confidence.md`: means of three fits of 101 patches lie between 0.93 and 0.98; below 0.8 the band of
    /// a single one would mislead.
    const LEAST: f64 = 0.8;
    /// Widest band over the root mean square error that a band of use may have. Found there: 1 to 2.2.
    const WIDEST: f64 = 4.0;
    for name in ["wrgb", "lcd", "wide-gamut"] {
        let known = Known::new(name, &foyer(), 5);
        let doubt = Doubt::new(&known.readings, &known.model).unwrap();
        let (target, base) = (known.target(), known.base());
        let solved = Solved(NodeSolver::new(&known.model, &target, Some(&base)));
        let band = doubt.bands(&target, &solved, NEAR_BLACK).all.itp_q95;
        let gamut = Gamut::new(&known.panel, &target, Some(&base));
        let signals = Region::All.signals(NEAR_BLACK).into_iter().step_by(5);
        let errors: Vec<f64> = signals
            .filter(|s| gamut.reaches(*s))
            .map(|s| {
                let shown = known.panel.xyz(solved.drive(s));
                delta_e_itp(itp_from_xyz(shown), itp_from_xyz(target.xyz(s)))
            })
            .collect();
        let inside = errors.iter().filter(|e| **e <= band).count() as f64 / errors.len() as f64;
        let rms = root_mean_square(errors.into_iter()).unwrap();
        assert!(
            inside >= LEAST && band < WIDEST * rms,
            "{name}: {inside} inside {band}, {rms}"
        );
    }
}

/// A correction that misses the target by more has wider bands, whatever the model knows.
#[test]
fn the_error_of_the_correction_itself_counts() {
    let known = Known::new("wrgb", &foyer(), 2);
    let doubt = Doubt::new(&known.readings, &known.model).unwrap();
    let target = known.target();
    let base = doubt.bands(&target, &known.base(), NEAR_BLACK);
    let none = doubt.bands(&target, &Straight, NEAR_BLACK);
    for (a, b) in [(base.all, none.all), (base.neutral, none.neutral)] {
        assert!(a.itp_q95 < b.itp_q95 && a.de2000_q95 < b.de2000_q95);
    }
}

/// More readings of the same panel make a fit surer.
#[test]
fn twice_the_patches_make_surer() {
    let few = foyer();
    let grid = (0..216).map(|i| PatchRequest {
        id: format!("G{i}"),
        drive: [i % 6, i / 6 % 6, i / 36].map(|k| f64::from(k) / 5.0),
    });
    let many: Vec<PatchRequest> = few.iter().cloned().chain(grid).collect();
    let band = |patches: &[PatchRequest]| {
        let known = Known::new("wrgb", patches, 4);
        let doubt = Doubt::new(&known.readings, &known.model).unwrap();
        doubt.bands(&known.target(), &known.base(), NEAR_BLACK)
    };
    // The base alone is what is loaded, so that its own error, alike in both, bounds the gain.
    assert!(band(&many).saturated.itp_q95 < band(&few).saturated.itp_q95);
}

/// The same patches shown again through the first correction, joined to the first readings, lower the error on the true
/// panel: the second readings lie where the correction drives it.
#[test]
fn a_second_pass_refines_the_first() {
    let patches = foyer();
    let first = Known::new("wrgb", &patches, 6);
    let (target, base) = (first.target(), first.base());
    let solved = Solved(NodeSolver::new(&first.model, &target, Some(&base)));
    let noisy = Disturbance {
        noise: 1.0,
        drift: 0.0,
        outliers: 0.0,
    };
    let shown: Vec<PatchRequest> = patches
        .iter()
        .map(|p| PatchRequest {
            id: p.id.clone(),
            drive: solved.drive(p.drive),
        })
        .collect();
    let mut again = simulate(&first.panel, &shown, noisy, 7);
    for (reading, patch) in again.iter_mut().zip(&patches) {
        reading.drive = patch.drive;
    }
    let known = simulate(&first.panel, &patches, noisy, 6);
    let second = Known::of("wrgb", merged(through(&solved, known, again)));
    let signals = Region::All.signals(NEAR_BLACK);
    let drives: Vec<[f64; 3]> = signals.iter().map(|s| base.drive(*s)).collect();
    assert!(second.error(&drives) < first.error(&drives));
}

/// Halton's sequence in one base.
fn radical_inverse(mut i: u32, base: u32) -> f64 {
    let (mut value, mut scale) = (0.0, 1.0);
    while i > 0 {
        scale /= f64::from(base);
        value += scale * f64::from(i % base);
        i /= base;
    }
    value
}

/// Twenty patches that are asked for help more than twenty of Halton's sequence, in the geometric mean of the panels.
/// `cargo run --release -p evenstep-study --example next_patches` gives the figures panel by panel.
#[test]
fn patches_asked_for_help_more_than_others() {
    const MORE: usize = 20;
    let first = foyer();
    let mut gain = 0.0;
    for name in SimulatedPanel::NAMES {
        let known = Known::new(name, &first, 1);
        let doubt = Doubt::new(&known.readings, &known.model).unwrap();
        let (target, base) = (known.target(), known.base());
        let next = next_patches(&doubt, &known.readings, &target, &base, NEAR_BLACK, MORE);
        let asked: Vec<PatchRequest> = next.iter().map(|n| n.request()).collect();
        let halton: Vec<PatchRequest> = (1..=MORE as u32)
            .map(|i| PatchRequest {
                id: format!("H{i}"),
                drive: [2, 3, 5].map(|base| radical_inverse(i, base)),
            })
            .collect();
        let signals = Region::All.signals(NEAR_BLACK);
        let drives: Vec<[f64; 3]> = signals.iter().map(|s| base.drive(*s)).collect();
        let with = |more: &[PatchRequest]| {
            Known::new(name, &[&first[..], more].concat(), 1).error(&drives)
        };
        gain += (with(&halton) / with(&asked)).ln();
    }
    assert!(gain > 0.0, "{gain}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2))]

    /// Patches asked for are new, distinct and in range; asking for fewer gives the first of them.
    #[test]
    fn what_is_asked_for_is_new_and_ranked(seed in 0_u64..1000, count in 1_usize..12) {
        let known = Known::new("twist", &foyer(), seed);
        let doubt = Doubt::new(&known.readings, &known.model).unwrap();
        let (target, base) = (known.target(), known.base());
        let ask = |count| next_patches(&doubt, &known.readings, &target, &base, NEAR_BLACK, count);
        let all = ask(12);
        prop_assert_eq!(&ask(count)[..], &all[..count]);
        for (i, one) in all.iter().enumerate() {
            let drive = one.request().drive;
            prop_assert!(drive.iter().all(|d| (0.0..=1.0).contains(d)));
            prop_assert!(one.expected_itp.is_finite() && one.expected_itp > 0.0);
            prop_assert!(known.readings.patches.iter().all(|p| p.drive != drive));
            prop_assert!(all[..i].iter().all(|p| p.request().drive != drive));
        }
    }

    /// Of two places that are covered alike the one that is missed more is asked for first.
    #[test]
    fn the_larger_miss_comes_first(miss in 0.1..10.0_f64, factor in 1.5..4.0_f64) {
        let known = Known::new("lcd", &foyer(), 3);
        let doubt = Doubt::new(&known.readings, &known.model).unwrap();
        // Far from each other, so that one tells little of the other.
        let drives = [[0.9, 0.1, 0.15], [0.15, 0.1, 0.9]];
        let [a, b] = [[miss, factor * factor * miss], [factor * factor * miss, miss]]
            .map(|misses| most_missed(&doubt, &drives, &misses, 1)[0].r);
        prop_assert!(a == 0.15 && b == 0.9, "{a} {b}");
    }
}
