//! The kernels as functions of the squared distance, written so that eight run at once.

/// A kernel written in s = r²: without branches, finite for s = 0.
pub(crate) trait Radial {
    /// φ and ψ = φ′(r) / r, so that ∇φ = ψ · (x − c).
    fn radial<const FMA: bool>(s: f64) -> (f64, f64);
}

pub(crate) struct Linear;
impl Radial for Linear {
    #[inline(always)]
    fn radial<const FMA: bool>(s: f64) -> (f64, f64) {
        let r = s.sqrt();
        // The kink at the site itself counts as 0.
        (-r, if s > 0.0 { -1.0 / r } else { 0.0 })
    }
}

pub(crate) struct ThinPlate;
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

pub(crate) struct Cubic;
impl Radial for Cubic {
    #[inline(always)]
    fn radial<const FMA: bool>(s: f64) -> (f64, f64) {
        let r = s.sqrt();
        (s * r, 3.0 * r)
    }
}

pub(crate) struct Quintic;
impl Radial for Quintic {
    #[inline(always)]
    fn radial<const FMA: bool>(s: f64) -> (f64, f64) {
        let cube = s * s.sqrt();
        (-(s * cube), -5.0 * cube)
    }
}

pub(crate) struct Multiquadric;
impl Radial for Multiquadric {
    #[inline(always)]
    fn radial<const FMA: bool>(s: f64) -> (f64, f64) {
        let root = (1.0 + s).sqrt();
        (-root, -1.0 / root)
    }
}

pub(crate) struct InverseMultiquadric;
impl Radial for InverseMultiquadric {
    #[inline(always)]
    fn radial<const FMA: bool>(s: f64) -> (f64, f64) {
        let inverse = 1.0 / (1.0 + s).sqrt();
        (inverse, -(inverse * inverse * inverse))
    }
}

pub(crate) struct Gaussian;
impl Radial for Gaussian {
    #[inline(always)]
    fn radial<const FMA: bool>(s: f64) -> (f64, f64) {
        let value = exp::<FMA>(-s);
        (value, -2.0 * value)
    }
}

pub(crate) struct WendlandC2;
impl Radial for WendlandC2 {
    #[inline(always)]
    fn radial<const FMA: bool>(s: f64) -> (f64, f64) {
        let r = s.sqrt();
        let rest = positive(1.0 - r);
        let cube = rest * rest * rest;
        (cube * rest * (4.0 * r + 1.0), -20.0 * cube)
    }
}

pub(crate) struct WendlandC4;
impl Radial for WendlandC4 {
    #[inline(always)]
    fn radial<const FMA: bool>(s: f64) -> (f64, f64) {
        let r = s.sqrt();
        let rest = positive(1.0 - r);
        let square = rest * rest;
        let fifth = square * square * rest;
        let value = fifth * rest * (35.0 * s + 18.0 * r + 3.0) / 3.0;
        (value, -56.0 / 3.0 * fifth * (5.0 * r + 1.0))
    }
}

pub(crate) struct Matern32;
impl Radial for Matern32 {
    #[inline(always)]
    fn radial<const FMA: bool>(s: f64) -> (f64, f64) {
        let u = (3.0 * s).sqrt();
        let decay = exp::<FMA>(-u);
        ((1.0 + u) * decay, -3.0 * decay)
    }
}

pub(crate) struct Matern52;
impl Radial for Matern52 {
    #[inline(always)]
    fn radial<const FMA: bool>(s: f64) -> (f64, f64) {
        let u = (5.0 * s).sqrt();
        let decay = exp::<FMA>(-u);
        (
            (1.0 + u + u * u / 3.0) * decay,
            -5.0 / 3.0 * (1.0 + u) * decay,
        )
    }
}

/// max(0, x) as a selection, which vectorises.
#[inline(always)]
fn positive(x: f64) -> f64 {
    if x > 0.0 { x } else { 0.0 }
}

/// a · b + c, fused only where the instruction exists: elsewhere it would be a library call.
#[inline(always)]
pub(crate) fn mul_add<const FMA: bool>(a: f64, b: f64, c: f64) -> f64 {
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

/// e^x for x ≤ 0, to within a few ulp; without branches or tables, so that eight run at once.
///
/// Below −708 it stays at e^−708 ≈ 3e−308, which sums of ordinary weights do not feel; NaN gives NaN.
///
/// # Source
/// x = k ln 2 + f with |f| ≤ ½ ln 2, and the Taylor series of e^f, whose first term left out is below 4e−18
/// (arithmetic of this page; the error is measured in the test).
#[inline(always)]
fn exp<const FMA: bool>(x: f64) -> f64 {
    const LN2_HIGH: f64 = 6.931_471_803_691_238e-1;
    const LN2_LOW: f64 = 1.908_214_929_270_587_7e-10;
    /// 1½ · 2⁵²: adding it rounds to an integer that stands in the low bits.
    const ROUND: f64 = 6_755_399_441_055_744.0;
    /// 1/j! for j = 13 down to 0.
    const TAYLOR: [f64; 14] = {
        let mut series = [1.0; 14];
        let mut j = 1;
        while j < 14 {
            let mut factorial = 1.0;
            let mut k = 2;
            while k <= j {
                factorial *= k as f64;
                k += 1;
            }
            series[13 - j] = 1.0 / factorial;
            j += 1;
        }
        series
    };
    let clamped = if x < -708.0 { -708.0 } else { x };
    let shifted = mul_add::<FMA>(clamped, std::f64::consts::LOG2_E, ROUND);
    let k = shifted - ROUND;
    let f = mul_add::<FMA>(k, -LN2_LOW, mul_add::<FMA>(k, -LN2_HIGH, clamped));
    let mut sum = TAYLOR[0];
    for term in &TAYLOR[1..] {
        sum = mul_add::<FMA>(sum, f, *term);
    }
    // The low bits of `shifted` are k in two's complement; shifted left they are added to the exponent.
    f64::from_bits(sum.to_bits().wrapping_add(shifted.to_bits() << 52))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 1 ulp is at most 2.3e-16 relative; FDLIBM states an error below 1 ulp, doubled here for the
    /// different association of the sums and the reference's own error.
    const LN_RELATIVE: f64 = 4.5e-16;

    /// A few roundings of 1.1e-16 each in the reduction and the last steps of Horner's scheme.
    const EXP_RELATIVE: f64 = 6e-16;

    #[test]
    fn exponential_agrees_with_the_standard_library() {
        let mut worst: f64 = 0.0;
        for i in 0..=708_000 {
            let x = -f64::from(i) * 1e-3;
            for got in [exp::<false>(x), exp::<true>(x)] {
                worst = worst.max((got / x.exp() - 1.0).abs());
            }
        }
        assert!(worst < EXP_RELATIVE, "worst relative error {worst:e}");
        assert_eq!(exp::<true>(0.0), 1.0);
        assert!(exp::<true>(f64::NEG_INFINITY) < 1e-300 && exp::<true>(f64::NAN).is_nan());
    }

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
