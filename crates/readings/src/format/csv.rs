//! Comma-separated readings and patch lists.
//!
//! # Source
//! RFC 4180 (October 2005) for separators, quotes and line ends. Lines that begin with `#` are comments, which
//! that text does not know.

use std::path::Path;

use evenstep_files::Place;

use super::limits::{MAX_COLUMNS, MAX_ROWS};
use super::lines::Lines;
use super::number::{Cell, Num, decimal, number, shorten};
use super::rows::{Colour, Row, Rows, Want};
use crate::ReadingsError;
use crate::scale::FullScale;

const RGB: [&str; 3] = ["r", "g", "b"];
const XYZ: [&str; 3] = ["X", "Y", "Z"];
const XYY: [&str; 3] = ["x", "y", "Y"];
const STDEV: [&str; 3] = ["sX", "sY", "sZ"];

/// One record: its cells, and the place of each in the file.
struct Record {
    cells: Vec<Vec<u8>>,
    places: Vec<(usize, usize)>,
}

/// Reads the rows under the header.
///
/// Header names are taken whatever their case, with one exception: `x`, `y` and `Y` together, spelled exactly
/// so and without a column of X or Z, are chromaticity and luminance. Without `id` the row number is the id.
pub(crate) fn rows(bytes: &[u8], path: &Path, want: Want) -> Result<Rows, ReadingsError> {
    let mut records = Records::new(bytes, path)?;
    let header = records.next()?.ok_or_else(|| ReadingsError::Empty {
        place: Place::file(path),
    })?;
    let columns = Columns::find(&header, path, want)?;
    let mut out = Rows::new(RGB, Some(FullScale::One));
    while let Some(record) = records.next()? {
        if out.rows.len() == MAX_ROWS {
            return Err(ReadingsError::Limit {
                place: record.place(path, 0),
                what: "rows",
                limit: MAX_ROWS,
            });
        }
        let number = out.rows.len() + 1;
        out.rows
            .push(columns.row(&record, header.cells.len(), number, path)?);
    }
    Ok(out)
}

/// Records with places. The `csv` crate splits and unquotes; it gives the start of a record (comment lines
/// before it included) but not of a cell, so the cells are found again in the bytes of the record.
struct Records<'a> {
    reader: csv::Reader<&'a [u8]>,
    bytes: &'a [u8],
    lines: Lines,
    path: &'a Path,
}

impl<'a> Records<'a> {
    fn new(bytes: &'a [u8], path: &'a Path) -> Result<Self, ReadingsError> {
        let lines = Lines::new(bytes, path)?;
        let reader = csv::ReaderBuilder::new()
            .has_headers(false)
            .flexible(true)
            .comment(Some(b'#'))
            .from_reader(bytes);
        Ok(Self {
            reader,
            bytes,
            lines,
            path,
        })
    }

    fn offset(&self) -> usize {
        let byte = self.reader.position().byte();
        usize::try_from(byte).map_or(self.bytes.len(), |b| b.min(self.bytes.len()))
    }

    fn next(&mut self) -> Result<Option<Record>, ReadingsError> {
        let mut start = self.offset();
        let mut record = csv::ByteRecord::new();
        let more = self.reader.read_byte_record(&mut record);
        // The source is memory and lengths may differ, so the reader has nothing to fail on.
        if !more.map_err(|source| ReadingsError::Io {
            path: self.path.to_owned(),
            source: source.into(),
        })? {
            return Ok(None);
        }
        while let Some(length) = blank_or_comment(&self.bytes[start..]) {
            start += length;
        }
        let raw = &self.bytes[start..self.offset().max(start)];
        let (line, column) = self.lines.at(start);
        let place = Place::new(self.path, line, column);
        if record.len() > MAX_COLUMNS {
            return Err(ReadingsError::Limit {
                place,
                what: "columns",
                limit: MAX_COLUMNS,
            });
        }
        if raw.iter().filter(|b| **b == b'"').count() % 2 == 1 {
            return Err(ReadingsError::UnclosedQuote { place });
        }
        let mut places = vec![(line, column)];
        let mut quoted = false;
        for (at, byte) in raw.iter().enumerate() {
            match byte {
                b'"' => quoted = !quoted,
                b',' if !quoted => places.push(self.lines.at(start + at + 1)),
                _ => {}
            }
        }
        places.resize(record.len(), (line, column));
        Ok(Some(Record {
            cells: record.iter().map(<[u8]>::to_vec).collect(),
            places,
        }))
    }
}

/// Length of the blank or comment line at the start, line end included.
fn blank_or_comment(bytes: &[u8]) -> Option<usize> {
    match bytes.first()? {
        b'\n' | b'\r' => Some(1),
        b'#' => {
            let end = bytes.iter().position(|b| matches!(b, b'\n' | b'\r'));
            Some(end.unwrap_or(bytes.len()))
        }
        _ => None,
    }
}

impl Record {
    fn place(&self, path: &Path, cell: usize) -> Place {
        let (line, column) = self.places[cell];
        Place::new(path, line, column)
    }

    fn name(&self, cell: usize) -> &[u8] {
        self.cells[cell].trim_ascii()
    }
}

/// Where the columns that matter are; all others are ignored.
struct Columns {
    id: Option<usize>,
    time: Option<usize>,
    rgb: [usize; 3],
    colour: Option<(Colour, [usize; 3])>,
    stdev: Option<[usize; 3]>,
}

impl Columns {
    fn find(header: &Record, path: &Path, want: Want) -> Result<Self, ReadingsError> {
        let place = header.place(path, 0);
        let count = header.cells.len();
        if (0..count).any(|i| header.cells[i].contains(&b';')) {
            return Err(ReadingsError::Semicolons { place });
        }
        if (0..count).all(|i| decimal(header.name(i)).is_some()) {
            return Err(ReadingsError::MissingHeader { place });
        }
        let exact = |name: &str| (0..count).find(|i| header.name(*i) == name.as_bytes());
        let any_case =
            |name: &str| (0..count).find(|i| header.name(*i).eq_ignore_ascii_case(name.as_bytes()));
        let starts = |i: &usize| {
            header
                .name(*i)
                .to_ascii_lowercase()
                .starts_with(b"surround")
        };
        if let Some(i) = (0..count).find(starts) {
            return Err(ReadingsError::Surround {
                place: header.place(path, i),
                name: shorten(header.name(i)),
            });
        }
        let is_xyy = XYY.iter().all(|name| exact(name).is_some())
            && exact("X").is_none()
            && any_case("Z").is_none();
        let exact_xyz = XYZ.iter().all(|name| exact(name).is_some());
        Self::no_duplicates(header, path, is_xyy || exact_xyz)?;

        let triple = |names: [&str; 3], find: &dyn Fn(&str) -> Option<usize>| {
            let [a, b, c] = names.map(find);
            Some([a?, b?, c?])
        };
        let missing = |names: [&str; 3], needed| ReadingsError::MissingColumns {
            place: place.clone(),
            missing: names
                .into_iter()
                .filter(|name| any_case(name).is_none())
                .collect::<Vec<_>>()
                .join(", "),
            needed,
        };
        let rgb = triple(RGB, &any_case).ok_or_else(|| {
            if RGB.iter().all(|name| any_case(name).is_none()) && triple(XYZ, &any_case).is_some() {
                ReadingsError::NoDeviceValues {
                    place: place.clone(),
                    needed: "r, g and b",
                }
            } else {
                missing(RGB, "r, g and b")
            }
        })?;
        let xyz = if exact_xyz {
            triple(XYZ, &exact)
        } else {
            triple(XYZ, &any_case)
        };
        let colour = match (want, is_xyy, xyz) {
            (Want::Drive, ..) => None,
            (Want::Readings, true, _) => triple(XYY, &exact).map(|at| (Colour::Xyy, at)),
            (Want::Readings, false, Some(at)) => Some((Colour::Xyz, at)),
            (Want::Readings, false, None) => {
                let luminance = any_case("Y").is_some();
                return Err(
                    if luminance && any_case("X").is_none() && any_case("Z").is_none() {
                        ReadingsError::LuminanceOnly { place }
                    } else {
                        missing(XYZ, "X, Y, Z in cd/m², or x, y, Y")
                    },
                );
            }
        };
        Ok(Self {
            id: any_case("id"),
            time: any_case("t"),
            rgb,
            colour,
            stdev: triple(STDEV, &any_case),
        })
    }

    /// Refuses a name that appears twice; names that differ in case alone count as one unless case has meaning.
    fn no_duplicates(
        header: &Record,
        path: &Path,
        case_matters: bool,
    ) -> Result<(), ReadingsError> {
        let mut names: Vec<(Vec<u8>, usize)> = (0..header.cells.len())
            .map(|i| {
                let name = header.name(i);
                let keep = case_matters && matches!(name, b"x" | b"y" | b"z" | b"X" | b"Y" | b"Z");
                let key = if keep {
                    name.to_vec()
                } else {
                    name.to_ascii_lowercase()
                };
                (key, i)
            })
            .collect();
        names.sort();
        let mut pairs = names.windows(2);
        match pairs.find(|pair| pair[0].0 == pair[1].0 && !pair[0].0.is_empty()) {
            None => Ok(()),
            Some(pair) => Err(ReadingsError::DuplicateColumn {
                place: header.place(path, pair[1].1),
                name: shorten(header.name(pair[1].1)),
            }),
        }
    }

    fn row(
        &self,
        record: &Record,
        need: usize,
        row_number: usize,
        path: &Path,
    ) -> Result<Row, ReadingsError> {
        let id = self
            .id
            .and_then(|i| record.cells.get(i))
            .filter(|id| !id.is_empty());
        let id = id.map_or_else(
            || row_number.to_string(),
            |id| String::from_utf8_lossy(id).into_owned(),
        );
        if record.cells.len() != need {
            return Err(ReadingsError::RowLength {
                place: record.place(path, 0),
                id: shorten(id.as_bytes()),
                found: record.cells.len(),
                need,
            });
        }
        let one = |at: usize, name: &str| -> Result<Num, ReadingsError> {
            let (line, column) = record.places[at];
            let cell = Cell {
                path,
                line,
                column,
                id: &id,
                name,
            };
            number(record.cells[at].trim_ascii(), &cell)
        };
        let triple = |at: [usize; 3], names: [&str; 3]| -> Result<[Num; 3], ReadingsError> {
            Ok([
                one(at[0], names[0])?,
                one(at[1], names[1])?,
                one(at[2], names[2])?,
            ])
        };
        let rgb = triple(self.rgb, RGB)?;
        let colour = match self.colour {
            None => None,
            Some((Colour::Xyz, at)) => Some((Colour::Xyz, triple(at, XYZ)?)),
            Some((Colour::Xyy, at)) => Some((Colour::Xyy, triple(at, XYY)?)),
        };
        let stdev = self.stdev.map(|at| triple(at, STDEV)).transpose()?;
        let time = self.time.map(|at| one(at, "t")).transpose()?;
        Ok(Row {
            id,
            rgb,
            colour,
            stdev: stdev.map(|s| s.map(|n| n.value)),
            time: time.map(|t| t.value),
        })
    }
}
