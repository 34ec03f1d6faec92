/// Sharpness of the smooth minimum. Our choice: at most 20 % (3^(1/6)) above the least, and no kink for a
/// correction to print.
const POWER: i32 = 6;

/// A smooth minimum of three, `(mean xᵢ⁻⁶)^(−1/6)`, with its slopes; 0 where one is 0 or less.
pub(super) struct Together {
    pub(super) value: f64,
    pub(super) slope: [f64; 3],
}

impl Together {
    pub(super) fn of(x: [f64; 3]) -> Self {
        let least = x.into_iter().fold(f64::INFINITY, f64::min);
        if least <= 0.0 {
            return Self {
                value: 0.0,
                slope: [0.0; 3],
            };
        }
        let mean = x.iter().map(|x| (least / x).powi(POWER)).sum::<f64>() / 3.0;
        let value = least * mean.powf(-1.0 / f64::from(POWER));
        Self {
            value,
            slope: x.map(|x| (value / x).powi(POWER + 1) / 3.0),
        }
    }
}
