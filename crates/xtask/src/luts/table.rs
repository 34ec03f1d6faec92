//! Every fault at 17, 33 and 65 nodes and at sources of 8, 10 and 12 bits: whether the audit finds it, and whether it leaves
//! the good ones alone.

use std::fmt::{self, Write as _};

use anyhow::Context as _;
use evenstep_audit::{
    AuditOptions, AuditReport, BitDepth, Load, PanelContext, ReadingFacts, Subject, audit,
};
use evenstep_display::ForwardModel;
use evenstep_fit::{BaseCorrection, FitOptions, Gamut, Settled, TargetRequest, model};
use evenstep_lut::{Correction as _, Lut, Lut3d};
use evenstep_readings::{Fitness, Readings};

use super::{faults, readings};

/// Lattices of the table.
pub const SIZES: [usize; 3] = [17, 33, 65];
/// Depths of the source.
pub const DEPTHS: [BitDepth; 3] = [BitDepth::EIGHT, BitDepth::TEN, BitDepth::TWELVE];

type Spoil = fn(Lut3d) -> Lut3d;

/// A kind of specimen: its name, what makes it of the good correction, and the labels of which the audit must give one with
/// the panel's readings; none for a sound LUT.
pub struct Kind {
    /// Name as in the file of that kind.
    pub name: &'static str,
    make: Spoil,
    /// Reasons that name the fault.
    pub must_say: &'static [&'static str],
}

/// All kinds, the sound ones first.
pub const KINDS: [Kind; 9] = [
    Kind {
        name: "identity",
        make: |good| Lut3d::identity(good.size()),
        must_say: &[],
    },
    Kind {
        name: "good",
        make: |good| good,
        must_say: &[],
    },
    Kind {
        name: "stair-steps",
        make: faults::stair_steps,
        must_say: &["uneven steps"],
    },
    Kind {
        name: "near-black-dip",
        make: faults::near_black_dip,
        must_say: &["visible neutral reversal"],
    },
    Kind {
        name: "crushed-black",
        make: faults::crushed_black,
        must_say: &["plateau", "uneven steps"],
    },
    Kind {
        name: "fold",
        make: faults::fold,
        must_say: &["folds"],
    },
    Kind {
        name: "clipped-primary",
        make: |good| faults::clipped_primary(Lut3d::identity(good.size())),
        must_say: &["plateau"],
    },
    Kind {
        name: "eight-bit",
        make: faults::eight_bit,
        must_say: &["bump", "folds", "neutral tint wobbles", "uneven steps"],
    },
    Kind {
        name: "neutral-tint",
        make: faults::neutral_tint,
        must_say: &["bump", "neutral tint wobbles"],
    },
];

/// The invented panel as the audit knows it: by its readings.
pub struct Bench {
    model: ForwardModel,
    settled: Settled,
    base: BaseCorrection,
    facts: ReadingFacts,
}

impl Bench {
    /// Models the panel of these readings.
    ///
    /// # Errors
    /// What the model says; readings without a base correction.
    pub fn new(readings: &Readings) -> anyhow::Result<Self> {
        let model = model(readings, &FitOptions::default())?.model;
        let settled = TargetRequest::default().settle(readings, &model);
        let base = model
            .base()
            .context("the readings allow no base correction")?;
        let fitness = Fitness::of(readings);
        Ok(Self {
            base: BaseCorrection::new(base.clone(), settled.target.clone()),
            facts: ReadingFacts {
                neutral_levels: fitness.neutral_levels,
                interior: fitness.interior,
            },
            settled,
            model,
        })
    }

    /// Runs `job` with the panel as context.
    pub fn with<T>(&self, job: impl FnOnce(&PanelContext<'_>) -> T) -> T {
        let gamut = Gamut::new(&self.model, &self.settled.target, Some(&self.base));
        let reachable = |signal| gamut.reaches(signal);
        job(&PanelContext {
            panel: &self.model,
            target: &self.settled.target,
            base: &self.base,
            reachable: &reachable,
            facts: self.facts,
        })
    }

    /// The specimen of a kind: made of the base correction in a lattice, which on this panel is as good as the fitted one.
    #[must_use]
    pub fn specimen(&self, kind: &Kind, size: usize) -> Lut {
        let good = Lut3d::from_fn(size, |s| self.base.drive(s).map(|v| v.clamp(0.0, 1.0)));
        Lut::from((kind.make)(good))
    }
}

/// A line of the table. Prints as a row of the CSV.
pub struct Line {
    /// The kind.
    pub name: &'static str,
    /// Nodes along an axis.
    pub size: usize,
    /// Bits of the source.
    pub bits: u8,
    /// Verdict without readings and with them.
    pub verdicts: [String; 2],
    /// Whether the fault is named with the readings; of a sound LUT, whether nothing is.
    pub is_right: bool,
    /// Whether a sound LUT is left alone without readings; always true of the others.
    pub is_quiet: bool,
}

impl fmt::Display for Line {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [without, with] = &self.verdicts;
        let right = if self.is_right && self.is_quiet {
            "yes"
        } else {
            "no"
        };
        write!(
            f,
            "{},{},{},{without},{with},{right}",
            self.name, self.size, self.bits
        )
    }
}

/// Audits one specimen at one depth, with the panel and without.
#[must_use]
pub fn line(kind: &Kind, lut: &Lut, depth: BitDepth, context: &PanelContext<'_>) -> Line {
    let options = AuditOptions {
        source_bits: depth,
        ..AuditOptions::default()
    };
    let correction = lut.evaluated(options.evaluation);
    let subject = Subject::of_lut(&correction, lut);
    let reports = [
        audit(&subject, &options, None),
        audit(&subject, &options, Some(context)),
    ];
    let says =
        |report: &AuditReport, label: &str| report.verdict.reasons.iter().any(|r| r.label == label);
    let is_right = if kind.must_say.is_empty() {
        reports[1].verdict.load == Load::Load
    } else {
        kind.must_say.iter().any(|label| says(&reports[1], label))
    };
    let unknown_alone = reports[0].verdict.to_string() == "load with care: panel unknown";
    Line {
        name: kind.name,
        size: lut.lattice.as_ref().map_or(0, Lut3d::size),
        bits: depth.bits(),
        verdicts: reports.map(|r| r.verdict.to_string()),
        is_right,
        is_quiet: !kind.must_say.is_empty() || unknown_alone,
    }
}

/// The whole table as CSV.
///
/// # Errors
/// What modelling the panel says.
pub fn csv() -> anyhow::Result<String> {
    let bench = Bench::new(&readings())?;
    let mut text = "specimen,nodes,source_bits,without_readings,with_readings,right\n".to_owned();
    bench.with(|context| {
        for kind in &KINDS {
            for size in SIZES {
                let lut = bench.specimen(kind, size);
                for depth in DEPTHS {
                    let line = line(kind, &lut, depth, context);
                    // Writing to a string cannot fail.
                    let _ = writeln!(text, "{line}");
                }
            }
        }
    });
    Ok(text)
}
