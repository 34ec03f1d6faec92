use evenstep_audit::{
    AuditOptions, AuditReport, PanelContext, RampReport, ReadingFacts, Subject, audit,
    nodes_on_ramps,
};
use evenstep_colour::{Xyz, delta_e_2000, delta_e_itp, itp_from_xyz, lab_from_xyz, percentile};
use evenstep_fit::{BaseCorrection, Gamut};
use evenstep_lut::{Correction, Evaluation, Lut, Region};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::{Figures, Stage};

/// Test signals all over the cube.
const ALL_SIGNALS: usize = 400;
/// Test signals with every channel near black.
const NEAR_BLACK_SIGNALS: usize = 100;
/// Signals drawn to hold a band against: an HDR panel reaches the targets of one in ten.
const PROMISED_SIGNALS: usize = 4000;
/// Neutral test signals.
const NEUTRAL_SIGNALS: usize = 129;
/// Nodes along an axis of the correction a case makes: the usual size.
const SIZE: usize = 33;
/// Seed of the test signals: the same for every case, so that cases can be compared.
const SIGNAL_SEED: u64 = 20_261_125;

/// Judges corrections on a panel whose truth is known, or on the model that stands for one. Knows beforehand what the panel reaches, so that no case pays
/// for it.
pub struct Judge<'a> {
    stage: &'a Stage,
    gamut: Gamut<'a>,
    options: AuditOptions,
    size: usize,
    nodes: Vec<usize>,
    all: Vec<[f64; 3]>,
    near_black: Vec<[f64; 3]>,
    neutral: Vec<[f64; 3]>,
    promised: [Vec<[f64; 3]>; 2],
}

/// A correction as a case made it.
pub(crate) struct Corrected<'a> {
    /// Lattice, right along the audit's ramps.
    pub(crate) lattice: Lut,
    /// Drives for [`Judge::all`], in its order.
    pub(crate) all: Vec<[f64; 3]>,
    /// Drives for [`Judge::near_black`], in its order.
    pub(crate) near_black: Vec<[f64; 3]>,
    /// Base correction of the same readings.
    pub(crate) base: &'a BaseCorrection,
}

impl<'a> Judge<'a> {
    /// The judge of a stage.
    #[must_use]
    pub fn new(stage: &'a Stage) -> Self {
        Self::of_lattices(stage, SIZE)
    }

    /// A judge of corrections with `size` nodes along an axis.
    pub(crate) fn of_lattices(stage: &'a Stage, size: usize) -> Self {
        let gamut = Gamut::new(stage.panel(), stage.target(), Some(stage.start()));
        let options = AuditOptions::default();
        let end = stage.target().near_black_end(options.near_black);
        let mut random = ChaCha8Rng::seed_from_u64(SIGNAL_SEED);
        let mut drawn = |count: usize, end: f64| -> Vec<[f64; 3]> {
            let draw = |_| std::array::from_fn(|_| end * random.random::<f64>());
            let signals: Vec<[f64; 3]> = (0..count).map(draw).collect();
            let reached = |s: &[f64; 3]| gamut.reaches(*s);
            signals.into_iter().filter(reached).collect()
        };
        let (all, near_black) = (drawn(ALL_SIGNALS, 1.0), drawn(NEAR_BLACK_SIGNALS, end));
        let dark = |s: &[f64; 3]| Region::is_near_neutral(*s, end);
        let promised = [
            drawn(PROMISED_SIGNALS, 1.0),
            drawn(PROMISED_SIGNALS, end)
                .into_iter()
                .filter(dark)
                .collect(),
        ];
        let neutral = (0..NEUTRAL_SIGNALS)
            .map(|i| [i as f64 / (NEUTRAL_SIGNALS - 1) as f64; 3])
            .filter(|s| gamut.reaches(*s))
            .collect();
        let judge = Self {
            stage,
            gamut,
            size,
            nodes: nodes_on_ramps(size, &options),
            options,
            all,
            near_black,
            neutral,
            promised,
        };
        // Walks every ramp once, so that the gamut remembers what is reached along them.
        let _ = judge.audit(&Subject::new(stage.start()), &judge.options, stage.start());
        judge
    }

    /// The stage.
    #[must_use]
    pub fn stage(&self) -> &'a Stage {
        self.stage
    }

    /// Nodes along an axis of the lattices it judges.
    pub(crate) fn size(&self) -> usize {
        self.size
    }

    /// Nodes that a lattice is judged by.
    pub(crate) fn nodes(&self) -> &[usize] {
        &self.nodes
    }

    /// Test signals all over the cube whose target the panel reaches.
    pub(crate) fn all(&self) -> &[[f64; 3]] {
        &self.all
    }

    /// The same near black.
    pub(crate) fn near_black(&self) -> &[[f64; 3]] {
        &self.near_black
    }

    /// Signals that the bands of a fit are held against, all over the cube and of the near-black region, whose target the
    /// panel reaches.
    pub(crate) fn promised(&self) -> &[Vec<[f64; 3]>; 2] {
        &self.promised
    }

    /// Figures of a correction on the true panel.
    pub(crate) fn figures(&self, corrected: &Corrected<'_>) -> Figures {
        let read = corrected.lattice.evaluated(Evaluation::Tetrahedral);
        let neutral: Vec<[f64; 3]> = self.neutral.iter().map(|s| read.drive(*s)).collect();
        let all = self.difference(&self.all, &corrected.all);
        let near_black = self.difference(&self.near_black, &corrected.near_black);
        let neutral = self.difference(&self.neutral, &neutral);
        let audit = self.audit(&Subject::new(&read), &self.options, corrected.base);
        let ramps = &audit.ramps;
        let grey = &ramps[0];
        let dark = |ramp: &RampReport| ramp.near_black.as_ref()?.figures.unevenness;
        let rough = |ramp: &RampReport| ramp.figures.roughness_de2000.map(|r| r.rms);
        let mean = |figure: &dyn Fn(&RampReport) -> Option<f64>| {
            let known: Vec<f64> = ramps.iter().filter_map(figure).collect();
            (!known.is_empty()).then(|| known.iter().sum::<f64>() / known.len() as f64)
        };
        let sum = |figure: &dyn Fn(&RampReport) -> f64| Some(ramps.iter().map(figure).sum());
        let deepest = ramps
            .iter()
            .filter_map(|r| r.figures.reversal_depth_itp)
            .max_by(f64::total_cmp);
        Figures {
            all_de2000_mean: all.de2000[0],
            all_de2000_p95: all.de2000[1],
            all_de2000_max: all.de2000[2],
            all_itp_mean: all.itp[0],
            all_itp_p95: all.itp[1],
            all_itp_max: all.itp[2],
            near_black_de2000_mean: near_black.de2000[0],
            near_black_de2000_p95: near_black.de2000[1],
            near_black_de2000_max: near_black.de2000[2],
            near_black_itp_mean: near_black.itp[0],
            near_black_itp_p95: near_black.itp[1],
            near_black_itp_max: near_black.itp[2],
            neutral_de2000_mean: neutral.de2000[0],
            neutral_de2000_p95: neutral.de2000[1],
            neutral_de2000_max: neutral.de2000[2],
            neutral_itp_mean: neutral.itp[0],
            neutral_itp_p95: neutral.itp[1],
            neutral_itp_max: neutral.itp[2],
            grey_reversed_steps: Some(grey.figures.reversed_steps as f64),
            grey_reversal_depth_itp: grey.figures.reversal_depth_itp,
            grey_unevenness: grey.figures.unevenness,
            grey_near_black_unevenness: dark(grey),
            grey_roughness_de2000: rough(grey),
            grey_merged_excess: Some(merged_excess(grey)),
            grey_wobble_itp: audit.neutral_wobble_itp,
            ramps_reversed_steps: sum(&|r| r.figures.reversed_steps as f64),
            ramps_reversal_depth_itp: deepest,
            ramps_unevenness: mean(&|r| r.figures.unevenness),
            ramps_near_black_unevenness: mean(&dark),
            ramps_roughness_de2000: mean(&rough),
            ramps_merged_excess: sum(&merged_excess),
        }
    }

    /// Audits a correction on the true panel, reachability that of the panel.
    pub(crate) fn audit(
        &self,
        subject: &Subject<'_>,
        options: &AuditOptions,
        base: &BaseCorrection,
    ) -> AuditReport {
        let reachable = |signal| self.gamut.reaches(signal);
        let context = PanelContext {
            panel: self.stage.panel(),
            target: self.stage.target(),
            base,
            reachable: &reachable,
            // The panel is the truth; no verdict is looked at.
            facts: ReadingFacts {
                neutral_levels: usize::MAX,
                interior: usize::MAX,
            },
        };
        audit(subject, options, Some(&context))
    }

    /// ΔE ITP of what the panel shows at drives against the target of the signals they are for.
    pub(crate) fn errors_itp(&self, signals: &[[f64; 3]], drives: &[[f64; 3]]) -> Vec<f64> {
        let itp = |(s, d): (&[f64; 3], &[f64; 3])| {
            let shown = itp_from_xyz(self.stage.panel().xyz(*d));
            delta_e_itp(shown, itp_from_xyz(self.stage.target().xyz(*s)))
        };
        signals.iter().zip(drives).map(itp).collect()
    }

    /// What the panel shows at drives against the target of the signals they are for.
    pub(crate) fn difference(&self, signals: &[[f64; 3]], drives: &[[f64; 3]]) -> Difference {
        let white = self.stage.target().white();
        let lab = |xyz| lab_from_xyz(xyz, white);
        let pairs: Vec<(Xyz, Xyz)> = signals
            .iter()
            .zip(drives)
            .map(|(s, d)| (self.stage.panel().xyz(*d), self.stage.target().xyz(*s)))
            .collect();
        let de2000 = pairs.iter().map(|(a, b)| delta_e_2000(lab(*a), lab(*b)));
        let itp = pairs
            .iter()
            .map(|(a, b)| delta_e_itp(itp_from_xyz(*a), itp_from_xyz(*b)));
        Difference {
            de2000: summary(de2000.collect()),
            itp: summary(itp.collect()),
        }
    }
}

/// Merged codes of the rounded ramp above those of a smooth curve rounded alike.
pub(crate) fn merged_excess(ramp: &RampReport) -> f64 {
    let rounded = &ramp.rounded.figures;
    rounded.merged_codes.saturating_sub(rounded.merged_floor) as f64
}

/// Mean, 95th percentile and maximum, each.
pub(crate) struct Difference {
    pub(crate) de2000: [Option<f64>; 3],
    pub(crate) itp: [Option<f64>; 3],
}

fn summary(mut values: Vec<f64>) -> [Option<f64>; 3] {
    let mean = (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64);
    [
        mean,
        percentile(&mut values, 95.0),
        percentile(&mut values, 100.0),
    ]
}
