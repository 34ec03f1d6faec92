//! Sums of kernels over all centres: the hot loop of every radial interpolant.
//!
//! Centres are stored in blocks. A first loop over a block writes the kernels to a buffer, and a
//! second one adds them up in eight fixed lanes: written in one loop, the compiler keeps the lanes
//! as scalars and runs out of registers for the twelve sums with gradient.
//! One source serves every instruction set: the two entry points are compiled once per target and
//! picked at run time, and everything they call is inlined into them.

#![expect(
    clippy::needless_range_loop,
    reason = "loops over lanes and axes read several arrays at one index"
)]

use multiversion::{multiversion, target::target_cfg_f};
use rayon::prelude::*;

use crate::Kernel;
use crate::interpolant::CHUNK;
use crate::radial::{self, Radial, mul_add};

/// Lanes of each sum: one AVX-512 register, or two of AVX2.
const LANES: usize = 8;

/// Centres per block: enough to be a loop for the compiler, few enough to waste little at the end.
const BLOCK: usize = 32;

/// Points that share the reading of a block.
const GROUP: usize = 4;

type Lane = [f64; LANES];
type Run = [f64; BLOCK];

/// Some centres and the weights of their three outputs.
#[derive(Clone, Debug)]
struct Block {
    centre: [Run; 3],
    weight: [Run; 3],
}

/// Centres with weights, ready for summation.
#[derive(Clone, Debug)]
pub(crate) struct Centres {
    kernel: Kernel,
    blocks: Vec<Block>,
}

impl Centres {
    /// Packs centres; the last block is filled up with weights of 0.
    pub(crate) fn new(kernel: Kernel, sites: &[[f64; 3]], weights: &[[f64; 3]]) -> Self {
        let pack = |triples: &[[f64; 3]], filler: [f64; 3]| {
            std::array::from_fn(|c| {
                std::array::from_fn(|lane| triples.get(lane).map_or(filler[c], |t| t[c]))
            })
        };
        let blocks = sites
            .chunks(BLOCK)
            .zip(weights.chunks(BLOCK))
            .map(|(at, weight)| Block {
                centre: pack(at, at[0]),
                weight: pack(weight, [0.0; 3]),
            })
            .collect();
        Self { kernel, blocks }
    }

    /// Σ wᵢ φ(|x − cᵢ|) for the three outputs.
    pub(crate) fn sum(&self, at: [f64; 3]) -> [f64; 3] {
        sum(self.kernel, &self.blocks, at)
    }

    /// The same at ε times each of many points, with the bits that [`Centres::sum`] gives, in parallel: a block of
    /// centres is read once for all points of a group.
    pub(crate) fn sum_into(&self, shape: f64, at: &[[f64; 3]], out: &mut [[f64; 3]]) {
        assert_eq!(at.len(), out.len(), "one output for each point");
        at.par_chunks(CHUNK)
            .zip(out.par_chunks_mut(CHUNK))
            .for_each(|(at, out)| {
                for (at, out) in at.chunks(GROUP).zip(out.chunks_mut(GROUP)) {
                    let scaled = |i: usize| at.get(i).unwrap_or(&at[0]).map(|v| v * shape);
                    let group: [[f64; 3]; GROUP] = std::array::from_fn(scaled);
                    let sums = sum_group(self.kernel, &self.blocks, &group);
                    out.copy_from_slice(&sums[..at.len()]);
                }
            });
    }

    /// The same and its derivatives `[output][input]`.
    pub(crate) fn sum_with_gradient(&self, at: [f64; 3]) -> ([f64; 3], [[f64; 3]; 3]) {
        sum_with_gradient(self.kernel, &self.blocks, at)
    }
}

/// φ(|x − sᵢ|) for every site: one column of the kernel matrix, with the arithmetic of the sums.
pub(crate) fn kernel_column(kernel: Kernel, sites: &[[f64; 3]], at: [f64; 3], out: &mut [f64]) {
    column(kernel, sites, at, out);
}

#[multiversion(targets("x86_64+avx512f+avx512dq+avx512vl+avx2+fma", "x86_64+avx2+fma"))]
fn sum(kernel: Kernel, blocks: &[Block], at: [f64; 3]) -> [f64; 3] {
    const FMA: bool = target_cfg_f!(target_feature = "fma");
    match kernel {
        Kernel::Linear => sum_of::<FMA, radial::Linear>(blocks, at),
        Kernel::ThinPlate => sum_of::<FMA, radial::ThinPlate>(blocks, at),
        Kernel::Cubic => sum_of::<FMA, radial::Cubic>(blocks, at),
        Kernel::Quintic => sum_of::<FMA, radial::Quintic>(blocks, at),
        Kernel::Multiquadric => sum_of::<FMA, radial::Multiquadric>(blocks, at),
        Kernel::InverseMultiquadric => sum_of::<FMA, radial::InverseMultiquadric>(blocks, at),
        Kernel::Gaussian => sum_of::<FMA, radial::Gaussian>(blocks, at),
        Kernel::WendlandC2 => sum_of::<FMA, radial::WendlandC2>(blocks, at),
        Kernel::WendlandC4 => sum_of::<FMA, radial::WendlandC4>(blocks, at),
        Kernel::Matern32 => sum_of::<FMA, radial::Matern32>(blocks, at),
        Kernel::Matern52 => sum_of::<FMA, radial::Matern52>(blocks, at),
    }
}

#[multiversion(targets("x86_64+avx512f+avx512dq+avx512vl+avx2+fma", "x86_64+avx2+fma"))]
fn sum_group(kernel: Kernel, blocks: &[Block], at: &[[f64; 3]; GROUP]) -> [[f64; 3]; GROUP] {
    const FMA: bool = target_cfg_f!(target_feature = "fma");
    match kernel {
        Kernel::Linear => group_of::<FMA, radial::Linear>(blocks, at),
        Kernel::ThinPlate => group_of::<FMA, radial::ThinPlate>(blocks, at),
        Kernel::Cubic => group_of::<FMA, radial::Cubic>(blocks, at),
        Kernel::Quintic => group_of::<FMA, radial::Quintic>(blocks, at),
        Kernel::Multiquadric => group_of::<FMA, radial::Multiquadric>(blocks, at),
        Kernel::InverseMultiquadric => group_of::<FMA, radial::InverseMultiquadric>(blocks, at),
        Kernel::Gaussian => group_of::<FMA, radial::Gaussian>(blocks, at),
        Kernel::WendlandC2 => group_of::<FMA, radial::WendlandC2>(blocks, at),
        Kernel::WendlandC4 => group_of::<FMA, radial::WendlandC4>(blocks, at),
        Kernel::Matern32 => group_of::<FMA, radial::Matern32>(blocks, at),
        Kernel::Matern52 => group_of::<FMA, radial::Matern52>(blocks, at),
    }
}

#[multiversion(targets("x86_64+avx512f+avx512dq+avx512vl+avx2+fma", "x86_64+avx2+fma"))]
fn sum_with_gradient(kernel: Kernel, blocks: &[Block], at: [f64; 3]) -> ([f64; 3], [[f64; 3]; 3]) {
    const FMA: bool = target_cfg_f!(target_feature = "fma");
    match kernel {
        Kernel::Linear => gradient_of::<FMA, radial::Linear>(blocks, at),
        Kernel::ThinPlate => gradient_of::<FMA, radial::ThinPlate>(blocks, at),
        Kernel::Cubic => gradient_of::<FMA, radial::Cubic>(blocks, at),
        Kernel::Quintic => gradient_of::<FMA, radial::Quintic>(blocks, at),
        Kernel::Multiquadric => gradient_of::<FMA, radial::Multiquadric>(blocks, at),
        Kernel::InverseMultiquadric => gradient_of::<FMA, radial::InverseMultiquadric>(blocks, at),
        Kernel::Gaussian => gradient_of::<FMA, radial::Gaussian>(blocks, at),
        Kernel::WendlandC2 => gradient_of::<FMA, radial::WendlandC2>(blocks, at),
        Kernel::WendlandC4 => gradient_of::<FMA, radial::WendlandC4>(blocks, at),
        Kernel::Matern32 => gradient_of::<FMA, radial::Matern32>(blocks, at),
        Kernel::Matern52 => gradient_of::<FMA, radial::Matern52>(blocks, at),
    }
}

#[multiversion(targets("x86_64+avx512f+avx512dq+avx512vl+avx2+fma", "x86_64+avx2+fma"))]
fn column(kernel: Kernel, sites: &[[f64; 3]], at: [f64; 3], out: &mut [f64]) {
    const FMA: bool = target_cfg_f!(target_feature = "fma");
    match kernel {
        Kernel::Linear => column_of::<FMA, radial::Linear>(sites, at, out),
        Kernel::ThinPlate => column_of::<FMA, radial::ThinPlate>(sites, at, out),
        Kernel::Cubic => column_of::<FMA, radial::Cubic>(sites, at, out),
        Kernel::Quintic => column_of::<FMA, radial::Quintic>(sites, at, out),
        Kernel::Multiquadric => column_of::<FMA, radial::Multiquadric>(sites, at, out),
        Kernel::InverseMultiquadric => {
            column_of::<FMA, radial::InverseMultiquadric>(sites, at, out)
        }
        Kernel::Gaussian => column_of::<FMA, radial::Gaussian>(sites, at, out),
        Kernel::WendlandC2 => column_of::<FMA, radial::WendlandC2>(sites, at, out),
        Kernel::WendlandC4 => column_of::<FMA, radial::WendlandC4>(sites, at, out),
        Kernel::Matern32 => column_of::<FMA, radial::Matern32>(sites, at, out),
        Kernel::Matern52 => column_of::<FMA, radial::Matern52>(sites, at, out),
    }
}

#[inline(always)]
fn sum_of<const FMA: bool, R: Radial>(blocks: &[Block], at: [f64; 3]) -> [f64; 3] {
    let mut total = [[0.0; LANES]; 3];
    for block in blocks {
        add_block::<FMA, R>(block, at, &mut total);
    }
    total.map(reduce)
}

#[inline(always)]
fn add_block<const FMA: bool, R: Radial>(block: &Block, at: [f64; 3], total: &mut [Lane; 3]) {
    let mut phi = [0.0; BLOCK];
    for i in 0..BLOCK {
        let d: [f64; 3] = std::array::from_fn(|c| at[c] - block.centre[c][i]);
        let s = mul_add::<FMA>(d[2], d[2], mul_add::<FMA>(d[1], d[1], d[0] * d[0]));
        phi[i] = R::radial::<FMA>(s).0;
    }
    for (total, weight) in total.iter_mut().zip(&block.weight) {
        accumulate::<FMA>(total, weight, &phi);
    }
}

#[inline(always)]
fn group_of<const FMA: bool, R: Radial>(
    blocks: &[Block],
    at: &[[f64; 3]; GROUP],
) -> [[f64; 3]; GROUP] {
    let mut total = [[[0.0; LANES]; 3]; GROUP];
    for block in blocks {
        for (at, total) in at.iter().zip(&mut total) {
            add_block::<FMA, R>(block, *at, total);
        }
    }
    total.map(|point| point.map(reduce))
}

#[inline(always)]
fn gradient_of<const FMA: bool, R: Radial>(
    blocks: &[Block],
    at: [f64; 3],
) -> ([f64; 3], [[f64; 3]; 3]) {
    let mut total = [[0.0; LANES]; 3];
    let mut slope = [[[0.0; LANES]; 3]; 3];
    for block in blocks {
        let (mut phi, mut psi, mut away) = ([0.0; BLOCK], [0.0; BLOCK], [[0.0; BLOCK]; 3]);
        for i in 0..BLOCK {
            let d: [f64; 3] = std::array::from_fn(|c| at[c] - block.centre[c][i]);
            let s = mul_add::<FMA>(d[2], d[2], mul_add::<FMA>(d[1], d[1], d[0] * d[0]));
            (phi[i], psi[i]) = R::radial::<FMA>(s);
            (away[0][i], away[1][i], away[2][i]) = (d[0], d[1], d[2]);
        }
        for output in 0..3 {
            let weight = &block.weight[output];
            accumulate::<FMA>(&mut total[output], weight, &phi);
            let mut pull = [0.0; BLOCK];
            for i in 0..BLOCK {
                pull[i] = weight[i] * psi[i];
            }
            for input in 0..3 {
                accumulate::<FMA>(&mut slope[output][input], &pull, &away[input]);
            }
        }
    }
    (total.map(reduce), slope.map(|row| row.map(reduce)))
}

/// total += a · b, centre i in lane i mod 8.
#[inline(always)]
fn accumulate<const FMA: bool>(total: &mut Lane, a: &Run, b: &Run) {
    for start in (0..BLOCK).step_by(LANES) {
        for lane in 0..LANES {
            total[lane] = mul_add::<FMA>(a[start + lane], b[start + lane], total[lane]);
        }
    }
}

#[inline(always)]
fn column_of<const FMA: bool, R: Radial>(sites: &[[f64; 3]], at: [f64; 3], out: &mut [f64]) {
    for (site, out) in sites.iter().zip(out) {
        let d: [f64; 3] = std::array::from_fn(|c| at[c] - site[c]);
        let s = mul_add::<FMA>(d[2], d[2], mul_add::<FMA>(d[1], d[1], d[0] * d[0]));
        *out = R::radial::<FMA>(s).0;
    }
}

/// Adds the lanes in a fixed order.
#[inline(always)]
fn reduce(lane: Lane) -> f64 {
    ((lane[0] + lane[4]) + (lane[2] + lane[6])) + ((lane[1] + lane[5]) + (lane[3] + lane[7]))
}
