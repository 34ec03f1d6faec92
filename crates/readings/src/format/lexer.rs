//! Tokens of the CGATS text form.

use std::path::Path;

use evenstep_files::Place;

use super::lines::Lines;
use crate::ReadingsError;

/// One token with its place. `text` excludes quotes.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Token<'a> {
    pub(crate) text: &'a [u8],
    pub(crate) quoted: bool,
    pub(crate) line: usize,
    pub(crate) column: usize,
}

impl Token<'_> {
    /// Whether this is the unquoted word `keyword`, in any case.
    pub(crate) fn is(&self, keyword: &str) -> bool {
        !self.quoted && self.text.eq_ignore_ascii_case(keyword.as_bytes())
    }

    pub(crate) fn string(&self) -> String {
        String::from_utf8_lossy(self.text).into_owned()
    }
}

/// Splits a text into lines of tokens.
///
/// Separators are runs of space and tab; lines end with CR LF, LF or CR; `#` outside quotes starts a comment
/// that runs to the end of the line; strings stand in double or single quotes, without escapes, on one line; a
/// NUL or 0x1A byte ends the text.
pub(crate) struct Lexer<'a> {
    bytes: &'a [u8],
    at: usize,
    lines: Lines,
    path: &'a Path,
}

impl<'a> Lexer<'a> {
    pub(crate) fn new(bytes: &'a [u8], path: &'a Path) -> Result<Self, ReadingsError> {
        let end = bytes.iter().position(|b| matches!(b, 0 | 0x1a));
        let bytes = &bytes[..end.unwrap_or(bytes.len())];
        Ok(Self {
            bytes,
            at: 0,
            lines: Lines::new(bytes, path)?,
            path,
        })
    }

    /// Place of the next byte to be read.
    pub(crate) fn here(&self) -> Place {
        self.place(self.at)
    }

    fn place(&self, offset: usize) -> Place {
        let (line, column) = self.lines.at(offset);
        Place::new(self.path, line, column)
    }

    fn end_of_line(&self) -> usize {
        let rest = &self.bytes[self.at..];
        let length = rest.iter().position(|b| matches!(b, b'\n' | b'\r'));
        self.at + length.unwrap_or(rest.len())
    }

    fn skip_line_end(&mut self) {
        if self.bytes.get(self.at) == Some(&b'\r') {
            self.at += 1;
        }
        if self.bytes.get(self.at) == Some(&b'\n') {
            self.at += 1;
        }
    }

    /// The rest of the line as it stands, without looking for tokens; `None` at the end of the text.
    pub(crate) fn raw_line(&mut self) -> Option<&'a [u8]> {
        if self.at == self.bytes.len() {
            return None;
        }
        let end = self.end_of_line();
        let line = &self.bytes[self.at..end];
        self.at = end;
        self.skip_line_end();
        Some(line)
    }

    /// The raw next line without moving on.
    pub(crate) fn peek_line(&self) -> Option<&'a [u8]> {
        (self.at < self.bytes.len()).then(|| &self.bytes[self.at..self.end_of_line()])
    }

    /// Puts the tokens of the next line into `out`; false at the end of the text.
    pub(crate) fn line(&mut self, out: &mut Vec<Token<'a>>) -> Result<bool, ReadingsError> {
        out.clear();
        if self.at == self.bytes.len() {
            return Ok(false);
        }
        let end = self.end_of_line();
        while self.at < end {
            match self.bytes[self.at] {
                b' ' | b'\t' => self.at += 1,
                b'#' => self.at = end,
                quote @ (b'"' | b'\'') => {
                    let (line, column) = self.lines.at(self.at);
                    let text = &self.bytes[self.at + 1..end];
                    let Some(length) = text.iter().position(|b| *b == quote) else {
                        return Err(ReadingsError::UnclosedQuote {
                            place: self.place(self.at),
                        });
                    };
                    out.push(Token {
                        text: &text[..length],
                        quoted: true,
                        line,
                        column,
                    });
                    self.at += length + 2;
                }
                _ => {
                    let (line, column) = self.lines.at(self.at);
                    let text = &self.bytes[self.at..end];
                    let stop = |b: &u8| matches!(b, b' ' | b'\t' | b'#' | b'"' | b'\'');
                    let length = text.iter().position(stop).unwrap_or(text.len());
                    out.push(Token {
                        text: &text[..length],
                        quoted: false,
                        line,
                        column,
                    });
                    self.at += length;
                }
            }
        }
        self.skip_line_end();
        Ok(true)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tokens(text: &str) -> Vec<Vec<String>> {
        let mut lexer = Lexer::new(text.as_bytes(), Path::new("x")).unwrap();
        let (mut line, mut all) = (Vec::new(), Vec::new());
        while lexer.line(&mut line).unwrap() {
            all.push(line.iter().map(Token::string).collect());
        }
        all
    }

    #[test]
    fn a_hash_in_quotes_is_text_and_outside_starts_a_comment() {
        assert_eq!(
            tokens("A \"b # c\" # d\r\n\n1\t2\x1a3"),
            [vec!["A", "b # c"], vec![], vec!["1", "2"]]
        );
        assert_eq!(tokens("A '' \"x'y\"\rB"), [vec!["A", "", "x'y"], vec!["B"]]);
    }

    #[test]
    fn an_open_quote_is_named_where_it_opens() {
        let mut lexer = Lexer::new(b"A\nB \"c\nD\"", Path::new("x")).unwrap();
        let mut line = Vec::new();
        lexer.line(&mut line).unwrap();
        let refused = lexer.line(&mut line).unwrap_err();
        assert_eq!(refused.place(), Some(&Place::new(Path::new("x"), 2, 3)));
    }
}
