use std::collections::HashMap;

use crate::patch::{Patch, Reading, Readings};

/// Joins readings of the same drive into one patch each, wherever they stand; repeats keep their order.
#[must_use]
pub fn merged(sequence: Vec<Reading>) -> Readings {
    let mut patches: Vec<Patch> = Vec::new();
    let mut known: HashMap<[u64; 3], usize> = HashMap::new();
    for (order, reading) in sequence.into_iter().enumerate() {
        // Adding zero gives both zeros the same bits.
        let key = reading.drive.map(|v| (v + 0.0).to_bits());
        if let Some(at) = known.get(&key) {
            patches[*at].repeats.push(reading.xyz);
            patches[*at].later.push(order);
            continue;
        }
        known.insert(key, patches.len());
        patches.push(Patch {
            id: reading.id,
            drive: reading.drive,
            repeats: vec![reading.xyz],
            order,
            later: Vec::new(),
            doubt: 1.0,
        });
    }
    Readings { patches }
}
