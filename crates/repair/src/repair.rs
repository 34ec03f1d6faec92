use evenstep_audit::{AuditOptions, AuditReport, PanelContext, Subject, audit};
use evenstep_display::PanelModel;
use evenstep_lut::{Lut, Lut3d};
use evenstep_solve::Grid;

use crate::cost::{Cost, cost};
use crate::error::RepairError;
use crate::fault::{Fault, Found, grouped};
use crate::nominal::NominalPanel;
use crate::search::{Search, scale_of};
use crate::smooth::{LAST_LEVEL, Smoother, raise};

/// Attempts in one pass: enough to take the first nodes, and those they take along, through all levels.
const ATTEMPTS: usize = 2 * LAST_LEVEL as usize;

/// Shares of the largest change under which nodes are put back as they were, tried in this order.
///
/// Our choice: a few tries that put back much before a few that put back little.
const PUT_BACK: [f64; 4] = [0.6, 0.4, 0.2, 0.1];

/// What a repair found, did and left.
#[derive(Clone, Debug, PartialEq)]
pub struct RepairReport {
    /// Faults of the LUT given.
    pub faults_before: Vec<Fault>,
    /// Faults that could not be removed.
    pub faults_after: Vec<Fault>,
    /// Places that look like faults and are kept: clips, and folds at clipped nodes, while the panel is unknown; what
    /// lies outside the lattice's domain.
    pub kept: usize,
    /// Nodes of the lattice.
    pub nodes: usize,
    /// Nodes whose value changed.
    pub nodes_changed: usize,
    /// What the change costs in colour.
    pub cost: Cost,
    /// Audit of the LUT given.
    pub audit_before: AuditReport,
    /// Audit of the repaired LUT.
    pub audit_after: AuditReport,
}

/// A repaired LUT and how it came about.
#[derive(Clone, Debug)]
pub struct Repaired {
    /// The LUT given with other values of its lattice, or the very same.
    pub lut: Lut,
    /// What was found, did and left.
    pub report: RepairReport,
}

/// Removes the faults of a LUT with a small change of colour.
///
/// Reversals, plateaus, stair-steps and folds are removed, on a known panel collapses and neutral tint too; all other
/// nodes keep their bits, a LUT without faults all of them. Values stay within 0 to 1 where those given do. A repaired
/// LUT is left alone by a second repair, also where faults remain. `panel` names the panel of `context` in the report;
/// without one, changes are weighed on [`NominalPanel`].
///
/// The method is in `docs/methods/repair.md`.
///
/// # Errors
/// [`RepairError::NoLattice`].
pub fn repair(
    lut: &Lut,
    options: &AuditOptions,
    context: Option<&PanelContext>,
    panel: &str,
) -> Result<Repaired, RepairError> {
    let before = lut.lattice.as_ref().ok_or(RepairError::NoLattice)?;
    let search = Search::new(lut, before, options, context);
    let nominal = NominalPanel::default();
    let (seen_on, name): (&dyn PanelModel, &str) = match context {
        Some(context) => (context.panel, panel),
        None => (&nominal, NominalPanel::NAME),
    };
    let smoother = Smoother {
        panel: seen_on,
        scale: scale_of(options),
        base: search.base.as_deref(),
    };
    let first = search.faults(lut, before);
    let (kept, faults_before) = (first.kept, grouped(&first.found));

    // Every pass looks at nothing but the LUT it is given, and is kept only if it leaves fewer faults. So the passes end,
    // and a second repair starts with the pass that was not kept.
    let mut state = State {
        lut: lut.clone(),
        found: first.found,
    };
    while !state.found.is_empty() {
        match pass(&search, &smoother, &state) {
            Some(better) => state = better,
            None => break,
        }
    }

    let State { lut: mended, found } = state;
    let after = mended.lattice.as_ref().ok_or(RepairError::NoLattice)?;
    let bits = |v: &[f64; 3]| v.map(f64::to_bits);
    let pairs = before.nodes().iter().zip(after.nodes());
    let audited = |lut: &Lut| {
        let correction = lut.evaluated(options.evaluation);
        audit(&Subject::of_lut(&correction, lut), options, context)
    };
    let audit_before = audited(lut);
    let nodes_changed = pairs.filter(|(a, b)| bits(a) != bits(b)).count();
    let report = RepairReport {
        faults_before,
        faults_after: grouped(&found),
        kept,
        nodes: before.nodes().len(),
        nodes_changed,
        cost: cost(
            seen_on,
            name,
            scale_of(options),
            options.evaluation,
            [before, after],
        ),
        audit_after: if nodes_changed == 0 {
            audit_before.clone()
        } else {
            audited(&mended)
        },
        audit_before,
    };
    Ok(Repaired {
        lut: mended,
        report,
    })
}

struct State {
    lut: Lut,
    found: Vec<Found>,
}

/// Smooths the faulty nodes, and with time their neighbours, ever more strongly until no fault is left; the attempt with
/// the fewest, if it has fewer than there were.
fn pass(search: &Search, smoother: &Smoother, start: &State) -> Option<State> {
    let lattice: &Lut3d = start.lut.lattice.as_ref()?;
    let grid = Grid::new(lattice.size());
    let mut levels = vec![0; grid.count()];
    let mut best: Option<State> = None;
    let mut left = start.found.clone();
    for _ in 0..ATTEMPTS {
        let faulty = left.iter().flat_map(|f| f.nodes.iter().copied());
        if !raise(grid, &mut levels, faulty) {
            break;
        }
        let moved = smoother.moved(lattice, &levels);
        let lut = Lut {
            lattice: Some(moved),
            ..start.lut.clone()
        };
        left = search.faults(&lut, lut.lattice.as_ref()?).found;
        let fewest = best.as_ref().map_or(start.found.len(), |b| b.found.len());
        if left.len() < fewest {
            best = Some(State {
                lut,
                found: left.clone(),
            });
        }
        if left.is_empty() {
            break;
        }
    }
    best.map(|best| trimmed(search, lattice, best))
}

/// A state without faults, with the nodes that moved least put back as they were, when it stays without faults.
///
/// Both ends of a falling step are smoothed, because which of them is wrong is not known before; where it turns out
/// that one moved far and the others hardly, the others need not have moved.
fn trimmed(search: &Search, before: &Lut3d, state: State) -> State {
    let Some(after) = state
        .lut
        .lattice
        .as_ref()
        .filter(|_| state.found.is_empty())
    else {
        return state;
    };
    let change = |i: usize| {
        let (a, b) = (before.nodes()[i], after.nodes()[i]);
        (0..3).map(|c| (a[c] - b[c]).abs()).fold(0.0, f64::max)
    };
    let changes: Vec<f64> = (0..before.nodes().len()).map(change).collect();
    let largest = changes.iter().copied().fold(0.0, f64::max);
    for share in PUT_BACK {
        let mut lattice = after.clone();
        for (i, node) in lattice.nodes_mut().iter_mut().enumerate() {
            if changes[i] < share * largest {
                *node = before.nodes()[i];
            }
        }
        let lut = Lut {
            lattice: Some(lattice),
            ..state.lut.clone()
        };
        let is_sound = lut
            .lattice
            .as_ref()
            .is_some_and(|lattice| search.faults(&lut, lattice).found.is_empty());
        if is_sound {
            return State {
                lut,
                found: Vec::new(),
            };
        }
    }
    state
}
