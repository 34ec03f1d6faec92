//! Whole fits of a 33³ LUT to simulated readings: model choice, target, inversion, lattice.

use std::hint::black_box;
use std::path::Path;

use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};
use evenstep_display::{Disturbance, SimulatedPanel, simulate};
use evenstep_fit::{FitOptions, fit};
use evenstep_readings::{FullScale, PatchRequest, Readings, RgbScale, merged, parse_patches};

/// Levels a channel of the lattice that is added to the sparse list.
const LEVELS: usize = 10;

fn sparse() -> Vec<PatchRequest> {
    let text = include_bytes!("../../../examples/foyer/sparse-patches.csv");
    let one = RgbScale::Given(FullScale::One);
    let (patches, _) = parse_patches(text, Path::new("sparse-patches.csv"), one)
        .expect("a file of the repository");
    patches
}

fn lattice() -> impl Iterator<Item = PatchRequest> {
    let at = |i: usize| i as f64 / (LEVELS - 1) as f64;
    (0..LEVELS.pow(3)).map(move |i| PatchRequest {
        id: format!("L{i}"),
        drive: [
            at(i / (LEVELS * LEVELS)),
            at(i / LEVELS % LEVELS),
            at(i % LEVELS),
        ],
    })
}

fn readings(patches: &[PatchRequest]) -> Readings {
    let noisy = Disturbance {
        noise: 1.0,
        drift: 0.0,
        outliers: 0.0,
    };
    merged(simulate(&SimulatedPanel::wrgb(), patches, noisy, 1))
}

fn fits(c: &mut Criterion) {
    let mut dense = sparse();
    dense.extend(lattice());
    let mut group = c.benchmark_group("fit");
    group.sample_size(10);
    for patches in [sparse(), dense] {
        let readings = readings(&patches);
        // Anchors and corners are in both lists and count once.
        group.bench_function(BenchmarkId::new("33", readings.distinct()), |b| {
            b.iter(|| {
                fit(black_box(&readings), &FitOptions::default(), &|_, _| {})
                    .map(|fitted| fitted.lut)
                    .expect("the patches span the cube")
            });
        });
    }
    group.finish();
}

criterion_group!(benches, fits);
criterion_main!(benches);
