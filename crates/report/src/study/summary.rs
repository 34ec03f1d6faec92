use std::collections::BTreeMap;

use evenstep_study::{JudgeRecord, Status};

use super::standing::{Place, Standing, standings};
use super::{Entry, StudyHeader};
use crate::text::three_digits;

/// The summary of a study in Markdown: for each panel, number of patches and noise the most accurate scheme, the
/// smoothest, and where the two part; then every scheme over all of them; then what was refused.
#[must_use]
pub fn study_summary(header: &StudyHeader, entries: &[Entry]) -> String {
    let all = standings(entries);
    let count = |status: Status| entries.iter().filter(|e| e.row.status == status).count();
    let mut text = format!(
        "# Study\n\n{} cases: {} fitted, {} refused, {} broken. Plan {:.12}, version {}.\n\n",
        entries.len(),
        count(Status::Fitted),
        count(Status::Refused),
        count(Status::Broken),
        header.hash,
        header.version,
    );
    text += "*Error* is the mean CIEDE2000 of what the true panel shows against the target, over test signals all over \
             the cube. *Roughness* is the RMS of the first differences of CIEDE2000 along a ramp, mean of ten ramps; it \
             is blind to reversals, so that a scheme with a visible one for any seed is never called smoothest. \
             Averaged over the seeds; smaller is better. `base-only` is the correction without a 3D part; \
             `true-inverse` inverts the panel itself, so that its roughness is the lattice's alone. A scheme takes \
             part where it was fitted for every seed.\n";
    let mut panels: Vec<&str> = Vec::new();
    for standing in &all {
        if !panels.contains(&standing.panel.as_str()) {
            panels.push(&standing.panel);
        }
    }
    for panel in panels {
        text += &format!("\n## {panel}\n\n");
        let judges = header.judges.iter().filter(|judge| judge.panel == panel);
        text.extend(judges.map(judged));
        let of: Vec<&Standing> = all.iter().filter(|s| s.panel == panel).collect();
        text += &table(&of);
        text += &partings(&of);
    }
    text += &overall(&all);
    text += &refusals(entries);
    text
}

/// Who judges in the place of a panel that nobody knows, and how far it can be trusted.
fn judged(judge: &JudgeRecord) -> String {
    format!(
        "A display known by its readings: the judge is a model of {} patches ({}), whose mean error at patches left out is \
         {} CIEDE2000 and {} ΔE ITP. Smaller differences mean nothing, and `true-inverse` inverts that model. {} patches \
         are left to be fitted.\n\n",
        judge.patches,
        judge.scheme,
        cell(judge.leave_one_out_de2000_mean),
        cell(judge.leave_one_out_itp_mean),
        judge.training,
    )
}

fn table(standings: &[&Standing]) -> String {
    let mut text = String::from(
        "| patches | noise | most accurate | error | roughness | smoothest | error | roughness | base-only: error | \
         roughness | true-inverse: roughness |\n\
         | ---: | ---: | --- | ---: | ---: | --- | ---: | ---: | ---: | ---: | ---: |\n",
    );
    for s in standings {
        let name = |p: &Option<Place>| p.as_ref().map_or("-".to_owned(), |p| p.scheme.clone());
        let error = |p: &Option<Place>| cell(p.as_ref().map(|p| p.de2000));
        let rough = |p: &Option<Place>| cell(p.as_ref().map(|p| p.roughness_de2000));
        text += &format!(
            "| {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} |\n",
            s.patches,
            s.noise,
            name(&s.most_accurate),
            error(&s.most_accurate),
            rough(&s.most_accurate),
            name(&s.smoothest),
            error(&s.smoothest),
            rough(&s.smoothest),
            error(&s.base_only),
            rough(&s.base_only),
            rough(&s.true_inverse),
        );
    }
    text
}

fn cell(value: Option<f64>) -> String {
    value.map_or("-".to_owned(), three_digits)
}

/// Ratio from which accuracy and smoothness count as parted: below it three seeds do not tell. Our choice.
const PARTED: f64 = 1.1;

/// A sentence for each place where another scheme is smoother than the most accurate one by more than chance.
fn partings(standings: &[&Standing]) -> String {
    let mut lines = Vec::new();
    for s in standings {
        let (Some(accurate), Some(smooth)) = (&s.most_accurate, &s.smoothest) else {
            continue;
        };
        let rougher = accurate.roughness_de2000 / smooth.roughness_de2000;
        let worse = smooth.de2000 / accurate.de2000;
        if accurate.scheme != smooth.scheme && rougher >= PARTED && worse >= PARTED {
            lines.push(format!(
                "- {} patches, noise {}: {} is the most accurate and {rougher:.1} times as rough as {}, which errs {worse:.1} \
                 times as much.\n",
                s.patches, s.noise, accurate.scheme, smooth.scheme
            ));
        }
    }
    if lines.is_empty() {
        return format!(
            "\nAccuracy and smoothness do not part here: the most accurate scheme is within a factor of {PARTED} of the \
             smoothest, or the other way round.\n"
        );
    }
    format!("\nWhere they part:\n\n{}", lines.concat())
}

/// One scheme over all standings.
#[derive(Default)]
struct Overall {
    log_error: f64,
    log_rough: f64,
    log_steps: f64,
    reversing: usize,
    compared: usize,
    most_accurate: usize,
    smoothest: usize,
}

fn overall(standings: &[Standing]) -> String {
    let mut schemes: Vec<String> = Vec::new();
    let mut found: BTreeMap<String, Overall> = BTreeMap::new();
    for s in standings {
        for place in &s.places {
            if !schemes.contains(&place.scheme) {
                schemes.push(place.scheme.clone());
            }
            let one = found.entry(place.scheme.clone()).or_default();
            if let Some(base) = &s.base_only {
                one.log_error += (place.de2000 / base.de2000).ln();
                one.log_rough += (place.roughness_de2000 / base.roughness_de2000).ln();
                one.log_steps += (place.unevenness / base.unevenness).ln();
                one.compared += 1;
            }
            let is = |best: &Option<Place>| best.as_ref().is_some_and(|b| b.scheme == place.scheme);
            one.reversing += usize::from(place.reverses());
            one.most_accurate += usize::from(is(&s.most_accurate));
            one.smoothest += usize::from(is(&s.smoothest));
        }
    }
    let mut text = String::from(
        "\n## All panels\n\nOver the figures of base-only, geometric means; *unevenness* is RMS(step ÷ ideal step − 1), \
         mean of ten ramps. The last three columns count rows of the tables above; a reversal is visible from one ΔE \
         ITP.\n\n\
         | scheme | error | roughness | unevenness | compared | most accurate | smoothest | with a visible reversal |\n\
         | --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: |\n",
    );
    for scheme in schemes {
        let one = &found[&scheme];
        let ratio = |log: f64| (one.compared > 0).then(|| (log / one.compared as f64).exp());
        text += &format!(
            "| {scheme} | {} | {} | {} | {} | {} | {} | {} |\n",
            cell(ratio(one.log_error)),
            cell(ratio(one.log_rough)),
            cell(ratio(one.log_steps)),
            one.compared,
            one.most_accurate,
            one.smoothest,
            one.reversing
        );
    }
    text
}

fn refusals(entries: &[Entry]) -> String {
    let mut found: Vec<(&str, usize, usize, &str)> = Vec::new();
    for entry in entries.iter().filter(|e| e.row.status != Status::Fitted) {
        let (row, reason) = (&entry.row, entry.row.reason.as_deref().unwrap_or_default());
        let same = found
            .iter_mut()
            .find(|f| f.0 == row.scheme && f.1 == row.patches);
        match same {
            Some(known) => known.2 += 1,
            None => found.push((&row.scheme, row.patches, 1, reason)),
        }
    }
    if found.is_empty() {
        return String::new();
    }
    let mut text = String::from(
        "\n## Not fitted\n\n| scheme | patches | cases | the first says |\n| --- | ---: | ---: | --- |\n",
    );
    for (scheme, patches, cases, reason) in found {
        text += &format!(
            "| {scheme} | {patches} | {cases} | {} |\n",
            reason.replace('|', "/")
        );
    }
    text
}
