/// Percentile by linear interpolation between order statistics (type 7 of Hyndman & Fan 1996, *Sample
/// quantiles in statistical packages*, The American Statistician 50(4)); `None` without values.
///
/// Linear in time: two selections, no sort. Reorders `values`.
pub(crate) fn percentile(values: &mut [f64], percent: f64) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let rank = percent / 100.0 * (values.len() - 1) as f64;
    let below = (rank.floor() as usize).min(values.len() - 1);
    let (_, low, above) = values.select_nth_unstable_by(below, f64::total_cmp);
    let low = *low;
    let next = above.iter().copied().min_by(f64::total_cmp).unwrap_or(low);
    Some(low + (rank - below as f64) * (next - low))
}

/// Root of the mean square; `None` without values.
pub(crate) fn root_mean_square(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (sum, count) = values.fold((0.0, 0_usize), |(s, n), v| (s + v * v, n + 1));
    (count > 0).then(|| (sum / count as f64).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn percentiles_interpolate_between_order_statistics() {
        // Type 7 of 1..=5: rank 0.95·4 = 3.8, hence 4.8.
        let mut values = [5.0, 1.0, 4.0, 2.0, 3.0];
        assert!((percentile(&mut values, 95.0).unwrap() - 4.8).abs() < 1e-12);
        assert_eq!(percentile(&mut values, 0.0), Some(1.0));
        assert_eq!(percentile(&mut values, 100.0), Some(5.0));
        assert_eq!(percentile(&mut [], 50.0), None);
    }

    #[test]
    fn root_mean_square_of_three_and_four() {
        let got = root_mean_square([3.0, 4.0].into_iter()).unwrap();
        assert!((got - 12.5_f64.sqrt()).abs() < 1e-15);
        assert_eq!(root_mean_square(std::iter::empty()), None);
    }
}
