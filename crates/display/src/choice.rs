use evenstep_colour::{Xyz, delta_e_2000, delta_e_itp, itp_from_xyz, lab_from_xyz, percentile};
use evenstep_readings::{Drift, NoiseModel, Readings};
use evenstep_scatter::{
    FitError, Kernel, Kriging, LocalRbf, MovingLeastSquares, Rbf, Rule, Scheme, Sites,
};
use rayon::prelude::*;

use crate::model::{encoded, noise_variance};
use crate::rough::Ready;
use crate::structured::NoiseOf;
use crate::{
    AtFloor, BaseError, BaseModel, Encoding, Form, ForwardModel, Outlier, PanelModel, Scales,
    SmoothingChoice, Structure, StructuredModel,
};

/// Smoothing values that `auto` tries: none, then a decade at a time.
const SMOOTHINGS: [f64; 7] = [0.0, 1e-6, 1e-5, 1e-4, 1e-3, 1e-2, 1e-1];

/// Those it tries with kriging, where the correlation is estimated anew for each and a value is noise over signal
/// variance: readings are never without noise.
const KRIGING_SMOOTHINGS: [f64; 5] = [1e-5, 1e-4, 1e-3, 1e-2, 1e-1];

/// Patches the choice is made on when there are more, evenly picked: leave-one-out of every candidate costs the
/// cube of their number, and 500 settle which of them is best.
const CHOICE_PATCHES: usize = 500;

/// Patches above which `auto` takes local schemes: one dense system of 5000 is two matrices of 200 MB, and
/// memory grows from there with the square, time with the cube. Our choice.
const DENSE_PATCHES: usize = 5000;

/// A smoother candidate is preferred when it scores at most this much worse: leave-one-out on a hundred patches
/// does not resolve 2 %, and roughness is what the correction must not have. Our choice.
const PREFER_SMOOTHER: f64 = 1.02;

/// Leave-one-out error of a model over its patches.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct LeaveOneOutError {
    /// Mean CIEDE2000 against the panel's own white.
    pub de2000_mean: f64,
    /// 95th percentile of it.
    pub de2000_p95: f64,
    /// Its maximum.
    pub de2000_max: f64,
    /// Mean ΔE ITP.
    pub itp_mean: f64,
}

/// A forward model with the record of how it was chosen.
pub struct ChosenModel {
    /// The model.
    pub model: ForwardModel,
    /// Its leave-one-out error; for the base alone, the error over the readings it was fitted to.
    pub error: LeaveOneOutError,
    /// The base's error over the same patches, where a base could be fitted.
    pub base_error: Option<LeaveOneOutError>,
    /// Why this one.
    pub choice: Choice,
    /// Whether the base alone did as well as the best interpolant, so that the data support no more.
    pub base_suffices: bool,
    /// Readings that the others contradict: weighed down, not left out, but for one of several repeats.
    pub outliers: Vec<Outlier>,
    /// Drift over the session, where patches came back.
    pub drift: Option<Drift>,
    /// What became of patches that read 0; `None` where there is none but black.
    pub at_floor: Option<AtFloor>,
}

/// Why a model was chosen among its candidates.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct Choice {
    /// Candidates compared: forms × encodings × schemes × smoothings.
    pub candidates: usize,
    /// Patches the comparison was made on.
    pub patches: usize,
    /// What chose the smoothing.
    pub smoothing_by: String,
    /// √(mean CIEDE2000 · mean ΔE ITP) of the left-out patches.
    pub score: f64,
    /// The best candidate of another form, encoding or scheme.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub runner_up: Option<RunnerUp>,
    /// Candidates that could not be fitted, with the reason, once for each scheme.
    pub refused: Vec<String>,
}

/// A candidate that was not taken.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct RunnerUp {
    /// Scheme, form, encoding and smoothing in words.
    pub model: String,
    /// Its score.
    pub score: f64,
}

/// Why no forward model could be fitted.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ModelError {
    /// No base, and it was needed.
    #[error(transparent)]
    Base(#[from] BaseError),
    /// Every candidate predicted something that is not a colour.
    #[error("no 3D model predicts these readings with finite error: check their scale and units")]
    NoScore,
    /// The scheme refused the sites.
    #[error("no 3D model from these patches: {0}")]
    Scheme(#[from] FitError),
}

/// Chooses form, encoding, scheme and smoothing by leave-one-out and fits the model to all readings.
///
/// The score is the geometric mean of mean CIEDE2000 and mean ΔE ITP: the first is what the trade quotes, the
/// second weighs near-black as the eye does. `scheme` and `smoothing` narrow the search when given.
///
/// Leave-one-out is closed-form for the interpolant with the base held: a base fitted with the patch flatters the
/// residual form slightly, by as much as one patch can move a smoothed curve.
///
/// # Errors
/// [`ModelError`] when no candidate can be fitted.
pub fn choose_model(
    readings: &Readings,
    noise: &NoiseModel,
    scheme: Option<Scheme>,
    smoothing: SmoothingChoice,
) -> Result<ChosenModel, ModelError> {
    let Ready {
        readings,
        noise,
        drift,
        at_floor,
        outliers,
        scales,
        ..
    } = Ready::new(readings, noise);
    let (readings, noise) = (&readings, &noise);
    let base = BaseModel::fit(readings, noise);
    let subset = evenly_picked(readings, CHOICE_PATCHES);
    let white = panel_white(readings);
    let encodings = [
        Encoding::PqLms,
        Encoding::CubeRoot { white },
        Encoding::Linear {
            white_cd_m2: white.luminance_cd_m2(),
        },
    ];
    let (first, then) = match scheme {
        Some(s) => (vec![s], Vec::new()),
        None if readings.patches.len() > DENSE_PATCHES => (local_schemes(), Vec::new()),
        None => (quick_schemes(), smooth_schemes()),
    };
    let forms: &[Form] = if base.is_ok() {
        &[Form::Residual, Form::Value]
    } else {
        &[Form::Value]
    };
    let mut tasks = Vec::new();
    for &form in forms {
        for encoding in encodings {
            tasks.extend(first.iter().map(|&scheme| (form, encoding, scheme)));
        }
    }
    let mut tried = Tried::default();
    let try_all = |tasks: &[Task], tried: &mut Tried| {
        // In parallel, but compared in order, so that ties fall the same way on any number of threads.
        let scored: Vec<Result<Vec<Candidate>, FitError>> = tasks
            .par_iter()
            .map(|&task| score(&subset, noise, base.as_ref().ok(), task, smoothing, white))
            .collect();
        for (result, (_, _, scheme)) in scored.into_iter().zip(tasks) {
            tried.note(*scheme, result);
        }
    };
    try_all(&tasks, &mut tried);
    let structured = match (&base, scales) {
        (Ok(base), Some(scales)) if scheme.is_none() => {
            tried.structured(&subset, noise, base, scales, white)
        }
        _ => None,
    };
    let interpolated = pick(&tried.candidates)
        .filter(|best| structured.as_ref().is_none_or(|s| best.score < s.score));
    if let Some(best) = interpolated {
        let Structure { form, encoding, .. } = best.structure;
        let rest: Vec<Task> = then.iter().map(|&s| (form, encoding, s)).collect();
        try_all(&rest, &mut tried);
    }
    tried.candidates.extend(structured);
    let Tried {
        candidates: all,
        refused,
        refusal,
    } = tried;
    let Some(best) = pick(&all) else {
        return Err(match (refusal, base) {
            (Some(e), _) => ModelError::Scheme(e),
            (None, Err(e)) => ModelError::Base(e),
            (None, Ok(_)) => ModelError::NoScore,
        });
    };
    let base_error = base.as_ref().ok().map(|b| model_error(&subset, b));
    let base_suffices = base_error
        .as_ref()
        .is_some_and(|e| score_of(e) <= best.score);
    let (structure, error) = (best.structure, best.error.clone());
    let choice = Choice {
        candidates: all.len(),
        patches: subset.patches.len(),
        smoothing_by: smoothing.to_string(),
        score: best.score,
        runner_up: runner_up(&all, structure),
        refused,
    };
    let model = ForwardModel::fit(readings, noise, base.ok(), structure)?;
    Ok(ChosenModel {
        model,
        error,
        base_error,
        choice,
        base_suffices,
        outliers,
        drift,
        at_floor,
    })
}

/// Fits the residual of a given base in a given encoding with a given scheme; what is left to choose is the smoothing.
///
/// It is chosen as by [`choose_model`], on at most as many patches; a scheme without smoothing is fitted straight away.
///
/// # Errors
/// [`ModelError::Scheme`], [`ModelError::NoScore`].
pub fn fit_residual(
    readings: &Readings,
    noise: &NoiseModel,
    base: BaseModel,
    encoding: Encoding,
    scheme: Scheme,
    smoothing: SmoothingChoice,
) -> Result<ForwardModel, ModelError> {
    let mut structure = Structure {
        form: Form::Residual,
        encoding,
        scheme,
        smoothing: 0.0,
    };
    if scheme.uses_smoothing() {
        let (subset, white) = (
            evenly_picked(readings, CHOICE_PATCHES),
            panel_white(readings),
        );
        let task = (structure.form, encoding, scheme);
        let all = score(&subset, noise, Some(&base), task, smoothing, white)?;
        structure.smoothing = pick(&all).ok_or(ModelError::NoScore)?.structure.smoothing;
    }
    Ok(ForwardModel::fit(readings, noise, Some(base), structure)?)
}

/// Three radial kernels that are compared in every form and encoding: quick, and enough to tell those apart.
fn quick_schemes() -> Vec<Scheme> {
    vec![
        Scheme::RBF_LINEAR,
        Scheme::RBF_THIN_PLATE,
        Scheme::RBF_CUBIC,
    ]
}

/// The rest of the family, compared in the best form and encoding: every scheme that is differentiable everywhere and
/// needs no shape from the user. The others make kinks or terraces, which a correction must not have.
fn smooth_schemes() -> Vec<Scheme> {
    let degree_2 = MovingLeastSquares { degree: 2 };
    vec![
        Scheme::Rbf(Rbf::new(Kernel::Quintic)),
        Scheme::Rbf(Rbf::new(Kernel::Multiquadric)),
        Scheme::QuadraticShepard,
        Scheme::MovingLeastSquares(MovingLeastSquares::DEFAULT),
        Scheme::MovingLeastSquares(degree_2),
        Scheme::Kriging(Kriging::DEFAULT),
        Scheme::Kriging(Kriging::ANOVA),
    ]
}

fn local_schemes() -> Vec<Scheme> {
    let cubic = LocalRbf {
        kernel: Kernel::Cubic,
        ..LocalRbf::DEFAULT
    };
    vec![Scheme::RbfLocal(LocalRbf::DEFAULT), Scheme::RbfLocal(cubic)]
}

/// What a candidate is but for its smoothing.
type Task = (Form, Encoding, Scheme);

/// What came of the tasks so far.
#[derive(Default)]
struct Tried {
    candidates: Vec<Candidate>,
    /// In words, once for each scheme and reason.
    refused: Vec<String>,
    /// The last refusal.
    refusal: Option<FitError>,
}

impl Tried {
    fn note(&mut self, scheme: Scheme, result: Result<Vec<Candidate>, FitError>) {
        match result {
            Ok(list) => self.candidates.extend(list),
            Err(e) => {
                let said = format!("{scheme}: {e}");
                if !self.refused.contains(&said) {
                    self.refused.push(said);
                }
                self.refusal = Some(e);
            }
        }
    }
}

impl Tried {
    /// Channels and interactions as a candidate.
    fn structured(
        &mut self,
        readings: &Readings,
        noise: &NoiseModel,
        base: &BaseModel,
        scales: Scales,
        white: Xyz,
    ) -> Option<Candidate> {
        match StructuredModel::with_scales(readings, noise, base, scales, NoiseOf::Components) {
            Ok(model) => {
                let left_out = model.left_out();
                let error = error_of(readings, white, |i| {
                    let measured = Encoding::PqLms.encode(readings.patches[i].xyz());
                    let value = std::array::from_fn(|k| measured[k] - left_out[i].0[k]);
                    Encoding::PqLms.decode(value)
                });
                Some(Candidate {
                    structure: Structure::channels(model.scales()),
                    score: score_of(&error),
                    error,
                })
            }
            Err(e) => {
                self.refused.push(format!("channels: {e}"));
                None
            }
        }
    }
}

#[derive(Clone)]
struct Candidate {
    structure: Structure,
    error: LeaveOneOutError,
    score: f64,
}

/// Best score, then the smoothest of the same form, encoding and scheme that scores nearly as well.
fn pick(all: &[Candidate]) -> Option<&Candidate> {
    let finite = || all.iter().filter(|c| c.score.is_finite());
    let best = finite().min_by(|a, b| a.score.total_cmp(&b.score))?;
    finite()
        .filter(|c| {
            Structure {
                smoothing: best.structure.smoothing,
                ..c.structure
            } == best.structure
        })
        .filter(|c| c.score <= PREFER_SMOOTHER * best.score)
        .max_by(|a, b| a.structure.smoothing.total_cmp(&b.structure.smoothing))
}

/// The best of those that differ in more than the smoothing.
fn runner_up(all: &[Candidate], chosen: Structure) -> Option<RunnerUp> {
    all.iter()
        .filter(|c| c.score.is_finite())
        .filter(|c| {
            Structure {
                smoothing: chosen.smoothing,
                ..c.structure
            } != chosen
        })
        .min_by(|a, b| a.score.total_cmp(&b.score))
        .map(|c| RunnerUp {
            model: c.structure.to_string(),
            score: c.score,
        })
}

fn score(
    readings: &Readings,
    noise: &NoiseModel,
    base: Option<&BaseModel>,
    (form, encoding, scheme): Task,
    smoothing: SmoothingChoice,
    white: Xyz,
) -> Result<Vec<Candidate>, FitError> {
    let sites: Vec<[f64; 3]> = readings.patches.iter().map(|p| p.drive).collect();
    let values = encoded(readings, base, form, encoding);
    let noise = noise_variance(readings, noise, encoding);
    let data = Sites {
        sites: &sites,
        values: &values,
        relative_variance: Some(&noise.relative),
    };
    let rule = match smoothing {
        // Judged below, as colour.
        SmoothingChoice::LeaveOneOut => None,
        SmoothingChoice::NoiseMatched => Some(Rule::NoiseMatched {
            variance: noise.median,
        }),
        SmoothingChoice::GeneralisedCrossValidation => Some(Rule::GeneralisedCrossValidation),
        SmoothingChoice::MarginalLikelihood => Some(Rule::MarginalLikelihood),
        SmoothingChoice::Given(value) => Some(Rule::Given(value)),
    };
    let smoothings = match rule {
        None if matches!(scheme, Scheme::Kriging(_)) => KRIGING_SMOOTHINGS.to_vec(),
        None if scheme.uses_smoothing() => SMOOTHINGS.to_vec(),
        None => vec![0.0],
        Some(rule) => vec![scheme.select(data, rule, &SMOOTHINGS)?.smoothing],
    };
    let left_out = scheme.leave_one_out(data, &smoothings)?;
    Ok(left_out
        .iter()
        .map(|one| {
            let error = error_of(readings, white, |i| {
                let measured = encoding.encode(readings.patches[i].xyz());
                encoding.decode(std::array::from_fn(|k| measured[k] - one.residual[i][k]))
            });
            let structure = Structure {
                form,
                encoding,
                scheme,
                smoothing: one.smoothing,
            };
            Candidate {
                structure,
                score: score_of(&error),
                error,
            }
        })
        .collect())
}

fn score_of(error: &LeaveOneOutError) -> f64 {
    (error.de2000_mean * error.itp_mean).sqrt()
}

/// Colour error of a model over readings, those it was fitted to or others.
#[must_use]
pub fn model_error(readings: &Readings, model: &dyn PanelModel) -> LeaveOneOutError {
    let white = panel_white(readings);
    error_of(readings, white, |i| model.xyz(readings.patches[i].drive))
}

/// Colour error of predictions against the readings.
fn error_of(readings: &Readings, white: Xyz, predict: impl Fn(usize) -> Xyz) -> LeaveOneOutError {
    let n = readings.patches.len() as f64;
    let (mut de2000, mut itp) = (Vec::new(), 0.0);
    for (i, patch) in readings.patches.iter().enumerate() {
        let (shown, predicted) = (patch.xyz(), predict(i));
        de2000.push(delta_e_2000(
            lab_from_xyz(predicted, white),
            lab_from_xyz(shown, white),
        ));
        itp += delta_e_itp(itp_from_xyz(predicted), itp_from_xyz(shown)) / n;
    }
    LeaveOneOutError {
        de2000_mean: de2000.iter().sum::<f64>() / n,
        de2000_p95: percentile(&mut de2000, 95.0).unwrap_or(0.0),
        de2000_max: de2000.iter().copied().fold(0.0, f64::max),
        itp_mean: itp,
    }
}

/// White of the panel for colour differences: the reading of full drive, else the brightest reading.
#[must_use]
pub fn panel_white(readings: &Readings) -> Xyz {
    let brightest = || {
        readings
            .patches
            .iter()
            .max_by(|a, b| {
                a.xyz()
                    .luminance_cd_m2()
                    .total_cmp(&b.xyz().luminance_cd_m2())
            })
            .map(evenstep_readings::Patch::xyz)
    };
    readings
        .white()
        .map(evenstep_readings::Patch::xyz)
        .or_else(brightest)
        .unwrap_or_default()
}

/// At most `count` patches, spread over the whole list.
fn evenly_picked(readings: &Readings, count: usize) -> Readings {
    let n = readings.patches.len();
    if n <= count {
        return readings.clone();
    }
    // A step that shares no factor with lattice sizes would be better still; rounding positions does well enough.
    Readings {
        patches: (0..count)
            .map(|i| readings.patches[i * n / count].clone())
            .collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Disturbance, SimulatedPanel, simulate};
    use evenstep_readings::{PatchRequest, merged};

    fn lattice_readings(levels: usize) -> Readings {
        let drive = |i: usize| {
            [i % levels, i / levels % levels, i / levels / levels]
                .map(|k| k as f64 / (levels - 1) as f64)
        };
        let patches: Vec<PatchRequest> = (0..levels.pow(3))
            .map(|i| PatchRequest {
                id: i.to_string(),
                drive: drive(i),
            })
            .collect();
        let quiet = Disturbance {
            noise: 1.0,
            drift: 0.0,
            outliers: 0.0,
        };
        merged(simulate(&SimulatedPanel::wrgb(), &patches, quiet, 1))
    }

    #[test]
    fn many_patches_take_a_local_scheme_by_themselves() {
        let noise = NoiseModel::assumed();
        let choose = |levels| {
            let given = SmoothingChoice::Given(1e-4);
            let chosen = choose_model(&lattice_readings(levels), &noise, None, given).unwrap();
            chosen.model.structure().unwrap().scheme
        };
        assert!(matches!(choose(18), Scheme::RbfLocal(_)));
        assert!(!matches!(choose(6), Scheme::RbfLocal(_)));
    }

    /// Where the choice falls on the residual in an encoding, asking for just that gives the same smoothing.
    #[test]
    fn a_given_residual_is_smoothed_as_the_chosen_one() {
        let (readings, noise) = (lattice_readings(5), NoiseModel::assumed());
        let loo = SmoothingChoice::LeaveOneOut;
        let scheme = Scheme::RBF_THIN_PLATE;
        let chosen = choose_model(&readings, &noise, Some(scheme), loo).unwrap();
        let structure = chosen.model.structure().unwrap();
        assert_eq!(structure.form, Form::Residual);
        let base = BaseModel::fit(&readings, &noise).unwrap();
        let given = fit_residual(&readings, &noise, base, structure.encoding, scheme, loo).unwrap();
        assert_eq!(given.structure(), Some(structure));
    }

    /// Every rule ends in a model, and says which rule it was.
    #[test]
    fn every_rule_chooses_a_smoothing() {
        let readings = lattice_readings(5);
        for rule in ["loo", "noise", "gcv", "likelihood", "0.001"] {
            let rule: SmoothingChoice = rule.parse().unwrap();
            let scheme = Some(Scheme::RBF_THIN_PLATE);
            let chosen = choose_model(&readings, &NoiseModel::assumed(), scheme, rule).unwrap();
            assert_eq!(chosen.choice.smoothing_by, rule.to_string());
            // On 125 patches of this panel each rule leaves an error below one just noticeable difference.
            assert!(chosen.error.de2000_mean < 1.0, "{rule}: {:?}", chosen.error);
        }
        assert!("often".parse::<SmoothingChoice>().is_err());
    }

    /// Share of 300 drives between 125 noisy patches whose light lies within 1.96 standard errors. The promise is 95 %;
    /// base and correlation are taken as known and the panel has a kink, so it is not kept in full: 86 % and 91 % were
    /// found when this was written. Below four in five the figure would mislead.
    #[test]
    fn standard_errors_cover_what_the_panel_shows() {
        let readings = lattice_readings(5);
        let panel = SimulatedPanel::wrgb();
        for spec in ["kriging", "kriging-anova"] {
            let scheme = Some(spec.parse().unwrap());
            let rule = SmoothingChoice::MarginalLikelihood;
            let model = choose_model(&readings, &NoiseModel::assumed(), scheme, rule)
                .unwrap()
                .model;
            let step = [0.819_172_513_396, 0.671_043_606_704, 0.549_700_477_901];
            let (mut inside, mut largest) = (0, 0.0_f64);
            for i in 1..=300 {
                let drive = step.map(|s| (s * f64::from(i)).fract());
                let (shown, told) = (panel.xyz(drive), model.xyz(drive));
                let error = model.standard_error(drive).unwrap();
                let within = (0..3).filter(|&c| (shown.0[c] - told.0[c]).abs() < 1.96 * error[c]);
                inside += within.count();
                largest = largest.max(error[1] / shown.luminance_cd_m2());
            }
            let share = inside as f64 / 900.0;
            assert!(share > 0.8, "{spec}: {share}");
            // And not by promising nothing: less than 10 % of the luminance anywhere.
            assert!(largest < 0.1, "{spec}: {largest}");
        }
    }
}
