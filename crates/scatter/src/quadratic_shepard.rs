//! Inverse-distance blending of quadratics fitted around each site.

use nalgebra::{DMatrix, Matrix3, SMatrix};
use rayon::prelude::*;

use crate::neighbours::Neighbours;
use crate::sites::{diagonal, squared_distance};
use crate::{FitError, Interpolant, LeaveOneOut, Sites};

/// Sites a quadratic is fitted to, beside its own. Renka's choice in three dimensions, from memory.
const FITTED: usize = 17;

/// Sites within the radius in which a quadratic has weight. Renka's choice in three dimensions, from memory.
const BLENDED: usize = 32;

/// Squared distances that differ by less than this share are equal, so that rounding does not part the ties of a lattice.
const TIE: f64 = 1e-9;

/// A radius that takes in all sites reaches beyond the last by this share of its square. Renka's choice, from memory.
const BEYOND: f64 = 1.1;

/// Sites nearer than this share of the diagonal of the bounding box do not enter each other's quadratics: what they
/// disagree by would be taken for a slope. Our choice: well below an 8-bit step of a drive.
const SAME_PLACE: f64 = 1e-4;

/// Smallest ÷ largest singular value from which a neighbourhood determines its quadratic; below, it is widened. The value
/// of Renka's test of his triangular factor, from memory.
const DETERMINED: f64 = 1e-2;

/// Where even all sites do not, singular values below this share count as 0: the noise of a reading stays below 0.1 for
/// noise of 1e-5 and more. Our choice.
const UNDETERMINED: f64 = 1e-4;

/// Modified quadratic Shepard: s(x) = Σ wₖ Qₖ(x) ÷ Σ wₖ, wₖ = ((Rₖ − d)₊ / (Rₖ d))² with d = |x − xₖ|.
///
/// To choose for a map with slopes on many sites: local, without a system of all sites, interpolating. Qₖ passes through fₖ
/// and is fitted to 17 neighbours by least squares with the same kind of weights; Rₖ takes in 32 sites. s has continuous
/// first derivatives where the radii cover, and reproduces quadratics where the sites determine them.
///
/// Where 17 sites leave a quadratic open, as on a ramp, their number is doubled until they do not; where all sites do, it
/// has the least norm. Outside all radii wₖ = (Rₖ d / (d − Rₖ))², which joins on continuously. Never ill-posed; coincident
/// sites give their mean. Smoothing and variances have no meaning here and are ignored.
///
/// Cost: n searches and n small singular value decompositions to fit; a point n distances and some 32 quadratics.
///
/// # Source
/// Renka (1988), ACM TOMS 14(2), 139–148, algorithm 661, anew from the published definition (from memory).
pub struct QuadraticShepard {
    nodes: Vec<Node>,
}

/// Qₖ and where it counts.
#[derive(Clone, Debug)]
struct Node {
    at: [f64; 3],
    value: [f64; 3],
    /// For each output the coefficients of x, y, z, x², y², z², xy, xz, yz about the site.
    coefficients: [[f64; 9]; 3],
    /// Rₖ.
    radius: f64,
    /// Sites farther than this have no influence on the coefficients.
    reach: f64,
}

impl QuadraticShepard {
    /// Fits the quadratics.
    ///
    /// # Errors
    /// [`FitError::Length`], [`FitError::NotFinite`], [`FitError::TooFewSites`] without any site.
    pub fn fit(data: Sites<'_>) -> Result<Self, FitError> {
        data.check(1)?;
        let around = Around::new(data)?;
        let nodes = (0..data.len()).into_par_iter();
        Ok(Self {
            nodes: nodes.map(|k| around.node(k, None)).collect(),
        })
    }

    /// Each site predicted from all others: the quadratics it has a part in are fitted anew, some 20 to 60 for each site.
    /// What counts as the same place is taken from all sites.
    ///
    /// # Errors
    /// Those of [`QuadraticShepard::fit`]; two sites are needed.
    pub fn leave_one_out(
        data: Sites<'_>,
        smoothings: &[f64],
    ) -> Result<Vec<LeaveOneOut>, FitError> {
        data.check(2)?;
        let all = Self::fit(data)?;
        let around = Around::new(data)?;
        let residual: Vec<[f64; 3]> = (0..data.len())
            .into_par_iter()
            .map(|i| {
                let others = (0..data.len()).filter(|k| *k != i);
                let nodes = others.map(|k| {
                    let node = &all.nodes[k];
                    let distance = squared_distance(node.at, data.sites[i]).sqrt();
                    if distance <= node.reach {
                        return around.node(k, Some(i));
                    }
                    let mut node = node.clone();
                    if distance <= node.radius {
                        node.radius = around.ring(k, BLENDED, Some(i)).radius;
                    }
                    node
                });
                let without = Self {
                    nodes: nodes.collect(),
                };
                let predicted = without.eval(data.sites[i]);
                std::array::from_fn(|k| data.values[i][k] - predicted[k])
            })
            .collect();
        Ok(LeaveOneOut::for_any(smoothings, &residual))
    }
}

/// The sites, searched and fitted around each of them.
struct Around<'a> {
    data: Sites<'a>,
    tree: Neighbours,
    /// Squared distance up to which two sites are at the same place.
    same: f64,
}

/// The nearest sites at other places, and a radius beyond them.
struct Ring {
    /// Distance and index, nearest first.
    members: Vec<(f64, usize)>,
    radius: f64,
    /// Whether there is no other site.
    all: bool,
}

impl<'a> Around<'a> {
    fn new(data: Sites<'a>) -> Result<Self, FitError> {
        Ok(Self {
            data,
            tree: Neighbours::new(data.sites)?,
            same: (SAME_PLACE * diagonal(data.sites)).powi(2),
        })
    }

    /// The `count` nearest, those at the same distance as the last, and as radius the distance of the next.
    fn ring(&self, k: usize, count: usize, without: Option<usize>) -> Ring {
        let at = self.data.sites[k];
        let mut asked = count + 8;
        loop {
            let found = self.tree.nearest(at, asked, without);
            let exhausted = found.len() < asked;
            let squared = |i: usize| (squared_distance(at, self.data.sites[i]), i);
            let apart = found.into_iter().map(squared);
            let mut apart: Vec<(f64, usize)> = apart.filter(|near| near.0 > self.same).collect();
            let tied = |last: &(f64, usize)| last.0 * (1.0 + TIE);
            let edge = apart.get(count - 1).or(apart.last()).map_or(0.0, tied);
            let inside = apart.iter().take_while(|near| near.0 <= edge).count();
            let next = apart.get(inside).map(|near| near.0);
            if next.is_none() && !exhausted {
                asked *= 2;
                continue;
            }
            apart.truncate(inside);
            let last = apart.last().map_or(1.0, |near| near.0); // alone, any radius will do
            return Ring {
                members: apart.iter().map(|near| (near.0.sqrt(), near.1)).collect(),
                radius: next.unwrap_or(BEYOND * last).sqrt(),
                all: next.is_none(),
            };
        }
    }

    fn node(&self, k: usize, without: Option<usize>) -> Node {
        let blended = self.ring(k, BLENDED, without);
        let mut count = FITTED;
        loop {
            let ring = self.ring(k, count, without);
            if let Some(coefficients) = self.quadratic(k, &ring) {
                return Node {
                    at: self.data.sites[k],
                    value: self.data.values[k],
                    coefficients,
                    radius: blended.radius,
                    reach: ring.radius,
                };
            }
            count *= 2;
        }
    }

    /// Least squares with the weights ((R − d) / (R d))²; `None` where more sites may determine the quadratic better.
    fn quadratic(&self, k: usize, ring: &Ring) -> Option<[[f64; 9]; 3]> {
        let (n, at) = (ring.members.len(), self.data.sites[k]);
        let squares: f64 = ring.members.iter().map(|near| near.0 * near.0).sum();
        let scale = if n == 0 {
            1.0
        } else {
            (squares / n as f64).sqrt()
        };
        // Rows of zeros, so that there are at least 9 singular values.
        let (mut matrix, mut right) = (DMatrix::zeros(n.max(9), 9), DMatrix::zeros(n.max(9), 3));
        for (row, &(distance, i)) in ring.members.iter().enumerate() {
            let weight = scale * (ring.radius - distance) / (ring.radius * distance);
            let t = std::array::from_fn(|c| (self.data.sites[i][c] - at[c]) / scale);
            for (column, term) in terms(t).into_iter().enumerate() {
                matrix[(row, column)] = weight * term * UNIT[column];
            }
            for output in 0..3 {
                right[(row, output)] =
                    weight * (self.data.values[i][output] - self.data.values[k][output]);
            }
        }
        // The triangular factor has the singular values of the matrix at a size that does not grow.
        let factors = matrix.qr();
        factors.q_tr_mul(&mut right);
        let triangle = factors.r();
        let parts = SMatrix::<f64, 9, 9>::from_fn(|i, j| triangle[(i, j)]).svd(true, true);
        let (largest, least) = (parts.singular_values.max(), parts.singular_values.min());
        if !ring.all && least < DETERMINED * largest {
            return None;
        }
        let mut coefficients = [[0.0; 9]; 3];
        if let (Some(u), Some(v_t)) = (&parts.u, &parts.v_t) {
            for (output, coefficients) in coefficients.iter_mut().enumerate() {
                let right = right.fixed_view::<9, 1>(0, output);
                for (j, &sigma) in parts.singular_values.iter().enumerate() {
                    if sigma <= UNDETERMINED * largest {
                        continue;
                    }
                    let part = u.column(j).dot(&right) / sigma;
                    for (column, unit) in UNIT.iter().enumerate() {
                        let power = if column < 3 { scale } else { scale * scale };
                        coefficients[column] += part * v_t[(j, column)] * unit / power;
                    }
                }
            }
        }
        Some(coefficients)
    }
}

fn terms([x, y, z]: [f64; 3]) -> [f64; 9] {
    [x, y, z, x * x, y * y, z * z, x * y, x * z, y * z]
}

/// √2 at the mixed terms: then the norm of the coefficients, and so the least one, does not depend on the axes.
const UNIT: [f64; 9] = {
    let root = std::f64::consts::SQRT_2;
    [1.0, 1.0, 1.0, 1.0, 1.0, 1.0, root, root, root]
};

impl Node {
    fn value(&self, at: [f64; 3]) -> [f64; 3] {
        let terms = terms(std::array::from_fn(|c| at[c] - self.at[c]));
        std::array::from_fn(|k| {
            let sum = |sum, (c, t): (&f64, &f64)| sum + c * t;
            self.coefficients[k]
                .iter()
                .zip(&terms)
                .fold(self.value[k], sum)
        })
    }

    fn gradient(&self, output: usize, at: [f64; 3]) -> [f64; 3] {
        let [x, y, z]: [f64; 3] = std::array::from_fn(|c| at[c] - self.at[c]);
        let c = &self.coefficients[output];
        [
            c[0] + 2.0 * c[3] * x + c[6] * y + c[7] * z,
            c[1] + 2.0 * c[4] * y + c[6] * x + c[8] * z,
            c[2] + 2.0 * c[5] * z + c[7] * x + c[8] * y,
        ]
    }
}

/// A quadratic's part at a point.
struct Part<'a> {
    node: &'a Node,
    /// wₖ relative to the largest, so that none overflows.
    weight: f64,
    distance: f64,
    /// Its value less that of the quadratic of the largest weight, so that nothing cancels beside a site.
    excess: [f64; 3],
}

struct Blend<'a> {
    value: [f64; 3],
    /// s less the value of the quadratic of the largest weight.
    offset: [f64; 3],
    parts: Vec<Part<'a>>,
    weight: f64,
}

impl QuadraticShepard {
    fn blend(&self, at: [f64; 3]) -> Blend<'_> {
        let distances = || {
            let distance = |node: &Node| squared_distance(at, node.at).sqrt();
            self.nodes.iter().map(move |node| (node, distance(node)))
        };
        // 1 / √wₖ.
        let inside = |(node, d): (&Node, f64)| node.radius * d / (node.radius - d);
        let outside = |(node, d): (&Node, f64)| (d - node.radius) / (node.radius * d);
        let covering = distances().filter(|(node, d)| *d < node.radius);
        let mut parts: Vec<(&Node, f64, f64)> = covering
            .map(|(node, d)| (node, d, inside((node, d))))
            .collect();
        if parts.is_empty() {
            parts = distances()
                .map(|(node, d)| (node, d, outside((node, d))))
                .collect();
        }
        let (mut least, mut main) = (f64::INFINITY, [f64::NAN; 3]);
        for (node, _, root) in &parts {
            if *root < least {
                (least, main) = (*root, node.value(at));
            }
        }
        let (mut weight, mut offset) = (0.0, [0.0; 3]);
        let parts: Vec<Part<'_>> = parts
            .into_iter()
            .map(|(node, distance, root)| {
                let value = node.value(at);
                let part = Part {
                    node,
                    // 0 / 0 = 1: at a site the coincident ones share the weight.
                    weight: if root == 0.0 {
                        1.0
                    } else {
                        (least / root).powi(2)
                    },
                    distance,
                    excess: std::array::from_fn(|k| value[k] - main[k]),
                };
                weight += part.weight;
                for (sum, excess) in offset.iter_mut().zip(part.excess) {
                    *sum += part.weight * excess;
                }
                part
            })
            .collect();
        let offset = offset.map(|sum| sum / weight);
        Blend {
            value: std::array::from_fn(|k| main[k] + offset[k]),
            offset,
            parts,
            weight,
        }
    }
}

impl Interpolant for QuadraticShepard {
    fn eval(&self, at: [f64; 3]) -> [f64; 3] {
        self.blend(at).value
    }

    fn eval_with_gradient(&self, at: [f64; 3]) -> ([f64; 3], Matrix3<f64>) {
        let blend = self.blend(at);
        let mut jacobian = Matrix3::zeros();
        for part in &blend.parts {
            let (d, radius) = (part.distance, part.node.radius);
            // ∇ln w = −2 R / (d |R − d|) (x − xₖ) / d, inside and outside; at d = 0 and d = R its product with w or with
            // the difference of the values vanishes.
            let gap = (radius - d).abs();
            let fall = if d > 0.0 && gap > 0.0 {
                -2.0 * radius / (d * gap) / d
            } else {
                0.0
            };
            for output in 0..3 {
                let gradient = part.node.gradient(output, at);
                let pull = fall * (part.excess[output] - blend.offset[output]);
                for input in 0..3 {
                    let step = at[input] - part.node.at[input];
                    jacobian[(output, input)] +=
                        part.weight * (gradient[input] + pull * step) / blend.weight;
                }
            }
        }
        (blend.value, jacobian)
    }
}
