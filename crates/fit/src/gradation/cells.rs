use std::collections::BTreeMap;

use evenstep_colour::itp_from_xyz;
use evenstep_display::Encoding;
use evenstep_lut::{Evaluation, node_weights};
use nalgebra::{Matrix3, Vector3};

use super::{Field, Problem};
use crate::invert::itp_from_lms;

/// Share of the signal up to which every cell is looked into: near black with a cell's margin at 33 nodes.
const DARK: f64 = 0.13;
/// Signals looked at along the neutral diagonal of a cell. Our choice: the curve inside a cell is smooth.
const ALONG: usize = 8;
/// Weight of one of them against one of the eight places inside a dark cell: an eye sees a grey ramp first.
const NEUTRAL: f64 = 1.0;
/// Weight of black itself: contrast is not given away for the codes above it.
const BLACK: f64 = 8.0;
/// Weight of places in a cell with a corner out of reach.
const STRADDLING: f64 = 0.2;
/// Weight of second differences of the moves against a node's own: holds what the panel does not feel.
const STIFF: f64 = 30.0;
/// Rounds of Gauss-Newton, and steps of conjugate gradients in each.
const ROUNDS: usize = 4;
const STEPS: usize = 60;
/// Places inside a cell, in each direction: Gauss's two.
const PLACES: [f64; 2] = [0.211_324_865_405_187_1, 0.788_675_134_594_812_9];

/// Moves the nodes of dark and of neutral cells so that what is shown *between* them misses its target least, however
/// the panel interpolates. A lattice that is right at its nodes alone errs between them where the correction bends,
/// most in the first cells above black. Gives the largest move.
pub(super) fn settle(problem: &Problem<'_>, field: &mut Field, reached: &[bool]) -> f64 {
    let samples = samples(problem, field, reached);
    let mut place: BTreeMap<usize, usize> = BTreeMap::new();
    for (node, _) in samples.iter().flat_map(|s| &s.weights) {
        place.insert(*node, 0);
    }
    for (i, at) in place.values_mut().enumerate() {
        *at = i;
    }
    let nodes: Vec<usize> = place.keys().copied().collect();
    let samples: Vec<Sample> = samples
        .into_iter()
        .map(|mut s| {
            s.weights
                .iter_mut()
                .for_each(|(node, _)| *node = place[node]);
            s
        })
        .collect();
    let start: Vec<[f64; 3]> = nodes.iter().map(|i| field.drives[*i]).collect();
    let anchors = anchors(problem, field, &nodes, &samples);
    let lines = lines(field, &place);
    let mut now = start.clone();
    let mut score = f64::INFINITY;
    for _ in 0..ROUNDS {
        let (normal, right, total) = system(problem, &samples, &anchors, &lines, &start, &now);
        if total >= score {
            break;
        }
        score = total;
        let step = conjugate(&normal, &lines, &right);
        let mut length = 1.0;
        for _ in 0..4 {
            let next: Vec<[f64; 3]> = now
                .iter()
                .zip(&step)
                .map(|(v, s)| std::array::from_fn(|c| (v[c] + length * s[c]).clamp(-1.0, 2.0)))
                .collect();
            if total_miss(problem, &samples, &anchors, &lines, &start, &next) < score {
                now = next;
                break;
            }
            length *= 0.5;
        }
    }
    let mut largest = 0.0_f64;
    for ((node, now), start) in nodes.iter().zip(&now).zip(&start) {
        field.drives[*node] = *now;
        largest = (0..3).fold(largest, |a, c| a.max((now[c] - start[c]).abs()));
    }
    largest
}

/// A place between nodes, with the nodes it is read from.
struct Sample {
    weights: Vec<(usize, f64)>,
    weight: f64,
    itp: Vector3<f64>,
}

fn samples(problem: &Problem<'_>, field: &Field, reached: &[bool]) -> Vec<Sample> {
    let (grid, n) = (field.grid, field.grid.size());
    let dark = problem.target.near_black_end(DARK);
    let mut all = Vec::new();
    let mut add = |signal: [f64; 3], weight: f64| {
        let itp = itp_from_xyz(problem.target.xyz(signal));
        let position = signal.map(|s| field.placement.position(s));
        for how in [Evaluation::Tetrahedral, Evaluation::Trilinear] {
            all.push(Sample {
                weights: node_weights(n, position, how),
                weight: 0.5 * weight,
                itp: Vector3::new(itp.i, itp.t, itp.p) * 720.0,
            });
        }
    };
    for cell in (0..grid.count()).filter(|i| grid.at(*i).iter().all(|k| k + 1 < n)) {
        let at = grid.at(cell);
        let is_dark = at.iter().all(|k| field.signal(k + 1) <= dark)
            && at.iter().all(|k| field.signal(*k) >= 0.0);
        if is_dark {
            let strides = grid.strides();
            let whole = (0..8_usize).all(|corner| {
                let step: usize = (0..3).map(|a| (corner >> a & 1) * strides[a]).sum();
                reached[cell + step]
            });
            for corner in 0..8_usize {
                let signal = std::array::from_fn(|a| {
                    let (low, high) = (field.signal(at[a]), field.signal(at[a] + 1));
                    low + (high - low) * PLACES[corner >> a & 1]
                });
                add(signal, if whole { 1.0 } else { STRADDLING });
            }
        }
    }
    let count = ((field.place(1.0) - field.place(0.0)) * ALONG as f64).round() as usize;
    for i in 0..=count {
        let weight = if i == 0 { BLACK } else { NEUTRAL };
        add([i as f64 / count as f64; 3], weight);
    }
    all
}

/// Pull of each node towards its start: as many samples as the cells around it that are not looked into would have had,
/// each content with the node as it is.
fn anchors(
    problem: &Problem<'_>,
    field: &Field,
    nodes: &[usize],
    samples: &[Sample],
) -> Vec<Matrix3<f64>> {
    let mut seen = vec![0.0; nodes.len()];
    for (node, w) in samples
        .iter()
        .flat_map(|s| s.weights.iter().map(|(n, w)| (*n, w * s.weight)))
    {
        seen[node] += w;
    }
    nodes
        .iter()
        .zip(seen)
        .map(|(node, seen)| {
            let (_, slope) = shown(problem, field.drives[*node].map(|v| v.clamp(0.0, 1.0)));
            // A node inside the dark cells is read by eight samples' worth.
            let lacking = (8.0 - seen).max(0.0) / 8.0;
            slope.transpose() * slope * lacking + Matrix3::identity() * (1e-3 * STIFF)
        })
        .collect()
}

/// Triples of consecutive nodes along the axes and the neutral diagonal that are all in work.
fn lines(field: &Field, place: &BTreeMap<usize, usize>) -> Vec<[usize; 3]> {
    let (grid, n) = (field.grid, field.grid.size());
    let diagonal: usize = grid.strides().iter().sum();
    let mut all = Vec::new();
    for (node, at) in place {
        let coordinates = grid.at(*node);
        let mut push = |step: usize| {
            if let (Some(low), Some(high)) = (place.get(&(node - step)), place.get(&(node + step)))
            {
                all.push([*low, *at, *high]);
            }
        };
        for (axis, step) in grid.strides().into_iter().enumerate() {
            if coordinates[axis] > 0 && coordinates[axis] + 1 < n {
                push(step);
            }
        }
        let [r, g, b] = coordinates;
        if r == g && g == b && r > 0 && r + 1 < n {
            push(diagonal);
        }
    }
    all
}

fn shown(problem: &Problem<'_>, drive: [f64; 3]) -> (Vector3<f64>, Matrix3<f64>) {
    let itp = itp_from_lms();
    let (xyz, jacobian) = problem.panel.xyz_with_jacobian(drive);
    let (lms, slope) = Encoding::PqLms.encode_with_derivative(xyz);
    (itp * Vector3::from(lms), itp * slope * jacobian)
}

fn drive(now: &[[f64; 3]], sample: &Sample) -> [f64; 3] {
    let mut sum = [0.0; 3];
    for (node, w) in &sample.weights {
        for c in 0..3 {
            sum[c] += w * now[*node][c];
        }
    }
    sum.map(|v| v.clamp(0.0, 1.0))
}

/// What the moves cost beside the samples.
fn held(
    anchors: &[Matrix3<f64>],
    lines: &[[usize; 3]],
    start: &[[f64; 3]],
    now: &[[f64; 3]],
) -> f64 {
    let away = |k: usize| Vector3::from(now[k]) - Vector3::from(start[k]);
    let own: f64 = (0..now.len())
        .map(|k| away(k).dot(&(anchors[k] * away(k))))
        .sum();
    let bent: f64 = lines
        .iter()
        .map(|[a, b, c]| (away(*a) - 2.0 * away(*b) + away(*c)).norm_squared())
        .sum();
    own + STIFF * bent
}

fn total_miss(
    problem: &Problem<'_>,
    samples: &[Sample],
    anchors: &[Matrix3<f64>],
    lines: &[[usize; 3]],
    start: &[[f64; 3]],
    now: &[[f64; 3]],
) -> f64 {
    let missed: f64 = samples
        .iter()
        .map(|s| {
            let xyz = problem.panel.xyz(drive(now, s));
            let itp = itp_from_lms() * Vector3::from(Encoding::PqLms.encode(xyz));
            s.weight * (itp - s.itp).norm_squared()
        })
        .sum();
    missed + held(anchors, lines, start, now)
}

/// A sample's part of the normal matrix, or an anchor.
struct Part {
    weights: Vec<(usize, f64)>,
    square: Matrix3<f64>,
}

type Normal = Vec<Part>;

fn system(
    problem: &Problem<'_>,
    samples: &[Sample],
    anchors: &[Matrix3<f64>],
    lines: &[[usize; 3]],
    start: &[[f64; 3]],
    now: &[[f64; 3]],
) -> (Normal, Vec<Vector3<f64>>, f64) {
    let mut right = vec![Vector3::zeros(); now.len()];
    let mut normal = Vec::with_capacity(samples.len() + now.len());
    let mut total = held(anchors, lines, start, now);
    for s in samples {
        let (itp, slope) = shown(problem, drive(now, s));
        let miss = itp - s.itp;
        total += s.weight * miss.norm_squared();
        let pull = slope.transpose() * miss * s.weight;
        for (node, w) in &s.weights {
            right[*node] -= *w * pull;
        }
        normal.push(Part {
            weights: s.weights.clone(),
            square: slope.transpose() * slope * s.weight,
        });
    }
    let away = |k: usize| Vector3::from(now[k]) - Vector3::from(start[k]);
    for (k, anchor) in anchors.iter().enumerate() {
        right[k] -= anchor * away(k);
        normal.push(Part {
            weights: vec![(k, 1.0)],
            square: *anchor,
        });
    }
    for [a, b, c] in lines {
        let second = STIFF * (away(*a) - 2.0 * away(*b) + away(*c));
        right[*a] -= second;
        right[*b] += 2.0 * second;
        right[*c] -= second;
    }
    (normal, right, total)
}

fn apply(normal: &Normal, lines: &[[usize; 3]], v: &[Vector3<f64>]) -> Vec<Vector3<f64>> {
    let mut out = vec![Vector3::zeros(); v.len()];
    for part in normal {
        let sum: Vector3<f64> = part.weights.iter().map(|(i, w)| *w * v[*i]).sum();
        let sum = part.square * sum;
        for (i, w) in &part.weights {
            out[*i] += *w * sum;
        }
    }
    for [a, b, c] in lines {
        let second = STIFF * (v[*a] - 2.0 * v[*b] + v[*c]);
        out[*a] += second;
        out[*b] -= 2.0 * second;
        out[*c] += second;
    }
    out
}

fn conjugate(normal: &Normal, lines: &[[usize; 3]], right: &[Vector3<f64>]) -> Vec<Vector3<f64>> {
    let mut blocks = vec![Matrix3::identity() * 6.0 * STIFF; right.len()];
    for part in normal {
        for (i, w) in &part.weights {
            blocks[*i] += part.square * (w * w);
        }
    }
    let blocks: Vec<Matrix3<f64>> = blocks
        .into_iter()
        .map(|b| b.try_inverse().unwrap_or_else(Matrix3::identity))
        .collect();
    let precondition = |r: &[Vector3<f64>]| -> Vec<Vector3<f64>> {
        blocks.iter().zip(r).map(|(b, r)| b * r).collect()
    };
    let dot = |a: &[Vector3<f64>], b: &[Vector3<f64>]| -> f64 {
        a.iter().zip(b).map(|(a, b)| a.dot(b)).sum()
    };
    let mut x = vec![Vector3::zeros(); right.len()];
    let mut r = right.to_vec();
    let mut z = precondition(&r);
    let mut p = z.clone();
    let mut rho = dot(&r, &z);
    let end = 1e-8 * rho;
    for _ in 0..STEPS {
        if rho <= end {
            break;
        }
        let q = apply(normal, lines, &p);
        let alpha = rho / dot(&p, &q);
        for i in 0..x.len() {
            x[i] += alpha * p[i];
            r[i] -= alpha * q[i];
        }
        z = precondition(&r);
        let next = dot(&r, &z);
        for i in 0..p.len() {
            p[i] = z[i] + next / rho * p[i];
        }
        rho = next;
    }
    x
}
