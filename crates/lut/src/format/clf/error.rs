use std::io;
use std::path::PathBuf;

use evenstep_files::Place;

/// Why a Common LUT Format file was refused.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ClfError {
    /// The operating system could not read the file.
    #[error("{}: cannot read: {source}", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// More bytes than are read.
    #[error("{at}: the file is larger than {most} bytes; write the numbers with fewer digits")]
    TooLarge {
        /// The file.
        at: Place,
        /// The limit.
        most: u64,
    },
    /// Nothing but blanks.
    #[error("{at}: the file is empty; export the LUT again")]
    Empty {
        /// The file.
        at: Place,
    },
    /// Bytes that are not UTF-8.
    #[error("{at}: not UTF-8 text; this is not a CLF file, or it must be saved as UTF-8")]
    NotUtf8 {
        /// Where the first such byte stands.
        at: Place,
    },
    /// A document type, which could define entities.
    #[error("{at}: a document type (<!DOCTYPE or another <! declaration) is not read; remove it")]
    Doctype {
        /// Where it starts.
        at: Place,
    },
    /// More markup than any such file needs.
    #[error("{at}: {what}, more than the {most} that are read; check where the file comes from")]
    TooMuchMarkup {
        /// Where the limit is passed.
        at: Place,
        /// What there is too much of.
        what: &'static str,
        /// The limit.
        most: usize,
    },
    /// A text longer than any such file needs.
    #[error("{at}: more than {most} bytes of text in {element}; shorten it")]
    LongText {
        /// Where the element starts.
        at: Place,
        /// The element.
        element: String,
        /// The limit.
        most: usize,
    },
    /// The text is not XML.
    #[error("{at}: not well-formed XML: {reason}; correct it or export the LUT again")]
    Xml {
        /// Where.
        at: Place,
        /// What the XML reader says.
        reason: String,
    },
    /// The root element is another one.
    #[error("{at}: expected the element ProcessList, found {found:?}; this is not a CLF file")]
    NotClf {
        /// Where the root starts.
        at: Place,
        /// Its name.
        found: String,
    },
    /// A namespace this reader does not know.
    #[error(
        "{at}: unknown namespace {found:?}; known are {} and {}",
        super::ACADEMY_NAMESPACE,
        super::SMPTE_NAMESPACE
    )]
    Namespace {
        /// Where the root starts.
        at: Place,
        /// The namespace.
        found: String,
    },
    /// A version this reader does not know.
    #[error("{at}: compCLFversion {found:?} is not read; expected up to 3.0, or ST2136-1:2024")]
    Version {
        /// Where the root starts.
        at: Place,
        /// The version.
        found: String,
    },
    /// An attribute that must be there is not.
    #[error("{at}: {element} without the attribute {attribute}; add it")]
    MissingAttribute {
        /// Where the element starts.
        at: Place,
        /// The element.
        element: String,
        /// The attribute.
        attribute: &'static str,
    },
    /// An attribute or element holds something else than it may.
    #[error("{at}: {name} must be {expected}, found {found:?}; correct it")]
    BadValue {
        /// Where the element starts.
        at: Place,
        /// Attribute or element.
        name: String,
        /// What it may hold.
        expected: &'static str,
        /// What it holds.
        found: String,
    },
    /// The list holds no operation.
    #[error("{at}: the list holds no process node; export the LUT again")]
    NoNodes {
        /// Where the root starts.
        at: Place,
    },
    /// An element that is no part of the format.
    #[error("{at}: unknown element {found:?}; what it does to the picture is not known, remove it")]
    UnknownElement {
        /// Where it starts.
        at: Place,
        /// Its name.
        found: String,
    },
    /// The input map of version 2.
    #[error(
        "{at}: IndexMap is of version 2 and has no place here; write the curves over an even or a half-float domain"
    )]
    IndexMap {
        /// Where it starts.
        at: Place,
    },
    /// A child element that must be there is not.
    #[error("{at}: {element} without {child}; add it")]
    MissingElement {
        /// Where the element starts.
        at: Place,
        /// The element.
        element: String,
        /// The child that is missing.
        child: &'static str,
    },
    /// A child element given twice.
    #[error("{at}: {child} again in {element}; keep one of them")]
    RepeatedElement {
        /// Where the second one starts.
        at: Place,
        /// The element.
        element: String,
        /// The child.
        child: String,
    },
    /// A child or an attribute that the style does not have.
    #[error("{at}: {name} does not go with the style {style}; remove it or change the style")]
    NotWithStyle {
        /// Where the element starts.
        at: Place,
        /// What is too much.
        name: &'static str,
        /// The style.
        style: String,
    },
    /// A bit depth that is not that of the node before.
    #[error("{at}: inBitDepth {found} after outBitDepth {before}; both must be the same")]
    DepthChain {
        /// Where the node starts.
        at: Place,
        /// Output depth of the node before.
        before: String,
        /// Input depth found.
        found: String,
    },
    /// Too few or too many numbers.
    #[error("{at}: {found} numbers, but {need} are needed; the file may be cut short or damaged")]
    Count {
        /// Where the element starts, or the first number too many.
        at: Place,
        /// Numbers found; one more than needed where there are too many.
        found: usize,
        /// Numbers needed.
        need: usize,
    },
    /// A word where a number was expected, or a number that is not finite.
    #[error("{at}: expected {expected}, found {found:?}; correct it")]
    BadNumber {
        /// Where the word stands; its element where the text had to be decoded.
        at: Place,
        /// What was expected.
        expected: &'static str,
        /// The word.
        found: String,
    },
    /// Parameters of a node that contradict each other.
    #[error("{at}: {what}")]
    Contradiction {
        /// Where the node starts.
        at: Place,
        /// What contradicts what, and what to do.
        what: &'static str,
    },
}
