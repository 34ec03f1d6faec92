//! Cholesky factors of one dense system by the two crates at hand; OpenBLAS beside them is in
//! `tests/peers/speed_schemes.py`. For the decision in `docs/decisions/`.

use std::hint::black_box;

use criterion::{BatchSize, BenchmarkId, Criterion, criterion_group, criterion_main};
use faer::dyn_stack::{MemBuffer, MemStack};
use faer::linalg::cholesky::llt::factor::{cholesky_in_place, cholesky_in_place_scratch};
use faer::{Mat, Par};
use nalgebra::DMatrix;

/// 1/(1 + |i − j|) with a heavier diagonal: positive definite, no zeros.
fn entry(i: usize, j: usize) -> f64 {
    1.0 / (1.0 + i.abs_diff(j) as f64) + if i == j { 10.0 } else { 0.0 }
}

fn factor(mut matrix: Mat<f64>, par: Par) -> Mat<f64> {
    let scratch = cholesky_in_place_scratch::<f64>(matrix.nrows(), par, Default::default());
    let outcome = cholesky_in_place(
        matrix.as_mut(),
        Default::default(),
        par,
        MemStack::new(&mut MemBuffer::new(scratch)),
        Default::default(),
    );
    assert!(outcome.is_ok(), "the matrix is positive definite");
    matrix
}

fn dense(c: &mut Criterion) {
    let mut group = c.benchmark_group("cholesky");
    for n in [101, 500, 1000, 2000] {
        let ours = Mat::from_fn(n, n, entry);
        for (name, par) in [
            ("faer, 1 thread", Par::Seq),
            ("faer, split in 4", Par::rayon(4)),
        ] {
            group.bench_function(BenchmarkId::new(name, n), |b| {
                b.iter_batched(
                    || ours.clone(),
                    |m| black_box(factor(m, par)),
                    BatchSize::LargeInput,
                );
            });
        }
        if n <= 1000 {
            let theirs = DMatrix::from_fn(n, n, entry);
            group.bench_function(BenchmarkId::new("nalgebra", n), |b| {
                b.iter_batched(
                    || theirs.clone(),
                    |m| black_box(m.cholesky().map(|f| f.l_dirty().trace())),
                    BatchSize::LargeInput,
                );
            });
        }
    }
    group.finish();
}

criterion_group!(benches, dense);
criterion_main!(benches);
