use std::collections::{BTreeMap, BTreeSet};

use evenstep_audit::{Load, thresholds::VISIBLE_REVERSAL_ITP};

use super::{BandHeld, Condition, Contender, GradationRow};

/// Figures of a correction from few patches over the base correction's, at most.
const TIMES_BASE: f64 = 1.1;
/// Mean error over the base correction's, averaged over the seeds, at most.
const COLOUR_TIMES_BASE: f64 = 1.05;
/// Mean error over the thin-plate's at the fewest patches, at most.
const TIMES_THIN_PLATE: f64 = 0.7;
/// The same on the panel whose local twist no sparse readings can see.
const TIMES_THIN_PLATE_TWIST: f64 = 1.0;
/// Mean error over that of 17³ readings, at most, on as many panels as [`DENSE_PANELS`].
const TIMES_DENSE: f64 = 1.5;
const DENSE_PANELS: usize = 3;
/// Mean error of rough readings over that of ordinary ones, at most.
const TIMES_ORDINARY: f64 = 1.3;
/// Reversed steps over those that the true inverse leaves on the HDR panel, at most.
const TIMES_TRUE_INVERSE: f64 = 0.5;
/// Share of the stated band that truth must fall in.
const COVERAGE: [f64; 2] = [0.93, 0.97];
/// Mean band over the RMS of true errors, at most.
const TIMES_RMS: f64 = 2.5;
/// Share of LUTs without a true fault that must be called *load*.
const CALLED_LOAD: f64 = 0.98;
/// The panel flat above its peak.
const HDR: &str = "hdr-wrgb";
/// The panel with a local twist of hue.
const TWIST: &str = "twist";
const FEWEST: usize = 101;
const AS_DENSE: usize = 343;

/// What became of a bound.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// Every case keeps it.
    Pass,
    /// Some do not.
    Fail,
    /// No row says.
    NotMeasured,
}

impl Outcome {
    /// The word in pages.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Pass => "PASS",
            Self::Fail => "FAIL",
            Self::NotMeasured => "not measured",
        }
    }
}

/// A bound that was set beforehand, held against the rows.
#[derive(Clone, Debug, PartialEq)]
pub struct Bound {
    /// What is bounded, and by what.
    pub name: String,
    /// Whether it is kept.
    pub outcome: Outcome,
    /// Cases it was held against.
    pub cases: usize,
    /// The worst of them: a figure over its limit where the limit is no zero, else the figure.
    pub worst: Option<f64>,
    /// Each case that does not keep it, with figure and limit.
    pub failing: Vec<String>,
}

/// A figure that must not be above its limit.
struct Held {
    case: String,
    value: f64,
    limit: f64,
}

impl Bound {
    fn of(name: &str, held: Vec<Held>) -> Self {
        let ratio = |h: &Held| {
            if h.limit > 0.0 {
                h.value / h.limit
            } else {
                h.value
            }
        };
        // What is no number is above every limit.
        let fails = |h: &&Held| h.value.is_nan() || h.value > h.limit;
        let failing: Vec<String> = held
            .iter()
            .filter(fails)
            .map(|h| format!("{}: {} against {}", h.case, short(h.value), short(h.limit)))
            .collect();
        Self {
            name: name.to_owned(),
            outcome: match (held.is_empty(), failing.is_empty()) {
                (true, _) => Outcome::NotMeasured,
                (_, true) => Outcome::Pass,
                _ => Outcome::Fail,
            },
            cases: held.len(),
            worst: held.iter().map(ratio).max_by(f64::total_cmp),
            failing,
        }
    }
}

fn short(value: f64) -> String {
    if value.fract() == 0.0 {
        format!("{value}")
    } else {
        format!("{value:.3}")
    }
}

/// A figure of a row.
type Figure<'a> = &'a dyn Fn(&GradationRow) -> Option<f64>;

/// The rows, with what is looked up in them.
struct Rows<'a>(&'a [GradationRow]);

fn label(row: &GradationRow) -> String {
    let by = &row.by;
    format!(
        "{} {} patches, seed {}, {}, {}",
        by.panel, by.patches, by.seed, by.condition, row.evaluation
    )
}

impl<'a> Rows<'a> {
    fn of(
        &self,
        contender: Contender,
        condition: Condition,
    ) -> impl Iterator<Item = &'a GradationRow> {
        let own =
            move |r: &&GradationRow| r.by.contender == contender && r.by.condition == condition;
        self.0.iter().filter(own)
    }

    fn ours(&self) -> impl Iterator<Item = &'a GradationRow> {
        self.of(Contender::Gradation, Condition::Ordinary)
    }

    /// The base correction of the same readings, read alike.
    fn base_of(&self, row: &GradationRow) -> Option<&'a GradationRow> {
        self.of(Contender::BaseOnly, Condition::Ordinary).find(|r| {
            (&r.by.panel, r.by.patches, r.by.seed) == (&row.by.panel, row.by.patches, row.by.seed)
                && r.evaluation == row.evaluation
        })
    }

    /// Every row of ours over a factor of the base correction's.
    fn against_base(&self, name: &str, times: f64, figure: Figure<'_>) -> Bound {
        let held = |row: &GradationRow| {
            let base = self.base_of(row)?;
            Some(Held {
                case: label(row),
                value: figure(row)?,
                limit: times * figure(base)?,
            })
        };
        Bound::of(name, self.ours().filter_map(held).collect())
    }

    fn at_most(
        &self,
        name: &str,
        limit: f64,
        keep: &dyn Fn(&GradationRow) -> bool,
        figure: Figure<'_>,
    ) -> Bound {
        let held = |row: &GradationRow| {
            Some(Held {
                case: label(row),
                value: figure(row)?,
                limit,
            })
        };
        let rows = self.ours().filter(|r| keep(r));
        Bound::of(name, rows.filter_map(held).collect())
    }

    /// A figure averaged over the seeds, by panel, patches and evaluation.
    fn averaged(
        &self,
        contender: Contender,
        condition: Condition,
        figure: Figure<'_>,
    ) -> BTreeMap<(String, usize, String), f64> {
        let mut all: BTreeMap<_, Vec<f64>> = BTreeMap::new();
        for row in self.of(contender, condition) {
            if let Some(value) = figure(row) {
                let key = (row.by.panel.clone(), row.by.patches, row.evaluation.clone());
                all.entry(key).or_default().push(value);
            }
        }
        let mean = |v: Vec<f64>| v.iter().sum::<f64>() / v.len() as f64;
        all.into_iter().map(|(k, v)| (k, mean(v))).collect()
    }

    /// Ours averaged over the seeds against another's.
    fn averages(
        &self,
        name: &str,
        other: Contender,
        patches: Option<usize>,
        times: &dyn Fn(&str) -> f64,
        figure: Figure<'_>,
    ) -> Bound {
        let theirs = self.averaged(other, Condition::Ordinary, figure);
        let ours = self.averaged(Contender::Gradation, Condition::Ordinary, figure);
        let held = ours
            .into_iter()
            .filter(|((_, n, _), _)| patches.is_none_or(|p| p == *n));
        let held = held.filter_map(|((panel, n, read), value)| {
            // Dense readings have a number of their own.
            let their = theirs.iter().find(|((p, m, r), _)| {
                *p == panel && *r == read && (*m == n || other == Contender::Dense)
            })?;
            Some(Held {
                limit: times(&panel) * their.1,
                case: format!("{panel} {n} patches, mean of the seeds, {read}"),
                value,
            })
        });
        Bound::of(name, held.collect())
    }
}

/// Holds the rows of a table against every bound on it.
#[must_use]
pub fn acceptance(rows: &[GradationRow]) -> Vec<Bound> {
    let all = Rows(rows);
    let mut bounds = gradation(&all);
    bounds.extend(colour(&all));
    bounds.extend(rough(&all));
    bounds.extend(confidence(&all));
    bounds.extend(verdict(&all));
    bounds
}

fn gradation(rows: &Rows<'_>) -> Vec<Bound> {
    let any = |_: &GradationRow| true;
    let whole = |n: usize| Some(n as f64);
    let ramps = |r: &GradationRow| whole(r.ramps_reversed_sum());
    let hdr = |row: &GradationRow| {
        let truth = rows
            .of(Contender::TrueInverse, Condition::Ordinary)
            .find(|t| t.by.panel == HDR && t.evaluation == row.evaluation)?;
        let limit = TIMES_TRUE_INVERSE * ramps(truth)?;
        Some(Held {
            case: label(row),
            value: ramps(row)?,
            limit,
        })
    };
    let on_hdr = rows.ours().filter(|r| r.by.panel == HDR);
    vec![
        rows.at_most("neutral: 0 reversed steps", 0.0, &any, &|r| {
            whole(r.neutral_reversed)
        }),
        rows.at_most(
            "neutral: 0 reversed steps, rounded to 12 bits",
            0.0,
            &any,
            &|r| whole(r.neutral_reversed_rounded),
        ),
        rows.at_most(
            "other ramps: 0 reversed steps on SDR panels",
            0.0,
            &|r| r.by.panel != HDR,
            &ramps,
        ),
        rows.at_most(
            "other ramps: 0 reversed steps on SDR panels, rounded to 12 bits",
            0.0,
            &|r| r.by.panel != HDR,
            &|r| whole(r.ramps_reversed_rounded.iter().map(|(_, n)| n).sum()),
        ),
        Bound::of(
            "other ramps: reversed steps on the HDR panel ≤ half of the true inverse's",
            on_hdr.filter_map(hdr).collect(),
        ),
        rows.against_base(
            "neutral unevenness ≤ 1.1 × base-only's",
            TIMES_BASE,
            &|r| r.neutral_unevenness,
        ),
        rows.against_base(
            "neutral unevenness near black ≤ 1.1 × base-only's",
            TIMES_BASE,
            &|r| r.neutral_unevenness_near_black,
        ),
        rows.against_base(
            "mean unevenness of other ramps ≤ 1.1 × base-only's",
            TIMES_BASE,
            &|r| r.ramps_unevenness_mean,
        ),
        rows.against_base(
            "mean unevenness of other ramps near black ≤ 1.1 × base-only's",
            TIMES_BASE,
            &|r| r.ramps_unevenness_near_black_mean,
        ),
        rows.against_base("merged codes over the floor ≤ base-only's", 1.0, &|r| {
            Some(r.merged_excess)
        }),
        rows.against_base(
            "noise gain near black, 95th ≤ 1.1 × base-only's",
            TIMES_BASE,
            &|r| r.noise_gain_near_black_p95,
        ),
        rows.at_most("0 folded tetrahedra in reachable cells", 0.0, &any, &|r| {
            whole(r.folds)
        }),
    ]
}

fn colour(rows: &Rows<'_>) -> Vec<Bound> {
    let mean = |r: &GradationRow| r.de2000_mean;
    let sparse = |panel: &str| {
        if panel == TWIST {
            TIMES_THIN_PLATE_TWIST
        } else {
            TIMES_THIN_PLATE
        }
    };
    let mut dense = rows.averages(
        "343 patches: mean CIEDE2000 ≤ 1.5 × dense on three panels",
        Contender::Dense,
        Some(AS_DENSE),
        &|_| TIMES_DENSE,
        &mean,
    );
    // A panel is lost when either evaluation is.
    let mut lost: Vec<&str> = dense
        .failing
        .iter()
        .filter_map(|case| case.split(' ').next())
        .collect();
    lost.dedup();
    let panels: BTreeSet<&str> = rows.ours().map(|r| r.by.panel.as_str()).collect();
    if dense.outcome == Outcome::Fail && panels.len() - lost.len() >= DENSE_PANELS {
        dense.outcome = Outcome::Pass;
    }
    vec![
        rows.averages(
            "101 patches: mean CIEDE2000 ≤ 0.7 × thin-plate's (twist: no worse)",
            Contender::ThinPlate,
            Some(FEWEST),
            &sparse,
            &mean,
        ),
        rows.averages(
            "101 patches: near-black ΔE ITP no worse than thin-plate's",
            Contender::ThinPlate,
            Some(FEWEST),
            &|_| 1.0,
            &|r| r.near_black_itp_mean,
        ),
        dense,
        rows.averages(
            "mean CIEDE2000 never above base-only's + 5 %, averaged over the seeds",
            Contender::BaseOnly,
            None,
            &|_| COLOUR_TIMES_BASE,
            &mean,
        ),
    ]
}

fn rough(rows: &Rows<'_>) -> Vec<Bound> {
    let mean = |r: &GradationRow| r.de2000_mean;
    // Of the same seeds, which may be fewer.
    let seeds: BTreeSet<u64> = rows
        .of(Contender::Gradation, Condition::Rough)
        .map(|r| r.by.seed)
        .collect();
    let same = |r: &GradationRow| mean(r).filter(|_| seeds.contains(&r.by.seed));
    let ordinary = rows.averaged(Contender::Gradation, Condition::Ordinary, &same);
    let rough = rows.averaged(Contender::Gradation, Condition::Rough, &mean);
    let held = rough.into_iter().filter_map(|(key, value)| {
        let limit = TIMES_ORDINARY * ordinary.get(&key)?;
        let (panel, n, read) = key;
        Some(Held {
            case: format!("{panel} {n} patches, mean of the seeds, {read}"),
            value,
            limit,
        })
    });
    let steps = rows
        .of(Contender::Gradation, Condition::Rough)
        .map(|r| Held {
            case: label(r),
            value: r.neutral_reversed as f64,
            limit: 0.0,
        });
    vec![
        Bound::of(
            "rough readings: mean CIEDE2000 ≤ 1.3 × ordinary",
            held.collect(),
        ),
        Bound::of("rough readings: neutral 0 reversed steps", steps.collect()),
        // Rows have no place for names until a fit gives any.
        Bound::of("rough readings: outliers named", Vec::new()),
    ]
}

/// Bands are of single fits, whose errors go together: they are held against truth over all fits of ordinary readings.
fn confidence(rows: &Rows<'_>) -> Vec<Bound> {
    let [low, high] = COVERAGE;
    let mean = |figure: &dyn Fn(&BandHeld) -> Option<f64>| {
        let known: Vec<f64> = rows
            .ours()
            .filter_map(|r| figure(r.band.as_ref()?))
            .collect();
        (!known.is_empty()).then(|| known.iter().sum::<f64>() / known.len() as f64)
    };
    let covered = |name: &str, figure: &dyn Fn(&BandHeld) -> Option<f64>| {
        let held = mean(figure).map(|coverage| Held {
            case: format!("{:.1} % on average, off the middle", 100.0 * coverage),
            value: (coverage - 0.5 * (low + high)).abs(),
            limit: 0.5 * (high - low),
        });
        Bound::of(name, held.into_iter().collect())
    };
    let wide = mean(&|b| Some(b.itp_q95))
        .zip(mean(&|b| Some(b.itp_rms)))
        .map(|(band, rms)| Held {
            case: "mean of all fits, ΔE ITP".to_owned(),
            value: band,
            limit: TIMES_RMS * rms,
        });
    vec![
        covered("confidence: 93–97 % of true errors in the band", &|b| {
            Some(b.coverage)
        }),
        covered("confidence: the same near black", &|b| {
            b.near_black_coverage
        }),
        Bound::of(
            "confidence: mean band ≤ 2.5 × RMS true error",
            wide.into_iter().collect(),
        ),
    ]
}

fn verdict(rows: &Rows<'_>) -> Vec<Bound> {
    let named = |r: &GradationRow| format!("{} {}", r.by.contender, label(r));
    let load = Load::Load.to_string();
    let judged = || rows.0.iter().filter(|r| r.verdict.is_some());
    let called = |r: &GradationRow| r.verdict.as_ref() == Some(&load);
    let reversed = |r: &&GradationRow| r.neutral_depth_itp >= VISIBLE_REVERSAL_ITP;
    let wrong = judged().filter(reversed).map(|r| Held {
        case: named(r),
        value: f64::from(u8::from(called(r))),
        limit: 0.0,
    });
    let fault = Load::DoNotLoad.to_string();
    let loaded = |name: &str, of: &dyn Fn(&GradationRow) -> bool| {
        let sound: Vec<Held> = judged()
            .filter(|r| of(r))
            .map(|r| Held {
                case: format!(
                    "{}, {} ({})",
                    named(r),
                    r.verdict.as_deref().unwrap_or_default(),
                    r.reason.as_deref().unwrap_or_default()
                ),
                value: f64::from(u8::from(!called(r))),
                limit: 0.0,
            })
            .collect();
        let mut bound = Bound::of(name, sound);
        let share = 1.0 - bound.failing.len() as f64 / bound.cases.max(1) as f64;
        if bound.cases > 0 {
            bound.worst = Some(share);
            bound.outcome = if share >= CALLED_LOAD {
                Outcome::Pass
            } else {
                Outcome::Fail
            };
        }
        bound
    };
    vec![
        Bound::of(
            "load is never given where truth has a visible neutral reversal",
            wrong.collect(),
        ),
        loaded("≥ 98 % of LUTs without a true fault get load", &|r| {
            r.true_verdict != fault
        }),
        // Care on the true panel is for what shows as well.
        loaded(
            "≥ 98 % of LUTs that the true panel passes get load",
            &|r| r.true_verdict == load,
        ),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::gradation::MadeBy;

    fn row(contender: Contender, seed: u64) -> GradationRow {
        GradationRow {
            by: MadeBy {
                panel: "lcd".to_owned(),
                contender,
                patches: FEWEST,
                condition: Condition::Ordinary,
                seed,
            },
            evaluation: "tetrahedral".to_owned(),
            scheme: None,
            neutral_reversed: 0,
            neutral_reversed_rounded: 0,
            neutral_depth_itp: 0.0,
            neutral_depth_rounded_itp: 0.0,
            ramps_reversed: Vec::new(),
            ramps_reversed_rounded: Vec::new(),
            ramps_depth_itp: 0.0,
            neutral_unevenness: Some(0.1),
            neutral_unevenness_near_black: Some(0.2),
            ramps_unevenness_mean: Some(0.1),
            ramps_unevenness_max: Some(0.2),
            ramps_unevenness_near_black_mean: Some(0.2),
            ramps_unevenness_near_black_max: Some(0.3),
            merged_excess: 3.0,
            noise_gain_near_black_p95: Some(1.2),
            noise_gain_mid_p95: Some(1.1),
            folds: 0,
            wobble_itp: Some(0.3),
            de2000_mean: Some(0.2),
            de2000_p95: Some(0.5),
            de2000_max: Some(1.0),
            near_black_itp_mean: Some(0.4),
            verdict: Some("load".to_owned()),
            reason: None,
            true_verdict: "load".to_owned(),
            true_reason: None,
            band: None,
        }
    }

    /// A table in which ours is as good as base-only's, and the thin-plate's twice as bad.
    fn sound() -> Vec<GradationRow> {
        let thin_plate = |seed| GradationRow {
            de2000_mean: Some(0.4),
            ..row(Contender::ThinPlate, seed)
        };
        (1..=2)
            .flat_map(|seed| {
                [
                    row(Contender::BaseOnly, seed),
                    thin_plate(seed),
                    row(Contender::Gradation, seed),
                ]
            })
            .collect()
    }

    fn failing(rows: &[GradationRow]) -> Vec<String> {
        let fails = |b: &Bound| b.outcome == Outcome::Fail;
        let names = acceptance(rows).into_iter().filter(fails);
        names.map(|b| b.name).collect()
    }

    #[test]
    fn a_sound_table_passes_and_what_it_does_not_hold_is_not_measured() {
        assert_eq!(failing(&sound()), Vec::<String>::new());
        let bounds = acceptance(&sound());
        let unmeasured = |b: &&Bound| b.outcome == Outcome::NotMeasured;
        // HDR ramps, dense readings, three of rough readings and of the band; no LUT has a visible reversal.
        assert_eq!(bounds.iter().filter(unmeasured).count(), 9);
        assert!(
            acceptance(&[])
                .iter()
                .all(|b| b.outcome == Outcome::NotMeasured)
        );
    }

    /// Each fault fails its own bound and no other.
    #[test]
    fn every_fault_is_seen_where_it_belongs() {
        type Fault = fn(&mut GradationRow);
        let faults: [(&str, Fault); 10] = [
            ("neutral: 0 reversed steps", |r| r.neutral_reversed = 1),
            ("rounded to 12 bits", |r| r.neutral_reversed_rounded = 1),
            (
                "other ramps: 0 reversed steps on SDR panels, rounded",
                |r| {
                    r.ramps_reversed_rounded = vec![("blue".to_owned(), 1)];
                },
            ),
            ("other ramps: 0", |r| {
                r.ramps_reversed = vec![("red".to_owned(), 2)];
            }),
            ("neutral unevenness ≤", |r| {
                r.neutral_unevenness = Some(0.111)
            }),
            ("merged", |r| r.merged_excess = 4.0),
            ("noise gain", |r| r.noise_gain_near_black_p95 = Some(1.33)),
            ("folded", |r| r.folds = 1),
            ("no worse than thin-plate", |r| {
                r.near_black_itp_mean = Some(0.5)
            }),
            ("visible neutral reversal", |r| {
                r.neutral_depth_itp = 1.0;
                r.true_verdict = "do not load".to_owned();
            }),
        ];
        for (name, fault) in faults {
            let mut rows = sound();
            fault(&mut rows[2]);
            let found = failing(&rows);
            assert_eq!(found.len(), 1, "{name}: {found:?}");
            assert!(found[0].contains(name), "{name}: {found:?}");
        }
    }

    /// Averages forgive one seed what another makes good; single cases do not.
    #[test]
    fn colour_is_judged_on_the_mean_of_the_seeds() {
        let mut rows = sound();
        rows[2].de2000_mean = Some(0.25);
        rows[5].de2000_mean = Some(0.15);
        assert_eq!(failing(&rows), Vec::<String>::new());
        rows[5].de2000_mean = Some(0.18);
        assert_eq!(failing(&rows).len(), 1);
    }

    /// One warning in six sound LUTs is more than two in a hundred.
    #[test]
    fn warnings_without_a_fault_are_counted() {
        let mut rows = sound();
        rows[0].verdict = Some("load with care".to_owned());
        assert!(failing(&rows)[0].contains("98 %"));
    }
}
