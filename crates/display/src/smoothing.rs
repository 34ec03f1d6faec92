use std::fmt;
use std::str::FromStr;

/// How the smoothing of a scheme is chosen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SmoothingChoice {
    /// The value whose left-out patches are predicted with the least colour error.
    LeaveOneOut,
    /// The value that leaves as much beside the readings as their noise explains.
    NoiseMatched,
    /// Generalised cross-validation in the encoded space.
    GeneralisedCrossValidation,
    /// Marginal likelihood in the encoded space.
    MarginalLikelihood,
    /// A given value.
    Given(f64),
}

impl fmt::Display for SmoothingChoice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::LeaveOneOut => f.write_str("leave-one-out"),
            Self::NoiseMatched => f.write_str("the noise of the readings"),
            Self::GeneralisedCrossValidation => f.write_str("generalised cross-validation"),
            Self::MarginalLikelihood => f.write_str("marginal likelihood"),
            Self::Given(value) => write!(f, "the value given, {value}"),
        }
    }
}

impl FromStr for SmoothingChoice {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        match text {
            "auto" | "loo" => Ok(Self::LeaveOneOut),
            "noise" => Ok(Self::NoiseMatched),
            "gcv" => Ok(Self::GeneralisedCrossValidation),
            "likelihood" => Ok(Self::MarginalLikelihood),
            _ => match text.parse::<f64>() {
                Ok(v) if v >= 0.0 && v.is_finite() => Ok(Self::Given(v)),
                _ => Err(format!(
                    "{text:?} is not a smoothing: give auto, loo, noise, gcv, likelihood or a number from 0 up"
                )),
            },
        }
    }
}
