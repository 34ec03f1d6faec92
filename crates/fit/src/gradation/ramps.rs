use evenstep_lut::{BitDepth, CodeScale, Evaluation, Ramp, node_weights};

use rayon::prelude::*;

use super::{Field, GradationReport, Problem};

/// Least rise of luminance that a solve asks for, as a share of the target's: a margin for what the model does not know.
/// Our choice.
pub(super) const LEAST_RISE: f64 = 0.1;
/// A target that rises by less than this share of its white has no step to hold (method, section 6).
pub(super) const FLAT_TARGET: f64 = 1e-9;
/// Sweeps over the ramps.
const SWEEPS: usize = 20;

/// Codes of a ramp that are a cell's worth apart at most; a step that falls shows between them too.
pub(super) fn scale() -> CodeScale {
    CodeScale {
        depth: BitDepth::TEN,
        range: evenstep_lut::CodeRange::Full,
    }
}

/// Luminance of the target along a ramp, in cd/m².
pub(super) fn wanted(problem: &Problem<'_>, signals: &[[f64; 3]]) -> Vec<f64> {
    let light = |s: &[f64; 3]| problem.target.xyz(*s).luminance_cd_m2();
    signals.iter().map(light).collect()
}

/// Light last seen at the codes of each named ramp, read in each way, with the drive it was seen for: from one round to
/// the next few nodes move.
#[derive(Default)]
pub(super) struct Seen(Vec<[Lit; 2]>);

/// Drive and luminance in cd/m² of each code of a ramp.
type Lit = Vec<([f64; 3], f64)>;

/// How ramps are read.
const WAYS: [Evaluation; 2] = [Evaluation::Tetrahedral, Evaluation::Trilinear];

/// Lifts luminance where it falls along a named ramp on the model, by the least change of the nodes that are read there.
/// Says whether anything was moved.
pub(super) fn lift(
    problem: &Problem<'_>,
    field: &mut Field,
    reached: &[bool],
    seen: &mut Seen,
    report: &mut GradationReport,
) -> bool {
    let mut touched = false;
    report.unresolved_ramps.clear();
    let ramps = Ramp::named();
    seen.0.resize_with(ramps.len(), Default::default);
    for (ramp, seen) in ramps.iter().zip(&mut seen.0) {
        let signals = ramp.walk(scale()).signals;
        let wanted = wanted(problem, &signals);
        let mut falls = 0;
        let before = field.drives.clone();
        for sweep in 0..SWEEPS {
            falls = 0;
            for (how, seen) in WAYS.into_iter().zip(seen.iter_mut()) {
                falls += sweep_ramp(problem, field, (&signals, &wanted), how, reached, seen);
            }
            if falls == 0 {
                break;
            }
            touched = true;
            if sweep == 0 && !report.resolved_ramps.iter().any(|n| n == ramp.name()) {
                report.resolved_ramps.push(ramp.name().to_owned());
            }
        }
        if falls > 0 {
            // What cannot be had is not asked for at the cost of everything else.
            field.drives = before;
            report.unresolved_ramps.push(ramp.name().to_owned());
        }
    }
    touched
}

/// One pass along a ramp; gives the steps that fell short.
fn sweep_ramp(
    problem: &Problem<'_>,
    field: &mut Field,
    (signals, wanted): (&[[f64; 3]], &[f64]),
    how: Evaluation,
    reached: &[bool],
    seen: &mut Lit,
) -> usize {
    let size = field.grid.size();
    let white = problem.target.white().luminance_cd_m2();
    let read = |field: &Field, signal: [f64; 3]| {
        let position = signal.map(|s| field.placement.position(s));
        let weights = node_weights(size, position, how);
        let mut drive = [0.0; 3];
        for (i, w) in &weights {
            for (sum, v) in drive.iter_mut().zip(field.drives[*i]) {
                *sum += w * v;
            }
        }
        (weights, drive)
    };
    // Most ramps rise as they are, and a look at the light alone tells.
    seen.resize(signals.len(), ([f64::NAN; 3], f64::NAN));
    signals.par_iter().zip(&mut *seen).for_each(|(s, seen)| {
        let drive = read(field, *s).1.map(|v| v.clamp(0.0, 1.0));
        if seen.0 != drive {
            *seen = (drive, problem.panel.xyz(drive).luminance_cd_m2());
        }
    });
    let rise = |i: usize| seen[i].1 - seen[i - 1].1;
    let lacks = |i: usize| LEAST_RISE * (wanted[i] - wanted[i - 1]) > rise(i);
    let Some(first) = (1..signals.len()).find(|i| lacks(*i)) else {
        return 0;
    };
    let mut falls = 0;
    for i in first..signals.len() {
        let ideal = wanted[i] - wanted[i - 1];
        if ideal < FLAT_TARGET * white {
            continue;
        }
        let (low_weights, low) = read(field, signals[i - 1]);
        let (high_weights, high) = read(field, signals[i]);
        // A code that reads only nodes out of reach is out of reach itself.
        let held = |weights: &[(usize, f64)]| weights.iter().any(|(i, w)| *w > 0.0 && reached[*i]);
        if !held(&low_weights) && !held(&high_weights) {
            continue;
        }
        let (low_xyz, low_slope) = problem
            .panel
            .xyz_with_jacobian(low.map(|v| v.clamp(0.0, 1.0)));
        let (high_xyz, high_slope) = problem
            .panel
            .xyz_with_jacobian(high.map(|v| v.clamp(0.0, 1.0)));
        let lack = LEAST_RISE * ideal - (high_xyz.luminance_cd_m2() - low_xyz.luminance_cd_m2());
        if lack <= 0.0 {
            continue;
        }
        // The row of luminance rise over node values, and the least change that makes up for it.
        let mut row: Vec<(usize, [f64; 3])> = Vec::new();
        let mut add = |weights: &[(usize, f64)], slope: [f64; 3], sign: f64| {
            for (node, w) in weights {
                let entry = slope.map(|v| sign * w * v);
                match row.iter_mut().find(|(n, _)| n == node) {
                    Some((_, sum)) => (0..3).for_each(|c| sum[c] += entry[c]),
                    None => row.push((*node, entry)),
                }
            }
        };
        let luminance = |j: nalgebra::Matrix3<f64>| [j[(1, 0)], j[(1, 1)], j[(1, 2)]];
        add(&high_weights, luminance(high_slope), 1.0);
        add(&low_weights, luminance(low_slope), -1.0);
        let norm: f64 = row.iter().flat_map(|(_, r)| r).map(|v| v * v).sum();
        if norm <= 0.0 {
            continue;
        }
        falls += 1;
        for (node, entry) in row {
            for (drive, entry) in field.drives[node].iter_mut().zip(entry) {
                *drive = (*drive + entry * lack / norm).clamp(-1.0, 2.0);
            }
        }
    }
    falls
}
