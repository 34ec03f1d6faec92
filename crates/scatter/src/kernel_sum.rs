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

use crate::Kernel;

/// Lanes of each sum: one AVX-512 register, or two of AVX2.
const LANES: usize = 8;

/// Centres per block: enough to be a loop for the compiler, few enough to waste little at the end.
const BLOCK: usize = 32;

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
        Kernel::Linear => sum_of::<FMA, Linear>(blocks, at),
        Kernel::ThinPlate => sum_of::<FMA, ThinPlate>(blocks, at),
        Kernel::Cubic => sum_of::<FMA, Cubic>(blocks, at),
    }
}

#[multiversion(targets("x86_64+avx512f+avx512dq+avx512vl+avx2+fma", "x86_64+avx2+fma"))]
fn sum_with_gradient(kernel: Kernel, blocks: &[Block], at: [f64; 3]) -> ([f64; 3], [[f64; 3]; 3]) {
    const FMA: bool = target_cfg_f!(target_feature = "fma");
    match kernel {
        Kernel::Linear => gradient_of::<FMA, Linear>(blocks, at),
        Kernel::ThinPlate => gradient_of::<FMA, ThinPlate>(blocks, at),
        Kernel::Cubic => gradient_of::<FMA, Cubic>(blocks, at),
    }
}

#[multiversion(targets("x86_64+avx512f+avx512dq+avx512vl+avx2+fma", "x86_64+avx2+fma"))]
fn column(kernel: Kernel, sites: &[[f64; 3]], at: [f64; 3], out: &mut [f64]) {
    const FMA: bool = target_cfg_f!(target_feature = "fma");
    match kernel {
        Kernel::Linear => column_of::<FMA, Linear>(sites, at, out),
        Kernel::ThinPlate => column_of::<FMA, ThinPlate>(sites, at, out),
        Kernel::Cubic => column_of::<FMA, Cubic>(sites, at, out),
    }
}

/// A kernel written in s = r²: without branches, finite for s = 0.
trait Radial {
    /// φ and ψ = φ′(r) / r, so that ∇φ = ψ · (x − c).
    fn radial<const FMA: bool>(s: f64) -> (f64, f64);
}

struct Linear;
impl Radial for Linear {
    #[inline(always)]
    fn radial<const FMA: bool>(s: f64) -> (f64, f64) {
        let r = s.sqrt();
        // The kink at the site itself counts as 0.
        (-r, if s > 0.0 { -1.0 / r } else { 0.0 })
    }
}

struct ThinPlate;
impl Radial for ThinPlate {
    #[inline(always)]
    fn radial<const FMA: bool>(s: f64) -> (f64, f64) {
        // r² ln r = ½ s ln s. The clamp keeps ln finite; s · ln s is then exactly 0 at s = 0.
        let log = ln::<FMA>(if s < f64::MIN_POSITIVE {
            f64::MIN_POSITIVE
        } else {
            s
        });
        (0.5 * s * log, log + 1.0)
    }
}

struct Cubic;
impl Radial for Cubic {
    #[inline(always)]
    fn radial<const FMA: bool>(s: f64) -> (f64, f64) {
        let r = s.sqrt();
        (s * r, 3.0 * r)
    }
}

/// a · b + c, fused only where the instruction exists: elsewhere it would be a library call.
#[inline(always)]
fn mul_add<const FMA: bool>(a: f64, b: f64, c: f64) -> f64 {
    if FMA { a.mul_add(b, c) } else { a * b + c }
}

/// Natural logarithm of a positive, normal number, to within 1 ulp; without branches or tables, so
/// that eight run at once.
///
/// Infinity gives a large finite number; the callers' products with s restore infinity.
///
/// # Source
/// Reduction to [√½, √2) and the coefficients of the remainder: `e_log.c` of FDLIBM 5.3 (Sun
/// Microsystems 1993, freely redistributable), quoted from memory; the error is measured in the test.
#[inline(always)]
fn ln<const FMA: bool>(x: f64) -> f64 {
    const LN2_HIGH: f64 = 6.931_471_803_691_238e-1;
    const LN2_LOW: f64 = 1.908_214_929_270_587_7e-10;
    const ODD: [f64; 4] = [
        6.666_666_666_666_735e-1,
        2.857_142_874_366_239e-1,
        1.818_357_216_161_805e-1,
        1.479_819_860_511_658_6e-1,
    ];
    const EVEN: [f64; 3] = [
        3.999_999_999_940_942e-1,
        2.222_219_843_214_978_4e-1,
        1.531_383_769_920_937_3e-1,
    ];
    const SQRT_HALF: u64 = 0x3FE6_A09E_667F_3BCD;
    const ONE: u64 = 0x3FF0_0000_0000_0000;
    // Offset so that the exponent of x / √½ is counted: m lands in [√½, √2).
    let shifted = x.to_bits().wrapping_add(ONE - SQRT_HALF);
    let m = f64::from_bits((shifted & 0x000F_FFFF_FFFF_FFFF).wrapping_add(SQRT_HALF));
    // Integer to float by the mantissa of 2⁵²: AVX2 has no conversion of 64-bit integers.
    let exponent = f64::from_bits((shifted >> 52) | 0x4330_0000_0000_0000)
        - (4_503_599_627_370_496.0 + 1023.0);
    let f = m - 1.0;
    let s = f / (2.0 + f);
    let z = s * s;
    let w = z * z;
    let even = w * mul_add::<FMA>(w, mul_add::<FMA>(w, EVEN[2], EVEN[1]), EVEN[0]);
    let odd = z * mul_add::<FMA>(
        w,
        mul_add::<FMA>(w, mul_add::<FMA>(w, ODD[3], ODD[2]), ODD[1]),
        ODD[0],
    );
    let half = 0.5 * f * f;
    let tail = mul_add::<FMA>(s, half + (even + odd), exponent * LN2_LOW);
    mul_add::<FMA>(exponent, LN2_HIGH, f - (half - tail))
}

#[inline(always)]
fn sum_of<const FMA: bool, R: Radial>(blocks: &[Block], at: [f64; 3]) -> [f64; 3] {
    let mut total = [[0.0; LANES]; 3];
    for block in blocks {
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
    total.map(reduce)
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

#[cfg(test)]
mod tests {
    use super::*;

    /// 1 ulp is at most 2.3e-16 relative; FDLIBM states an error below 1 ulp, doubled here for the
    /// different association of the sums and the reference's own error.
    const LN_RELATIVE: f64 = 4.5e-16;

    #[test]
    fn logarithm_agrees_with_the_standard_library() {
        let mut worst: f64 = 0.0;
        let mut check = |x: f64| {
            for got in [ln::<false>(x), ln::<true>(x)] {
                let expected = x.ln();
                let scale = if expected == 0.0 { 1.0 } else { expected.abs() };
                worst = worst.max((got - expected).abs() / scale);
            }
        };
        for i in 0..400_000 {
            check(f64::from(i).mul_add(3.7e-3, -708.0).exp()); // every binade of the normal range
            check(f64::from(i).mul_add(5e-6, 0.25)); // densely around 1
        }
        for x in [
            f64::MIN_POSITIVE,
            f64::MAX,
            1.0,
            0.5_f64.sqrt(),
            2.0_f64.sqrt(),
            1.0 - 1e-16,
            1.0 + 3e-16,
        ] {
            check(x);
        }
        assert!(worst < LN_RELATIVE, "worst relative error {worst:e}");
    }
}
