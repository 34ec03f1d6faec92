//! What the readers of nodes need from the tree: places, attributes, children, numbers.

use std::path::Path;

use evenstep_files::Place;
use roxmltree::{Node, StringStorage};

use super::ClfError;
use crate::format::Deviation;
use crate::format::note::Notes;
use crate::format::shown;

/// Bytes of a text for people, blanks joined. Our choice: descriptions in use have a few lines.
const LONGEST_TEXT: usize = 1 << 20;

/// A document while it is read.
pub(super) struct Source<'a> {
    pub(super) text: &'a str,
    pub(super) path: &'a Path,
    pub(super) notes: Notes<'a>,
}

/// Line and byte column of `offset`.
pub(super) fn place_at(text: &str, path: &Path, offset: usize) -> Place {
    let before = &text.as_bytes()[..offset.min(text.len())];
    let line = 1 + before.iter().filter(|b| **b == b'\n').count();
    let column = before.iter().rev().take_while(|b| **b != b'\n').count();
    Place::new(path, line, column + 1)
}

impl<'a> Source<'a> {
    pub(super) fn place(&self, node: Node<'_, '_>) -> Place {
        place_at(self.text, self.path, node.range().start)
    }

    pub(super) fn note(&mut self, node: Node<'_, '_>, deviation: Deviation) {
        // Finding a place reads the text from its start.
        if !self.notes.again(deviation) {
            let place = self.place(node);
            self.notes.add(place.line, place.column - 1, deviation);
        }
    }

    pub(super) fn required(
        &self,
        node: Node<'a, 'a>,
        attribute: &'static str,
    ) -> Result<&'a str, ClfError> {
        node.attribute(attribute)
            .ok_or_else(|| ClfError::MissingAttribute {
                at: self.place(node),
                element: name(node).to_owned(),
                attribute,
            })
    }

    pub(super) fn bad(
        &self,
        node: Node<'_, '_>,
        name: &str,
        expected: &'static str,
        found: &str,
    ) -> ClfError {
        ClfError::BadValue {
            at: self.place(node),
            name: name.to_owned(),
            expected,
            found: shown(found.as_bytes()),
        }
    }

    /// An attribute that holds a number.
    pub(super) fn number(
        &self,
        node: Node<'a, 'a>,
        attribute: &'static str,
    ) -> Result<Option<f64>, ClfError> {
        let Some(text) = node.attribute(attribute) else {
            return Ok(None);
        };
        match number(text.trim_ascii().as_bytes()) {
            Some(value) if value.is_finite() => Ok(Some(value)),
            _ => Err(self.bad(node, attribute, "a finite number", text)),
        }
    }

    /// Notes attributes that the format does not have; they change nothing.
    pub(super) fn only(&mut self, node: Node<'a, 'a>, known: &[&str]) {
        if node
            .attributes()
            .any(|a| a.namespace().is_none() && !known.contains(&a.name()))
        {
            self.note(node, Deviation::UnknownAttribute);
        }
    }

    /// The child elements of `node` that are named in `known`, each at most once; others are noted, as the format
    /// asks, and descriptions are left to the caller.
    pub(super) fn children<const N: usize>(
        &mut self,
        node: Node<'a, 'a>,
        known: [&'static str; N],
    ) -> Result<[Option<Node<'a, 'a>>; N], ClfError> {
        let mut found = [None; N];
        for child in elements(node) {
            let own = child.tag_name().namespace() == node.tag_name().namespace();
            match known.iter().position(|k| own && *k == name(child)) {
                Some(i) => {
                    if found[i].replace(child).is_some() {
                        return Err(ClfError::RepeatedElement {
                            at: self.place(child),
                            element: name(node).to_owned(),
                            child: name(child).to_owned(),
                        });
                    }
                }
                None if own && name(child) == "Description" => {}
                None => self.note(child, Deviation::UnknownElement),
            }
        }
        Ok(found)
    }

    /// All text in `node` and below it, blanks at both ends taken off and inner ones joined; at most `most` bytes.
    pub(super) fn text_of(&self, node: Node<'_, '_>, most: usize) -> Result<String, ClfError> {
        let mut text = String::new();
        let mut is_apart = false;
        for piece in node.descendants().filter(Node::is_text) {
            let words = piece.text().unwrap_or_default().split(char::is_whitespace);
            for (i, word) in words.enumerate() {
                is_apart |= i > 0;
                if word.is_empty() {
                    continue;
                }
                let blank = if is_apart && !text.is_empty() {
                    " "
                } else {
                    ""
                };
                if text.len() + blank.len() + word.len() > most {
                    return Err(ClfError::LongText {
                        at: self.place(node),
                        element: shown(name(node).as_bytes()),
                        most,
                    });
                }
                text.push_str(blank);
                text.push_str(word);
                is_apart = false;
            }
        }
        // Growing may have taken twice the room.
        text.shrink_to_fit();
        Ok(text)
    }

    /// A text for people.
    pub(super) fn prose(&self, node: Node<'_, '_>) -> Result<String, ClfError> {
        self.text_of(node, LONGEST_TEXT)
    }

    pub(super) fn missing(&self, node: Node<'_, '_>, child: &'static str) -> ClfError {
        ClfError::MissingElement {
            at: self.place(node),
            element: name(node).to_owned(),
            child,
        }
    }

    /// Exactly `N` finite numbers.
    pub(super) fn exactly<const N: usize>(&self, node: Node<'a, 'a>) -> Result<[f64; N], ClfError> {
        let mut values = [0.0; N];
        let mut found = 0;
        self.numbers(node, N, |value| {
            values[found] = value;
            found += 1;
        })?;
        Ok(values)
    }

    /// Gives `need` finite numbers in the text of `node` to `take`; no more and no fewer may stand there.
    pub(super) fn numbers(
        &self,
        node: Node<'a, 'a>,
        need: usize,
        mut take: impl FnMut(f64),
    ) -> Result<(), ClfError> {
        let mut found = 0;
        let mut is_open = false;
        for piece in node.children().filter(Node::is_text) {
            let text = piece.text().unwrap_or_default();
            let bytes = text.as_bytes();
            let mut at = 0;
            loop {
                at += bytes[at..].iter().take_while(|b| is_blank(**b)).count();
                if at == bytes.len() {
                    break;
                }
                let length = bytes[at..].iter().take_while(|b| !is_blank(**b)).count();
                let word = &bytes[at..at + length];
                let place = || self.word_place(piece, at);
                let bad = |expected| ClfError::BadNumber {
                    at: place(),
                    expected,
                    found: shown(word),
                };
                // A comment inside a number would make two of one.
                if is_open && at == 0 {
                    return Err(bad("a blank between a number and a comment"));
                }
                if found == need {
                    return Err(ClfError::Count {
                        at: place(),
                        found: found + 1,
                        need,
                    });
                }
                let value = match number(word) {
                    Some(value) if value.is_finite() => value,
                    Some(_) => return Err(bad("a finite number")),
                    None if word.contains(&b',') => {
                        return Err(bad("numbers with a decimal point, separated by blanks"));
                    }
                    None => return Err(bad("a decimal number such as 0.25")),
                };
                take(value);
                found += 1;
                at += length;
            }
            is_open = bytes.last().is_some_and(|b| !is_blank(*b));
        }
        if found < need {
            return Err(ClfError::Count {
                at: self.place(node),
                found,
                need,
            });
        }
        Ok(())
    }

    /// The numbers that could stand in the text of `node` at most: a bound on memory before any is read.
    pub(super) fn room(node: Node<'_, '_>) -> usize {
        let bytes: usize = node
            .children()
            .filter(Node::is_text)
            .map(|piece| piece.text().map_or(0, str::len))
            .sum();
        bytes.div_ceil(2)
    }

    fn word_place(&self, piece: Node<'_, '_>, offset: usize) -> Place {
        match piece.text_storage() {
            // The text stands in the file as it is.
            Some(StringStorage::Borrowed(_)) => {
                place_at(self.text, self.path, piece.range().start + offset)
            }
            _ => piece
                .parent()
                .map_or_else(|| self.place(piece), |p| self.place(p)),
        }
    }
}

pub(super) fn name<'a>(node: Node<'a, '_>) -> &'a str {
    node.tag_name().name()
}

pub(super) fn elements<'a>(node: Node<'a, 'a>) -> impl Iterator<Item = Node<'a, 'a>> {
    node.children().filter(Node::is_element)
}

fn is_blank(byte: u8) -> bool {
    matches!(byte, b' ' | b'\t' | b'\n' | b'\r')
}

/// A number as XML Schema writes floats, infinities and NaN among them.
fn number(word: &[u8]) -> Option<f64> {
    fast_float2::parse(word).ok()
}
