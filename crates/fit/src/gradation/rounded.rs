use evenstep_lut::{Evaluation, Ramp, node_weights};
use rayon::prelude::*;

use super::codes::Codes;
use super::ramps::{FLAT_TARGET, LEAST_RISE, scale, wanted};
use super::{Field, Problem};
use crate::range::signal_from_position;

/// Passes over the ramps, and codes by which a channel of a node may move in one of them.
const PASSES: usize = 4;
const MOVES: [i64; 4] = [-1, 1, -2, 2];

/// Steps of a ramp that may be short for rounding's sake: where more are, the light itself is wanting, and single codes
/// are not what it wants. Our choice.
const MOST_SHORT: usize = 32;

/// A ramp read one way.
struct Read {
    weights: Vec<Vec<(usize, f64)>>,
    light: Vec<f64>,
}

/// Moves single codes where a step of luminance along a named ramp falls only because what is read between nodes is
/// rounded to codes as well: a code of green lost outweighs one of blue gained. Gives the steps that still do.
///
/// The conditions of the ramps hold as before, and nothing is folded for it.
pub(super) fn lift_rounded(
    problem: &Problem<'_>,
    field: &Field,
    codes: &mut Codes,
    reached: &[bool],
) -> usize {
    let white = problem.target.white().luminance_cd_m2();
    let mut left = 0;
    for ramp in Ramp::named() {
        let signals = ramp.walk(scale()).signals;
        let wanted = wanted(problem, &signals);
        for how in [Evaluation::Tetrahedral, Evaluation::Trilinear] {
            let weights: Vec<Vec<(usize, f64)>> =
                signals.iter().map(|s| weights(field, *s, how)).collect();
            let as_they_are: &Codes = codes;
            let light = weights
                .par_iter()
                .map(|w| light(problem, as_they_are, w))
                .collect();
            let mut read = Read { weights, light };
            // A code that reads only nodes out of reach is out of reach itself.
            let held = |i: usize| read.weights[i].iter().any(|(node, _)| reached[*node]);
            let judged: Vec<usize> = (1..signals.len())
                .filter(|i| wanted[*i] - wanted[*i - 1] >= FLAT_TARGET * white)
                .filter(|i| held(*i) || held(*i - 1))
                .collect();
            let lack = |read: &Read, i: usize| {
                let rise = (read.light[i] - read.light[i - 1]) / (wanted[i] - wanted[i - 1]);
                (LEAST_RISE - rise).max(0.0)
            };
            for _ in 0..PASSES {
                let short: Vec<usize> = judged
                    .iter()
                    .copied()
                    .filter(|i| lack(&read, *i) > 0.0)
                    .collect();
                if short.len() > MOST_SHORT {
                    break;
                }
                let mut moved = false;
                for i in short {
                    if lack(&read, i) > 0.0 {
                        moved |= lift_step(problem, codes, &mut read, i, &judged, &lack);
                    }
                }
                if !moved {
                    break;
                }
            }
            left += judged.iter().filter(|i| lack(&read, **i) > 0.0).count();
        }
    }
    left
}

/// Makes the single move that lessens most what is lacking in the steps it touches; says whether there was one.
fn lift_step(
    problem: &Problem<'_>,
    codes: &mut Codes,
    read: &mut Read,
    step: usize,
    judged: &[usize],
    lack: &dyn Fn(&Read, usize) -> f64,
) -> bool {
    let mut nodes: Vec<usize> = read.weights[step - 1..=step]
        .iter()
        .flatten()
        .map(|(node, _)| *node)
        .collect();
    nodes.sort_unstable();
    nodes.dedup();
    let mut best: Option<(usize, usize, u32)> = None;
    let mut most = 0.0;
    for node in nodes {
        let reads = |i: usize| read.weights[i].iter().any(|(n, _)| *n == node);
        let touched: Vec<usize> = (0..read.light.len()).filter(|i| reads(*i)).collect();
        let steps: Vec<usize> = judged
            .iter()
            .copied()
            .filter(|i| touched.binary_search(i).is_ok() || touched.binary_search(&(i - 1)).is_ok())
            .collect();
        let cells = codes.around(node);
        let folds = |codes: &Codes| -> usize { cells.iter().map(|c| codes.folded(*c)).sum() };
        let sum = |read: &Read| -> f64 { steps.iter().map(|i| lack(read, *i)).sum() };
        let (before, folded) = (sum(read), folds(codes));
        let kept: Vec<f64> = touched.iter().map(|i| read.light[*i]).collect();
        for channel in 0..3 {
            let own = codes.values[node][channel];
            for by in MOVES {
                codes.values[node][channel] = own;
                let moved = codes.stepped(node, channel, by);
                codes.values[node][channel] = moved;
                for i in &touched {
                    read.light[*i] = light(problem, codes, &read.weights[*i]);
                }
                let gain = before - sum(read);
                if gain > most && codes.rise(node, channel) && folds(codes) <= folded {
                    (best, most) = (Some((node, channel, moved)), gain);
                }
            }
            codes.values[node][channel] = own;
        }
        for (i, kept) in touched.iter().zip(kept) {
            read.light[*i] = kept;
        }
    }
    let Some((node, channel, code)) = best else {
        return false;
    };
    codes.values[node][channel] = code;
    for i in 0..read.light.len() {
        if read.weights[i].iter().any(|(n, _)| *n == node) {
            read.light[i] = light(problem, codes, &read.weights[i]);
        }
    }
    true
}

/// Nodes that a signal reads, with their weights.
fn weights(field: &Field, signal: [f64; 3], how: Evaluation) -> Vec<(usize, f64)> {
    let position = signal.map(|v| field.placement.position(v));
    let all = node_weights(field.grid.size(), position, how);
    all.into_iter().filter(|(_, w)| *w > 0.0).collect()
}

/// Whether one of the named ramps reads a node, either way.
pub(super) fn read_by_ramps(field: &Field) -> Vec<bool> {
    let mut read = vec![false; field.grid.count()];
    for ramp in Ramp::named() {
        for signal in ramp.walk(scale()).signals {
            // Trilinear reading takes in what tetrahedral reading does.
            for (node, _) in weights(field, signal, Evaluation::Trilinear) {
                read[node] = true;
            }
        }
    }
    read
}

/// Luminance on the model of what is read and rounded.
fn light(problem: &Problem<'_>, codes: &Codes, weights: &[(usize, f64)]) -> f64 {
    let mut sum = [0.0; 3];
    for (node, w) in weights {
        for (sum, code) in sum.iter_mut().zip(codes.values[*node]) {
            *sum += w * f64::from(code);
        }
    }
    let range = problem.placement.range();
    let drive = sum
        .map(|v| signal_from_position(range, v.round() / f64::from(codes.largest)).clamp(0.0, 1.0));
    problem.panel.xyz(drive).luminance_cd_m2()
}
