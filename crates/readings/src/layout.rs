use crate::patch::{Patch, Readings};

impl Readings {
    /// Rows for a file from which the same patches come back, `order` included: each patch's first reading at
    /// its place, the repeats in the gaps between.
    ///
    /// Patches do not keep the place of a repeat, so repeats of different patches may change places with each
    /// other.
    pub(crate) fn rows(&self) -> Vec<(&Patch, usize)> {
        let mut firsts: Vec<&Patch> = self.patches.iter().collect();
        firsts.sort_by_key(|p| p.order);
        let total = self.patches.iter().map(|p| p.repeats.len()).sum();
        let mut rows: Vec<(&Patch, usize)> = Vec::with_capacity(total);
        let mut firsts = firsts
            .into_iter()
            .filter(|p| !p.repeats.is_empty())
            .peekable();
        let mut waiting = std::collections::VecDeque::new();
        while rows.len() < total {
            let due = firsts.next_if(|p| p.order <= rows.len() || waiting.is_empty());
            if let Some(patch) = due {
                rows.push((patch, 0));
                waiting.extend((1..patch.repeats.len()).map(|k| (patch, k)));
            } else if let Some(row) = waiting.pop_front() {
                rows.push(row);
            } else {
                break;
            }
        }
        rows
    }
}
