use evenstep_audit::RampTrace;

use crate::text::labelled;

/// Bars of a spark, from low to high.
const BARS: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
/// A step that gets darker.
const FALLS: char = '×';
/// Columns of a spark.
const COLUMNS: usize = 52;

/// The steps of the neutral ramp near black in one line of a terminal: a bar for each code, or for a few of them the one
/// farthest from the target's step; × where the ramp turns back. Empty without a panel.
#[must_use]
pub fn steps_line(ramp: &RampTrace) -> String {
    let Some((light, target)) = ramp.correction.as_ref().zip(ramp.target.as_ref()) else {
        return String::new();
    };
    let end = ramp.near_black.end.min(light.step_itp.len());
    let steps: Vec<usize> = (ramp.near_black.start..end)
        .filter(|i| ramp.judged[*i])
        .collect();
    let (Some(first), Some(last)) = (steps.first(), steps.last()) else {
        return String::new();
    };
    let off = |i: &usize| (light.step_itp[*i] - target.step_itp[*i]).abs();
    let shown: Vec<f64> = steps
        .chunks(steps.len().div_ceil(COLUMNS))
        .filter_map(|group| {
            let worst = group.iter().max_by(|a, b| off(a).total_cmp(&off(b)))?;
            Some(light.step_itp[*worst])
        })
        .collect();
    let most = shown.iter().copied().fold(0.0, f64::max);
    let least = shown.iter().copied().fold(f64::INFINITY, f64::min);
    let spark: String = shown.iter().map(|step| bar(*step, most)).collect();
    labelled(
        "Near black",
        &format!(
            "{spark} steps of greys, codes {} to {}: {least:.2} to {most:.2} ΔE ITP",
            ramp.codes[*first],
            ramp.codes[*last + 1]
        ),
    )
}

fn bar(step: f64, most: f64) -> char {
    if step < 0.0 {
        return FALLS;
    }
    let share = if most > 0.0 { step / most } else { 0.0 };
    let last = BARS.len() - 1;
    BARS[((share * last as f64).round() as usize).min(last)]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bars_rise_and_falls_are_marked() {
        let bars: String = [-0.1, 0.0, 0.5, 1.0].map(|s| bar(s, 1.0)).iter().collect();
        assert_eq!(bars, "×▁▅█");
        assert_eq!(bar(0.0, 0.0), '▁');
    }
}
