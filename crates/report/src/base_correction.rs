use evenstep_fit::CurvesAndMatrix;
use serde::Serialize;

use crate::json::pretty;

/// Name and version of the JSON beside the curves of a base correction.
pub const BASE_CORRECTION_SCHEMA: &str = "evenstep/base-correction/1";

#[derive(Serialize)]
struct Stage {
    stage: &'static str,
    file: &'static str,
    meaning: &'static str,
}

#[derive(Serialize)]
struct Document {
    schema: &'static str,
    meaning: &'static str,
    order: [Stage; 3],
    matrix: [[f64; 3]; 3],
    offset: [f64; 3],
    alternative: Stage,
}

/// The matrix and offset of a base correction, with the order of its stages and the files `before.cube`,
/// `after.cube` and `grey.cube` that hold its curves.
///
/// Schema [`BASE_CORRECTION_SCHEMA`]; rows of the matrix are R, G and B of the panel.
#[must_use]
pub fn base_correction_json(stages: &CurvesAndMatrix) -> String {
    pretty(&Document {
        schema: BASE_CORRECTION_SCHEMA,
        meaning: "drive = after(matrix * before(signal) + offset), clipped to 0..1 before the last curve; \
                  signal and drive run from 0 (black) to 1 (white)",
        order: [
            Stage {
                stage: "before",
                file: "before.cube",
                meaning: "per channel: signal to the target's light above black, 1 at white",
            },
            Stage {
                stage: "matrix",
                file: "matrix.json",
                meaning: "rows are R, G, B of the panel: target light to the light of each channel, 1 at full drive; \
                          the offset is added after it",
            },
            Stage {
                stage: "after",
                file: "after.cube",
                meaning: "per channel: light to drive",
            },
        ],
        matrix: [0, 1, 2].map(|row| [0, 1, 2].map(|column| stages.matrix[(row, column)])),
        offset: [0, 1, 2].map(|row| stages.offset[row]),
        alternative: Stage {
            stage: "grey",
            file: "grey.cube",
            meaning: "per channel: signal to drive along the neutral axis, for a panel that takes curves alone; \
                      in place of the three stages",
        },
    })
}
