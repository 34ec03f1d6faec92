//! From the sections of a CGATS text to rows of drive and colour.

use std::path::Path;

use evenstep_files::Place;

use super::cgats::{Section, document};
use super::lexer::Token;
use super::number::{Cell, Num, decimal, number, shorten};
use super::rows::{Colour, Row, Rows, Want};
use crate::scale::FullScale;
use crate::{Note, ReadingsError};

const RGB: [&str; 3] = ["RGB_R", "RGB_G", "RGB_B"];
const XYZ: [&str; 3] = ["XYZ_X", "XYZ_Y", "XYZ_Z"];
/// Small x, small y, luminance. `XYY_Y` is small y.
const XYY: [&str; 3] = ["XYY_X", "XYY_Y", "XYY_CAPY"];
const STDEV: [&str; 3] = ["STDEV_X", "STDEV_Y", "STDEV_Z"];

/// Reads all sections into rows, joined in file order.
pub(crate) fn rows(bytes: &[u8], path: &Path, want: Want) -> Result<Rows, ReadingsError> {
    let document = document(bytes, path)?;
    let mut out = Rows::new(RGB, None);
    out.notes = document.notes;
    let with_drive = |s: &Section<'_>| RGB.iter().any(|name| s.column(name).is_some());
    let any_drive = document.sections.iter().any(with_drive);
    for section in &document.sections {
        duplicates(section, path)?;
        let place = Place::new(path, section.format_line, 0);
        if !with_drive(section) {
            if any_drive {
                out.notes.push(Note {
                    place,
                    text: "section without device values left out".to_owned(),
                });
                continue;
            }
            return Err(ReadingsError::NoDeviceValues {
                place,
                needed: "RGB_R, RGB_G and RGB_B",
            });
        }
        let columns = Columns::find(section, place, want)?;
        declared_scale(section, &mut out);
        lower_case(section, &columns, path, &mut out.notes);
        for row in section.rows() {
            let default = (out.rows.len() + 1).to_string();
            out.rows.push(columns.row(row, default, path)?);
        }
    }
    if document.sections.is_empty() {
        return Err(ReadingsError::MissingFormat {
            place: Place::file(path),
        });
    }
    Ok(out)
}

fn duplicates(section: &Section<'_>, path: &Path) -> Result<(), ReadingsError> {
    // At most a few thousand names: sorting keeps this short and fast.
    let mut names: Vec<(Vec<u8>, usize)> = section
        .columns
        .iter()
        .enumerate()
        .map(|(i, c)| (c.text.to_ascii_uppercase(), i))
        .collect();
    names.sort();
    let twice = names.windows(2).find(|pair| pair[0].0 == pair[1].0);
    twice.map_or(Ok(()), |pair| {
        let column = &section.columns[pair[1].1];
        Err(ReadingsError::DuplicateColumn {
            place: Place::new(path, column.line, column.column),
            name: shorten(column.text),
        })
    })
}

/// Takes note of `DRIVE_MAXIMUM`, the private keyword that declares the value of full drive.
fn declared_scale(section: &Section<'_>, out: &mut Rows) {
    let Some(token) = section.value("DRIVE_MAXIMUM") else {
        return;
    };
    let value = decimal(token.text);
    let scale = value.and_then(FullScale::of_value);
    let clash = out.declared.is_some() && out.declared != scale;
    if scale.is_none() || clash {
        out.unclear = Some(Num {
            value: value.unwrap_or(f64::NAN),
            line: token.line,
            column: token.column,
        });
    }
    out.declared = scale;
}

fn lower_case(section: &Section<'_>, columns: &Columns, path: &Path, notes: &mut Vec<Note>) {
    let used = columns
        .rgb
        .iter()
        .chain(columns.colour.iter().flat_map(|(_, c)| c));
    let mut odd = used
        .map(|i| &section.columns[*i])
        .filter(|c| c.text.iter().any(u8::is_ascii_lowercase));
    if let Some(column) = odd.next() {
        notes.push(Note {
            place: Place::new(path, column.line, column.column),
            text: format!(
                "column {} in lower case; accepted, the standard writes it in upper case",
                shorten(column.text)
            ),
        });
    }
}

/// Where the columns that matter are; all others are ignored.
struct Columns {
    id: Option<usize>,
    rgb: [usize; 3],
    colour: Option<(Colour, [usize; 3])>,
    stdev: Option<[usize; 3]>,
}

impl Columns {
    fn find(section: &Section<'_>, place: Place, want: Want) -> Result<Self, ReadingsError> {
        let all = |names: [&str; 3]| -> Option<[usize; 3]> {
            let [a, b, c] = names.map(|name| section.column(name));
            Some([a?, b?, c?])
        };
        let missing = |names: [&str; 3], place: Place, needed| {
            let absent = names.into_iter().filter(|n| section.column(n).is_none());
            ReadingsError::MissingColumns {
                place,
                missing: absent.collect::<Vec<_>>().join(", "),
                needed,
            }
        };
        let rgb = all(RGB).ok_or_else(|| missing(RGB, place.clone(), "RGB_R, RGB_G and RGB_B"))?;
        let colour = match (want, all(XYZ), all(XYY)) {
            (Want::Drive, ..) => None,
            (Want::Readings, Some(xyz), _) => Some((Colour::Xyz, xyz)),
            (Want::Readings, None, Some(xyy)) => Some((Colour::Xyy, xyy)),
            (Want::Readings, None, None) => {
                return Err(missing(
                    XYZ,
                    place,
                    "XYZ_X, XYZ_Y, XYZ_Z in cd/m², or XYY_X, XYY_Y, XYY_CAPY",
                ));
            }
        };
        Ok(Self {
            id: section.column("SAMPLE_ID"),
            rgb,
            colour,
            stdev: all(STDEV),
        })
    }

    fn row(&self, row: &[Token<'_>], default: String, path: &Path) -> Result<Row, ReadingsError> {
        let id = self.id.map_or(default, |i| row[i].string());
        let triple = |at: [usize; 3], names: [&str; 3]| -> Result<[Num; 3], ReadingsError> {
            let read = |k: usize| {
                let token = &row[at[k]];
                let cell = Cell {
                    path,
                    line: token.line,
                    column: token.column,
                    id: &id,
                    name: names[k],
                };
                number(token.text, &cell)
            };
            Ok([read(0)?, read(1)?, read(2)?])
        };
        let rgb = triple(self.rgb, RGB)?;
        let colour = match self.colour {
            None => None,
            Some((Colour::Xyz, at)) => Some((Colour::Xyz, triple(at, XYZ)?)),
            Some((Colour::Xyy, at)) => Some((Colour::Xyy, triple(at, XYY)?)),
        };
        let stdev = self.stdev.map(|at| triple(at, STDEV)).transpose()?;
        Ok(Row {
            id,
            rgb,
            colour,
            stdev: stdev.map(|s| s.map(|n| n.value)),
            time: None,
        })
    }
}
