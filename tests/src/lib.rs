//! Tests of the workspace as a whole: `layering/` for its rules, `peers/` for comparisons with other programs.
