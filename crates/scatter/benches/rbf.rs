//! Fitting and evaluating radial interpolants.
//!
//! Throughput of the evaluation groups is in centre–point pairs.

use std::hint::black_box;

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use evenstep_scatter::{Interpolant, Kernel, Rbf, Sites};

const CENTRES: usize = 1000;
const POINTS: usize = 4096;

/// The same well-spread points on every run and machine: the additive recurrence of the
/// three-dimensional golden ratio (1.2207…, the root of x⁴ = x + 1).
fn spread(count: usize, offset: f64) -> Vec<[f64; 3]> {
    let step = [0.819_172_513_396, 0.671_043_606_704, 0.549_700_477_901];
    (0..count)
        .map(|i| step.map(|s| (offset + s * (i + 1) as f64).fract()))
        .collect()
}

fn values(sites: &[[f64; 3]]) -> Vec<[f64; 3]> {
    sites
        .iter()
        .map(|[x, y, z]| [(3.0 * x + y).sin(), (4.0 * y * z).cos(), (x - z).exp()])
        .collect()
}

fn fit(c: &mut Criterion) {
    let mut group = c.benchmark_group("fit");
    group.sample_size(10);
    for n in [101, 1000] {
        let sites = spread(n, 0.0);
        let values = values(&sites);
        for kernel in Kernel::ALL {
            group.bench_function(BenchmarkId::new(kernel.to_string(), n), |b| {
                b.iter(|| Rbf::new(kernel).fit(black_box(Sites::new(&sites, &values)), 0.0));
            });
        }
    }
    group.finish();
}

fn eval(c: &mut Criterion) {
    let (sites, points) = (spread(CENTRES, 0.0), spread(POINTS, 0.37));
    let values = values(&sites);
    for gradient in [false, true] {
        let mut group = c.benchmark_group(if gradient {
            "eval-with-gradient"
        } else {
            "eval"
        });
        group
            .sample_size(20)
            .throughput(Throughput::Elements((CENTRES * POINTS) as u64));
        for kernel in Kernel::ALL {
            let fitted = Rbf::new(kernel)
                .fit(Sites::new(&sites, &values), 0.0)
                .expect("distinct sites");
            group.bench_function(kernel.to_string(), |b| {
                b.iter(|| {
                    for &at in &points {
                        if gradient {
                            black_box(fitted.eval_with_gradient(at));
                        } else {
                            black_box(fitted.eval(at));
                        }
                    }
                });
            });
        }
        group.finish();
    }
}

criterion_group!(benches, fit, eval);
criterion_main!(benches);
