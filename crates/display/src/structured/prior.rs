use super::PARTS;

/// What a Gaussian process of a panel has for parameters.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scales {
    /// Standard deviation of a bend: relative change of a channel's light.
    pub channel: f64,
    /// Standard deviation of the light where all channels light together, relative to the white's.
    pub white: f64,
    /// Length over which a bend changes, on its warped axis from 0 to 1.
    pub channel_length: f64,
    /// Standard deviation of the interaction, in PQ signal.
    pub interaction: f64,
    /// Length over which it changes, in drive.
    pub length: f64,
    /// Share of pairs of axes in it over that of single axes.
    pub pair: f64,
    /// Share of all three axes over that of single axes.
    pub triple: f64,
    /// What the noise's standard deviation is multiplied with.
    pub noise: f64,
}

/// Number of parameters.
pub(super) const PARAMETERS: usize = 8;

/// Natural logarithm of the median of each scale over panels, and its standard deviation there.
const PRIOR: [(f64, f64); PARAMETERS] = [
    (-3.0, 1.3),
    (-4.0, 1.5),
    (-0.7, 0.6),
    (-6.0, 1.3),
    (-0.4, 0.6),
    (0.0, 1.0),
    (0.0, 1.0),
    (0.0, 0.2),
];

impl Scales {
    /// The medians of the prior.
    pub(super) fn median() -> Self {
        Self::from_logs(PRIOR.map(|p| p.0))
    }

    pub(super) fn logs(&self) -> [f64; PARAMETERS] {
        [
            self.channel,
            self.white,
            self.channel_length,
            self.interaction,
            self.length,
            self.pair,
            self.triple,
            self.noise,
        ]
        .map(f64::ln)
    }

    pub(super) fn from_logs(logs: [f64; PARAMETERS]) -> Self {
        let [
            channel,
            white,
            channel_length,
            interaction,
            length,
            pair,
            triple,
            noise,
        ] = logs.map(f64::exp);
        Self {
            channel,
            white,
            channel_length,
            interaction,
            length,
            pair,
            triple,
            noise,
        }
    }

    /// Variances of the bends of the three channels and of the white.
    pub(super) fn bends(&self) -> [f64; PARTS] {
        let channel = self.channel.powi(2);
        [channel, channel, channel, self.white.powi(2)]
    }

    /// Shares of one, two and three axes; they add up to 1.
    pub(super) fn orders(&self) -> [f64; 3] {
        let sum = 1.0 + self.pair + self.triple;
        [1.0 / sum, self.pair / sum, self.triple / sum]
    }

    /// −2 ln of the prior density of the logarithms, up to a constant.
    pub(super) fn surprise(&self) -> f64 {
        let logs = self.logs();
        let each = logs.iter().zip(PRIOR);
        each.map(|(log, (median, sd))| ((log - median) / sd).powi(2))
            .sum()
    }
}
