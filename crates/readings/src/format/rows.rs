//! Rows of either format, and the checks that both share: scale, negative light, chromaticity.

use std::path::Path;

use evenstep_colour::Xyz;
use evenstep_files::Place;

use super::number::{Num, shorten};
use crate::noise::NoiseModel;
use crate::scale::{FullScale, RgbScale};
use crate::{Note, ReadingsError};

/// What the caller needs from the file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Want {
    /// Drive and colour.
    Readings,
    /// Drive alone.
    Drive,
}

/// How the three colour cells are to be understood.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Colour {
    /// X, Y, Z in cd/m².
    Xyz,
    /// x, y, Y with Y in cd/m².
    Xyy,
}

/// One row as it stands, drive not yet scaled.
pub(crate) struct Row {
    pub(crate) id: String,
    pub(crate) rgb: [Num; 3],
    pub(crate) colour: Option<(Colour, [Num; 3])>,
    pub(crate) stdev: Option<[f64; 3]>,
    pub(crate) time: Option<f64>,
}

/// All rows of a file.
pub(crate) struct Rows {
    pub(crate) rows: Vec<Row>,
    pub(crate) notes: Vec<Note>,
    /// Scale that the file declares.
    pub(crate) declared: Option<FullScale>,
    /// A declaration that names no scale, or a second one that contradicts the first.
    pub(crate) unclear: Option<Num>,
    rgb_names: [&'static str; 3],
    implied: Option<FullScale>,
}

impl Rows {
    /// No rows yet; `implied` is the scale that the format itself fixes, if it does.
    pub(crate) fn new(rgb_names: [&'static str; 3], implied: Option<FullScale>) -> Self {
        Self {
            rows: Vec::new(),
            notes: Vec::new(),
            declared: None,
            unclear: None,
            rgb_names,
            implied,
        }
    }

    /// Settles the scale and says in a note how.
    pub(crate) fn scale(
        &self,
        asked: RgbScale,
        path: &Path,
    ) -> Result<(FullScale, Note), ReadingsError> {
        let note = |scale: FullScale, how: &str| {
            let text = format!("drive scale 0 to {scale}, {how}");
            let place = Place::file(path);
            (scale, Note { place, text })
        };
        if let RgbScale::Given(scale) = asked {
            return Ok(note(scale, "as given"));
        }
        let unknown = |cell: Num| ReadingsError::UnknownScale {
            place: Place::new(path, cell.line, cell.column),
            largest: cell.value,
        };
        if let Some(cell) = self.unclear {
            return Err(unknown(cell));
        }
        if let Some(scale) = self.declared {
            return Ok(note(scale, "declared by DRIVE_MAXIMUM in the file"));
        }
        if let Some(scale) = self.implied {
            return Ok(note(scale, "as CSV columns r,g,b are without --rgb-scale"));
        }
        let cells = self.rows.iter().flat_map(|row| row.rgb);
        let largest = cells.max_by(|a, b| a.value.total_cmp(&b.value));
        let largest = largest.ok_or_else(|| ReadingsError::NoRows {
            place: Place::file(path),
        })?;
        FullScale::of_value(largest.value)
            .map(|scale| note(scale, "taken from the largest drive in the file"))
            .ok_or_else(|| unknown(largest))
    }

    /// Drive of a row as fractions of full drive.
    pub(crate) fn drive(
        &self,
        row: &Row,
        scale: FullScale,
        path: &Path,
    ) -> Result<[f64; 3], ReadingsError> {
        for (cell, name) in row.rgb.iter().zip(self.rgb_names) {
            if !(0.0..=scale.value()).contains(&cell.value) {
                return Err(ReadingsError::DriveRange {
                    place: Place::new(path, cell.line, cell.column),
                    id: shorten(row.id.as_bytes()),
                    column: name.to_owned(),
                    value: cell.value,
                    scale: scale.value(),
                });
            }
        }
        // Adding zero turns a negative zero into a plain one, so that equal drives have equal bits.
        Ok(row.rgb.map(|cell| cell.value / scale.value() + 0.0))
    }
}

/// Lowest X, Y or Z accepted, in cd/m²: three standard deviations of the noise floor below zero.
///
/// The noise of the file is not known while it is read, so the floor is that of [`NoiseModel::assumed`].
/// Readings slightly below zero are what a noisy instrument gives near black: they are kept, because dropping
/// them or setting them to zero would bias the mean of black upwards.
#[must_use]
pub fn lowest_light_cd_m2() -> f64 {
    -3.0 * NoiseModel::assumed().floor_cd_m2
}

/// Colour of a row in absolute XYZ, or the reason why it is none. `None` when the row has no colour cells.
pub(crate) fn xyz(row: &Row, path: &Path) -> Result<Option<Xyz>, ReadingsError> {
    let Some((kind, cells)) = row.colour else {
        return Ok(None);
    };
    let not_below_floor = |cell: &Num, name: &str| {
        let limit = lowest_light_cd_m2();
        if cell.value >= limit {
            return Ok(());
        }
        Err(ReadingsError::Negative {
            place: Place::new(path, cell.line, cell.column),
            id: shorten(row.id.as_bytes()),
            column: name.to_owned(),
            value: cell.value,
            limit,
        })
    };
    match kind {
        Colour::Xyz => {
            for (cell, name) in cells.iter().zip(["X", "Y", "Z"]) {
                not_below_floor(cell, name)?;
            }
            Ok(Some(Xyz(cells.map(|c| c.value))))
        }
        Colour::Xyy => {
            let [x, y, luminance] = cells;
            not_below_floor(&luminance, "Y")?;
            if luminance.value == 0.0 {
                return Ok(Some(Xyz([0.0; 3])));
            }
            let fraction = |v: f64| (0.0..=1.0).contains(&v);
            if !fraction(x.value) || !fraction(y.value) || y.value == 0.0 {
                return Err(ReadingsError::Chromaticity {
                    place: Place::new(path, y.line, y.column),
                    id: shorten(row.id.as_bytes()),
                    x: x.value,
                    y: y.value,
                });
            }
            let per_y = luminance.value / y.value;
            let z = (1.0 - x.value - y.value) * per_y;
            let found = [x.value * per_y, luminance.value, z];
            if !found
                .iter()
                .all(|v| v.is_finite() && *v >= lowest_light_cd_m2())
            {
                return Err(ReadingsError::Chromaticity {
                    place: Place::new(path, y.line, y.column),
                    id: shorten(row.id.as_bytes()),
                    x: x.value,
                    y: y.value,
                });
            }
            Ok(Some(Xyz(found)))
        }
    }
}
