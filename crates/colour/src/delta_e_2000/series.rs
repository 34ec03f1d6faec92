//! Power series of the few functions that CIEDE2000 needs, without a branch or a table, so that a loop over pairs becomes
//! vector instructions on every processor and gives the same bits on each.

/// 1.5·2⁵²: added to a number of magnitude below 2⁵¹ it leaves the nearest whole number in the last bits.
const WHOLE: f64 = 6_755_399_441_055_744.0;
/// Bias of the exponent of an `f64`, and where the exponent stands.
const BIAS: u64 = 1023;
const EXPONENT: u32 = 52;

/// Terms of 2^x for |x| ≤ 1/2: the first left out is (ln 2 / 2)¹⁴/14! = 4e-18.
const POWER_TERMS: usize = 14;
/// Terms of sin x for |x| ≤ π/3: the first left out is (π/3)¹⁹/19! = 2e-17.
const SINE_TERMS: usize = 9;
/// Terms of arcsin² √y, see [`squared_arcsine`].
const ARCSINE_TERMS: usize = 12;

/// (ln 2)ⁿ/n!.
const POWER: [f64; POWER_TERMS] = {
    let mut terms = [1.0; POWER_TERMS];
    let mut n = 1;
    while n < POWER_TERMS {
        terms[n] = terms[n - 1] * std::f64::consts::LN_2 / n as f64;
        n += 1;
    }
    terms
};

/// (−1)ⁿ/(2n + 1)!.
const SINE: [f64; SINE_TERMS] = {
    let mut terms = [1.0; SINE_TERMS];
    let mut n = 1;
    while n < SINE_TERMS {
        terms[n] = -terms[n - 1] / (2 * n * (2 * n + 1)) as f64;
        n += 1;
    }
    terms
};

/// 2²ⁿ⁻¹/(n² C(2n, n)) for n from 1: each is 2n²/((n + 1)(2n + 1)) of the one before.
const ARCSINE: [f64; ARCSINE_TERMS] = {
    let mut terms = [1.0; ARCSINE_TERMS];
    let mut n = 1;
    while n < ARCSINE_TERMS {
        terms[n] = terms[n - 1] * (2 * n * n) as f64 / ((n + 1) * (2 * n + 1)) as f64;
        n += 1;
    }
    terms
};

#[inline(always)]
fn horner<const N: usize>(terms: &[f64; N], x: f64) -> f64 {
    let mut sum = terms[N - 1];
    let mut n = N - 1;
    while n > 0 {
        n -= 1;
        sum = sum * x + terms[n];
    }
    sum
}

/// 2^x for x from −1000 to 0.
#[inline(always)]
pub(super) fn power_of_two(x: f64) -> f64 {
    let shifted = x + WHOLE;
    let rest = x - (shifted - WHOLE);
    let whole = f64::from_bits(shifted.to_bits().wrapping_add(BIAS) << EXPONENT);
    horner(&POWER, rest) * whole
}

/// sin x for |x| ≤ π/3.
#[inline(always)]
pub(super) fn sine(x: f64) -> f64 {
    horner(&SINE, x * x) * x
}

/// arcsin² √y for y from 0 to 1/2: to the last bits below 0.05, to 2e-10 at 0.2, to 1e-5 at 1/2. The one use of it is the
/// exponent of a bell that has fallen to 2 % at 0.05, to 1e-8 at 0.2 and to 1e-23 at 1/2.
///
/// # Source
/// The series of arcsin², from memory; a test holds it against the function.
#[inline(always)]
pub(super) fn squared_arcsine(y: f64) -> f64 {
    horner(&ARCSINE, y) * y
}

#[cfg(test)]
mod tests {
    use super::*;

    const ROUNDOFF: f64 = 4e-16; // a few roundings of numbers about 1

    #[test]
    fn they_are_the_functions() {
        for i in 0..=4000 {
            let share = f64::from(i) / 4000.0;
            let x = -75.0 * share;
            assert!((power_of_two(x) / x.exp2() - 1.0).abs() < ROUNDOFF, "{x}");
            let x = std::f64::consts::FRAC_PI_3 * share;
            assert!((sine(x) - x.sin()).abs() < ROUNDOFF, "{x}");
            for (end, close) in [(0.05, ROUNDOFF), (0.2, 2e-10), (0.5, 1e-5)] {
                let (y, known) = (end * share, (end * share).sqrt().asin().powi(2));
                assert!((squared_arcsine(y) - known).abs() < close, "{y}");
            }
        }
    }
}
