//! The page and the table of all cases.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use evenstep_audit::{AuditOptions, Load};

use crate::faults::{FAULTS, PLACES, meaning};
use crate::figures::FIGURES;
use crate::smooth::BEND;
use crate::{Judged, NODES, PATCHES, SIZES, SMALLEST, SMOOTH_LUTS, STEP_SQUARED, Series, size};

/// A difference that is just visible, in ΔE ITP (Rec. ITU-R BT.2124-0).
const VISIBLE_ITP: f64 = 1.0;
/// A figure sees a fault when it is larger than on every smooth LUT by more than rounding.
const ROUNDING: f64 = 1e-9;
const CONTEXTS: [&str; 2] = ["with readings", "without readings"];

pub(crate) struct Page {
    text: String,
    csv: String,
}

impl Page {
    pub(crate) fn new() -> Self {
        let mut text = "# How small a fault the audit sees\n\n\
            Made by `cargo run --release -p evenstep-study --example audit_sensitivity -- docs/audit-sensitivity`.\n\n"
            .to_owned();
        let options = AuditOptions::default();
        let (largest, beyond) = (size(SIZES - 1), beyond());
        text += &wrapped(&format!(
            "A sound LUT, the base correction of {PATCHES} noisy readings of a simulated panel in a lattice of {NODES} nodes, \
             is spoiled by one fault that grows from {SMALLEST} of drive by factors of √{STEP_SQUARED}, and audited with the \
             readings' own model and without readings ({}, {}-bit source, {}-bit output). **Visible** is a fault from the size \
             at which the true panel shows some code of a named ramp {VISIBLE_ITP} ΔE ITP or more from what it shows without the \
             fault (Rec. ITU-R BT.2124-0: 1 is just noticeable in the most critical state of adaptation). The **verdict** sees \
             a fault when it is graver than that of the unspoiled LUT or has a reason that one has not. A **figure** sees \
             it when it is larger than on every one of {SMOOTH_LUTS} smooth LUTs: the base correction entered by a smooth bend \
             of the signal of up to {:.0} %; the 26 neighbours and evaluation sensitivity are not looked at. All sizes in \
             1/1000 of drive; `{beyond}`: not at any size up to {largest:.4}.",
            options.evaluation,
            options.source_bits.bits(),
            options.output_bits.bits(),
            100.0 * BEND,
        ));
        text += "\n| fault | |\n| --- | --- |\n";
        for name in FAULTS.iter().chain(&PLACES) {
            let _ = writeln!(text, "| {name} | {} |", meaning(name, NODES));
        }
        let mut csv = "panel,fault,place,size,visible_itp,readings,load".to_owned();
        for figure in FIGURES {
            let _ = write!(csv, ",\"{figure}\"");
        }
        csv.push('\n');
        Self { text, csv }
    }

    pub(crate) fn panel(
        &mut self,
        name: &str,
        untouched: &Judged,
        smooth: &[Judged],
        series: &[Series],
    ) {
        let _ = write!(
            self.text,
            "\n## Panel {name}\n\nThe unspoiled LUT: *{}* with readings, *{}* without.\n\n",
            untouched.load[0], untouched.load[1]
        );
        self.alarms(smooth);
        self.verdicts(untouched, series);
        self.figures(smooth, series);
        for one in series {
            for (size, judged) in one.sizes.iter().zip(&one.judged) {
                for (k, context) in CONTEXTS.iter().enumerate() {
                    let _ = write!(
                        self.csv,
                        "{name},{},{},{size:.6},{:.4},{context},{}",
                        one.fault, one.place, judged.visible_itp, judged.load[k]
                    );
                    for value in &judged.figures[k] {
                        let _ = match value {
                            Some(value) => write!(self.csv, ",{value:.6}"),
                            None => write!(self.csv, ","),
                        };
                    }
                    self.csv.push('\n');
                }
            }
        }
    }

    fn alarms(&mut self, smooth: &[Judged]) {
        let _ = writeln!(
            self.text,
            "False alarms on {} smooth LUTs:\n\n| | load | load with care | do not load | LUTs with a reason | reasons |\n\
             | --- | ---: | ---: | ---: | ---: | --- |",
            smooth.len()
        );
        for (k, context) in CONTEXTS.iter().enumerate() {
            let count = |load: Load| smooth.iter().filter(|j| j.load[k] == load).count();
            let alarmed = smooth.iter().filter(|j| !j.labels[k].is_empty()).count();
            let mut labels: BTreeMap<&str, usize> = BTreeMap::new();
            for judged in smooth {
                let mut own = judged.labels[k].clone();
                own.sort_unstable();
                own.dedup();
                for label in own {
                    *labels.entry(label).or_default() += 1;
                }
            }
            let labels: Vec<String> = labels.iter().map(|(l, n)| format!("{l} {n}")).collect();
            let _ = writeln!(
                self.text,
                "| {context} | {} | {} | {} | {alarmed} | {} |",
                count(Load::Load),
                count(Load::WithCare),
                count(Load::DoNotLoad),
                if labels.is_empty() {
                    "none".to_owned()
                } else {
                    labels.join(", ")
                }
            );
        }
        self.text += "\nWithout readings *load with care: panel unknown* is the best there is; it counts as no alarm.\n\n";
    }

    fn verdicts(&mut self, untouched: &Judged, series: &[Series]) {
        self.text += "Smallest fault that is visible, and smallest that the verdict sees:\n\n\
            | fault | place | visible | verdict, with readings | do not load | verdict, without | do not load |\n\
            | --- | --- | ---: | ---: | ---: | ---: | ---: |\n";
        for one in series {
            let sees = |judged: &Judged, k: usize| {
                let is_new = |l: &&str| !untouched.labels[k].contains(l);
                judged.load[k] > untouched.load[k] || judged.labels[k].iter().any(is_new)
            };
            let stops = |judged: &Judged, k: usize| judged.load[k] == Load::DoNotLoad;
            let _ = writeln!(
                self.text,
                "| {} | {} | {} | {} | {} | {} | {} |",
                one.fault,
                one.place,
                one.first(|j| j.visible_itp >= VISIBLE_ITP),
                one.first(|j| sees(j, 0)),
                one.first(|j| stops(j, 0)),
                one.first(|j| sees(j, 1)),
                one.first(|j| stops(j, 1))
            );
        }
        self.text.push('\n');
    }

    fn figures(&mut self, smooth: &[Judged], series: &[Series]) {
        for (k, context) in CONTEXTS.iter().enumerate() {
            let _ = write!(
                self.text,
                "Smallest fault that each figure sees, {context}:\n\n| figure |"
            );
            for one in series {
                let _ = write!(self.text, " {} {} |", one.fault, one.place);
            }
            let _ = write!(self.text, "\n| --- |{}\n", " ---: |".repeat(series.len()));
            let _ = write!(self.text, "| *visible* |");
            for one in series {
                let _ = write!(
                    self.text,
                    " *{}* |",
                    one.first(|j| j.visible_itp >= VISIBLE_ITP)
                );
            }
            self.text.push('\n');
            for (i, figure) in FIGURES.iter().enumerate() {
                let most = smooth
                    .iter()
                    .filter_map(|j| j.figures[k][i])
                    .max_by(f64::total_cmp);
                let Some(most) = most else { continue };
                let limit = most + ROUNDING * (1.0 + most.abs());
                let _ = write!(self.text, "| {figure} |");
                for one in series {
                    let sees = |j: &Judged| j.figures[k][i].is_some_and(|v| v > limit);
                    let _ = write!(self.text, " {} |", one.first(sees));
                }
                self.text.push('\n');
            }
            self.text.push('\n');
        }
    }

    pub(crate) fn text(&self) -> String {
        self.text.trim_end().to_owned() + "\n"
    }

    pub(crate) fn csv(&self) -> &str {
        &self.csv
    }
}

impl Series {
    /// The smallest size of which something is true, in 1/1000 of drive.
    fn first(&self, is_so: impl Fn(&Judged) -> bool) -> String {
        let found = self.judged.iter().position(is_so);
        found.map_or_else(beyond, |i| format!("{:.2}", 1e3 * self.sizes[i]))
    }
}

/// Stands for a size beyond the largest, in 1/1000 of drive.
fn beyond() -> String {
    format!(">{:.0}", 1e3 * size(SIZES - 1))
}

/// Lines of at most 120 columns.
fn wrapped(text: &str) -> String {
    let (mut out, mut width) = (String::new(), 0);
    for word in text.split_whitespace() {
        let length = word.chars().count();
        if width > 0 && width + 1 + length > 120 {
            out.push('\n');
            width = 0;
        } else if width > 0 {
            out.push(' ');
            width += 1;
        }
        out += word;
        width += length;
    }
    out.push('\n');
    out
}
