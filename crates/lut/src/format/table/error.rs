use std::io;
use std::path::PathBuf;

use evenstep_files::Place;

/// Why an integer table was refused.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum TableError {
    /// The operating system could not read the file.
    #[error("{}: cannot read: {source}", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// The first line names no table.
    #[error(
        "{at}: expected \"EVENSTEP-TABLE 1\" as the first line, found {found:?}; this is not an integer table"
    )]
    NotATable {
        /// The line.
        at: Place,
        /// What stands there.
        found: String,
    },
    /// A line without end.
    #[error("{at}: the line is longer than {most} bytes; shorten it")]
    LongLine {
        /// The line.
        at: Place,
        /// The limit.
        most: usize,
    },
    /// Bytes that are not text.
    #[error("{at}: not UTF-8 text; the file is damaged")]
    NotText {
        /// The line.
        at: Place,
    },
    /// A word of the head that is not known, or a value it cannot have.
    #[error("{at}: expected {expected}, found {found:?}; correct the line")]
    Head {
        /// The line.
        at: Place,
        /// What may stand there.
        expected: &'static str,
        /// What does.
        found: String,
    },
    /// A word of the head given twice.
    #[error("{at}: {word} again; keep one of them")]
    Repeated {
        /// The line.
        at: Place,
        /// The word.
        word: &'static str,
    },
    /// A word of the head that must be there is not.
    #[error("{at}: no line {word} above the rows; add it")]
    Missing {
        /// Where the rows begin, or the end of the file.
        at: Place,
        /// The word.
        word: &'static str,
    },
    /// A row that is not three codes.
    #[error(
        "{at}: expected three whole numbers from 0 to {most}, found {found:?}; correct the row"
    )]
    Row {
        /// The row.
        at: Place,
        /// The largest code of the depth.
        most: u32,
        /// What stands there.
        found: String,
    },
    /// A row without line end, the last of a file that may have been cut in it.
    #[error(
        "{at}: the row has no line end, and its last number may be cut short; write the file again"
    )]
    OpenRow {
        /// The row.
        at: Place,
    },
    /// The file ends inside the table.
    #[error(
        "{at}: the file ends after {rows} rows, but its head needs {need}; it may be cut short"
    )]
    TooFewRows {
        /// The end of the file.
        at: Place,
        /// Rows found.
        rows: usize,
        /// Rows needed.
        need: usize,
    },
    /// Something follows the table.
    #[error(
        "{at}: expected the end of the file after {need} rows, found {found:?}; check the sizes"
    )]
    AfterTable {
        /// The line.
        at: Place,
        /// What stands there.
        found: String,
        /// Rows needed.
        need: usize,
    },
}
