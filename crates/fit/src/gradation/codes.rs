use std::collections::HashMap;
use std::slice;

use evenstep_lut::tetrahedron_volumes;
use evenstep_solve::{Chain, Grid, broken, chains};

/// A determinant below this is a fold, the identity's being 1 (method, section 6).
const FOLDED: f64 = -1e-6;

/// Node values as whole codes, changed one at a time, with what must stay true of them.
pub(super) struct Codes {
    pub(super) grid: Grid,
    pub(super) values: Vec<[u32; 3]>,
    /// The largest code.
    pub(super) largest: u32,
    chains: Vec<Chain>,
    /// Chains that a node is a link of.
    holding: HashMap<usize, Vec<usize>>,
}

impl Codes {
    pub(super) fn new(grid: Grid, values: Vec<[u32; 3]>, bits: u8) -> Self {
        let chains = chains(grid);
        let mut holding: HashMap<usize, Vec<usize>> = HashMap::new();
        for (i, chain) in chains.iter().enumerate() {
            for node in chain.links.iter().flatten() {
                holding.entry(*node).or_default().push(i);
            }
        }
        Self {
            grid,
            values,
            largest: (1 << bits) - 1,
            chains,
            holding,
        }
    }

    /// The code of a channel of a node, moved by a step as far as codes go.
    pub(super) fn stepped(&self, node: usize, channel: usize, step: i64) -> u32 {
        let own = i64::from(self.values[node][channel]);
        (own + step).clamp(0, i64::from(self.largest)) as u32
    }

    /// Whether the conditions of the ramps that a channel of a node takes part in hold.
    pub(super) fn rise(&self, node: usize, channel: usize) -> bool {
        self.holding.get(&node).is_none_or(|own| {
            let own = own.iter().map(|i| &self.chains[*i]);
            own.filter(|chain| chain.channel == channel)
                .all(|chain| broken(slice::from_ref(chain), &self.values).is_empty())
        })
    }

    /// Corner `i` of a cell, bit 0 of `i` along red.
    pub(super) fn corner(&self, cell: usize, i: usize) -> usize {
        let strides = self.grid.strides();
        cell + (0..3).map(|a| (i >> a & 1) * strides[a]).sum::<usize>()
    }

    /// All cells, by their lowest node.
    pub(super) fn cells(&self) -> impl Iterator<Item = usize> + '_ {
        let n = self.grid.size();
        (0..self.grid.count()).filter(move |i| self.grid.at(*i).iter().all(|k| k + 1 < n))
    }

    /// Cells that a node is a corner of.
    pub(super) fn around(&self, node: usize) -> Vec<usize> {
        let (at, n, strides) = (self.grid.at(node), self.grid.size(), self.grid.strides());
        let within = |i: &usize| {
            (0..3).all(|a| match i >> a & 1 {
                1 => at[a] > 0,
                _ => at[a] + 1 < n,
            })
        };
        let cells = (0..8_usize).filter(within);
        cells
            .map(|i| node - (0..3).map(|a| (i >> a & 1) * strides[a]).sum::<usize>())
            .collect()
    }

    fn volumes(&self, cell: usize) -> [f64; 6] {
        let steps = (self.grid.size() - 1) as f64;
        let scale = (steps / f64::from(self.largest)).powi(3);
        let at = std::array::from_fn(|i| self.values[self.corner(cell, i)].map(f64::from));
        tetrahedron_volumes(&at).map(|v| v * scale)
    }

    /// Folded tetrahedra of a cell.
    pub(super) fn folded(&self, cell: usize) -> usize {
        self.volumes(cell).iter().filter(|v| **v < FOLDED).count()
    }

    /// How deep its tetrahedra are folded: a measure that shrinks while they unfold.
    pub(super) fn depth(&self, cell: usize) -> f64 {
        self.volumes(cell)
            .iter()
            .map(|v| (FOLDED - v).max(0.0))
            .sum()
    }
}
