/// Share of the whole signal that the moving mean spans (method: "moving mean over 1/16 of the signal").
const WINDOW_SHARE: f64 = 1.0 / 16.0;

/// Half-width, in codes, of the moving mean for a signal of `span` codes from black to white; at least 1.
pub(crate) fn half_width(span: u32) -> usize {
    ((f64::from(span) * WINDOW_SHARE / 2.0).round() as usize).max(1)
}

/// Centred moving mean whose window shrinks towards the ends, so that it stays centred.
///
/// Straight lines and both end values are reproduced. Linear in time: running sums, which lose about
/// n · 1e-16 of the largest value.
pub(crate) fn moving_mean<const C: usize>(values: &[[f64; C]], half: usize) -> Vec<[f64; C]> {
    let mut sums = Vec::with_capacity(values.len() + 1);
    let mut sum = [0.0; C];
    sums.push(sum);
    for value in values {
        for c in 0..C {
            sum[c] += value[c];
        }
        sums.push(sum);
    }
    (0..values.len())
        .map(|i| {
            let reach = half.min(i).min(values.len() - 1 - i);
            if reach == 0 {
                return values[i];
            }
            let (low, high) = (&sums[i - reach], &sums[i + reach + 1]);
            std::array::from_fn(|c| (high[c] - low[c]) / (2 * reach + 1) as f64)
        })
        .collect()
}

/// The monotone sequence nearest in least squares, rising or falling as the end values do (pool adjacent
/// violators: Ayer, Brunk, Ewing, Reid & Silverman 1955). Linear in time.
pub(crate) fn monotone(values: &[f64]) -> Vec<f64> {
    let falls = matches!((values.first(), values.last()), (Some(a), Some(b)) if b < a);
    let sign = if falls { -1.0 } else { 1.0 };
    let mut pools: Vec<(f64, usize)> = Vec::with_capacity(values.len());
    for value in values {
        let (mut mean, mut count) = (sign * value, 1);
        while let Some(&(before, size)) = pools.last() {
            if before <= mean {
                break;
            }
            mean = (mean * count as f64 + before * size as f64) / (count + size) as f64;
            count += size;
            pools.pop();
        }
        pools.push((mean, count));
    }
    let spread = |(mean, count): (f64, usize)| std::iter::repeat_n(sign * mean, count);
    pools.into_iter().flat_map(spread).collect()
}

/// The smooth curve a rounded figure is held against: per channel, the moving mean of the unrounded drive,
/// made monotone between its own ends.
pub(crate) fn smooth_curve(drive: &[[f64; 3]], half: usize) -> Vec<[f64; 3]> {
    let mean = moving_mean(drive, half);
    let channel = |c: usize| monotone(&mean.iter().map(|d| d[c]).collect::<Vec<_>>());
    let (r, g, b) = (channel(0), channel(1), channel(2));
    (0..mean.len()).map(|i| [r[i], g[i], b[i]]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn straight_lines_are_their_own_trend() {
        let line: Vec<[f64; 1]> = (0..200).map(|i| [0.3 + 0.002 * f64::from(i)]).collect();
        for (got, want) in moving_mean(&line, 32).iter().zip(&line) {
            assert!((got[0] - want[0]).abs() < 1e-13, "{got:?} {want:?}");
        }
    }

    #[test]
    fn the_window_spans_a_sixteenth_of_the_signal() {
        assert_eq!(half_width(1023), 32);
        assert_eq!(half_width(876), 27);
        assert_eq!(half_width(8), 1);
    }

    #[test]
    fn pooling_levels_out_a_dip_and_follows_the_ends() {
        assert_eq!(monotone(&[0.0, 2.0, 1.0, 3.0]), [0.0, 1.5, 1.5, 3.0]);
        assert_eq!(monotone(&[3.0, 1.0, 2.0, 0.0]), [3.0, 1.5, 1.5, 0.0]);
        assert!(monotone(&[]).is_empty());
    }
}
