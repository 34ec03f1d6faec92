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
    // A fall is never hidden behind a neighbour that is farther off.
    let falls = |i: &&usize| light.step_itp[**i] < 0.0;
    let off = |i: &usize| (light.step_itp[*i] - target.step_itp[*i]).abs();
    let shown: Vec<f64> = steps
        .chunks(steps.len().div_ceil(COLUMNS))
        .filter_map(|group| {
            let farthest = group.iter().max_by(|a, b| off(a).total_cmp(&off(b)));
            let worst = group.iter().find(falls).or(farthest)?;
            Some(light.step_itp[*worst])
        })
        .collect();
    let all = || steps.iter().map(|i| light.step_itp[*i]);
    let (least, most) = (
        all().fold(f64::INFINITY, f64::min),
        all().fold(0.0, f64::max),
    );
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
    fn a_fall_shows_beside_a_greater_rise() {
        let light = |step_itp: Vec<f64>| evenstep_audit::LightTrace {
            luminance_cd_m2: vec![0.0; step_itp.len() + 1],
            perceptual: vec![0.0; step_itp.len() + 1],
            unevenness: Vec::new(),
            tint_itp: Vec::new(),
            balance: Vec::new(),
            step_itp,
        };
        let count = 2 * COLUMNS;
        let mut steps = vec![0.8; count];
        (steps[0], steps[1]) = (-0.05, 2.0);
        let ramp = RampTrace {
            name: "neutral".to_owned(),
            is_neutral: true,
            near_black: 0..count,
            judged: vec![true; count],
            target: Some(light(vec![0.8; count])),
            correction: Some(light(steps)),
            base: None,
            uncorrected: None,
            drive: vec![[0.0; 3]; count + 1],
            codes: (0..=count as u32).collect(),
            signals: vec![[0.0; 3]; count + 1],
        };
        let line = steps_line(&ramp);
        assert!(line.contains('×'), "{line}");
        assert!(line.contains("-0.05 to 2.00"), "{line}");
    }

    #[test]
    fn bars_rise_and_falls_are_marked() {
        let bars: String = [-0.1, 0.0, 0.5, 1.0].map(|s| bar(s, 1.0)).iter().collect();
        assert_eq!(bars, "×▁▅█");
        assert_eq!(bar(0.0, 0.0), '▁');
    }
}
