use std::path::Path;

use evenstep_files::Place;

use super::CubeError;
use super::number::{Fault, RowFault, numbers, skip_blanks, word};
use crate::axis::Axis;
use crate::format::Deviation;
use crate::format::note::Notes;
use crate::format::shown;
use crate::{Lut1d, Lut3d};

/// The keywords of the format and of its common dialects.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Keyword {
    Title,
    DomainMin,
    DomainMax,
    Size1d,
    Size3d,
    Range1d,
    Range3d,
    VideoIn,
    VideoOut,
}

impl Keyword {
    const ALL: [Self; 9] = [
        Self::Title,
        Self::DomainMin,
        Self::DomainMax,
        Self::Size1d,
        Self::Size3d,
        Self::Range1d,
        Self::Range3d,
        Self::VideoIn,
        Self::VideoOut,
    ];

    pub(super) fn name(self) -> &'static str {
        match self {
            Self::Title => "TITLE",
            Self::DomainMin => "DOMAIN_MIN",
            Self::DomainMax => "DOMAIN_MAX",
            Self::Size1d => "LUT_1D_SIZE",
            Self::Size3d => "LUT_3D_SIZE",
            Self::Range1d => "LUT_1D_INPUT_RANGE",
            Self::Range3d => "LUT_3D_INPUT_RANGE",
            Self::VideoIn => "LUT_IN_VIDEO_RANGE",
            Self::VideoOut => "LUT_OUT_VIDEO_RANGE",
        }
    }

    /// The keyword `found` spells, whatever the case of its letters.
    pub(super) fn spelled(found: &[u8]) -> Option<Self> {
        Self::ALL
            .into_iter()
            .find(|k| found.eq_ignore_ascii_case(k.name().as_bytes()))
    }
}

/// A value and where it was given.
#[derive(Clone, Copy)]
struct Given<T> {
    value: T,
    line: usize,
    /// Column of each number.
    columns: [usize; 3],
}

/// What the lines above the table said.
pub(super) struct Header<'a> {
    path: &'a Path,
    pub(super) title: Option<String>,
    /// Line of each keyword met, in the order of [`Keyword::ALL`].
    met: [Option<usize>; Keyword::ALL.len()],
    min: Option<Given<[f64; 3]>>,
    max: Option<Given<[f64; 3]>>,
    size_1d: Option<usize>,
    size_3d: Option<usize>,
    range_1d: Option<Given<[f64; 2]>>,
    range_3d: Option<Given<[f64; 2]>>,
}

/// The tables to come: nodes along an axis and the three axes of each.
pub(super) struct Tables {
    pub(super) curves: Option<(usize, [Axis; 3])>,
    pub(super) lattice: Option<(usize, [Axis; 3])>,
}

impl<'a> Header<'a> {
    pub(super) fn new(path: &'a Path) -> Self {
        Self {
            path,
            title: None,
            met: [None; Keyword::ALL.len()],
            min: None,
            max: None,
            size_1d: None,
            size_3d: None,
            range_1d: None,
            range_3d: None,
        }
    }

    /// Takes the keyword line `text`, whose first word starts at `start`. What is unusual about it goes to
    /// `notes`.
    pub(super) fn take(
        &mut self,
        text: &[u8],
        start: usize,
        line: usize,
        notes: &mut Notes<'_>,
    ) -> Result<(), CubeError> {
        let at = Place::new(self.path, line, start + 1);
        let found = word(text, start);
        let Some(keyword) = Keyword::spelled(found) else {
            return Err(CubeError::UnknownKeyword {
                at,
                found: shown(found),
            });
        };
        if found != keyword.name().as_bytes() {
            notes.add(line, start, Deviation::LowerCaseKeyword);
        }
        let keyword_name = keyword.name();
        if let Some(first) = self.met[keyword as usize].replace(line) {
            return Err(CubeError::RepeatedKeyword {
                at,
                keyword: keyword_name,
                first,
            });
        }
        let rest = start + found.len();
        match keyword {
            Keyword::Title => self.title = Some(self.title_text(text, rest, line, notes)?),
            Keyword::DomainMin => self.min = Some(self.given(text, rest, line)?),
            Keyword::DomainMax => self.max = Some(self.given(text, rest, line)?),
            Keyword::Size1d => self.size_1d = Some(self.size(keyword, text, rest, line)?),
            Keyword::Size3d => self.size_3d = Some(self.size(keyword, text, rest, line)?),
            Keyword::Range1d => self.range_1d = Some(self.given(text, rest, line)?),
            Keyword::Range3d => self.range_3d = Some(self.given(text, rest, line)?),
            Keyword::VideoIn | Keyword::VideoOut => {
                return Err(CubeError::VideoRange {
                    at,
                    keyword: keyword_name,
                });
            }
        }
        if matches!(keyword, Keyword::Range1d | Keyword::Range3d) {
            notes.add(line, start, Deviation::InputRange);
        }
        Ok(())
    }

    fn title_text(
        &self,
        text: &[u8],
        rest: usize,
        line: usize,
        notes: &mut Notes<'_>,
    ) -> Result<String, CubeError> {
        let start = skip_blanks(text, rest);
        let title = if text.get(start) == Some(&b'"') {
            let inside = &text[start + 1..];
            let Some(length) = inside.iter().position(|&b| b == b'"') else {
                let at = Place::new(self.path, line, start + 1);
                return Err(CubeError::UnclosedTitle { at });
            };
            let after = skip_blanks(text, start + 1 + length + 1);
            if after < text.len() {
                return Err(CubeError::TrailingText {
                    at: Place::new(self.path, line, after + 1),
                    found: shown(&text[after..]),
                });
            }
            &inside[..length]
        } else {
            notes.add(line, start, Deviation::UnquotedTitle);
            text[start..].trim_ascii_end()
        };
        // The line was checked to be UTF-8 as a whole, and the title is cut at ASCII characters.
        Ok(String::from_utf8_lossy(title).into_owned())
    }

    fn size(
        &self,
        keyword: Keyword,
        text: &[u8],
        rest: usize,
        line: usize,
    ) -> Result<usize, CubeError> {
        let sizes = match keyword {
            Keyword::Size1d => Lut1d::SIZES,
            _ => Lut3d::SIZES,
        };
        let start = skip_blanks(text, rest);
        let found = word(text, start);
        let size = std::str::from_utf8(found)
            .ok()
            .and_then(|digits| digits.parse::<usize>().ok())
            .filter(|size| sizes.contains(size));
        let Some(size) = size else {
            return Err(CubeError::BadSize {
                at: Place::new(self.path, line, start + 1),
                keyword: keyword.name(),
                found: shown(found),
                least: *sizes.start(),
                most: *sizes.end(),
            });
        };
        let after = skip_blanks(text, start + found.len());
        if after < text.len() {
            return Err(CubeError::TrailingText {
                at: Place::new(self.path, line, after + 1),
                found: shown(&text[after..]),
            });
        }
        Ok(size)
    }

    fn given<const N: usize>(
        &self,
        text: &[u8],
        rest: usize,
        line: usize,
    ) -> Result<Given<[f64; N]>, CubeError> {
        let (value, starts) =
            numbers::<N>(text, rest).map_err(|fault| row_error(self.path, line, text, N, fault))?;
        Ok(Given {
            value,
            line,
            columns: std::array::from_fn(|c| starts[c.min(N - 1)] + 1),
        })
    }

    /// The tables that follow, once the table starts at `at` or the file ends there.
    pub(super) fn tables(&self, at: &Place) -> Result<Tables, CubeError> {
        let (size_1d, size_3d) = (self.size_1d, self.size_3d);
        if size_1d.is_none() && size_3d.is_none() {
            return Err(CubeError::MissingSize { at: at.clone() });
        }
        if size_1d.is_some() && size_3d.is_some() {
            for (given, keyword) in [
                (self.min, Keyword::DomainMin),
                (self.max, Keyword::DomainMax),
            ] {
                if let Some(given) = given {
                    return Err(CubeError::AmbiguousDomain {
                        at: Place::new(self.path, given.line, 0),
                        keyword: keyword.name(),
                    });
                }
            }
        }
        let curves = self.table(size_1d, Keyword::Size1d, self.range_1d, Keyword::Range1d)?;
        let lattice = self.table(size_3d, Keyword::Size3d, self.range_3d, Keyword::Range3d)?;
        Ok(Tables { curves, lattice })
    }

    fn table(
        &self,
        size: Option<usize>,
        size_keyword: Keyword,
        range: Option<Given<[f64; 2]>>,
        range_keyword: Keyword,
    ) -> Result<Option<(usize, [Axis; 3])>, CubeError> {
        let Some(size) = size else {
            return match range {
                None => Ok(None),
                Some(range) => Err(CubeError::RangeWithoutTable {
                    at: Place::new(self.path, range.line, 0),
                    keyword: range_keyword.name(),
                    size: size_keyword.name(),
                }),
            };
        };
        let mut min = self.min.map_or([0.0; 3], |given| given.value);
        let mut max = self.max.map_or([1.0; 3], |given| given.value);
        // The number given last is the one to look at: the other end may be a default.
        let last = [self.min, self.max]
            .into_iter()
            .flatten()
            .max_by_key(|given| given.line);
        let (mut line, mut columns) = last.map_or((0, [0; 3]), |given| (given.line, given.columns));
        if let Some(range) = range {
            let [low, high] = range.value;
            if last.is_some() && (min != [low; 3] || max != [high; 3]) {
                return Err(CubeError::DomainConflict {
                    at: Place::new(self.path, range.line, 0),
                    keyword: range_keyword.name(),
                });
            }
            (min, max) = ([low; 3], [high; 3]);
            (line, columns) = (range.line, [range.columns[1]; 3]);
        }
        let mut axes = [Axis::unit(size); 3];
        for (channel, axis) in axes.iter_mut().enumerate() {
            let (min, max) = (min[channel], max[channel]);
            *axis = axis
                .over(channel, min, max)
                .map_err(|_| CubeError::BadDomain {
                    at: Place::new(self.path, line, columns[channel]),
                    channel: ["red", "green", "blue"][channel],
                    min,
                    max,
                })?;
        }
        Ok(Some((size, axes)))
    }
}

/// Places a fault of a line that should hold `need` numbers.
pub(super) fn row_error(
    path: &Path,
    line: usize,
    text: &[u8],
    need: usize,
    fault: RowFault,
) -> CubeError {
    let at = |offset: usize| Place::new(path, line, offset + 1);
    match fault {
        RowFault::Missing { found } => CubeError::MissingNumber {
            at: at(text.len()),
            found,
            need,
        },
        RowFault::Extra { start } => CubeError::TrailingText {
            at: at(start),
            found: shown(&text[start..]),
        },
        RowFault::Number { start, fault } => {
            let (at, found) = (at(start), shown(word(text, start)));
            match fault {
                Fault::NotANumber => CubeError::NotANumber { at, found },
                Fault::Comma => CubeError::DecimalComma { at, found },
                Fault::NotFinite => CubeError::NotFinite { at, found },
            }
        }
    }
}
