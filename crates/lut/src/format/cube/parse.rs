use std::fs::File;
use std::io::{self, BufRead, BufReader};
use std::path::Path;

use evenstep_files::Place;

use super::CubeError;
use super::header::{Header, Keyword, Tables, row_error};
use super::number::{is_blank, numbers, plain_rows, skip_blanks, word};
use crate::format::lines::{Ending, LONGEST_COMMENT, LONGEST_LINE, Lines};
use crate::format::note::Notes;
use crate::format::shown;
use crate::format::{Deviation, Note};
use crate::{Lut, Lut1d, Lut3d};

/// Reads the cube file at `path`.
///
/// # Errors
/// [`CubeError`]: the file cannot be read, or its text is not a LUT.
pub fn read(path: &Path) -> Result<(Lut, Vec<Note>), CubeError> {
    let io = |source| CubeError::Io {
        path: path.to_owned(),
        source,
    };
    let file = File::open(path).map_err(io)?;
    let length = file.metadata().map_err(io)?.len();
    parse_stream(BufReader::with_capacity(1 << 16, file), length, path)
}

/// Reads cube text. `path` names the file in messages and is not opened.
///
/// # Errors
/// [`CubeError`]: the text is not a LUT.
pub fn parse(bytes: &[u8], path: &Path) -> Result<(Lut, Vec<Note>), CubeError> {
    parse_stream(bytes, bytes.len() as u64, path)
}

/// `length` bounds the memory set aside for rows before they are read.
fn parse_stream(
    source: impl BufRead,
    length: u64,
    path: &Path,
) -> Result<(Lut, Vec<Note>), CubeError> {
    let mut scan = Scan {
        lines: Lines::new(source),
        path,
        notes: Notes::new(path),
    };
    let mut header = Header::new(path);
    let tables = scan.header(&mut header)?;
    let lut = scan.table(header.title, &tables, length)?;
    Ok((lut, scan.notes.into_list()))
}

/// Whether a line that starts with `byte` belongs to the table: the format tells it from the keywords by that.
pub(super) fn starts_a_row(byte: u8) -> bool {
    (b'+'..=b'9').contains(&byte)
}

/// Shortest row there is, with its line end: `0 0 0`.
const SHORTEST_ROW: u64 = 6;

struct Scan<'a, R> {
    lines: Lines<R>,
    path: &'a Path,
    notes: Notes<'a>,
}

impl<R: BufRead> Scan<'_, R> {
    /// Reads up to the first row of the table, which is then the current line.
    fn header(&mut self, header: &mut Header<'_>) -> Result<Tables, CubeError> {
        while let Some(start) = self.next_content()? {
            if starts_a_row(self.lines.text[start]) {
                let at = self.place(start);
                let tables = header.tables(&at)?;
                if tables.curves.is_some() && tables.lattice.is_some() {
                    self.note(Deviation::CurvesBeforeLattice, 0);
                }
                return Ok(tables);
            }
            let Lines { text, number, .. } = &self.lines;
            header.take(text, start, *number, &mut self.notes)?;
        }
        if self.lines.number == 0 {
            return Err(CubeError::Empty {
                at: Place::file(self.path),
            });
        }
        let end = self.place(self.lines.text.len());
        let tables = header.tables(&end)?;
        Err(CubeError::TooFewRows {
            at: end,
            rows: 0,
            need: need(&tables),
        })
    }

    /// Reads the rows, the first of which is the current line, and the rest of the file.
    fn table(
        &mut self,
        title: Option<String>,
        tables: &Tables,
        length: u64,
    ) -> Result<Lut, CubeError> {
        let need = need(tables);
        let room = usize::try_from(length / SHORTEST_ROW + 1).unwrap_or(usize::MAX);
        let mut rows: Vec<[f64; 3]> = Vec::with_capacity(need.min(room));
        let mut start = skip_blanks(&self.lines.text, 0);
        loop {
            let (text, line) = (&self.lines.text, self.lines.number);
            if !starts_a_row(text[start])
                && let Some(keyword) = Keyword::spelled(word(text, start))
            {
                return Err(CubeError::KeywordInTable {
                    at: self.place(start),
                    keyword: keyword.name(),
                });
            }
            if rows.len() == need {
                return Err(CubeError::AfterTable {
                    at: self.place(start),
                    found: shown(text[start..].trim_ascii_end()),
                    need,
                });
            }
            let (row, _) = numbers::<3>(text, start)
                .map_err(|fault| row_error(self.path, line, text, 3, fault))?;
            rows.push(row);
            self.lines
                .take_whole(|bytes| plain_rows(bytes, &mut rows, need))
                .map_err(|source| self.unreadable(source))?;
            match self.next_content()? {
                Some(next) => start = next,
                None if rows.len() == need => return Ok(build(title, tables, rows)),
                None => {
                    return Err(CubeError::TooFewRows {
                        at: self.place(self.lines.text.len()),
                        rows: rows.len(),
                        need,
                    });
                }
            }
        }
    }

    /// Moves to the next line that is neither blank nor a comment; the offset of its first word, or `None` at the
    /// end of the file.
    fn next_content(&mut self) -> Result<Option<usize>, CubeError> {
        loop {
            let ending = self.lines.advance();
            let ending = ending.map_err(|source| self.unreadable(source))?;
            let Some(ending) = ending else {
                return Ok(None);
            };
            if self.lines.number == 1 {
                self.strip_byte_order_mark()?;
            }
            self.check_text()?;
            let text = &self.lines.text;
            let start = skip_blanks(text, 0);
            let comment = text.get(start).is_none_or(|&b| b == b'#');
            let most = if comment {
                LONGEST_COMMENT
            } else {
                LONGEST_LINE
            };
            if text.len() > most {
                let at = self.place(most);
                return Err(CubeError::LongLine { at, most });
            }
            self.note_shape(ending, start, comment);
            if !comment {
                return Ok(Some(start));
            }
        }
    }

    fn strip_byte_order_mark(&mut self) -> Result<(), CubeError> {
        let text = &mut self.lines.text;
        if text.starts_with(&[0xFF, 0xFE]) || text.starts_with(&[0xFE, 0xFF]) {
            return Err(CubeError::Utf16 { at: self.place(0) });
        }
        if text.starts_with(&[0xEF, 0xBB, 0xBF]) {
            text.drain(..3);
            self.note(Deviation::ByteOrderMark, 0);
        }
        Ok(())
    }

    /// Refuses bytes that no text holds, and text that is not UTF-8.
    fn check_text(&mut self) -> Result<(), CubeError> {
        let text = &self.lines.text;
        let foreign = |&b: &u8| (b < b' ' && b != b'\t') || b == 0x7F;
        if let Some(offset) = text.iter().position(foreign) {
            return Err(CubeError::NotText {
                at: self.place(offset),
                byte: text[offset],
            });
        }
        if text.is_ascii() {
            return Ok(());
        }
        if let Err(e) = std::str::from_utf8(text) {
            let (offset, cut) = (e.valid_up_to(), e.error_len().is_none());
            // A comment given up in the middle of a character is too long, not broken.
            if !(cut && text.len() > LONGEST_COMMENT) {
                let at = self.place(offset);
                return Err(CubeError::NotUtf8 { at });
            }
        }
        let offset = text.iter().take_while(|b| b.is_ascii()).count();
        self.note(Deviation::NonAscii, offset);
        Ok(())
    }

    /// Notes what is unusual about the current line whatever it says.
    fn note_shape(&mut self, ending: Ending, start: usize, comment: bool) {
        let text = &self.lines.text;
        let end = text.len();
        let tab = text.iter().position(|&b| b == b'\t');
        let outer = start > 0 || text.last().is_some_and(|&b| is_blank(b));
        match ending {
            Ending::Lf | Ending::TooFar => {}
            Ending::CrLf => self.note(Deviation::CrLf, end),
            Ending::Cr => self.note(Deviation::LoneCr, end),
            Ending::Missing => self.note(Deviation::NoFinalNewline, end),
        }
        // What stands inside a comment is its own affair.
        if comment && start < end {
            if end > LONGEST_LINE {
                self.note(Deviation::LongComment, LONGEST_LINE);
            }
        } else {
            if let Some(offset) = tab {
                self.note(Deviation::Tabs, offset);
            }
            if outer {
                self.note(Deviation::OuterBlanks, 0);
            }
        }
    }

    fn note(&mut self, deviation: Deviation, offset: usize) {
        self.notes.add(self.lines.number, offset, deviation);
    }

    fn unreadable(&self, source: io::Error) -> CubeError {
        CubeError::Io {
            path: self.path.to_owned(),
            source,
        }
    }

    fn place(&self, offset: usize) -> Place {
        Place::new(self.path, self.lines.number, offset + 1)
    }
}

fn need(tables: &Tables) -> usize {
    let curves = tables.curves.map_or(0, |(size, _)| size);
    // At most 256³: the size was checked when it was read.
    curves + tables.lattice.map_or(0, |(size, _)| size.pow(3))
}

/// The curves' rows come first.
fn build(title: Option<String>, tables: &Tables, mut rows: Vec<[f64; 3]>) -> Lut {
    // Without curves all rows are nodes and stay where they are; `split_off` would copy them.
    let nodes = match tables.curves {
        Some((size, _)) => rows.split_off(size),
        None => std::mem::take(&mut rows),
    };
    Lut {
        title,
        curves: tables.curves.map(|(_, axes)| Lut1d::from_parts(rows, axes)),
        lattice: tables
            .lattice
            .map(|(size, axes)| Lut3d::from_parts(size, nodes, axes)),
    }
}
