use std::collections::BTreeMap;

use evenstep_colour::itp_from_xyz;
use evenstep_lut::{Evaluation, node_weights};
use nalgebra::{Matrix3, Vector3};
use rayon::prelude::*;

use super::{Field, Problem};
use crate::invert::itp_from_lms;

/// Share of the signal up to which every cell is looked into: near black with a cell's margin at 33 nodes.
const DARK: f64 = 0.13;
/// Signals looked at along the neutral diagonal of a cell. Our choice: the curve inside a cell is smooth.
const ALONG: usize = 8;
/// Weight of one of them against one of the eight places inside a dark cell: an eye sees a grey ramp first.
const NEUTRAL: f64 = 1.0;
/// The same for the ramps of the primaries and their pairs.
const PRIMARY: f64 = 0.25;
/// Weight of black itself: contrast is not given away for the codes above it.
const BLACK: f64 = 8.0;
/// Weight of places in a cell with a corner out of reach.
const STRADDLING: f64 = 0.2;
/// Weight of second differences of the moves against a node's own: holds what the panel does not feel.
const STIFF: f64 = 30.0;
/// Pull of a node towards its start where the panel does not feel it, as a share of what it feels elsewhere. Our choice.
const UNFELT: f64 = 0.05;
/// Weight of the error of a step against that of a colour: even steps are what a ramp is looked at for. Our choice.
const STEP: f64 = 4.0;
/// Weight of a channel that falls from black to the nodes beside it, over the largest anchor's. Our choice.
const HINGE: f64 = 3.0;
/// Rounds of Levenberg and Marquardt, tries in each, and steps of conjugate gradients in each of those.
const ROUNDS: usize = 5;
const TRIES: usize = 6;
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
    let anchors = anchors(problem, field, &nodes, &samples, reached);
    let lines = lines(field, &place);
    let steps = steps(&samples);
    let stiff = HINGE * anchors.iter().map(Matrix3::trace).fold(0.0, f64::max);
    let black = place.get(&0).copied();
    let neighbours = beside_black(field, &place);
    let mut now = start.clone();
    let mut damping = 0.0;
    for _ in 0..ROUNDS {
        let (mut normal, right, score) =
            system(problem, &samples, &steps, &anchors, &lines, &start, &now);
        let (mut right, mut score) = (right, score);
        if let Some(black) = black {
            for (node, channel) in &neighbours {
                let over = now[black][*channel] - now[*node][*channel];
                score += hinge(over, stiff);
                if over > 0.0 {
                    let mut square = Matrix3::zeros();
                    square[(*channel, *channel)] = stiff;
                    right[black][*channel] -= stiff * over;
                    right[*node][*channel] += stiff * over;
                    normal.push(Part {
                        weights: vec![(black, 1.0), (*node, -1.0)],
                        square,
                    });
                }
            }
        }
        let undamped = normal.len();
        let mut better = None;
        // Held back until it helps: the panel's answer bends, and where it is flat a step has no measure.
        for _ in 0..TRIES {
            normal.truncate(undamped);
            damp(&mut normal, damping);
            let step = conjugate(&normal, &lines, &right);
            let next: Vec<[f64; 3]> = now
                .iter()
                .zip(&step)
                .map(|(v, s)| std::array::from_fn(|c| (v[c] + s[c]).clamp(-1.0, 2.0)))
                .collect();
            let fallen: f64 = black.map_or(0.0, |black| {
                let over = |(node, c): &(usize, usize)| next[black][*c] - next[*node][*c];
                neighbours.iter().map(|n| hinge(over(n), stiff)).sum()
            });
            if total_miss(problem, &samples, &steps, &anchors, &lines, &start, &next) + fallen
                < score
            {
                better = Some(next);
                break;
            }
            damping = (8.0 * damping).max(0.02);
        }
        let Some(next) = better else { break };
        now = next;
        damping *= 0.1;
    }
    // What the hinge leaves over.
    if let Some(black) = black {
        for (node, channel) in &neighbours {
            now[black][*channel] = now[black][*channel].min(now[*node][*channel]);
        }
    }
    let mut largest = 0.0_f64;
    for ((node, now), start) in nodes.iter().zip(&now).zip(&start) {
        field.drives[*node] = *now;
        largest = (0..3).fold(largest, |a, c| a.max((now[c] - start[c]).abs()));
    }
    largest
}

/// Nodes of the first cell with the channels whose signal there is that of black: along the ramps that begin in it these
/// must not fall, or a rounded code of green light is lost for one of blue that is gained.
fn beside_black(field: &Field, place: &BTreeMap<usize, usize>) -> Vec<(usize, usize)> {
    let strides = field.grid.strides();
    let mut all = Vec::new();
    for corner in 1..8_usize {
        let node: usize = (0..3).map(|a| (corner >> a & 1) * strides[a]).sum();
        if let Some(at) = place.get(&node) {
            all.extend((0..3).filter(|c| corner >> c & 1 == 0).map(|c| (*at, c)));
        }
    }
    all
}

/// Cost of a channel that falls.
fn hinge(over: f64, stiff: f64) -> f64 {
    stiff * over.max(0.0).powi(2)
}

/// A place between nodes, with the nodes it is read from.
struct Sample {
    weights: Vec<(usize, f64)>,
    weight: f64,
    itp: Vector3<f64>,
    /// The ramp it lies on and its place there.
    along: Option<(u8, usize)>,
}

fn samples(problem: &Problem<'_>, field: &Field, reached: &[bool]) -> Vec<Sample> {
    let (grid, n) = (field.grid, field.grid.size());
    let dark = problem.target.near_black_end(DARK);
    let mut all = Vec::new();
    let mut add = |signal: [f64; 3], weight: f64, along: Option<(u8, usize)>| {
        let itp = itp_from_xyz(problem.target.xyz(signal));
        let position = signal.map(|s| field.placement.position(s));
        for how in [Evaluation::Tetrahedral, Evaluation::Trilinear] {
            let weights = node_weights(n, position, how);
            let is_reached = |(node, w): &(usize, f64)| *w > 0.0 && reached[*node];
            if signal != [0.0; 3] && !weights.iter().any(is_reached) {
                continue;
            }
            all.push(Sample {
                weights,
                weight: 0.5 * weight,
                itp: Vector3::new(itp.i, itp.t, itp.p) * 720.0,
                along,
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
                add(signal, if whole { 1.0 } else { STRADDLING }, None);
            }
        }
    }
    let count = ((field.place(1.0) - field.place(0.0)) * ALONG as f64).round() as usize;
    for mask in 1..8_u8 {
        let rising = [0, 1, 2].map(|c| f64::from(mask >> c & 1));
        let whole = mask == 7;
        for i in usize::from(!whole)..=count {
            let signal = i as f64 / count as f64;
            if !whole && signal > dark {
                break;
            }
            let weight = match (i, whole) {
                (0, _) => BLACK,
                (_, true) => NEUTRAL,
                _ => PRIMARY,
            };
            add(rising.map(|r| r * signal), weight, Some((mask, i)));
        }
    }
    all
}

/// Pairs of samples that are one step apart on a ramp, read alike.
fn steps(samples: &[Sample]) -> Vec<[usize; 2]> {
    let mut all = Vec::new();
    for i in 2..samples.len() {
        let ends = samples[i - 2].along.zip(samples[i].along);
        if ends.is_some_and(|(a, b)| a.0 == b.0 && b.1 == a.1 + 1) {
            all.push([i - 2, i]);
        }
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
    reached: &[bool],
) -> Vec<Matrix3<f64>> {
    let mut seen = vec![0.0; nodes.len()];
    for (node, w) in samples
        .iter()
        .flat_map(|s| s.weights.iter().map(|(n, w)| (*n, w * s.weight)))
    {
        seen[node] += w;
    }
    let squares: Vec<Matrix3<f64>> = nodes
        .par_iter()
        .map(|node| {
            let (_, slope) = shown(problem, field.drives[*node].map(|v| v.clamp(0.0, 1.0)));
            slope.transpose() * slope
        })
        .collect();
    let mut traces: Vec<f64> = squares.iter().map(|s| s.trace() / 3.0).collect();
    let middle = traces.len() / 2;
    let median = *traces.select_nth_unstable_by(middle, f64::total_cmp).1;
    squares
        .into_iter()
        .zip(seen)
        .zip(nodes)
        .map(|((square, seen), node)| {
            if !reached[*node] && *node != 0 {
                // The pointwise answer there keeps hue, which samples do not ask for.
                return 8.0 * (square + Matrix3::identity() * median);
            }
            // A node inside the dark cells is read by eight samples' worth.
            let lacking = (8.0 - seen).max(0.0) / 8.0;
            square * lacking + Matrix3::identity() * (UNFELT * median)
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
    let (lms, slope) = problem.panel.pq_lms_with_jacobian(drive);
    (itp * Vector3::from(lms), itp * slope)
}

/// The weighted mean of the nodes of a sample.
fn mixed(now: &[[f64; 3]], sample: &Sample) -> [f64; 3] {
    let mut sum = [0.0; 3];
    for (node, w) in &sample.weights {
        for (sum, v) in sum.iter_mut().zip(now[*node]) {
            *sum += w * v;
        }
    }
    sum
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
    steps: &[[usize; 2]],
    anchors: &[Matrix3<f64>],
    lines: &[[usize; 3]],
    start: &[[f64; 3]],
    now: &[[f64; 3]],
) -> f64 {
    let misses: Vec<Vector3<f64>> = samples
        .par_iter()
        .map(|s| {
            let legal = mixed(now, s).map(|v| v.clamp(0.0, 1.0));
            itp_from_lms() * Vector3::from(problem.panel.pq_lms(legal)) - s.itp
        })
        .collect();
    let missed: f64 = samples
        .iter()
        .zip(&misses)
        .map(|(s, m)| s.weight * m.norm_squared())
        .sum();
    let uneven: f64 = steps
        .iter()
        .map(|[a, b]| STEP * samples[*b].weight * (misses[*b] - misses[*a]).norm_squared())
        .sum();
    missed + uneven + held(anchors, lines, start, now)
}

/// Adds to every node a share of its own part of the normal matrix, and of the mean one where that is flat.
fn damp(normal: &mut Normal, share: f64) {
    if share == 0.0 {
        return;
    }
    let nodes = 1 + normal
        .iter()
        .flat_map(|p| &p.weights)
        .map(|w| w.0)
        .max()
        .unwrap_or(0);
    let mut own = vec![Matrix3::zeros(); nodes];
    for part in normal.iter() {
        for (i, w) in &part.weights {
            own[*i] += part.square * (w * w);
        }
    }
    let mean = own.iter().map(Matrix3::trace).sum::<f64>() / (3 * nodes) as f64;
    normal.extend(own.into_iter().enumerate().map(|(i, own)| Part {
        weights: vec![(i, 1.0)],
        square: share
            * (Matrix3::from_diagonal(&own.diagonal()) + Matrix3::identity() * (0.01 * mean)),
    }));
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
    steps: &[[usize; 2]],
    anchors: &[Matrix3<f64>],
    lines: &[[usize; 3]],
    start: &[[f64; 3]],
    now: &[[f64; 3]],
) -> (Normal, Vec<Vector3<f64>>, f64) {
    let mut right = vec![Vector3::zeros(); now.len()];
    let mut normal = Vec::with_capacity(samples.len() + now.len());
    let mut total = held(anchors, lines, start, now);
    let felt: Vec<(Vector3<f64>, Matrix3<f64>)> = samples
        .par_iter()
        .map(|s| {
            let unclipped = mixed(now, s);
            let (itp, mut slope) = shown(problem, unclipped.map(|v| v.clamp(0.0, 1.0)));
            for (c, v) in unclipped.iter().enumerate() {
                if !(0.0..=1.0).contains(v) {
                    slope.column_mut(c).fill(0.0);
                }
            }
            (itp - s.itp, slope)
        })
        .collect();
    for (s, (miss, slope)) in samples.iter().zip(&felt) {
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
    for [a, b] in steps {
        let weight = STEP * samples[*b].weight;
        let change = felt[*b].0 - felt[*a].0;
        total += weight * change.norm_squared();
        // One slope for both ends: they are an eighth of a cell apart.
        let slope = 0.5 * (felt[*a].1 + felt[*b].1);
        let mut weights: Vec<(usize, f64)> = samples[*b].weights.clone();
        for (node, w) in &samples[*a].weights {
            match weights.iter_mut().find(|(n, _)| n == node) {
                Some((_, sum)) => *sum -= w,
                None => weights.push((*node, -w)),
            }
        }
        let pull = slope.transpose() * change * weight;
        for (node, w) in &weights {
            right[*node] -= *w * pull;
        }
        normal.push(Part {
            weights,
            square: slope.transpose() * slope * weight,
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
