use std::io;
use std::path::PathBuf;

use evenstep_files::Place;

/// Why a cube file was refused.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum CubeError {
    /// The operating system could not read the file.
    #[error("{}: cannot read: {source}", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// Not one byte.
    #[error("{at}: the file is empty; export the LUT again")]
    Empty {
        /// The file.
        at: Place,
    },
    /// UTF-16 text.
    #[error("{at}: the text is UTF-16; save it as plain ASCII or UTF-8")]
    Utf16 {
        /// The file.
        at: Place,
    },
    /// A byte that text does not hold.
    #[error(
        "{at}: found byte 0x{byte:02X}, expected text; this is not a cube file or it is damaged"
    )]
    NotText {
        /// Where the byte stands.
        at: Place,
        /// The byte.
        byte: u8,
    },
    /// Text in some older encoding.
    #[error("{at}: a character is not UTF-8; save the file as UTF-8 or remove the character")]
    NotUtf8 {
        /// Where the character starts.
        at: Place,
    },
    /// A line past the limit.
    #[error("{at}: the line is longer than {most} bytes; shorten it")]
    LongLine {
        /// The first byte past the limit.
        at: Place,
        /// The limit that applies to this kind of line.
        most: usize,
    },
    /// A word the format does not have.
    #[error("{at}: unknown keyword {found:?}; remove the line if it does not change the meaning")]
    UnknownKeyword {
        /// Where the word starts.
        at: Place,
        /// The word.
        found: String,
    },
    /// A keyword that says the numbers mean something else.
    #[error(
        "{at}: {keyword} changes the meaning of the numbers and is not supported; export the LUT for full range"
    )]
    VideoRange {
        /// Where the keyword starts.
        at: Place,
        /// The keyword.
        keyword: &'static str,
    },
    /// A keyword given twice.
    #[error("{at}: {keyword} again, first given in line {first}; keep one of them")]
    RepeatedKeyword {
        /// Where the second one starts.
        at: Place,
        /// The keyword.
        keyword: &'static str,
        /// Line of the first one.
        first: usize,
    },
    /// A quote is missing.
    #[error("{at}: the title has no closing quote; add one")]
    UnclosedTitle {
        /// Where the opening quote stands.
        at: Place,
    },
    /// A size that is no whole number or out of range.
    #[error(
        "{at}: {keyword} must be a whole number from {least} to {most}, found {found:?}; check the export"
    )]
    BadSize {
        /// Where the size stands.
        at: Place,
        /// The keyword.
        keyword: &'static str,
        /// What stands there.
        found: String,
        /// Least size allowed.
        least: usize,
        /// Largest size allowed.
        most: usize,
    },
    /// No size keyword above the table.
    #[error("{at}: no LUT_3D_SIZE or LUT_1D_SIZE up to here; add one above the table")]
    MissingSize {
        /// The first row, or the end of the file.
        at: Place,
    },
    /// A word where a number was expected.
    #[error("{at}: expected a decimal number such as 0.25, found {found:?}; correct it")]
    NotANumber {
        /// Where the word starts.
        at: Place,
        /// The word.
        found: String,
    },
    /// A comma inside a number or after it.
    #[error(
        "{at}: found {found:?} with a comma; write numbers with a decimal point and separate them with spaces"
    )]
    DecimalComma {
        /// Where the word starts.
        at: Place,
        /// The word.
        found: String,
    },
    /// NaN, an infinity, or more than an `f64` holds.
    #[error("{at}: expected a finite number, found {found:?}; compute that value again")]
    NotFinite {
        /// Where the number starts.
        at: Place,
        /// The number.
        found: String,
    },
    /// A line ends before all its numbers.
    #[error("{at}: expected {need} numbers on the line, found {found}; add the missing ones")]
    MissingNumber {
        /// The end of the line.
        at: Place,
        /// Numbers found.
        found: usize,
        /// Numbers needed.
        need: usize,
    },
    /// A line goes on after all it may hold.
    #[error("{at}: expected the end of the line, found {found:?}; remove it")]
    TrailingText {
        /// Where the text starts.
        at: Place,
        /// The text.
        found: String,
    },
    /// A domain without length.
    #[error(
        "{at}: the domain {min} to {max} of {channel} is reversed, empty or too wide; its low end must lie below its high end"
    )]
    BadDomain {
        /// The number given last.
        at: Place,
        /// red, green or blue.
        channel: &'static str,
        /// Low end given.
        min: f64,
        /// High end given.
        max: f64,
    },
    /// Two keywords give different domains.
    #[error(
        "{at}: {keyword} gives another domain than DOMAIN_MIN and DOMAIN_MAX; keep one of them"
    )]
    DomainConflict {
        /// Where the range keyword stands.
        at: Place,
        /// The range keyword.
        keyword: &'static str,
    },
    /// A range for a table that is not there.
    #[error("{at}: {keyword} without {size}; name the range after the table it belongs to")]
    RangeWithoutTable {
        /// Where the range keyword stands.
        at: Place,
        /// The range keyword.
        keyword: &'static str,
        /// The size keyword that is missing.
        size: &'static str,
    },
    /// A domain that could belong to either table.
    #[error(
        "{at}: {keyword} in a file with curves and a lattice; use LUT_1D_INPUT_RANGE and LUT_3D_INPUT_RANGE instead"
    )]
    AmbiguousDomain {
        /// Where the domain keyword stands.
        at: Place,
        /// The domain keyword.
        keyword: &'static str,
    },
    /// A keyword below the first row.
    #[error("{at}: {keyword} below the first row of the table; move it above")]
    KeywordInTable {
        /// Where the keyword starts.
        at: Place,
        /// The keyword.
        keyword: &'static str,
    },
    /// The file ends inside the table.
    #[error(
        "{at}: the file ends after {rows} rows, but its size needs {need}; it may be cut short, export it again"
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
        "{at}: expected the end of the file after the {need} rows its size needs, found {found:?}; check the size or remove the line"
    )]
    AfterTable {
        /// Where the text starts.
        at: Place,
        /// The text.
        found: String,
        /// Rows needed.
        need: usize,
    },
}
