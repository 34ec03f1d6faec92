use evenstep_colour::Xyz;
use evenstep_readings::{NoiseModel, Patch, Readings};
use nalgebra::{Matrix3, Vector3};

use crate::PanelModel;
use crate::curve::{Level, ToneCurve};

/// Fewest levels of a ramp, black included, that a tone curve is fitted to. Our choice: below it the curve would
/// be the spline's opinion rather than the panel's.
pub const FEWEST_LEVELS: usize = 5;

/// Rounds of curves-then-matrix; each settles the other, three change nothing a reader of the figures would see.
const ROUNDS: usize = 3;

/// Share of the least-squares weight that the neutrals carry together. Our choice: the eye forgives a saturated
/// colour sooner than a tinted grey.
const NEUTRAL_SHARE: f64 = 0.5;

/// Black, one matrix and a monotone tone curve per channel: what a careful calibrator reaches by hand.
///
/// `XYZ(d) = XYZ_black + M·t(d)`, curves from the *neutral* ramp where there is one (grey balance), the matrix by
/// least squares over all patches weighted to neutrals. With no neutral ramp, curves from the channels' own ramps
/// and the primaries as matrix. `t_c(1) = 1`, so the columns of `M` are the light of full drives.
#[derive(Clone, Debug)]
pub struct BaseModel {
    black: Xyz,
    matrix: Matrix3<f64>,
    inverse: Matrix3<f64>,
    curves: [ToneCurve; 3],
    grey_balanced: bool,
}

/// Why no base model could be fitted.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum BaseError {
    /// There is no reading of drive 0.
    #[error("no black reading (drive 0 0 0): measure it, the base correction stands on it")]
    NoBlack,
    /// Neither a neutral ramp nor three channel ramps long enough.
    #[error(
        "{neutral} neutral levels and {channel:?} levels of R, G, B: a base correction needs {FEWEST_LEVELS} of the \
         neutral ramp, or {FEWEST_LEVELS} of each channel's, full drive among them"
    )]
    TooFewLevels {
        /// Levels of the neutral ramp, black included.
        neutral: usize,
        /// Levels of each channel's ramp, black included.
        channel: [usize; 3],
    },
    /// The readings do not tell three channels apart.
    #[error(
        "the light of R, G and B is not independent: the matrix cannot be inverted; check that the drives were shown"
    )]
    Singular,
}

impl BaseModel {
    /// Fits the base to readings.
    ///
    /// # Errors
    /// [`BaseError`] says which readings are missing.
    pub fn fit(readings: &Readings, noise: &NoiseModel) -> Result<Self, BaseError> {
        let black = readings.black().ok_or(BaseError::NoBlack)?.xyz();
        let neutral = readings.neutral_ramp();
        let ramps = [0, 1, 2].map(|c| readings.channel_ramp(c));
        let full = |ramp: &[&Patch], c: usize| ramp.last().is_some_and(|p| p.drive[c] == 1.0);
        let primaries: Option<Vec<Vector3<f64>>> = (0..3)
            .map(|c| {
                ramps[c]
                    .last()
                    .filter(|_| full(&ramps[c], c))
                    .map(|p| above(p.xyz(), black))
            })
            .collect();
        let primaries = primaries.map(|columns| Matrix3::from_columns(&columns));
        if neutral.len() >= FEWEST_LEVELS && full(&neutral, 0) {
            let white = above(neutral[neutral.len() - 1].xyz(), black);
            let start = match primaries {
                Some(p) => balanced(p, white).ok_or(BaseError::Singular)?,
                None => balanced(matrix_without_primaries(readings, black), white)
                    .ok_or(BaseError::Singular)?,
            };
            return Self::from_neutral(readings, noise, black, &neutral, start);
        }
        match primaries {
            Some(p) if ramps.iter().all(|r| r.len() >= FEWEST_LEVELS) => {
                Self::from_channels(noise, black, &ramps, &p)
            }
            _ => Err(BaseError::TooFewLevels {
                neutral: neutral.len(),
                channel: ramps.map(|r| r.len()),
            }),
        }
    }

    fn from_neutral(
        readings: &Readings,
        noise: &NoiseModel,
        black: Xyz,
        neutral: &[&Patch],
        start: Matrix3<f64>,
    ) -> Result<Self, BaseError> {
        let mut matrix = start;
        let mut model = Self::with_curves(noise, black, neutral, matrix)?;
        for _ in 0..ROUNDS {
            matrix = least_squares(readings, noise, &model).ok_or(BaseError::Singular)?;
            model = Self::with_curves(noise, black, neutral, matrix)?;
        }
        Ok(model)
    }

    /// Curves that reproduce the neutral ramp through a given matrix.
    fn with_curves(
        noise: &NoiseModel,
        black: Xyz,
        neutral: &[&Patch],
        matrix: Matrix3<f64>,
    ) -> Result<Self, BaseError> {
        let inverse = matrix.try_inverse().ok_or(BaseError::Singular)?;
        // Gauge: full drive is one unit of light, the scale goes into the columns.
        let full = inverse * above(neutral[neutral.len() - 1].xyz(), black);
        if full.iter().any(|v| *v <= 0.0) {
            return Err(BaseError::Singular);
        }
        let matrix = matrix * Matrix3::from_diagonal(&full);
        let inverse = matrix.try_inverse().ok_or(BaseError::Singular)?;
        let lift = inverse * Vector3::from(black.0);
        let ramps: [Vec<Level>; 3] = [0, 1, 2].map(|c| {
            let level = |p: &&Patch| {
                let light = inverse * above(p.xyz(), black);
                let sd = noise.luminance_sd(p.xyz().luminance_cd_m2()) * p.variance_factor().sqrt();
                let scale = p.xyz().luminance_cd_m2().max(1e-9);
                // Noise is mostly along the XYZ vector: every channel's light shares its relative error, and near
                // black the floor takes over.
                let white = matrix.row(1).sum();
                Level {
                    drive: p.drive[0],
                    light: light[c],
                    sd: (light[c].abs() * sd / scale).max(sd / white),
                }
            };
            neutral.iter().map(level).collect()
        });
        let [r, g, b] = &ramps;
        let curves = ToneCurve::fit_together([r, g, b], [lift[0], lift[1], lift[2]]);
        Ok(Self {
            black,
            matrix,
            inverse,
            curves,
            grey_balanced: true,
        })
    }

    fn from_channels(
        noise: &NoiseModel,
        black: Xyz,
        ramps: &[Vec<&Patch>; 3],
        matrix: &Matrix3<f64>,
    ) -> Result<Self, BaseError> {
        let inverse = matrix.try_inverse().ok_or(BaseError::Singular)?;
        let lift = inverse * Vector3::from(black.0);
        let fitted = [0, 1, 2].map(|c| {
            let primary = matrix.column(c);
            let levels: Vec<Level> = ramps[c]
                .iter()
                .map(|p| {
                    let light = primary.dot(&above(p.xyz(), black)) / primary.norm_squared();
                    let sd =
                        noise.luminance_sd(p.xyz().luminance_cd_m2()) * p.variance_factor().sqrt();
                    Level {
                        drive: p.drive[c],
                        light,
                        sd: sd / primary[1].max(1e-9),
                    }
                })
                .collect();
            ToneCurve::fit(&levels, lift[c])
        });
        Ok(Self {
            black,
            matrix: *matrix,
            inverse,
            curves: fitted.map(|f| f.0),
            grey_balanced: false,
        })
    }

    /// Light of each channel for a drive, 1 at full drive.
    pub(crate) fn light(&self, drive: [f64; 3]) -> Vector3<f64> {
        Vector3::from_fn(|c, _| self.curves[c].light(drive[c]))
    }

    /// The drive that shows a colour according to the base, each channel clipped to [0, 1].
    #[must_use]
    pub fn drive(&self, xyz: Xyz) -> [f64; 3] {
        let light = self.inverse * above(xyz, self.black);
        std::array::from_fn(|c| self.curves[c].drive(light[c]))
    }

    /// Black reading the model stands on.
    #[must_use]
    pub fn black(&self) -> Xyz {
        self.black
    }

    /// Matrix from channel light (1 at full drive) to XYZ above black, in cd/m².
    #[must_use]
    pub fn matrix(&self) -> Matrix3<f64> {
        self.matrix
    }

    /// Inverse of [`matrix`](Self::matrix).
    #[must_use]
    pub fn inverse(&self) -> Matrix3<f64> {
        self.inverse
    }

    /// Tone curves of R, G, B.
    #[must_use]
    pub fn curves(&self) -> &[ToneCurve; 3] {
        &self.curves
    }

    /// Whether the curves come from a neutral ramp.
    #[must_use]
    pub fn is_grey_balanced(&self) -> bool {
        self.grey_balanced
    }
}

impl PanelModel for BaseModel {
    fn xyz(&self, drive: [f64; 3]) -> Xyz {
        Xyz((Vector3::from(self.black.0) + self.matrix * self.light(drive)).into())
    }

    fn xyz_with_jacobian(&self, drive: [f64; 3]) -> (Xyz, Matrix3<f64>) {
        let both: [_; 3] = std::array::from_fn(|c| self.curves[c].light_with_slope(drive[c]));
        let light = Vector3::from(both.map(|b| b.0));
        let slope = Vector3::from(both.map(|b| b.1));
        (
            Xyz((Vector3::from(self.black.0) + self.matrix * light).into()),
            self.matrix * Matrix3::from_diagonal(&slope),
        )
    }
}

fn above(xyz: Xyz, black: Xyz) -> Vector3<f64> {
    Vector3::from(xyz.0) - Vector3::from(black.0)
}

/// Columns scaled so that they sum to `white`.
fn balanced(columns: Matrix3<f64>, white: Vector3<f64>) -> Option<Matrix3<f64>> {
    let scale = columns.try_inverse()? * white;
    scale
        .iter()
        .all(|v| *v > 0.0)
        .then(|| columns * Matrix3::from_diagonal(&scale))
}

/// A first matrix where no full primary was read: least squares on drives to the power of 2.2.
fn matrix_without_primaries(readings: &Readings, black: Xyz) -> Matrix3<f64> {
    let (mut square, mut cross) = (Matrix3::zeros(), Matrix3::zeros());
    for patch in &readings.patches {
        let light = Vector3::from(patch.drive.map(|d| d.powf(2.2)));
        square += light * light.transpose();
        cross += above(patch.xyz(), black) * light.transpose();
    }
    square
        .try_inverse()
        .map_or_else(Matrix3::zeros, |inverse| cross * inverse)
}

/// Matrix by least squares on relative errors, neutrals carrying [`NEUTRAL_SHARE`] of the weight.
fn least_squares(
    readings: &Readings,
    noise: &NoiseModel,
    model: &BaseModel,
) -> Option<Matrix3<f64>> {
    let white = model.matrix.row(1).sum();
    let weight_of = |p: &Patch| {
        // Relative error with a floor of 0.1 % of white: a stand-in for the eye's response that keeps near-black
        // readings, whose relative noise is large, from ruling the matrix.
        let y = p.xyz().luminance_cd_m2().max(0.0);
        (p.doubt * (y + 1e-3 * white + 10.0 * noise.floor_cd_m2)).powi(-2)
    };
    let total = |neutral: bool| -> f64 {
        readings
            .patches
            .iter()
            .filter(|p| p.is_neutral() == neutral)
            .map(weight_of)
            .sum()
    };
    let (neutrals, others) = (total(true), total(false));
    if others == 0.0 {
        return Some(model.matrix);
    }
    let lift = (NEUTRAL_SHARE / (1.0 - NEUTRAL_SHARE)) * others / neutrals;
    let (mut square, mut cross) = (Matrix3::zeros(), Matrix3::zeros());
    for patch in &readings.patches {
        let weight = weight_of(patch) * if patch.is_neutral() { lift } else { 1.0 };
        let light = model.light(patch.drive);
        square += weight * light * light.transpose();
        cross += weight * above(patch.xyz(), model.black) * light.transpose();
    }
    square.try_inverse().map(|inverse| cross * inverse)
}
