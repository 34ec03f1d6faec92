use std::fs::File;
use std::io::Read as _;
use std::path::Path;

use evenstep_files::Place;
use roxmltree::{Document, Node, ParsingOptions};

use super::depth::Depth;
use super::xml::{Source, elements, name, place_at};
use super::{ACADEMY_NAMESPACE, ClfError, SMPTE_NAMESPACE, array, guard, nodes};
use crate::format::note::Notes;
use crate::format::{Deviation, Note};
use crate::process::{ProcessList, ProcessNode};

/// Bytes of a file at most. Our choice: a lattice of 256 nodes along each axis with all digits of an `f64` fits.
pub const LARGEST_FILE: u64 = 1 << 30;

/// Operations of a list at most. Our choice: lists in use have a dozen; an input map of a few bytes grows to a table over
/// all half-float numbers when it is written.
const MOST_OPERATIONS: usize = 128;

/// Nodes of the tree at most: what the limits on markup and comments allow, and the text between.
const MOST_NODES: u32 = 1 << 20;

/// Bytes looked at to tell what a file is.
const LOOKED_AT: usize = 1 << 16;

/// Reads the CLF file at `path`.
///
/// # Errors
/// [`ClfError`]: the file cannot be read, or it is not a Common LUT Format file.
pub fn read(path: &Path) -> Result<(ProcessList, Vec<Note>), ClfError> {
    let io = |source| ClfError::Io {
        path: path.to_owned(),
        source,
    };
    let file = File::open(path).map_err(io)?;
    let length = file.metadata().map_err(io)?.len();
    let too_large = || ClfError::TooLarge {
        at: Place::file(path),
        most: LARGEST_FILE,
    };
    if length > LARGEST_FILE {
        return Err(too_large());
    }
    // What is no plain file does not know its length.
    let mut bytes = Vec::with_capacity(usize::try_from(length).unwrap_or(0) + 1);
    file.take(LARGEST_FILE + 1)
        .read_to_end(&mut bytes)
        .map_err(io)?;
    if bytes.len() as u64 > LARGEST_FILE {
        return Err(too_large());
    }
    parse(&bytes, path)
}

/// Whether `start`, the first bytes of a file, are those of a Common LUT Format file: its root element is named in
/// the first 64 KiB.
#[must_use]
pub fn is_clf(start: &[u8]) -> bool {
    const ROOT: &[u8] = b"ProcessList";
    let start = &start[..start.len().min(LOOKED_AT)];
    let start = start.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(start);
    start.trim_ascii_start().starts_with(b"<") && start.windows(ROOT.len()).any(|w| w == ROOT)
}

/// Reads Common LUT Format text. `path` names the file in messages and is not opened.
///
/// # Errors
/// [`ClfError`]: the text is not a Common LUT Format file, or holds what would change the picture and is not known.
pub fn parse(bytes: &[u8], path: &Path) -> Result<(ProcessList, Vec<Note>), ClfError> {
    let mut notes = Notes::new(path);
    let without_mark = bytes.strip_prefix(b"\xEF\xBB\xBF");
    if without_mark.is_some() {
        notes.add(1, 0, Deviation::ByteOrderMark);
    }
    let bytes = without_mark.unwrap_or(bytes);
    let text = std::str::from_utf8(bytes).map_err(|e| {
        let (valid, _) = bytes.split_at(e.valid_up_to());
        let valid = String::from_utf8_lossy(valid);
        let at = place_at(&valid, path, valid.len());
        ClfError::NotUtf8 { at }
    })?;
    if text.trim_ascii().is_empty() {
        let at = Place::file(path);
        return Err(ClfError::Empty { at });
    }
    if !text.starts_with("<?xml") {
        notes.add(1, 0, Deviation::NoXmlDeclaration);
    }
    guard::check(text, path)?;
    let options = ParsingOptions {
        nodes_limit: MOST_NODES,
        ..ParsingOptions::default()
    };
    let document = Document::parse_with_options(text, options).map_err(|e| {
        let pos = e.pos();
        ClfError::Xml {
            at: Place::new(path, pos.row as usize, pos.col as usize),
            reason: reason(&e),
        }
    })?;
    let mut source = Source { text, path, notes };
    let list = list(&mut source, document.root_element())?;
    Ok((list, source.notes.into_list()))
}

/// What the XML reader says, without the place, which stands in front already.
fn reason(error: &roxmltree::Error) -> String {
    let text = error.to_string();
    let pos = error.pos();
    text.replace(&format!(" at {}:{}", pos.row, pos.col), "")
        .replace('\n', " ")
}

#[derive(Clone, Copy, PartialEq)]
enum Edition {
    Academy,
    Smpte,
}

fn edition<'a>(source: &mut Source<'a>, root: Node<'a, 'a>) -> Result<Edition, ClfError> {
    match root.tag_name().namespace() {
        Some(ACADEMY_NAMESPACE) => Ok(Edition::Academy),
        Some(SMPTE_NAMESPACE) => Ok(Edition::Smpte),
        None => {
            source.note(root, Deviation::NoNamespace);
            Ok(Edition::Academy)
        }
        Some(found) => Err(ClfError::Namespace {
            at: source.place(root),
            found: crate::format::shown(found.as_bytes()),
        }),
    }
}

/// The version as a number; the SMPTE edition counts as 3.
fn version<'a>(
    source: &mut Source<'a>,
    root: Node<'a, 'a>,
    edition: Edition,
) -> Result<f64, ClfError> {
    let found = source.required(root, "compCLFversion")?;
    if edition == Edition::Smpte && found == "ST2136-1:2024" {
        return Ok(3.0);
    }
    let number = found.trim_ascii().parse::<f64>().ok();
    let Some(number) = number.filter(|v| (1.0..=3.0).contains(v)) else {
        return Err(ClfError::Version {
            at: source.place(root),
            found: crate::format::shown(found.as_bytes()),
        });
    };
    if number < 3.0 {
        source.note(root, Deviation::OldVersion);
    }
    Ok(number)
}

fn list<'a>(source: &mut Source<'a>, root: Node<'a, 'a>) -> Result<ProcessList, ClfError> {
    if name(root) != "ProcessList" {
        return Err(ClfError::NotClf {
            at: source.place(root),
            found: crate::format::shown(name(root).as_bytes()),
        });
    }
    let edition = edition(source, root)?;
    let version = version(source, root, edition)?;
    source.only(root, &["id", "name", "inverseOf", "compCLFversion"]);
    let attribute = |name| root.attribute(name).map(str::to_owned);
    let mut list = ProcessList {
        id: attribute("id"),
        name: attribute("name"),
        inverse_of: attribute("inverseOf"),
        ..ProcessList::default()
    };
    if edition == Edition::Academy {
        source.required(root, "id")?;
    }
    let mut before: Option<(&str, Depth)> = None;
    for child in elements(root) {
        let own = child.tag_name().namespace() == root.tag_name().namespace();
        match name(child) {
            "Description" if own => list.descriptions.push(source.prose(child)?),
            "InputDescriptor" if own => list.input.push(source.prose(child)?),
            "OutputDescriptor" if own => list.output.push(source.prose(child)?),
            "Info" if own => info(source, child, &mut list)?,
            "Id" if own && edition == Edition::Smpte => {
                let id = source.prose(child)?;
                list.id.get_or_insert(id);
            }
            _ if own && list.nodes.len() == MOST_OPERATIONS => {
                return Err(ClfError::TooMuchMarkup {
                    at: source.place(child),
                    what: "process nodes",
                    most: MOST_OPERATIONS,
                });
            }
            _ if own => list.nodes.push(node(source, child, version, &mut before)?),
            _ => return Err(unknown(source, child)),
        }
    }
    // Either from the attribute or from the element.
    if list.id.as_deref().is_some_and(|id| id.trim().is_empty()) {
        return Err(source.bad(root, "id", "a name", ""));
    }
    if list.nodes.is_empty() {
        let at = source.place(root);
        return Err(ClfError::NoNodes { at });
    }
    Ok(list)
}

fn unknown(source: &Source<'_>, child: Node<'_, '_>) -> ClfError {
    ClfError::UnknownElement {
        at: source.place(child),
        found: crate::format::shown(name(child).as_bytes()),
    }
}

/// Entries that are a name and a text are kept; others only concern the program that wrote them.
fn info<'a>(
    source: &mut Source<'a>,
    node: Node<'a, 'a>,
    list: &mut ProcessList,
) -> Result<(), ClfError> {
    for entry in elements(node) {
        if entry.tag_name().namespace() == node.tag_name().namespace()
            && elements(entry).next().is_none()
        {
            let text = source.prose(entry)?;
            list.info.push((name(entry).to_owned(), text));
        } else {
            source.note(entry, Deviation::NestedInfo);
        }
    }
    Ok(())
}

fn node<'a>(
    source: &mut Source<'a>,
    child: Node<'a, 'a>,
    version: f64,
    before: &mut Option<(&'a str, Depth)>,
) -> Result<ProcessNode, ClfError> {
    const KNOWN: [&str; 7] = [
        "LUT1D", "LUT3D", "Matrix", "Range", "Log", "Exponent", "ASC_CDL",
    ];
    if !KNOWN.contains(&name(child)) {
        return Err(unknown(source, child));
    }
    let depth = |source: &Source<'a>, attribute| {
        let text = source.required(child, attribute)?;
        let depth = Depth::spelled(text);
        let expected = "8i, 10i, 12i, 16i, 16f or 32f";
        depth
            .map(|depth| (text, depth))
            .ok_or_else(|| source.bad(child, attribute, expected, text))
    };
    let (input, out) = (depth(source, "inBitDepth")?, depth(source, "outBitDepth")?);
    if let Some((before, _)) = before.replace(out)
        && before != input.0
    {
        return Err(ClfError::DepthChain {
            at: source.place(child),
            before: before.to_owned(),
            found: input.0.to_owned(),
        });
    }
    let operation = match name(child) {
        "LUT1D" => array::curves(source, child, input.1, out.1, version)?,
        "LUT3D" => array::lattice(source, child, out.1)?,
        "Matrix" => array::matrix(source, child, input.1, out.1)?,
        "Range" => nodes::range(source, child, input.1, out.1)?,
        // The node came with version 3.
        "Log" if version < 3.0 => return Err(unknown(source, child)),
        "Log" => nodes::log(source, child)?,
        "Exponent" => nodes::exponent(source, child)?,
        _ => nodes::cdl(source, child)?,
    };
    let descriptions = elements(child)
        .filter(|e| name(*e) == "Description")
        .map(|e| source.prose(e))
        .collect::<Result<_, _>>()?;
    Ok(ProcessNode {
        name: child.attribute("name").map(str::to_owned),
        descriptions,
        operation,
    })
}
