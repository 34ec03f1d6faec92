//! The ASCII text form of CGATS.17 and ISO 28178: sections of keywords, a format block and a data block.
//!
//! # Source
//! ANSI/CGATS.17-2009 and ISO 28178:2009, "Graphic technology — Exchange format for colour and process control
//! data using XML or ASCII text", as summarised in the project's reference on measurement formats (the text of
//! the standards was not re-read).

use std::path::Path;

use evenstep_files::Place;

use super::lexer::{Lexer, Token};
use super::limits::{MAX_CELLS, MAX_COLUMNS, MAX_ROWS};
use super::number::shorten;
use crate::{Note, ReadingsError};

/// One section: its keywords, its columns and its rows of tokens.
pub(crate) struct Section<'a> {
    /// Keywords and values in file order; the names of private keywords are here like any other.
    pub(crate) keywords: Vec<(Token<'a>, Token<'a>)>,
    /// Column names as they stand.
    pub(crate) columns: Vec<Token<'a>>,
    /// Cells, row by row; the length is a multiple of the number of columns.
    pub(crate) cells: Vec<Token<'a>>,
    /// The `BEGIN_DATA_FORMAT` line.
    pub(crate) format_line: usize,
}

impl<'a> Section<'a> {
    /// Index of a column, whatever its case.
    pub(crate) fn column(&self, name: &str) -> Option<usize> {
        self.columns.iter().position(|c| c.is(name))
    }

    /// Value of the last keyword of this name.
    pub(crate) fn value(&self, keyword: &str) -> Option<Token<'a>> {
        let mut all = self.keywords.iter().rev();
        all.find(|(name, _)| name.is(keyword))
            .map(|(_, value)| *value)
    }

    pub(crate) fn rows(&self) -> impl Iterator<Item = &[Token<'a>]> {
        self.cells.chunks_exact(self.columns.len().max(1))
    }
}

/// The sections of a file, with notes on deviations that were accepted.
pub(crate) struct Document<'a> {
    pub(crate) sections: Vec<Section<'a>>,
    pub(crate) notes: Vec<Note>,
}

/// Reads the structure of a CGATS text; what the columns mean is left to the caller.
pub(crate) fn document<'a>(bytes: &'a [u8], path: &'a Path) -> Result<Document<'a>, ReadingsError> {
    let mut parser = Parser {
        lexer: Lexer::new(bytes, path)?,
        path,
        notes: Vec::new(),
        rows: 0,
        cells: 0,
    };
    parser.identifier();
    let mut sections = Vec::new();
    while let Some(section) = parser.section()? {
        sections.push(section);
    }
    Ok(Document {
        sections,
        notes: parser.notes,
    })
}

struct Parser<'a> {
    lexer: Lexer<'a>,
    path: &'a Path,
    notes: Vec<Note>,
    rows: usize,
    cells: usize,
}

/// A count as declared, with the place of its value.
type Declared = Option<usize>;

impl<'a> Parser<'a> {
    /// Passes over the identifier line: free text, never a keyword, quotes in it mean nothing.
    fn identifier(&mut self) {
        while let Some(line) = self.lexer.peek_line() {
            let text = line.trim_ascii();
            if text.is_empty() || text.starts_with(b"#") {
                self.lexer.raw_line();
                continue;
            }
            if text.starts_with(b"BEGIN_DATA") {
                self.note(
                    self.lexer.here().line,
                    "no identifier line; read as CGATS text all the same",
                );
            } else {
                self.lexer.raw_line();
            }
            return;
        }
    }

    fn note(&mut self, line: usize, text: &str) {
        self.notes.push(Note {
            place: Place::new(self.path, line, 0),
            text: text.to_owned(),
        });
    }

    /// The next section, or `None` when only keywords or nothing are left.
    fn section(&mut self) -> Result<Option<Section<'a>>, ReadingsError> {
        let mut section = Section {
            keywords: Vec::new(),
            columns: Vec::new(),
            cells: Vec::new(),
            format_line: 0,
        };
        let (mut fields, mut sets): (Declared, Declared) = (None, None);
        let mut line = Vec::new();
        while self.lexer.line(&mut line)? {
            let Some(first) = line.first().copied() else {
                continue;
            };
            if first.is(".INCLUDE") {
                return Err(ReadingsError::Include {
                    place: self.place(&first),
                });
            } else if first.is("BEGIN_DATA_FORMAT") {
                section.format_line = first.line;
                section.columns = self.format(&line[1..], fields)?;
            } else if first.is("BEGIN_DATA") {
                if section.columns.is_empty() {
                    return Err(ReadingsError::MissingFormat {
                        place: self.place(&first),
                    });
                }
                if fields.is_none() {
                    self.note(
                        section.format_line,
                        "NUMBER_OF_FIELDS is not declared; accepted",
                    );
                }
                if sets.is_none() {
                    self.note(
                        first.line,
                        "NUMBER_OF_SETS is not declared; a cut file could not be told",
                    );
                }
                section.cells = self.data(&line[1..], &section.columns, sets)?;
                return Ok(Some(section));
            } else if first.is("NUMBER_OF_FIELDS") {
                fields = Some(self.count(&line, "NUMBER_OF_FIELDS", MAX_COLUMNS)?);
            } else if first.is("NUMBER_OF_SETS") {
                sets = Some(self.count(&line, "NUMBER_OF_SETS", MAX_ROWS)?);
            } else if let Some(value) = line.get(1) {
                section.keywords.push((first, *value));
            }
            // A word alone is the type line of a section, or a keyword without a value: nothing to keep.
        }
        if section.columns.is_empty() {
            Ok(None)
        } else {
            Err(ReadingsError::Unfinished {
                place: self.lexer.here(),
                need: "BEGIN_DATA",
            })
        }
    }

    fn place(&self, token: &Token<'_>) -> Place {
        Place::new(self.path, token.line, token.column)
    }

    fn count(
        &self,
        line: &[Token<'a>],
        keyword: &'static str,
        limit: usize,
    ) -> Result<usize, ReadingsError> {
        let at = line.get(1).unwrap_or(&line[0]);
        let text = line.get(1).map_or(&b""[..], |value| value.text);
        std::str::from_utf8(text)
            .ok()
            .and_then(|t| t.parse::<usize>().ok())
            .filter(|n| *n <= limit)
            .ok_or_else(|| ReadingsError::BadCount {
                place: self.place(at),
                keyword,
                found: shorten(text),
                limit,
            })
    }

    /// Column names up to `END_DATA_FORMAT`.
    fn format(
        &mut self,
        same_line: &[Token<'a>],
        declared: Declared,
    ) -> Result<Vec<Token<'a>>, ReadingsError> {
        let mut columns: Vec<Token<'a>> = Vec::new();
        let mut line = same_line.to_vec();
        loop {
            for token in &line {
                if token.is("END_DATA_FORMAT") {
                    let found = columns.len();
                    if let Some(declared) = declared.filter(|n| *n != found) {
                        return Err(ReadingsError::CountMismatch {
                            place: self.place(token),
                            keyword: "NUMBER_OF_FIELDS",
                            declared,
                            found,
                        });
                    }
                    return Ok(columns);
                }
                if columns.len() == MAX_COLUMNS {
                    return Err(ReadingsError::Limit {
                        place: self.place(token),
                        what: "columns",
                        limit: MAX_COLUMNS,
                    });
                }
                columns.push(*token);
            }
            if !self.lexer.line(&mut line)? {
                return Err(ReadingsError::Unfinished {
                    place: self.lexer.here(),
                    need: "END_DATA_FORMAT",
                });
            }
        }
    }

    /// Cells up to `END_DATA`.
    ///
    /// A row may be broken over lines and several whole rows may share a line, but a row that shares a line with
    /// part of another means that a cell is missing or extra: otherwise every later cell would shift unseen.
    fn data(
        &mut self,
        same_line: &[Token<'a>],
        columns: &[Token<'a>],
        declared: Declared,
    ) -> Result<Vec<Token<'a>>, ReadingsError> {
        let need = columns.len();
        let mut cells: Vec<Token<'a>> = Vec::new();
        // Where the row being filled begins in `cells`, and where its last line begins.
        let mut row = 0;
        let mut line = same_line.to_vec();
        loop {
            let end = line.iter().position(|t| t.is("END_DATA"));
            let before = cells.len();
            cells.extend_from_slice(&line[..end.unwrap_or(line.len())]);
            let held = cells.len() - row;
            let whole = held.is_multiple_of(need);
            if whole {
                self.rows += held / need;
                row = cells.len();
            } else if held > need || end.is_some() {
                // The row that was complete before this line, or else this line itself, has the wrong length.
                let found = if before > row { before - row } else { held };
                return Err(self.row_length(&cells[row..], columns, found));
            }
            self.cells += cells.len() - before;
            for (count, what, limit) in [
                (self.rows, "rows", MAX_ROWS),
                (self.cells, "cells", MAX_CELLS),
            ] {
                if count > limit {
                    let place = self.lexer.here();
                    return Err(ReadingsError::Limit { place, what, limit });
                }
            }
            if let Some(end) = end {
                let found = cells.len() / need;
                if let Some(declared) = declared.filter(|n| *n != found) {
                    return Err(ReadingsError::CountMismatch {
                        place: self.place(&line[end]),
                        keyword: "NUMBER_OF_SETS",
                        declared,
                        found,
                    });
                }
                return Ok(cells);
            }
            if !self.lexer.line(&mut line)? {
                return Err(ReadingsError::Unfinished {
                    place: self.lexer.here(),
                    need: "END_DATA",
                });
            }
        }
    }

    fn row_length(&self, row: &[Token<'a>], columns: &[Token<'a>], found: usize) -> ReadingsError {
        let id = columns.iter().position(|c| c.is("SAMPLE_ID"));
        let id = id.and_then(|i| row.get(i));
        ReadingsError::RowLength {
            place: row
                .first()
                .map_or_else(|| Place::file(self.path), |t| self.place(t)),
            id: id.map_or_else(|| "?".to_owned(), |t| shorten(t.text)),
            found,
            need: columns.len(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Vec<Vec<String>>, ReadingsError> {
        let document = document(text.as_bytes(), Path::new("x"))?;
        let rows = document.sections.iter().flat_map(Section::rows);
        Ok(rows
            .map(|row| row.iter().map(Token::string).collect())
            .collect())
    }

    #[test]
    fn several_whole_rows_may_share_a_line() {
        let rows = read(
            "CGATS.17\nBEGIN_DATA_FORMAT\nA B\nEND_DATA_FORMAT\nBEGIN_DATA\n1 2 3 4\n5\n6\nEND_DATA",
        );
        assert_eq!(rows.unwrap(), [["1", "2"], ["3", "4"], ["5", "6"]]);
    }

    #[test]
    fn short_rows_that_add_up_are_still_refused() {
        // Three columns, three rows of two cells: six cells would pass for two rows.
        let text = "CGATS.17\nBEGIN_DATA_FORMAT\nA B C\nEND_DATA_FORMAT\nBEGIN_DATA\n1 2\n3 4\n5 6\nEND_DATA";
        let refused = read(text).unwrap_err();
        assert!(
            matches!(
                refused,
                ReadingsError::RowLength {
                    found: 2,
                    need: 3,
                    ..
                }
            ),
            "{refused}"
        );
    }

    #[test]
    fn the_identifier_line_is_free_text() {
        let text =
            "NUMBER_OF_SETS \"7\nBEGIN_DATA_FORMAT\nA\nEND_DATA_FORMAT\nBEGIN_DATA\n1\nEND_DATA";
        assert_eq!(read(text).unwrap(), [["1"]]);
    }

    #[test]
    fn rows_beyond_the_limit_are_refused() {
        let rows = "1\n".repeat(MAX_ROWS + 1);
        let refused = read(&format!(
            "CGATS.17\nBEGIN_DATA_FORMAT\nA\nEND_DATA_FORMAT\nBEGIN_DATA\n{rows}END_DATA"
        ));
        assert!(matches!(
            refused,
            Err(ReadingsError::Limit { what: "rows", .. })
        ));
    }

    #[test]
    fn include_is_refused() {
        let refused = read("CGATS.17\n.INCLUDE \"other.txt\"\n").unwrap_err();
        assert!(
            matches!(refused, ReadingsError::Include { .. }),
            "{refused}"
        );
    }
}
