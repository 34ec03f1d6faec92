use std::fmt;
use std::path::Path;

use evenstep_files::Place;

/// A harmless departure from a format: the file was read, and its meaning is not in doubt.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Note {
    /// Where it was seen first.
    pub place: Place,
    /// What was seen.
    pub deviation: Deviation,
    /// How often: on how many lines of text, or in how many elements of XML.
    pub times: usize,
}

/// The departures that are read with a note.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum Deviation {
    /// The file starts with a UTF-8 byte order mark.
    ByteOrderMark,
    /// A line ends with CR LF.
    CrLf,
    /// A line ends with CR alone.
    LoneCr,
    /// The last line has no end.
    NoFinalNewline,
    /// Tabs separate words.
    Tabs,
    /// Blanks stand before or after the text of a line, or make up a line.
    OuterBlanks,
    /// The title or a comment is UTF-8 rather than 7-bit ASCII.
    NonAscii,
    /// A comment is longer than the format allows.
    LongComment,
    /// A keyword is not in upper case.
    LowerCaseKeyword,
    /// The title is not in quotes.
    UnquotedTitle,
    /// A range keyword of the other dialect gives the domain.
    InputRange,
    /// Curves stand before a lattice in one file.
    CurvesBeforeLattice,
    /// The XML declaration is missing.
    NoXmlDeclaration,
    /// The root element has no namespace.
    NoNamespace,
    /// The file says it is of an older version of the format.
    OldVersion,
    /// An element inside a node that the format does not have.
    UnknownElement,
    /// An attribute that the format does not have.
    UnknownAttribute,
    /// The size of a matrix has a third number.
    OldMatrixSize,
    /// Curves have an input map.
    IndexMap,
    /// An entry of the information is more than a name and a text.
    NestedInfo,
    /// Raw half-float patterns of infinities or NaN in a table.
    NonFiniteHalfs,
}

impl Deviation {
    /// What it is counted by.
    fn counted(self) -> &'static str {
        match self {
            Self::NoXmlDeclaration
            | Self::NoNamespace
            | Self::OldVersion
            | Self::UnknownElement
            | Self::UnknownAttribute
            | Self::OldMatrixSize
            | Self::IndexMap
            | Self::NestedInfo
            | Self::NonFiniteHalfs => "elements",
            _ => "lines",
        }
    }
}

impl fmt::Display for Deviation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::ByteOrderMark => "starts with a UTF-8 byte order mark; some readers refuse it",
            Self::CrLf => "lines end with CR LF; the format asks for LF",
            Self::LoneCr => "lines end with CR alone; the format asks for LF",
            Self::NoFinalNewline => {
                "the last line has no end; if the file was cut, its last number may be too"
            }
            Self::Tabs => "tabs between words; the format uses spaces",
            Self::OuterBlanks => "blanks before or after the text of a line",
            Self::NonAscii => "text that is not 7-bit ASCII; some readers refuse it",
            Self::LongComment => "a comment longer than the 250 bytes the format allows",
            Self::LowerCaseKeyword => "a keyword in lower case; the format asks for upper case",
            Self::UnquotedTitle => "the title is not in quotes",
            Self::InputRange => {
                "an INPUT_RANGE keyword gives the domain; the format has DOMAIN_MIN and DOMAIN_MAX"
            }
            Self::CurvesBeforeLattice => {
                "curves and a lattice in one file, an extension; the curves are applied first"
            }
            Self::NoXmlDeclaration => "no XML declaration; the format asks for one",
            Self::NoNamespace => {
                "no namespace; read by the rules of the Academy's version 3"
            }
            Self::OldVersion => {
                "of an older version of the format; read as far as version 3 has what it holds"
            }
            Self::UnknownElement => "an element that the format does not have here; passed over",
            Self::UnknownAttribute => "an attribute that the format does not have; passed over",
            Self::OldMatrixSize => "a third number in the size of a matrix, as in version 2; ignored",
            Self::IndexMap => {
                "curves with an IndexMap, as in version 2; written as curves over half-float numbers"
            }
            Self::NestedInfo => "an entry of Info with elements of its own; not kept when written",
            Self::NonFiniteHalfs => {
                "raw halfs that are infinite or NaN; an infinity answers with the largest 32-bit number, NaN with 0"
            }
        })
    }
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.place, self.deviation)?;
        if self.times > 1 {
            write!(f, " ({} {})", self.times, self.deviation.counted())?;
        }
        Ok(())
    }
}

/// Notes while a file is read: one of each kind.
pub(crate) struct Notes<'a> {
    path: &'a Path,
    list: Vec<Note>,
}

impl<'a> Notes<'a> {
    pub(crate) fn new(path: &'a Path) -> Self {
        Self {
            path,
            list: Vec::new(),
        }
    }

    /// Notes `deviation` at byte `offset` of `line`, or counts it if it was noted before.
    pub(crate) fn add(&mut self, line: usize, offset: usize, deviation: Deviation) {
        if !self.again(deviation) {
            self.list.push(Note {
                place: Place::new(self.path, line, offset + 1),
                deviation,
                times: 1,
            });
        }
    }

    /// Counts `deviation` if it was noted before, and says whether it was: where a place is dear to find, it is asked
    /// for the first one alone.
    pub(crate) fn again(&mut self, deviation: Deviation) -> bool {
        let known = self.list.iter_mut().find(|n| n.deviation == deviation);
        known.map(|note| note.times += 1).is_some()
    }

    pub(crate) fn into_list(self) -> Vec<Note> {
        self.list
    }
}
