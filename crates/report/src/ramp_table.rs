use evenstep_audit::{AuditReport, FloorFigures, RampFigures, RampReport};

/// What stands where a figure is not known.
const UNKNOWN: &str = "-";

/// The ramps, one line each: unrounded, rounded to the output depth, and the floor of the rounding.
///
/// The near-black part of the neutral ramp has a line of its own.
pub(crate) fn ramp_table(report: &AuditReport) -> String {
    let bits = format!("{}-bit", report.output_bits.bits());
    let group = |name: &str| format!("  {name:^18}");
    let triple = format!("  {:>5} {bits:>6} {:>5}", "exact", "floor");
    let mut table = format!(
        "{:<12} {:>5} {:>5}{}{}{}  {:>12}\n",
        "",
        "",
        "out of",
        group("reversed steps"),
        group("depth, ΔE ITP"),
        group("unevenness, %"),
        "merged codes"
    );
    table += &format!(
        "{:<12} {:>5} {:>5}{triple}{triple}{triple}  {bits:>6} {:>5}\n",
        "ramp", "codes", "reach", "floor"
    );
    for ramp in &report.ramps {
        table += &line(
            &ramp.name,
            &ramp.figures,
            &ramp.rounded.figures,
            &ramp.rounded.floor,
        );
        if let Some(near) = ramp.near_black.as_ref().filter(|_| is_the_neutral(ramp)) {
            let (rounded, floor) = (&near.rounded.figures, &near.rounded.floor);
            table += &line("  near black", &near.figures, rounded, floor);
        }
    }
    table
}

fn is_the_neutral(ramp: &RampReport) -> bool {
    ramp.name == "neutral"
}

fn line(name: &str, exact: &RampFigures, rounded: &RampFigures, floor: &FloorFigures) -> String {
    let count = |n: usize| n.to_string();
    let depth = |d: Option<f64>| match d {
        Some(d) if d < 100.0 => format!("{d:.2}"),
        Some(d) => format!("{d:.0}"),
        None => UNKNOWN.to_owned(),
    };
    let share =
        |u: Option<f64>| u.map_or_else(|| UNKNOWN.to_owned(), |u| format!("{:.0}", 100.0 * u));
    let three = |cells: [String; 3]| format!("  {:>5} {:>6} {:>5}", cells[0], cells[1], cells[2]);
    format!(
        "{name:<12} {:>5} {:>5}{}{}{}  {:>6} {:>5}\n",
        exact.codes,
        exact
            .codes_unreachable
            .map_or_else(|| UNKNOWN.to_owned(), count),
        three(
            [
                exact.reversed_steps,
                rounded.reversed_steps,
                floor.reversed_steps
            ]
            .map(count)
        ),
        three(
            [
                exact.reversal_depth_itp,
                rounded.reversal_depth_itp,
                floor.reversal_depth_itp
            ]
            .map(depth)
        ),
        three([exact.unevenness, rounded.unevenness, floor.unevenness].map(share)),
        rounded.merged_codes,
        rounded.merged_floor
    )
}
