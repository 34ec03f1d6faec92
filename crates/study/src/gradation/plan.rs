use evenstep_display::SimulatedPanel;

use super::{Condition, Contender, GradationCase};

/// Numbers of patches of the table.
pub const PATCHES: [usize; 4] = [101, 200, 343, 1000];
/// Seeds of the table.
pub const SEEDS: u64 = 10;
/// Seeds of its rough readings. Our choice: a third of the table, for its time.
const ROUGH_SEEDS: u64 = 3;
/// Seeds of its dense readings, which differ little from seed to seed. Our choice: each takes half a minute.
const DENSE_SEEDS: u64 = 3;

/// The cases of the table: every panel, number of patches and seed, rough readings of the same for the first seeds, dense
/// readings of each panel for the first seeds, and the panel itself once.
///
/// Dense readings come last, since each takes longer than everything else of its panel and seed.
#[must_use]
pub fn gradation_plan(panels: &[String], patches: &[usize], seeds: u64) -> Vec<GradationCase> {
    let case = |panel: &String, patches, condition, seed, contenders: &[Contender]| GradationCase {
        panel: panel.clone(),
        patches,
        condition,
        seed,
        contenders: contenders.to_vec(),
    };
    let own = [
        Contender::BaseOnly,
        Contender::ThinPlate,
        Contender::Pointwise,
        Contender::Gradation,
    ];
    let truth = panels
        .iter()
        .map(|p| case(p, 0, Condition::Ordinary, 0, &[Contender::TrueInverse]));
    let mut cases: Vec<GradationCase> = truth.collect();
    for panel in panels {
        for &count in patches {
            for seed in 1..=seeds {
                cases.push(case(panel, count, Condition::Ordinary, seed, &own));
                if seed <= ROUGH_SEEDS {
                    let rough = [Contender::Gradation];
                    cases.push(case(panel, count, Condition::Rough, seed, &rough));
                }
            }
        }
    }
    for panel in panels {
        for seed in 1..=seeds.min(DENSE_SEEDS) {
            let dense = [Contender::Dense];
            cases.push(case(
                panel,
                super::DENSE.pow(3),
                Condition::Ordinary,
                seed,
                &dense,
            ));
        }
    }
    cases
}

/// Names of all simulated panels.
#[must_use]
pub fn all_panels() -> Vec<String> {
    SimulatedPanel::NAMES.map(str::to_owned).to_vec()
}
