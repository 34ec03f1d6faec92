//! Whole audits: of a LUT alone, and on the simulated panel.

use std::hint::black_box;

use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};
use evenstep_audit::{AuditOptions, PanelContext, ReadingFacts, Subject, audit};
use evenstep_colour::{Chromaticity, Primaries};
use evenstep_display::{PanelModel, SimulatedPanel, Target, Transfer};
use evenstep_lut::{Evaluation, Lut, Lut3d};

fn audits(c: &mut Criterion) {
    let panel = SimulatedPanel::wrgb();
    let target = Target::new(
        Primaries::BT709,
        Transfer::Bt1886,
        Chromaticity::D65,
        120.0,
        panel.xyz([0.0; 3]),
    );
    let identity = Lut::from(Lut3d::identity(17));
    // Any correction serves to be held against; that of a fit belongs to a layer that audits do not see.
    let base = identity.evaluated(Evaluation::Tetrahedral);
    let context = PanelContext {
        panel: &panel,
        target: &target,
        base: &base,
        reachable: &|_| true,
        facts: ReadingFacts {
            neutral_levels: 21,
            interior: 47,
        },
    };
    let options = AuditOptions::default();
    let mut group = c.benchmark_group("audit");
    group.sample_size(20);
    for size in [33, 65] {
        let lut = Lut::from(Lut3d::from_fn(size, |s| s.map(|v| v.powf(1.05))));
        let correction = lut.evaluated(Evaluation::Tetrahedral);
        let subject = Subject::of_lut(&correction, &lut);
        for (name, panel) in [("alone", None), ("on-panel", Some(&context))] {
            group.bench_function(BenchmarkId::new(name, size), |b| {
                b.iter(|| audit(black_box(&subject), &options, panel));
            });
        }
    }
    group.finish();
}

criterion_group!(benches, audits);
criterion_main!(benches);
