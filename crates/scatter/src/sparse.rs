//! Cholesky factors of sparse symmetric matrices.

use std::collections::BTreeMap;

use faer::dyn_stack::{MemBuffer, MemStack};
use faer::sparse::linalg::SymbolicSupernodalParams;
use faer::sparse::linalg::cholesky::{
    CholeskySymbolicParams, LltRef, SymbolicCholesky, SymmetricOrdering,
    factorize_symbolic_cholesky,
};
use faer::sparse::{SparseColMat, Triplet};
use faer::{Conj, Mat, MatRef, Par, Side};
use rayon::prelude::*;

/// Right sides solved together, whatever the number of threads.
const SIDES: usize = 16;

/// Entries on and below the diagonal, added up where they are given twice, in the order of giving.
#[derive(Clone, Debug, Default)]
pub(crate) struct Symmetric(BTreeMap<(usize, usize), f64>);

impl Symmetric {
    /// Adds to entry (i, j) and with it to (j, i).
    pub(crate) fn add(&mut self, i: usize, j: usize, value: f64) {
        // By columns, as the factorisation wants them.
        *self.0.entry((i.min(j), i.max(j))).or_default() += value;
    }

    /// The same with every entry multiplied.
    pub(crate) fn scaled(&self, factor: f64) -> Self {
        Self(self.0.iter().map(|(at, v)| (*at, v * factor)).collect())
    }

    /// The entries of another added.
    pub(crate) fn plus(mut self, other: &Self) -> Self {
        for ((i, j), value) in &other.0 {
            self.add(*i, *j, *value);
        }
        self
    }
}

/// P A Pᵀ = L Lᵀ with an ordering that keeps L sparse.
pub(crate) struct SparseCholesky {
    symbolic: SymbolicCholesky<usize>,
    values: Vec<f64>,
}

impl SparseCholesky {
    /// Factors an n × n matrix; `None` where it is not positive definite to double precision.
    pub(crate) fn new(n: usize, matrix: &Symmetric) -> Option<Self> {
        let triplets: Vec<Triplet<usize, usize, f64>> = (matrix.0.iter())
            .map(|((column, row), value)| Triplet::new(*row, *column, *value))
            .collect();
        let lower = SparseColMat::try_new_from_triplets(n, n, &triplets).ok()?;
        let symbolic = factorize_symbolic_cholesky(
            lower.symbolic(),
            Side::Lower,
            SymmetricOrdering::Amd,
            CholeskySymbolicParams {
                supernodal_params: SymbolicSupernodalParams::default(),
                ..Default::default()
            },
        )
        .ok()?;
        let mut values = vec![0.0; symbolic.len_val()];
        // One thread: a split would decide the last bits.
        let scratch = symbolic.factorize_numeric_llt_scratch::<f64>(Par::Seq, Default::default());
        symbolic
            .factorize_numeric_llt(
                &mut values,
                lower.as_ref(),
                Side::Lower,
                Default::default(),
                Par::Seq,
                MemStack::new(&mut MemBuffer::new(scratch)),
                Default::default(),
            )
            .ok()?;
        Some(Self { symbolic, values })
    }

    /// A⁻¹ B; columns in parallel.
    pub(crate) fn solve(&self, b: MatRef<'_, f64>) -> Mat<f64> {
        let mut x = b.to_owned();
        x.as_mut()
            .par_col_chunks_mut(SIDES)
            .for_each(|mut columns| {
                let factor = LltRef::new(&self.symbolic, &self.values);
                let scratch = self
                    .symbolic
                    .solve_in_place_scratch::<f64>(columns.ncols(), Par::Seq);
                factor.solve_in_place_with_conj(
                    Conj::No,
                    columns.as_mut(),
                    Par::Seq,
                    MemStack::new(&mut MemBuffer::new(scratch)),
                );
            });
        x
    }
}
