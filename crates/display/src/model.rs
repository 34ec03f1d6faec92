use evenstep_colour::Xyz;
use evenstep_readings::{NoiseModel, Readings};
use evenstep_scatter::{FitError, Interpolant, Kriging, Scheme, Sites};
use nalgebra::Matrix3;

use crate::panel::{pq_lms_of, pq_lms_with_jacobian_of};
use crate::structured::NoiseOf;
use crate::{BaseModel, Encoding, PanelModel, Scales, Sharing, StructuredModel};

/// What the interpolant carries: the difference from the base, or the encoded colour itself.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Form {
    /// Q(measured) − Q(base): smooth where the base is good.
    Residual,
    /// Q(measured): for panels whose base is wrong.
    Value,
    /// The base with channels that bend, and what is left: [`StructuredModel`], with its scales. Encoding, scheme and
    /// smoothing are then its own: PQ-encoded LMS, ANOVA kriging, the factor on the noise.
    Channels(Scales),
}

impl std::fmt::Display for Form {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Residual => "residual",
            Self::Value => "value",
            Self::Channels(_) => "channels",
        })
    }
}

/// Everything that has to be chosen before a forward model is fitted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Structure {
    /// Residual of the base or the value itself.
    pub form: Form,
    /// Space the interpolant lives in.
    pub encoding: Encoding,
    /// Scattered-data scheme.
    pub scheme: Scheme,
    /// Smoothing of the scheme, for sites of average noise.
    pub smoothing: f64,
}

impl Structure {
    /// Of a [`StructuredModel`].
    #[must_use]
    pub fn channels(scales: Scales) -> Self {
        Self {
            form: Form::Channels(scales),
            encoding: Encoding::PqLms,
            scheme: Scheme::Kriging(Kriging::ANOVA),
            smoothing: scales.noise,
        }
    }
}

impl std::fmt::Display for Structure {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Self {
            form,
            encoding,
            scheme,
            smoothing,
        } = self;
        write!(
            f,
            "{scheme} of the {form} in {encoding}, smoothing {smoothing}"
        )
    }
}

/// Forward model of a panel: `Q⁻¹(Q(base(d)) + r(d))`, or `Q⁻¹(v(d))`, or the base alone.
pub struct ForwardModel(Kind);

enum Kind {
    Base(BaseModel),
    Interpolated {
        base: Option<BaseModel>,
        structure: Structure,
        interpolant: Box<dyn Interpolant>,
    },
    Channels(Box<StructuredModel>),
}

impl ForwardModel {
    /// The base alone.
    #[must_use]
    pub fn from_base(base: BaseModel) -> Self {
        Self(Kind::Base(base))
    }

    /// Channels that bend, and interactions.
    #[must_use]
    pub fn from_structured(model: StructuredModel) -> Self {
        Self(Kind::Channels(Box::new(model)))
    }

    /// Fits the interpolant of a given structure. `base` may be absent for [`Form::Value`].
    ///
    /// # Errors
    /// What the scheme says of the sites.
    ///
    /// # Panics
    /// When `structure.form` is [`Form::Residual`] or [`Form::Channels`] and there is no base: a bug in the caller.
    pub fn fit(
        readings: &Readings,
        noise: &NoiseModel,
        base: Option<BaseModel>,
        structure: Structure,
    ) -> Result<Self, FitError> {
        if let Form::Channels(scales) = structure.form {
            let base = base.expect("channels that bend need a base");
            let model =
                StructuredModel::with_scales(readings, noise, &base, scales, NoiseOf::Readings)?;
            return Ok(Self(Kind::Channels(Box::new(model))));
        }
        let sites: Vec<[f64; 3]> = readings.patches.iter().map(|p| p.drive).collect();
        let values = encoded(readings, base.as_ref(), structure.form, structure.encoding);
        let variance = noise_variance(readings, noise, structure.encoding).relative;
        let data = Sites {
            sites: &sites,
            values: &values,
            relative_variance: Some(&variance),
        };
        let interpolant = structure.scheme.fit(data, structure.smoothing)?;
        Ok(Self(Kind::Interpolated {
            base,
            structure,
            interpolant,
        }))
    }

    /// The base correction's model, where the readings allow one.
    #[must_use]
    pub fn base(&self) -> Option<&BaseModel> {
        match &self.0 {
            Kind::Base(base) => Some(base),
            Kind::Interpolated { base, .. } => base.as_ref(),
            Kind::Channels(model) => Some(model.base()),
        }
    }

    /// One standard error of X, Y and Z in cd/m² at a drive, where the scheme has one: how sure the model is between
    /// the patches. The base is taken as known, and so is the correlation of the scheme.
    ///
    /// To first order through the decoding, the three encoded components independent of each other.
    #[must_use]
    pub fn standard_error(&self, drive: [f64; 3]) -> Option<[f64; 3]> {
        let (encoding, error) = match &self.0 {
            Kind::Base(_) => return None,
            Kind::Interpolated {
                structure,
                interpolant,
                ..
            } => (structure.encoding, interpolant.standard_error(drive)?),
            Kind::Channels(model) => (Encoding::PqLms, model.encoded_error(drive)),
        };
        let value = encoding.encode(self.xyz(drive));
        let (_, decoded) = encoding.decode_with_derivative(value);
        Some(std::array::from_fn(|c| {
            let parts = (0..3).map(|k| (decoded[(c, k)] * error[k]).powi(2));
            parts.sum::<f64>().sqrt()
        }))
    }

    /// How the panel's sub-pixels share light, where the model is one of channels and found that they do.
    #[must_use]
    pub fn sharing(&self) -> Option<Sharing> {
        match &self.0 {
            Kind::Channels(model) => model.sharing(),
            Kind::Base(_) | Kind::Interpolated { .. } => None,
        }
    }

    /// What was chosen for the interpolant; `None` for the base alone.
    #[must_use]
    pub fn structure(&self) -> Option<Structure> {
        match &self.0 {
            Kind::Base(_) => None,
            Kind::Interpolated { structure, .. } => Some(*structure),
            Kind::Channels(model) => Some(Structure::channels(model.scales())),
        }
    }
}

impl PanelModel for ForwardModel {
    fn xyz(&self, drive: [f64; 3]) -> Xyz {
        match &self.0 {
            Kind::Base(base) => base.xyz(drive),
            Kind::Channels(model) => model.xyz(drive),
            Kind::Interpolated {
                base,
                structure,
                interpolant,
            } => {
                let mut value = interpolant.eval(drive);
                if let (Form::Residual, Some(base)) = (structure.form, base) {
                    add(&mut value, structure.encoding.encode(base.xyz(drive)));
                }
                structure.encoding.decode(value)
            }
        }
    }

    fn pq_lms(&self, drive: [f64; 3]) -> [f64; 3] {
        match &self.0 {
            Kind::Channels(model) => model.pq_lms(drive),
            Kind::Base(_) | Kind::Interpolated { .. } => pq_lms_of(self, drive),
        }
    }

    fn pq_lms_with_jacobian(&self, drive: [f64; 3]) -> ([f64; 3], Matrix3<f64>) {
        match &self.0 {
            Kind::Channels(model) => model.pq_lms_with_jacobian(drive),
            Kind::Base(_) | Kind::Interpolated { .. } => pq_lms_with_jacobian_of(self, drive),
        }
    }

    fn xyz_with_jacobian(&self, drive: [f64; 3]) -> (Xyz, Matrix3<f64>) {
        match &self.0 {
            Kind::Base(base) => base.xyz_with_jacobian(drive),
            Kind::Channels(model) => model.xyz_with_jacobian(drive),
            Kind::Interpolated {
                base,
                structure,
                interpolant,
            } => {
                let q = structure.encoding;
                let (mut value, mut slope) = interpolant.eval_with_gradient(drive);
                if let (Form::Residual, Some(base)) = (structure.form, base) {
                    let (xyz, jacobian) = base.xyz_with_jacobian(drive);
                    let (encoded, derivative) = q.encode_with_derivative(xyz);
                    add(&mut value, encoded);
                    slope += derivative * jacobian;
                }
                let (xyz, decode) = q.decode_with_derivative(value);
                (xyz, decode * slope)
            }
        }
    }
}

fn add(value: &mut [f64; 3], other: [f64; 3]) {
    for (v, o) in value.iter_mut().zip(other) {
        *v += o;
    }
}

/// Values the interpolant is fitted to.
///
/// # Panics
/// When `form` is [`Form::Residual`] and there is no base.
pub(crate) fn encoded(
    readings: &Readings,
    base: Option<&BaseModel>,
    form: Form,
    encoding: Encoding,
) -> Vec<[f64; 3]> {
    readings
        .patches
        .iter()
        .map(|p| {
            let value = encoding.encode(p.xyz());
            match form {
                Form::Value => value,
                Form::Residual | Form::Channels(_) => {
                    let base = base.expect("a residual needs a base").xyz(p.drive);
                    let base = encoding.encode(base);
                    std::array::from_fn(|i| value[i] - base[i])
                }
            }
        })
        .collect()
}

/// Noise of readings in an encoded space.
pub(crate) struct EncodedNoise {
    /// Variance of each patch over the median of all: what a scheme's smoothing is multiplied by. Held within a
    /// factor of 100 of the median, so that one reading at the floor cannot vanish.
    pub(crate) relative: Vec<f64>,
    /// The median itself, in the units of the encoding, squared.
    pub(crate) median: f64,
}

/// Noise variance of each patch in the encoded space, the mean of the three components.
pub(crate) fn noise_variance(
    readings: &Readings,
    noise: &NoiseModel,
    encoding: Encoding,
) -> EncodedNoise {
    let absolute: Vec<f64> = readings
        .patches
        .iter()
        .map(|p| {
            let slope = encoding.derivative(p.xyz());
            let spread = slope * noise.variance_of(p.xyz()) * slope.transpose();
            spread.trace() / 3.0 * p.variance_factor()
        })
        .collect();
    let mut sorted = absolute.clone();
    sorted.sort_by(f64::total_cmp);
    let median = sorted[sorted.len() / 2].max(f64::MIN_POSITIVE);
    EncodedNoise {
        relative: absolute
            .iter()
            .map(|v| (v / median).clamp(0.01, 100.0))
            .collect(),
        median,
    }
}
