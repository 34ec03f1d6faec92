use evenstep_colour::{percentile, root_mean_square};
use evenstep_lut::Lut1d;
use serde::Serialize;

use crate::lattice::SecondDifference;
use crate::report::Distance;

/// Figures of the rows of 1D curves, per channel in the order red, green, blue.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CurvesReport {
    /// Rows of the table.
    pub rows: usize,
    /// Rows below the row before them.
    pub falls: [usize; 3],
    /// The first such row of each channel that has one.
    pub first_fall: Vec<FirstFall>,
    /// Rows in the longest run of equal values; 1 without a plateau.
    pub longest_plateau: [usize; 3],
    /// Second differences in units where a parabola x² gives 2.
    pub second_difference: SecondDifference,
    /// Smallest value.
    pub min: [f64; 3],
    /// Largest value.
    pub max: [f64; 3],
    /// Distance of the rows from the identity, in drive.
    pub distance_from_identity: Distance,
}

/// The first row of a channel that lies below the row before it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct FirstFall {
    /// 0 red, 1 green, 2 blue: its place in the other figures.
    pub channel: usize,
    /// The row, from 0.
    pub row: usize,
}

/// Examines the rows.
pub(crate) fn curves_report(curves: &Lut1d) -> CurvesReport {
    let rows = curves.rows();
    let channel = |c: usize| rows.iter().map(move |row| row[c]);
    let widths: [f64; 3] = [0, 1, 2].map(|c| curves.domain_max()[c] - curves.domain_min()[c]);
    let second = [0, 1, 2].map(|c| {
        let scale = ((rows.len() - 1) as f64 / widths[c]).powi(2);
        let second: Vec<f64> = rows
            .windows(3)
            .map(|w| (w[2][c] - 2.0 * w[1][c] + w[0][c]) * scale)
            .collect();
        let rms = root_mean_square(second.iter().copied()).unwrap_or(0.0);
        let mut sizes: Vec<f64> = second.into_iter().map(f64::abs).collect();
        (rms, percentile(&mut sizes, 99.0).unwrap_or(0.0))
    });
    let falls = |c: usize| (1..rows.len()).filter(move |&i| rows[i][c] < rows[i - 1][c]);
    let (mut squares, mut farthest) = (0.0, 0.0_f64);
    for (i, row) in rows.iter().enumerate() {
        let position = curves.position(i);
        for c in 0..3 {
            let distance = (row[c] - position[c]).abs();
            squares += distance * distance;
            farthest = farthest.max(distance);
        }
    }
    CurvesReport {
        rows: rows.len(),
        falls: [0, 1, 2].map(|c| falls(c).count()),
        first_fall: (0..3)
            .filter_map(|channel| falls(channel).next().map(|row| FirstFall { channel, row }))
            .collect(),
        longest_plateau: [0, 1, 2].map(|c| longest_run(channel(c))),
        second_difference: SecondDifference {
            rms: second.map(|s| s.0),
            p99: second.map(|s| s.1),
        },
        min: [0, 1, 2].map(|c| channel(c).fold(f64::INFINITY, f64::min)),
        max: [0, 1, 2].map(|c| channel(c).fold(f64::NEG_INFINITY, f64::max)),
        distance_from_identity: Distance {
            rms: (squares / (3 * rows.len()) as f64).sqrt(),
            max: farthest,
        },
    }
}

fn longest_run(values: impl Iterator<Item = f64>) -> usize {
    let (mut longest, mut run, mut before) = (0, 0, None);
    for value in values {
        run = if before == Some(value) { run + 1 } else { 1 };
        longest = longest.max(run);
        before = Some(value);
    }
    longest
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn falls_runs_and_curvature_of_a_small_table() {
        // Red a parabola, green with a fall at row 3 and a run of two, blue constant.
        let green = [0.0, 0.2, 0.5, 0.4, 0.4];
        let rows = (0..5).map(|i| [(f64::from(i) / 4.0).powi(2), green[i as usize], 0.3]);
        let found = curves_report(&Lut1d::new(rows.collect()).unwrap());
        assert_eq!(found.falls, [0, 1, 0]);
        assert_eq!(found.first_fall, [FirstFall { channel: 1, row: 3 }]);
        assert_eq!(found.longest_plateau, [1, 2, 5]);
        assert!((found.second_difference.rms[0] - 2.0).abs() < 1e-12);
        assert_eq!(found.second_difference.p99[2], 0.0);
        assert_eq!((found.min[1], found.max[1]), (0.0, 0.5));
        // Blue at row 4: 1 − 0.3.
        assert!((found.distance_from_identity.max - 0.7).abs() < 1e-12);
    }
}
