use std::fs::File;
use std::io::{BufRead, BufReader};
use std::path::Path;

use evenstep_files::Place;

use super::{NAME, NodeOrder, TableError, TableLayout};
use crate::format::lines::{Ending, LONGEST_COMMENT, Lines};
use crate::format::shown;
use crate::{BitDepth, Lut, Lut1d, Lut3d};

/// Shortest row there is, with its line end: `0 0 0`.
const SHORTEST_ROW: u64 = 6;

/// Whether `start`, the first bytes of a file, are those of an integer table.
#[must_use]
pub fn is_table(start: &[u8]) -> bool {
    start.trim_ascii_start().starts_with(NAME.as_bytes())
}

/// Reads the integer table at `path`.
///
/// # Errors
/// [`TableError`]: the file cannot be read, or is not an integer table.
pub fn read(path: &Path) -> Result<(Lut, TableLayout), TableError> {
    let io = |source| TableError::Io {
        path: path.to_owned(),
        source,
    };
    let file = File::open(path).map_err(io)?;
    let length = file.metadata().map_err(io)?.len();
    Scan::new(BufReader::with_capacity(1 << 16, file), path).table(length)
}

/// Reads an integer table from memory. `path` names it in messages and is not opened.
///
/// # Errors
/// [`TableError`]: the text is not an integer table.
pub fn parse(bytes: &[u8], path: &Path) -> Result<(Lut, TableLayout), TableError> {
    Scan::new(bytes, path).table(bytes.len() as u64)
}

#[derive(Default)]
struct Head {
    title: Option<String>,
    depth: Option<BitDepth>,
    scale: Option<u32>,
    order: Option<NodeOrder>,
    curves: Option<usize>,
    lattice: Option<usize>,
}

/// Sets what the head has not said yet.
fn once<T>(
    slot: &mut Option<T>,
    value: T,
    word: &'static str,
    at: &Place,
) -> Result<(), TableError> {
    if slot.replace(value).is_some() {
        let at = at.clone();
        return Err(TableError::Repeated { at, word });
    }
    Ok(())
}

struct Scan<'a, R> {
    lines: Lines<R>,
    path: &'a Path,
    /// Whether the current line has an end.
    is_ended: bool,
}

impl<'a, R: BufRead> Scan<'a, R> {
    fn new(source: R, path: &'a Path) -> Self {
        Self {
            lines: Lines::new(source),
            path,
            is_ended: false,
        }
    }

    fn here(&self) -> Place {
        Place::new(self.path, self.lines.number, 0)
    }

    /// The next line that says something.
    fn next(&mut self) -> Result<Option<&str>, TableError> {
        loop {
            let ending = self.lines.advance().map_err(|source| TableError::Io {
                path: self.path.to_owned(),
                source,
            })?;
            match ending {
                None => return Ok(None),
                Some(Ending::TooFar) => {
                    return Err(TableError::LongLine {
                        at: self.here(),
                        most: LONGEST_COMMENT,
                    });
                }
                Some(ending) => self.is_ended = ending != Ending::Missing,
            }
            let text = self.lines.text.trim_ascii();
            if !text.is_empty() && !text.starts_with(b"#") {
                break;
            }
        }
        let at = self.here();
        std::str::from_utf8(self.lines.text.trim_ascii())
            .map(Some)
            .map_err(|_| TableError::NotText { at })
    }

    fn table(mut self, length: u64) -> Result<(Lut, TableLayout), TableError> {
        let head = self.head()?;
        let at = self.here();
        let missing = |word| TableError::Missing {
            at: at.clone(),
            word,
        };
        let depth = head.depth.ok_or_else(|| missing("depth"))?;
        let most = depth.largest_code();
        let layout = TableLayout {
            depth,
            scale: head.scale.unwrap_or(most),
            order: head.order.unwrap_or_default(),
        };
        if layout.scale > most {
            return Err(TableError::Head {
                at,
                expected: "a scale up to the largest code of the depth",
                found: layout.scale.to_string(),
            });
        }
        if head.lattice.is_some() && head.order.is_none() {
            return Err(missing("order"));
        }
        let curves = head.curves.unwrap_or(0);
        let need = curves + head.lattice.map_or(0, |n| n.pow(3));
        if need == 0 {
            return Err(missing("curves or lattice"));
        }
        let rows = self.rows(need, most, f64::from(layout.scale), length)?;
        let (curve_rows, nodes) = rows.split_at(curves);
        let title = head.title;
        // The sizes were checked when they were read, and the rows counted.
        let curves = head
            .curves
            .and_then(|_| Lut1d::new(curve_rows.to_vec()).ok());
        let lattice = head.lattice.and_then(|size| {
            let nodes = match layout.order {
                NodeOrder::RedFastest => nodes.to_vec(),
                NodeOrder::BlueFastest => crate::lut3d::with_ends_swapped(nodes, size),
            };
            Lut3d::new(size, nodes).ok()
        });
        let lut = Lut {
            title,
            curves,
            lattice,
        };
        Ok((lut, layout))
    }

    fn head(&mut self) -> Result<Head, TableError> {
        let first = self.next()?.unwrap_or_default();
        if first.split_ascii_whitespace().ne([NAME, "1"]) {
            let found = shown(first.as_bytes());
            let at = Place::new(self.path, self.lines.number, 0);
            return Err(TableError::NotATable { at, found });
        }
        let mut head = Head::default();
        loop {
            let Some(line) = self.next()? else {
                let at = self.here();
                return Err(TableError::Missing { at, word: "data" });
            };
            let (word, value) = line.split_once([' ', '\t']).unwrap_or((line, ""));
            let (word, value) = (word.to_owned(), value.trim().to_owned());
            let at = self.here();
            let bad = |expected| TableError::Head {
                at: at.clone(),
                expected,
                found: shown(format!("{word} {value}").trim().as_bytes()),
            };
            let number = value.parse::<usize>().ok();
            match word.as_str() {
                "data" if value.is_empty() => return Ok(head),
                "title" => once(&mut head.title, value, "title", &at)?,
                "depth" => {
                    let depth = number
                        .and_then(|n| u8::try_from(n).ok())
                        .and_then(BitDepth::new);
                    let depth = depth.ok_or_else(|| bad("a depth from 8 to 16"))?;
                    once(&mut head.depth, depth, "depth", &at)?;
                }
                "scale" => {
                    let scale = number
                        .and_then(|n| u32::try_from(n).ok())
                        .filter(|n| *n > 0);
                    let scale = scale.ok_or_else(|| bad("a scale of at least 1"))?;
                    once(&mut head.scale, scale, "scale", &at)?;
                }
                "order" => {
                    let order = NodeOrder::ALL.into_iter().find(|o| o.name() == value);
                    let order = order.ok_or_else(|| bad("order red-fastest or blue-fastest"))?;
                    once(&mut head.order, order, "order", &at)?;
                }
                "curves" => {
                    let size = number.filter(|n| Lut1d::SIZES.contains(n));
                    let size = size.ok_or_else(|| bad("curves with 2 to 65536 rows"))?;
                    once(&mut head.curves, size, "curves", &at)?;
                }
                "lattice" => {
                    let size = number.filter(|n| Lut3d::SIZES.contains(n));
                    let size =
                        size.ok_or_else(|| bad("a lattice of 2 to 256 nodes along each axis"))?;
                    once(&mut head.lattice, size, "lattice", &at)?;
                }
                _ => return Err(bad("title, depth, scale, order, curves, lattice or data")),
            }
        }
    }

    fn rows(
        &mut self,
        need: usize,
        most: u32,
        scale: f64,
        length: u64,
    ) -> Result<Vec<[f64; 3]>, TableError> {
        let room = usize::try_from(length / SHORTEST_ROW + 1).unwrap_or(usize::MAX);
        let mut rows = Vec::with_capacity(need.min(room));
        while let Some(line) = self.next()? {
            let row = codes(line, most);
            let found = || shown(line.as_bytes());
            if rows.len() == need {
                let found = found();
                let at = self.here();
                return Err(TableError::AfterTable { at, found, need });
            }
            let Some(row) = row else {
                let found = found();
                let at = self.here();
                return Err(TableError::Row { at, most, found });
            };
            // Its last number may be a part of one.
            if !self.is_ended {
                let at = self.here();
                return Err(TableError::OpenRow { at });
            }
            rows.push(row.map(|code| f64::from(code) / scale));
        }
        if rows.len() < need {
            return Err(TableError::TooFewRows {
                at: self.here(),
                rows: rows.len(),
                need,
            });
        }
        Ok(rows)
    }
}

fn codes(line: &str, most: u32) -> Option<[u32; 3]> {
    let mut row = [0; 3];
    let mut words = line.split_ascii_whitespace();
    for code in &mut row {
        let word = words.next()?;
        // `parse` takes a plus sign, the layout does not.
        if !word.bytes().all(|b| b.is_ascii_digit()) {
            return None;
        }
        *code = word.parse().ok().filter(|c| *c <= most)?;
    }
    words.next().is_none().then_some(row)
}
