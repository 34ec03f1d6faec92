//! The reader of the Common LUT Format never panics, and what it reads survives being written and read again.
#![no_main]

use std::path::Path;

use evenstep_lut::Correction;
use evenstep_lut::format::clf;
use evenstep_lut::process::Operation;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let path = Path::new("fuzz.clf");
    let Ok((list, _)) = clf::parse(bytes, path) else {
        return;
    };
    for signal in [[0.0; 3], [0.3, 0.6, 0.9], [-2.0, f64::NAN, f64::INFINITY]] {
        assert!(list.drive(signal).iter().all(|v| v.is_finite()));
    }
    // Each input map is written as 65536 rows, too slow to do twice for many; the target `convert` does it.
    if list.nodes.iter().any(|n| matches!(n.operation, Operation::MappedCurves(_))) {
        return;
    }
    let mut once = Vec::new();
    clf::write_list_to(&list, None, &mut once).expect("what was read can be written");
    let (back, _) = clf::parse(&once, path).expect("what was written is read");
    let mut twice = Vec::new();
    clf::write_list_to(&back, None, &mut twice).expect("what was read can be written");
    // Text, because raw half-float tables hold NaN, which equals nothing.
    assert!(once == twice, "written and read, it is another");
});
