//! Bounds on what is read. Rows, columns and line length are those of the project's reference on measurement
//! formats; the others are our choice: they hold the largest number of rows at 128 bytes, 8 cells and 4 lines each,
//! and keep what a hostile file can take in memory below a gigabyte.

/// Rows of data, all sections together.
pub(crate) const MAX_ROWS: usize = 1 << 20;
/// Columns of one table.
pub(crate) const MAX_COLUMNS: usize = 4096;
/// Bytes in one line.
pub(crate) const MAX_LINE_BYTES: usize = 1 << 20;
/// Bytes in one file.
pub(crate) const MAX_FILE_BYTES: usize = 128 * MAX_ROWS;
/// Cells of CGATS data in one file.
pub(crate) const MAX_CELLS: usize = 8 * MAX_ROWS;
/// Lines in one file.
pub(crate) const MAX_LINES: usize = 4 * MAX_ROWS;
