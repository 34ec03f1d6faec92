//! Reading a cube file and sampling its lattice.

use std::hint::black_box;
use std::path::Path;

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use evenstep_lut::format::cube;
use evenstep_lut::{Evaluation, Lut, Lut3d};

const QUERIES: usize = 100_000;

/// A lattice whose values have many digits, as those of a real correction do.
fn lut(size: usize) -> Lut {
    Lut::from(Lut3d::from_fn(size, |[r, g, b]| {
        [r.powf(1.1), 0.9 * g + 0.05 * b, b.powf(0.95)]
    }))
}

/// The same well-spread signals on every run and machine: the additive recurrence of the three-dimensional golden
/// ratio (1.2207…, the root of x⁴ = x + 1).
fn signals() -> Vec<[f64; 3]> {
    let step = [0.819_172_513_396, 0.671_043_606_704, 0.549_700_477_901];
    (1..=QUERIES)
        .map(|i| step.map(|s| (s * i as f64).fract()))
        .collect()
}

fn read(c: &mut Criterion) {
    let mut text = Vec::new();
    cube::write_to(&lut(65), &mut text).expect("a finite lattice fits the format");
    let mut group = c.benchmark_group("read");
    group
        .sample_size(20)
        .throughput(Throughput::Bytes(text.len() as u64));
    group.bench_function("65", |b| {
        b.iter(|| {
            cube::parse(black_box(&text), Path::new("bench.cube")).expect("it was written by us")
        });
    });
    group.finish();
}

fn sample(c: &mut Criterion) {
    let signals = signals();
    let mut group = c.benchmark_group("sample");
    group.throughput(Throughput::Elements(QUERIES as u64));
    for size in [33, 65] {
        let lut = lut(size);
        for how in [Evaluation::Trilinear, Evaluation::Tetrahedral] {
            group.bench_function(BenchmarkId::new(how.to_string(), size), |b| {
                b.iter(|| {
                    for &signal in &signals {
                        black_box(lut.sample(signal, how));
                    }
                });
            });
        }
    }
    group.finish();
}

criterion_group!(benches, read, sample);
criterion_main!(benches);
