/// The non-decreasing sequence nearest to `values` in weighted least squares, by pooling adjacent violators.
///
/// `weights` are positive and as many as `values`.
///
/// # Source
/// Barlow, Bartholomew, Bremner & Brunk (1972), *Statistical Inference under Order Restrictions*, chapter 1 (from memory).
pub(crate) fn isotonic(values: &[f64], weights: &[f64]) -> Vec<f64> {
    // Pools of mean, weight and length, rising.
    let mut pools: Vec<(f64, f64, usize)> = Vec::with_capacity(values.len());
    for (&value, &weight) in values.iter().zip(weights) {
        let mut pool = (value, weight, 1);
        while let Some(&(mean, w, length)) = pools.last() {
            if mean <= pool.0 {
                break;
            }
            pools.pop();
            let total = w + pool.1;
            pool = ((mean * w + pool.0 * pool.1) / total, total, length + pool.2);
        }
        pools.push(pool);
    }
    pools
        .into_iter()
        .flat_map(|(mean, _, length)| std::iter::repeat_n(mean, length))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// It rises, keeps the weighted mean, and leaves alone what rises already.
        #[test]
        fn rises_and_keeps_the_mean(values in prop::collection::vec(-1.0..1.0_f64, 1..40)) {
            let weights: Vec<f64> = (0..values.len()).map(|i| 1.0 + (i % 3) as f64).collect();
            let out = isotonic(&values, &weights);
            prop_assert!(out.windows(2).all(|w| w[0] <= w[1]));
            let mean = |v: &[f64]| v.iter().zip(&weights).map(|(v, w)| v * w).sum::<f64>();
            // Rounding of forty sums.
            prop_assert!((mean(&out) - mean(&values)).abs() < 1e-12);
            prop_assert_eq!(isotonic(&out, &weights), out);
        }
    }
}
