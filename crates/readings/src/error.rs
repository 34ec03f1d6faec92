use std::io;
use std::path::PathBuf;

use evenstep_files::Place;

/// Why a file of readings or a patch list was refused. Every message is one line: where, what, what to do.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ReadingsError {
    /// The operating system could not open or read the file.
    #[error("{}: cannot read: {source}", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// A bound on the input is passed; the bounds keep a broken or hostile file from exhausting memory.
    #[error("{place}: more than {limit} {what}; this reader stops there, split the file")]
    Limit {
        /// Where the bound was passed.
        place: Place,
        /// What was counted.
        what: &'static str,
        /// The bound.
        limit: usize,
    },
    /// The file holds nothing.
    #[error("{place}: the file is empty; give a CGATS text or a CSV file of readings")]
    Empty {
        /// The file.
        place: Place,
    },
    /// The file is not text in UTF-8 or ASCII.
    #[error(
        "{place}: not a text file (binary or UTF-16 bytes); save the readings as UTF-8 or ASCII text"
    )]
    NotText {
        /// The file.
        place: Place,
    },
    /// Neither of the two formats.
    #[error(
        "{place}: neither CGATS text (no identifier line, no BEGIN_DATA_FORMAT) nor CSV (no comma on the first line)"
    )]
    UnknownFormat {
        /// First line with content.
        place: Place,
    },
    /// A quoted text is still open where its line, or the file, ends.
    #[error("{place}: a quoted text opens here and is never closed; add the closing quote")]
    UnclosedQuote {
        /// The opening quote, or the record that holds it.
        place: Place,
    },
    /// A data file asks for another file to be read.
    #[error(
        "{place}: .INCLUDE is not supported, a data file must not open other files; paste the content in"
    )]
    Include {
        /// The directive.
        place: Place,
    },
    /// `BEGIN_DATA` without a format block before it.
    #[error(
        "{place}: BEGIN_DATA without BEGIN_DATA_FORMAT before it; the columns are unknown, add the format block"
    )]
    MissingFormat {
        /// The `BEGIN_DATA` line.
        place: Place,
    },
    /// A block is never closed.
    #[error("{place}: the file ends before {need}; it may be cut short")]
    Unfinished {
        /// End of the file.
        place: Place,
        /// The keyword that is missing.
        need: &'static str,
    },
    /// `NUMBER_OF_FIELDS` or `NUMBER_OF_SETS` holds no usable number.
    #[error("{place}: {keyword} must be a whole number of at most {limit}, found {found:?}")]
    BadCount {
        /// The value.
        place: Place,
        /// Which count.
        keyword: &'static str,
        /// What stands there.
        found: String,
        /// Largest count this reader takes.
        limit: usize,
    },
    /// A declared count differs from what is there.
    #[error(
        "{place}: {keyword} declares {declared} but {found} are there; the file may be cut short or edited"
    )]
    CountMismatch {
        /// End of the block that was counted.
        place: Place,
        /// Which count.
        keyword: &'static str,
        /// Declared number.
        declared: usize,
        /// Number found.
        found: usize,
    },
    /// No header row.
    #[error(
        "{place}: the first row holds numbers; a header row is needed, for instance r,g,b,X,Y,Z"
    )]
    MissingHeader {
        /// The first row.
        place: Place,
    },
    /// Semicolons between cells.
    #[error(
        "{place}: cells are separated by semicolons; use commas between cells and a point as decimal mark"
    )]
    Semicolons {
        /// The header row.
        place: Place,
    },
    /// One column appears twice.
    #[error("{place}: column {name} appears twice; remove or rename one")]
    DuplicateColumn {
        /// The second appearance.
        place: Place,
        /// Its name.
        name: String,
    },
    /// Needed columns are absent.
    #[error("{place}: no column {missing}; needed are {needed}")]
    MissingColumns {
        /// The format block or header row.
        place: Place,
        /// Names of those absent.
        missing: String,
        /// All that are needed.
        needed: &'static str,
    },
    /// Colours without the drive that made them.
    #[error(
        "{place}: no device values; readings of a display need the drive of each patch in {needed}"
    )]
    NoDeviceValues {
        /// The format block or header row.
        place: Place,
        /// The columns that would hold the drive.
        needed: &'static str,
    },
    /// Luminance without colour.
    #[error(
        "{place}: luminance only; a colour correction needs X, Y and Z (or x, y, Y) of every patch"
    )]
    LuminanceOnly {
        /// The header row.
        place: Place,
    },
    /// The same drive read under several surrounds.
    #[error(
        "{place}: column {name}: the patches were read under several surrounds; glare differs between them, so they are no repeats of one patch: keep the rows of one surround and drop the surround columns"
    )]
    Surround {
        /// The column.
        place: Place,
        /// Its name.
        name: String,
    },
    /// A row has too few or too many cells.
    #[error(
        "{place}: patch {id}: {found} cells in this row, but {need} columns; a cell is missing or extra"
    )]
    RowLength {
        /// Start of the row.
        place: Place,
        /// Patch id, or `?` where the row has none.
        id: String,
        /// Cells found.
        found: usize,
        /// Columns.
        need: usize,
    },
    /// A decimal comma.
    #[error(
        "{place}: patch {id}: {column} is {found:?}, with a decimal comma; write a decimal point"
    )]
    DecimalComma {
        /// The cell.
        place: Place,
        /// Patch id.
        id: String,
        /// Column name.
        column: String,
        /// The cell's text.
        found: String,
    },
    /// Not a finite decimal number.
    #[error(
        "{place}: patch {id}: {column} must be a finite decimal number, found {found:?}; read the patch again or remove its row"
    )]
    BadNumber {
        /// The cell.
        place: Place,
        /// Patch id.
        id: String,
        /// Column name.
        column: String,
        /// The cell's text.
        found: String,
    },
    /// Negative light beyond what noise near black explains.
    #[error(
        "{place}: patch {id}: {column} is {value} cd/m², below {limit} cd/m², the lowest that noise near black explains; read the patch again or remove its row"
    )]
    Negative {
        /// The cell.
        place: Place,
        /// Patch id.
        id: String,
        /// Column name.
        column: String,
        /// The value.
        value: f64,
        /// Lowest value accepted.
        limit: f64,
    },
    /// A drive outside its scale.
    #[error(
        "{place}: patch {id}: {column} is {value}, outside 0 to {scale}; if the file holds codes, say which with --rgb-scale 1, 100, 255 or 1023"
    )]
    DriveRange {
        /// The cell.
        place: Place,
        /// Patch id.
        id: String,
        /// Column name.
        column: String,
        /// The value.
        value: f64,
        /// Full drive on the scale in force.
        scale: f64,
    },
    /// The scale of the drive cannot be told from the file.
    #[error(
        "{place}: the largest drive is {largest}, which names no scale; say which with --rgb-scale 1, 100, 255 or 1023"
    )]
    UnknownScale {
        /// The largest drive.
        place: Place,
        /// Its value.
        largest: f64,
    },
    /// A chromaticity from which no XYZ follows.
    #[error(
        "{place}: patch {id}: chromaticity x = {x}, y = {y} is not within 0 to 1 with y above 0; check that the columns are x, y and Y in this order"
    )]
    Chromaticity {
        /// The cell of y.
        place: Place,
        /// Patch id.
        id: String,
        /// x as read.
        x: f64,
        /// y as read.
        y: f64,
    },
    /// Columns, but no rows.
    #[error("{place}: no rows of data; there is nothing to work with")]
    NoRows {
        /// The file.
        place: Place,
    },
}

impl ReadingsError {
    /// The place named in the message; `None` for errors of the operating system.
    #[must_use]
    pub fn place(&self) -> Option<&Place> {
        match self {
            Self::Io { .. } => None,
            Self::Limit { place, .. }
            | Self::Empty { place }
            | Self::NotText { place }
            | Self::UnknownFormat { place }
            | Self::UnclosedQuote { place }
            | Self::Include { place }
            | Self::MissingFormat { place }
            | Self::Unfinished { place, .. }
            | Self::BadCount { place, .. }
            | Self::CountMismatch { place, .. }
            | Self::MissingHeader { place }
            | Self::Semicolons { place }
            | Self::DuplicateColumn { place, .. }
            | Self::MissingColumns { place, .. }
            | Self::NoDeviceValues { place, .. }
            | Self::LuminanceOnly { place }
            | Self::Surround { place, .. }
            | Self::RowLength { place, .. }
            | Self::DecimalComma { place, .. }
            | Self::BadNumber { place, .. }
            | Self::Negative { place, .. }
            | Self::DriveRange { place, .. }
            | Self::UnknownScale { place, .. }
            | Self::Chromaticity { place, .. }
            | Self::NoRows { place } => Some(place),
        }
    }
}

/// Something a reader did that the user should know of: an assumption made, a deviation accepted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Note {
    /// Where it applies.
    pub place: Place,
    /// One line in plain words.
    pub text: String,
}

impl std::fmt::Display for Note {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}: {}", self.place, self.text)
    }
}
