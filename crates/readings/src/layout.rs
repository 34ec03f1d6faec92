use crate::patch::{Patch, Readings};

impl Readings {
    /// Rows for a file from which the same patches come back: every reading, in the order in which they were taken.
    /// A repeat whose place is not known follows the first reading of its patch.
    pub(crate) fn rows(&self) -> Vec<(&Patch, usize)> {
        let placed = |patch: &Patch, repeat: usize| match repeat {
            0 => patch.order,
            _ => patch.later.get(repeat - 1).copied().unwrap_or(patch.order),
        };
        let all = self.patches.iter();
        let mut rows: Vec<(&Patch, usize)> = all
            .flat_map(|patch| (0..patch.repeats.len()).map(move |k| (patch, k)))
            .collect();
        rows.sort_by_key(|(patch, repeat)| placed(patch, *repeat));
        rows
    }
}
