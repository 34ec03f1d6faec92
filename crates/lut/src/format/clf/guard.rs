//! Limits of a document, found in one pass over the bytes before any tree is built of it.
//!
//! A tree costs memory for each element, and the time to check attributes grows with the square of their number; both
//! are bounded here by bounding the markup. What is legal but beyond is refused by name.

use std::path::Path;

use super::ClfError;
use super::xml::place_at;

/// Elements inside elements. The format's own go four deep; `Info` may hold anything.
pub(super) const DEEPEST: usize = 64;
/// Bytes of one tag with its attributes.
pub(super) const LONGEST_TAG: usize = 4096;
/// Bytes of all tags.
pub(super) const MOST_MARKUP: usize = 1 << 20;
/// Declarations of namespaces. The tree repeats those that hold for an element in each element that declares one of its
/// own, and looks them up one by one. Our choice: the format needs one, `Info` may hold some.
pub(super) const MOST_NAMESPACES: usize = 64;
/// Comments, processing instructions and character data sections, each of which splits the text around it.
pub(super) const MOST_ASIDES: usize = 1 << 16;

/// Refuses documents beyond the limits, and every document type.
pub(super) fn check(text: &str, path: &Path) -> Result<(), ClfError> {
    let bytes = text.as_bytes();
    let refuse = |offset: usize, what: &'static str, most: usize| {
        let at = place_at(text, path, offset);
        Err(ClfError::TooMuchMarkup { at, what, most })
    };
    let (mut at, mut depth, mut markup, mut asides) = (0, 0_usize, 0, 0);
    let mut namespaces = 0;
    while let Some(step) = bytes[at..].iter().position(|b| *b == b'<') {
        let start = at + step;
        let rest = &bytes[start..];
        let aside = [("<!--", "-->"), ("<![CDATA[", "]]>"), ("<?", "?>")]
            .into_iter()
            .find(|(open, _)| rest.starts_with(open.as_bytes()));
        if let Some((open, close)) = aside {
            asides += 1;
            if asides > MOST_ASIDES {
                return refuse(start, "comments and sections", MOST_ASIDES);
            }
            // One that is not closed is the XML reader's to refuse.
            let Some(end) = text[start + open.len()..].find(close) else {
                return Ok(());
            };
            at = start + open.len() + end + close.len();
            continue;
        }
        if rest.starts_with(b"<!") {
            let at = place_at(text, path, start);
            return Err(ClfError::Doctype { at });
        }
        let Some(length) = tag_length(rest) else {
            return if rest.len() > LONGEST_TAG {
                refuse(start, "bytes in a tag", LONGEST_TAG)
            } else {
                Ok(())
            };
        };
        markup += length;
        if markup > MOST_MARKUP {
            return refuse(start, "bytes of tags", MOST_MARKUP);
        }
        // The word inside a quoted value counts too: it costs a file nothing, and the check stays simple.
        namespaces += rest[..length].windows(5).filter(|w| w == b"xmlns").count();
        if namespaces > MOST_NAMESPACES {
            return refuse(start, "declarations of namespaces", MOST_NAMESPACES);
        }
        if rest.starts_with(b"</") {
            depth = depth.saturating_sub(1);
        } else if rest[length - 2] != b'/' {
            depth += 1;
            if depth > DEEPEST {
                return refuse(start, "elements inside each other", DEEPEST);
            }
        }
        at = start + length;
    }
    Ok(())
}

/// Length of the tag that `rest` starts with, `None` where it does not end within the limit. A `>` in quotes ends
/// nothing.
fn tag_length(rest: &[u8]) -> Option<usize> {
    let mut quote = None;
    for (i, &byte) in rest.iter().take(LONGEST_TAG).enumerate() {
        match (quote, byte) {
            (Some(open), _) if open == byte => quote = None,
            (None, b'"' | b'\'') => quote = Some(byte),
            (None, b'>') => return Some(i + 1),
            _ => {}
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refused(text: &str) -> String {
        check(text, Path::new("a.clf")).unwrap_err().to_string()
    }

    #[test]
    fn ordinary_documents_pass() {
        for text in [
            "",
            "<?xml version=\"1.0\"?><a b=\"1 > 0\"><!-- <c> --><d/>text</a>",
            "<a",
            "<!-- not closed",
            "</a></a></a>",
        ] {
            assert!(check(text, Path::new("a.clf")).is_ok(), "{text}");
        }
        let flat = "<a/>".repeat(1000);
        assert!(check(&flat, Path::new("a.clf")).is_ok());
    }

    #[test]
    fn every_limit_holds() {
        assert!(refused(&"<a>".repeat(DEEPEST + 1)).contains("inside each other"));
        let attributes: String = (0..LONGEST_TAG).map(|i| format!(" x{i}=''")).collect();
        assert!(refused(&format!("<a{attributes}>")).contains("bytes in a tag"));
        assert!(refused(&"<a/>".repeat(MOST_MARKUP / 4 + 1)).contains("bytes of tags"));
        assert!(refused(&"<?a?>".repeat(MOST_ASIDES + 1)).contains("comments"));
        let declared = "<a xmlns='u'/>".repeat(MOST_NAMESPACES);
        assert!(check(&declared, Path::new("a.clf")).is_ok());
        assert!(refused(&format!("{declared}<a xmlns:b='u'/>")).contains("namespaces"));
        assert!(refused("\n <!DOCTYPE a>").starts_with("a.clf:2:2: a document type"));
        assert!(refused("<a><!ENTITY b 'c'></a>").contains("document type"));
    }
}
