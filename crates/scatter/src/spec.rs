//! Schemes by their names on the command line: `name` or `name:option,option`.

use std::fmt;
use std::str::FromStr;

use crate::{
    Estimate, Kernel, Kriging, LatticeRegression, LocalRbf, MovingLeastSquares, Penalty, Rbf,
    Scheme, Smoothness,
};

impl Scheme {
    /// Every name, and the variants that have a word of their own, in the order of listings.
    pub const SPECS: [&'static str; 22] = [
        "nearest",
        "shepard",
        "quadratic-shepard",
        "delaunay-linear",
        "natural-neighbour",
        "moving-least-squares",
        "moving-least-squares:degree=2",
        "rbf-linear",
        "rbf-thin-plate",
        "rbf-cubic",
        "rbf-quintic",
        "rbf-multiquadric",
        "rbf-inverse-multiquadric",
        "rbf-gaussian",
        "rbf-wendland",
        "rbf-wendland:c4",
        "rbf-local",
        "rbf-local:cubic",
        "kriging",
        "kriging-anova",
        "lattice-regression",
        "lattice-regression:laplacian",
    ];
}

/// A spec that names no scheme, or an option that the scheme does not have.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum SchemeError {
    /// The name before the colon is unknown.
    #[error("no scheme is called {found:?}; use one of {}", names().join(", "))]
    Name {
        /// The name given.
        found: String,
    },
    /// The option is unknown, or its value is not a number it takes.
    #[error("{name} has no option {found:?}; it takes {takes}")]
    Option {
        /// The scheme.
        name: String,
        /// The option given.
        found: String,
        /// What the scheme takes.
        takes: &'static str,
    },
}

/// Names without options.
fn names() -> Vec<&'static str> {
    let plain = |spec: &&&str| !spec.contains(':');
    Scheme::SPECS.iter().filter(plain).copied().collect()
}

/// The radial kernels that go by a name of their own.
const RADIAL: [(&str, Kernel); 8] = [
    ("rbf-linear", Kernel::Linear),
    ("rbf-thin-plate", Kernel::ThinPlate),
    ("rbf-cubic", Kernel::Cubic),
    ("rbf-quintic", Kernel::Quintic),
    ("rbf-multiquadric", Kernel::Multiquadric),
    ("rbf-inverse-multiquadric", Kernel::InverseMultiquadric),
    ("rbf-gaussian", Kernel::Gaussian),
    ("rbf-wendland", Kernel::WendlandC2),
];

impl FromStr for Scheme {
    type Err = SchemeError;

    fn from_str(spec: &str) -> Result<Self, SchemeError> {
        let (name, options) = spec.split_once(':').unwrap_or((spec, ""));
        match name {
            "nearest" => without_options(Self::Nearest, name, options),
            "quadratic-shepard" => without_options(Self::QuadraticShepard, name, options),
            "shepard" => without_options(Self::Shepard, name, options),
            "delaunay-linear" => without_options(Self::DelaunayLinear, name, options),
            "natural-neighbour" => without_options(Self::NaturalNeighbour, name, options),
            "moving-least-squares" => with_options(
                MovingLeastSquares::DEFAULT,
                name,
                options,
                "degree=1 or 2",
                moving_option,
            )
            .map(Self::MovingLeastSquares),
            "rbf-local" => with_options(
                LocalRbf::DEFAULT,
                name,
                options,
                "linear, thin-plate, cubic, quintic, neighbours=N and degree=N up to 2",
                local_option,
            )
            .map(Self::RbfLocal),
            "kriging" => kriging(Kriging::DEFAULT, name, options),
            "kriging-anova" => kriging(Kriging::ANOVA, name, options),
            "lattice-regression" => with_options(
                LatticeRegression::DEFAULT,
                name,
                options,
                "hessian, laplacian and nodes=2 to 33",
                lattice_option,
            )
            .map(Self::LatticeRegression),
            _ => {
                let radial = RADIAL.iter().find(|(radial, _)| *radial == name);
                let (_, kernel) = radial.ok_or_else(|| SchemeError::Name {
                    found: name.to_owned(),
                })?;
                with_options(
                    Rbf::new(*kernel),
                    name,
                    options,
                    rbf_takes(*kernel),
                    rbf_option,
                )
                .map(Self::Rbf)
            }
        }
    }
}

fn without_options(scheme: Scheme, name: &str, options: &str) -> Result<Scheme, SchemeError> {
    with_options(scheme, name, options, "none", |_, _| None)
}

fn kriging(start: Kriging, name: &str, options: &str) -> Result<Scheme, SchemeError> {
    let takes =
        "matern32, matern52, squared-exponential, leave-one-out, length=NUMBER and degree=-1 to 2";
    with_options(start, name, options, takes, kriging_option).map(Scheme::Kriging)
}

/// Applies each option in turn.
fn with_options<T: Copy>(
    start: T,
    name: &str,
    options: &str,
    takes: &'static str,
    apply: impl Fn(T, &str) -> Option<T>,
) -> Result<T, SchemeError> {
    let listed = options.split(',').filter(|option| !option.is_empty());
    let mut scheme = start;
    for option in listed {
        scheme = apply(scheme, option).ok_or_else(|| SchemeError::Option {
            name: name.to_owned(),
            found: option.to_owned(),
            takes,
        })?;
    }
    Ok(scheme)
}

fn rbf_takes(kernel: Kernel) -> &'static str {
    match kernel {
        Kernel::WendlandC2 | Kernel::WendlandC4 => "c2, c4, shape=NUMBER and degree=-1 to 2",
        _ if kernel.has_shape() => "shape=NUMBER and degree=N up to 2",
        _ => "degree=N up to 2",
    }
}

fn rbf_option(rbf: Rbf, option: &str) -> Option<Rbf> {
    let wendland = matches!(rbf.kernel, Kernel::WendlandC2 | Kernel::WendlandC4);
    match option.split_once('=') {
        None if wendland && option == "c2" => Some(Rbf {
            kernel: Kernel::WendlandC2,
            ..rbf
        }),
        None if wendland && option == "c4" => Some(Rbf {
            kernel: Kernel::WendlandC4,
            ..rbf
        }),
        Some(("shape", value)) if rbf.kernel.has_shape() => {
            let shape = value
                .parse()
                .ok()
                .filter(|v: &f64| v.is_finite() && *v > 0.0);
            shape.map(|shape| rbf.with_shape(shape))
        }
        Some(("degree", value)) => {
            let allowed = rbf.kernel.least_degree()..=2;
            let degree = value.parse().ok().filter(|d| allowed.contains(d));
            degree.map(|degree| rbf.with_degree(degree))
        }
        _ => None,
    }
}

fn moving_option(_: MovingLeastSquares, option: &str) -> Option<MovingLeastSquares> {
    let degree = option.strip_prefix("degree=")?.parse().ok();
    let degree = degree.filter(|degree| (1..=2).contains(degree))?;
    Some(MovingLeastSquares { degree })
}

fn local_option(local: LocalRbf, option: &str) -> Option<LocalRbf> {
    match option.split_once('=') {
        None => {
            let mut kernels = Kernel::ALL.into_iter();
            let kernel = kernels.find(|k| !k.has_shape() && k.to_string() == option)?;
            Some(LocalRbf {
                kernel,
                degree: None,
                ..local
            })
        }
        Some(("neighbours", value)) => {
            let neighbours = value.parse().ok().filter(|n| *n >= 1)?;
            Some(LocalRbf {
                neighbours,
                ..local
            })
        }
        Some(("degree", value)) => {
            let allowed = local.kernel.least_degree()..=2;
            let degree = value.parse().ok().filter(|d| allowed.contains(d));
            degree.map(|degree| LocalRbf {
                degree: Some(degree),
                ..local
            })
        }
        _ => None,
    }
}

/// Their words as options.
const SMOOTHNESS: [(&str, Smoothness); 3] = [
    ("matern32", Smoothness::Matern32),
    ("matern52", Smoothness::Matern52),
    ("squared-exponential", Smoothness::SquaredExponential),
];

fn kriging_option(kriging: Kriging, option: &str) -> Option<Kriging> {
    match option.split_once('=') {
        None if option == "leave-one-out" => Some(Kriging {
            by: Estimate::LeaveOneOut,
            ..kriging
        }),
        None => {
            let (_, smoothness) = SMOOTHNESS.iter().find(|(word, _)| *word == option)?;
            Some(Kriging {
                smoothness: *smoothness,
                ..kriging
            })
        }
        Some(("length", value)) => {
            let length = value.parse().ok();
            let length = length.filter(|l: &f64| l.is_finite() && *l > 0.0)?;
            Some(Kriging {
                length: Some(length),
                ..kriging
            })
        }
        Some(("degree", value)) => {
            let degree = value.parse().ok().filter(|d| (-1..=2).contains(d))?;
            Some(Kriging { degree, ..kriging })
        }
        _ => None,
    }
}

fn lattice_option(lattice: LatticeRegression, option: &str) -> Option<LatticeRegression> {
    let with_penalty = |penalty| Some(LatticeRegression { penalty, ..lattice });
    match option.split_once('=') {
        None if option == "hessian" => with_penalty(Penalty::Hessian),
        None if option == "laplacian" => with_penalty(Penalty::Laplacian),
        Some(("nodes", value)) => {
            let nodes = value.parse().ok();
            let nodes = nodes.filter(|n| LatticeRegression::NODES.contains(n))?;
            Some(LatticeRegression { nodes, ..lattice })
        }
        _ => None,
    }
}

/// The name, and the options that are not the usual ones.
impl fmt::Display for Scheme {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (name, options) = match self {
            Self::Nearest => ("nearest", Vec::new()),
            Self::Shepard => ("shepard", Vec::new()),
            Self::DelaunayLinear => ("delaunay-linear", Vec::new()),
            Self::NaturalNeighbour => ("natural-neighbour", Vec::new()),
            Self::QuadraticShepard => ("quadratic-shepard", Vec::new()),
            Self::MovingLeastSquares(moving) => ("moving-least-squares", moving_spec(*moving)),
            Self::Rbf(rbf) => rbf_spec(rbf),
            Self::RbfLocal(local) => ("rbf-local", local_spec(local)),
            Self::Kriging(k) if k.anova => ("kriging-anova", kriging_spec(k)),
            Self::Kriging(k) => ("kriging", kriging_spec(k)),
            Self::LatticeRegression(l) => ("lattice-regression", lattice_spec(l)),
        };
        if options.is_empty() {
            f.pad(name)
        } else {
            f.pad(&format!("{name}:{}", options.join(",")))
        }
    }
}

fn rbf_spec(rbf: &Rbf) -> (&'static str, Vec<String>) {
    let mut options = Vec::new();
    let named = RADIAL.iter().find(|(_, kernel)| *kernel == rbf.kernel);
    let name = match (named, rbf.kernel) {
        (Some((name, _)), _) => name,
        (None, Kernel::WendlandC4) => {
            options.push("c4".to_owned());
            "rbf-wendland"
        }
        // The Matérn kernels have no radial name: no spec gives them.
        (None, _) => "rbf",
    };
    options.extend(rbf.shape.map(|shape| format!("shape={shape}")));
    options.extend(rbf.degree.map(|degree| format!("degree={degree}")));
    (name, options)
}

fn moving_spec(moving: MovingLeastSquares) -> Vec<String> {
    let unusual = moving != MovingLeastSquares::DEFAULT;
    let option = unusual.then(|| format!("degree={}", moving.degree));
    option.into_iter().collect()
}

fn local_spec(local: &LocalRbf) -> Vec<String> {
    let usual = LocalRbf::DEFAULT;
    let mut options = Vec::new();
    if local.kernel != usual.kernel {
        options.push(local.kernel.to_string());
    }
    if local.neighbours != usual.neighbours {
        options.push(format!("neighbours={}", local.neighbours));
    }
    options.extend(local.degree.map(|degree| format!("degree={degree}")));
    options
}

fn kriging_spec(kriging: &Kriging) -> Vec<String> {
    let usual = Kriging::DEFAULT;
    let mut options = Vec::new();
    if kriging.smoothness != usual.smoothness {
        let word = SMOOTHNESS.iter().find(|(_, s)| *s == kriging.smoothness);
        options.extend(word.map(|(word, _)| (*word).to_owned()));
    }
    if kriging.by == Estimate::LeaveOneOut {
        options.push("leave-one-out".to_owned());
    }
    options.extend(kriging.length.map(|length| format!("length={length}")));
    if kriging.degree != usual.degree {
        options.push(format!("degree={}", kriging.degree));
    }
    options
}

fn lattice_spec(lattice: &LatticeRegression) -> Vec<String> {
    let mut options = Vec::new();
    if lattice.penalty == Penalty::Laplacian {
        options.push("laplacian".to_owned());
    }
    if lattice.nodes != LatticeRegression::DEFAULT.nodes {
        options.push(format!("nodes={}", lattice.nodes));
    }
    options
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn specs_round_trip_and_the_message_lists_all_names() {
        let message = "spline".parse::<Scheme>().unwrap_err().to_string();
        for spec in Scheme::SPECS {
            let scheme: Scheme = spec.parse().unwrap();
            assert_eq!(scheme.to_string(), spec);
            let name = spec.split(':').next().unwrap();
            assert!(message.contains(name), "{message}");
        }
    }

    #[test]
    fn options_round_trip() {
        for spec in [
            "rbf-gaussian:shape=6",
            "rbf-cubic:degree=2",
            "rbf-wendland:c4,shape=0.5,degree=0",
            "rbf-local:cubic,neighbours=30,degree=2",
            "kriging:matern32,leave-one-out,length=0.4,degree=1",
            "kriging-anova:squared-exponential,degree=-1",
            "lattice-regression:laplacian,nodes=9",
        ] {
            assert_eq!(spec.parse::<Scheme>().unwrap().to_string(), spec);
        }
    }

    #[test]
    fn options_that_do_not_fit_are_named() {
        for spec in [
            "nearest:2",
            "moving-least-squares:degree=3",
            "rbf-cubic:shape=2",
            "rbf-cubic:degree=0",
            "rbf-gaussian:shape=-1",
            "rbf-gaussian:shape=inf",
            "rbf-wendland:c6",
            "rbf-local:gaussian",
            "rbf-local:neighbours=0",
            "kriging:length=0",
            "kriging-anova:degree=3",
            "lattice-regression:nodes=1",
        ] {
            let error = spec.parse::<Scheme>().unwrap_err().to_string();
            let option = spec.split(':').next_back().unwrap();
            assert!(
                error.contains(option) && error.contains("it takes"),
                "{error}"
            );
        }
    }
}
