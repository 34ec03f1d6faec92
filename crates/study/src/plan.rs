use evenstep_display::SimulatedPanel;
use evenstep_scatter::Scheme;
use serde::{Deserialize, Serialize};

use crate::{Case, Contender, ContenderError, FEWEST_PATCHES};

/// Every combination of its axes is a case.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Named", into = "Named")]
pub struct Grid {
    /// Schemes and marks.
    pub schemes: Vec<Contender>,
    /// Names of simulated panels.
    pub panels: Vec<String>,
    /// Numbers of patches.
    pub patches: Vec<usize>,
    /// Scales of the noise; 1 is that of [`evenstep_display::Disturbance`].
    pub noise: Vec<f64>,
    /// Seeds of the noise.
    pub seeds: Vec<u64>,
    /// Readings of displays; they make cases at noise 1 alone, since their noise is their own.
    pub readings: Vec<ReadingsId>,
}

/// Readings of a display as a plan names them: enough to refuse others, and nothing that needs the file.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ReadingsId {
    /// Name of the file without folder and ending.
    pub stem: String,
    /// SHA-256 of its bytes, in hexadecimal digits.
    pub sha256: String,
    /// Drive that stands for full, where it was given: the same bytes mean something else with another.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rgb_scale: Option<String>,
}

impl ReadingsId {
    /// Name of the panel in cases.
    #[must_use]
    pub fn panel(&self) -> String {
        format!("read:{}", self.stem)
    }
}

/// The cases of a study: the union of its grids.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Plan {
    /// The grids.
    pub grids: Vec<Grid>,
}

/// What is wrong with a plan.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PlanError {
    /// A plan without cases.
    #[error(
        "the plan has no case: give at least one scheme, panel, number of patches, noise and seed"
    )]
    Empty,
    /// A panel that is not simulated.
    #[error("no panel is called {found:?}; use one of {}", SimulatedPanel::NAMES.join(", "))]
    Panel {
        /// The name given.
        found: String,
    },
    /// Too few patches for the ramps every case reads.
    #[error("{found} patches: a case reads {FEWEST_PATCHES} at least")]
    TooFewPatches {
        /// The number given.
        found: usize,
    },
    /// Two sets of readings that cases could not tell apart.
    #[error("two files of readings are called {stem:?}: cases are named by it, so rename one")]
    SameStem {
        /// The name.
        stem: String,
    },
    /// Readings in a plan without noise 1.
    #[error(
        "readings of a display have a noise of their own, which counts as 1: add 1 to the noises"
    )]
    OwnNoise,
    /// Noise that is negative or no number.
    #[error("noise {found} must be a number from 0 up; 1 is the usual instrument")]
    Noise {
        /// The scale given.
        found: f64,
    },
}

/// Names of schemes whose cost grows little faster than the number of patches; the others solve one dense system.
const SCALING: [&str; 8] = [
    "nearest",
    "shepard",
    "quadratic-shepard",
    "delaunay-linear",
    "natural-neighbour",
    "moving-least-squares",
    "rbf-local",
    "lattice-regression",
];

/// What the noise of readings counts as.
const OWN_NOISE: f64 = 1.0;
/// The usual instrument, and one four times as noisy.
const NOISE: [f64; 2] = [1.0, 4.0];
const SEEDS: [u64; 3] = [1, 2, 3];
/// Patches of the 17³ set that schemes are usually asked to take at most.
const MANY: usize = 4913;

impl Plan {
    /// Names of the plans that [`by_name`](Self::by_name) knows.
    pub const NAMES: [&'static str; 2] = ["committed", "full"];

    /// The first grid of either has every scheme and panel.
    ///
    /// `committed`: every scheme on every panel from 50 to 1000 patches at two noises and three seeds, and 4913
    /// patches for those that scale. `full`: more of everything.
    #[must_use]
    pub fn by_name(name: &str) -> Option<Self> {
        match name {
            "committed" => Some(Self::committed()),
            "full" => Some(Self {
                grids: vec![Grid {
                    patches: vec![50, 75, 101, 150, 200, 343, 500, 729, 1000, 2197, MANY],
                    noise: vec![0.0, 0.5, 1.0, 2.0, 4.0],
                    seeds: (1..=10).collect(),
                    ..Self::main()
                }],
            }),
            _ => None,
        }
    }

    fn main() -> Grid {
        Grid {
            schemes: Contender::all(),
            panels: SimulatedPanel::NAMES.map(str::to_owned).to_vec(),
            patches: vec![50, 101, 200, 343, 1000],
            noise: NOISE.to_vec(),
            seeds: SEEDS.to_vec(),
            readings: Vec::new(),
        }
    }

    fn committed() -> Self {
        let scales = |scheme: &Scheme| {
            let spec = scheme.to_string();
            let name = spec.split(':').next().unwrap_or_default();
            SCALING.contains(&name)
        };
        let scaling = Scheme::all().into_iter().filter(scales);
        let marks = [Contender::BaseOnly, Contender::TrueInverse];
        let many = Grid {
            schemes: marks
                .into_iter()
                .chain(scaling.map(Contender::Scheme))
                .collect(),
            patches: vec![MANY],
            noise: vec![NOISE[0]],
            ..Self::main()
        };
        Self {
            grids: vec![Self::main(), many],
        }
    }

    /// The cases, each once, in the order of the grids: by panel, patches, scheme, noise and seed; simulated panels
    /// before displays.
    ///
    /// # Errors
    /// [`PlanError`] names what no case can be made of.
    pub fn cases(&self) -> Result<Vec<Case>, PlanError> {
        let mut cases: Vec<Case> = Vec::new();
        let mut known = std::collections::HashSet::new();
        for grid in &self.grids {
            grid.check()?;
            let simulated = grid.panels.iter().map(|name| (name.clone(), &*grid.noise));
            let displays = grid.readings.iter().map(|r| (r.panel(), &[OWN_NOISE][..]));
            for (panel, noises) in simulated.chain(displays) {
                for &patches in &grid.patches {
                    for &scheme in &grid.schemes {
                        for &noise in noises {
                            for &seed in &grid.seeds {
                                let case = Case {
                                    scheme,
                                    panel: panel.clone(),
                                    patches,
                                    noise,
                                    seed,
                                };
                                if known.insert(case.key()) {
                                    cases.push(case);
                                }
                            }
                        }
                    }
                }
            }
        }
        if cases.is_empty() {
            return Err(PlanError::Empty);
        }
        Ok(cases)
    }
}

impl Grid {
    fn check(&self) -> Result<(), PlanError> {
        let unknown = |name: &&String| SimulatedPanel::by_name(name).is_none();
        if let Some(found) = self.panels.iter().find(unknown) {
            return Err(PlanError::Panel {
                found: found.clone(),
            });
        }
        if let Some(&found) = self.patches.iter().find(|n| **n < FEWEST_PATCHES) {
            return Err(PlanError::TooFewPatches { found });
        }
        let wrong = |noise: &&f64| !(noise.is_finite() && **noise >= 0.0);
        if let Some(&found) = self.noise.iter().find(wrong) {
            return Err(PlanError::Noise { found });
        }
        for (i, one) in self.readings.iter().enumerate() {
            if self.readings[..i].iter().any(|r| r.stem == one.stem) {
                return Err(PlanError::SameStem {
                    stem: one.stem.clone(),
                });
            }
        }
        if !self.readings.is_empty() && !self.noise.contains(&OWN_NOISE) {
            return Err(PlanError::OwnNoise);
        }
        Ok(())
    }
}

/// A grid as files hold it: schemes by their names.
#[derive(Clone, Serialize, Deserialize)]
struct Named {
    schemes: Vec<String>,
    panels: Vec<String>,
    patches: Vec<usize>,
    noise: Vec<f64>,
    seeds: Vec<u64>,
    // Plans without readings are written as before there were any, so that their journals go on.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    readings: Vec<ReadingsId>,
}

impl From<Grid> for Named {
    fn from(grid: Grid) -> Self {
        Self {
            schemes: grid.schemes.iter().map(ToString::to_string).collect(),
            panels: grid.panels,
            patches: grid.patches,
            noise: grid.noise,
            seeds: grid.seeds,
            readings: grid.readings,
        }
    }
}

impl TryFrom<Named> for Grid {
    type Error = ContenderError;

    fn try_from(named: Named) -> Result<Self, ContenderError> {
        Ok(Self {
            schemes: named
                .schemes
                .iter()
                .map(|name| name.parse())
                .collect::<Result<_, _>>()?,
            panels: named.panels,
            patches: named.patches,
            noise: named.noise,
            seeds: named.seeds,
            readings: named.readings,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_committed_plan_holds_what_was_promised() {
        let cases = Plan::by_name("committed").unwrap().cases().unwrap();
        let has = |scheme: &str, patches| {
            let of = |c: &&Case| c.scheme.to_string() == scheme && c.patches == patches;
            cases.iter().filter(of).count()
        };
        // Five panels, two noises, three seeds; one noise where there are many patches.
        assert_eq!(has("rbf-linear", 1000), 30);
        assert_eq!(has("nearest", MANY), 15);
        assert_eq!(has("rbf-linear", MANY), 0);
        assert!(Plan::by_name("full").unwrap().cases().unwrap().len() > cases.len());
    }

    #[test]
    fn what_no_case_can_be_made_of_is_named() {
        let with = |change: &dyn Fn(&mut Grid)| {
            let mut grid = Plan::main();
            change(&mut grid);
            Plan { grids: vec![grid] }.cases().unwrap_err()
        };
        assert_eq!(with(&|g| g.seeds.clear()), PlanError::Empty);
        assert_eq!(
            with(&|g| g.patches.push(3)),
            PlanError::TooFewPatches { found: 3 }
        );
        let panel = with(&|g| g.panels.push("tube".to_owned())).to_string();
        assert!(panel.contains("tube") && panel.contains("wrgb"), "{panel}");
        assert_eq!(
            with(&|g| g.noise.push(-1.0)),
            PlanError::Noise { found: -1.0 }
        );
        let same = with(&|g| g.readings = vec![display(), display()]);
        assert_eq!(
            same,
            PlanError::SameStem {
                stem: "wall".to_owned()
            }
        );
        let other_noise = with(&|g| {
            g.readings.push(display());
            g.noise = vec![4.0];
        });
        assert_eq!(other_noise, PlanError::OwnNoise);
    }

    fn display() -> ReadingsId {
        ReadingsId {
            stem: "wall".to_owned(),
            sha256: "00".repeat(32),
            rgb_scale: None,
        }
    }

    /// Beside simulated panels at all noises, a display at its own.
    #[test]
    fn a_display_has_one_noise() {
        let grid = Grid {
            readings: vec![display()],
            panels: vec!["lcd".to_owned()],
            ..Plan::main()
        };
        let cases = Plan { grids: vec![grid] }.cases().unwrap();
        let of = |name: &str| cases.iter().filter(|c| c.panel == name).count();
        assert_eq!(of("lcd"), NOISE.len() * of("read:wall"));
        let displays = || cases.iter().filter(|c| c.panel == "read:wall");
        assert!(displays().count() > 0 && displays().all(|c| c.noise == 1.0));
    }
}
