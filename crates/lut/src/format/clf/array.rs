//! The `Array` of curves, lattices and matrices.

use roxmltree::Node;

use super::ClfError;
use super::depth::Depth;
use super::xml::Source;
use crate::format::Deviation;
use crate::process::{HalfCurves, MappedCurves, Matrix, Operation, tame};
use crate::{Evaluation, Lut1d, Lut3d};

/// The sizes in `dim`.
fn sizes<'a>(source: &Source<'a>, array: Node<'a, 'a>) -> Result<Vec<usize>, ClfError> {
    let text = source.required(array, "dim")?;
    let sizes: Option<Vec<usize>> = text
        .split_ascii_whitespace()
        .map(|w| w.parse().ok())
        .collect();
    sizes.ok_or_else(|| source.bad(array, "dim", "whole numbers", text))
}

fn bad_dim<'a>(source: &Source<'a>, array: Node<'a, 'a>, expected: &'static str) -> ClfError {
    source.bad(
        array,
        "dim",
        expected,
        array.attribute("dim").unwrap_or_default(),
    )
}

fn triples<'a>(
    source: &Source<'a>,
    array: Node<'a, 'a>,
    count: usize,
    mut value: impl FnMut(f64) -> f64,
) -> Result<Vec<[f64; 3]>, ClfError> {
    let mut rows = Vec::with_capacity(count.min(Source::room(array) / 3 + 1));
    let (mut row, mut filled) = ([0.0; 3], 0);
    source.numbers(array, 3 * count, |v| {
        row[filled] = value(v);
        filled += 1;
        if filled == 3 {
            rows.push(row);
            filled = 0;
        }
    })?;
    Ok(rows)
}

/// `LUT1D`.
pub(super) fn curves<'a>(
    source: &mut Source<'a>,
    node: Node<'a, 'a>,
    input: Depth,
    out: Depth,
    version: f64,
) -> Result<Operation, ClfError> {
    source.only(
        node,
        &[
            "id",
            "name",
            "inBitDepth",
            "outBitDepth",
            "interpolation",
            "halfDomain",
            "rawHalfs",
        ],
    );
    if let Some(how) = node.attribute("interpolation")
        && how != "linear"
    {
        return Err(source.bad(node, "interpolation", "\"linear\"", how));
    }
    let flag = |source: &Source<'a>, attribute| match node.attribute(attribute) {
        None => Ok(false),
        Some("true") => Ok(true),
        Some(found) => Err(source.bad(node, attribute, "\"true\" or left out", found)),
    };
    let (half_domain, raw_halfs) = (flag(source, "halfDomain")?, flag(source, "rawHalfs")?);
    let [array, index_map] = source.children(node, ["Array", "IndexMap"])?;
    let pairs = match index_map {
        Some(map) if version >= 3.0 || half_domain => {
            let at = source.place(map);
            return Err(ClfError::IndexMap { at });
        }
        Some(map) => {
            source.note(map, Deviation::IndexMap);
            Some((map, pairs(source, map, input)?))
        }
        None => None,
    };
    let array = array.ok_or_else(|| source.missing(node, "Array"))?;
    const EXPECTED: &str = "\"N 1\" or \"N 3\" with N from 2 to 65536";
    let (count, columns) = match sizes(source, array)?[..] {
        [count, columns @ (1 | 3)] if Lut1d::SIZES.contains(&count) => (count, columns),
        _ => return Err(bad_dim(source, array, EXPECTED)),
    };
    if half_domain && count != HalfCurves::SIZE {
        return Err(bad_dim(
            source,
            array,
            "\"65536 1\" or \"65536 3\" for a half-float domain",
        ));
    }
    let scale = out.scale();
    let mut bad_pattern = None;
    let mut value = |v: f64| {
        if !raw_halfs {
            return v / scale;
        }
        if v.fract() != 0.0 || !(0.0..=65_535.0).contains(&v) {
            bad_pattern.get_or_insert(v);
        }
        half::f16::from_bits(v as u16).to_f64() / scale
    };
    let mut rows = if columns == 3 {
        triples(source, array, count, value)?
    } else {
        let mut rows = Vec::with_capacity(count.min(Source::room(array)));
        source.numbers(array, count, |v| rows.push([value(v); 3]))?;
        rows
    };
    if let Some(found) = bad_pattern {
        let expected = "whole numbers from 0 to 65535 as rawHalfs";
        return Err(source.bad(array, "Array", expected, &found.to_string()));
    }
    let finite = rows.iter().flatten().all(|v| v.is_finite());
    if half_domain {
        if !finite {
            source.note(array, Deviation::NonFiniteHalfs);
        }
        // Scaled, they are halfs no more, and no number of a file is infinite: what they answer with takes their place.
        if !finite && scale != 1.0 {
            rows.iter_mut().flatten().for_each(|v| *v = tame(*v));
        }
        return HalfCurves::new(rows)
            .map(Operation::HalfCurves)
            .ok_or_else(|| bad_dim(source, array, EXPECTED));
    }
    if !finite {
        return Err(source.bad(
            array,
            "Array",
            "finite numbers",
            "the pattern of an infinity or NaN",
        ));
    }
    let curves = Lut1d::new(rows).map_err(|_| bad_dim(source, array, EXPECTED))?;
    let Some((map, pairs)) = pairs else {
        return Ok(Operation::Curves(curves));
    };
    MappedCurves::new(pairs, curves)
        .map(Operation::MappedCurves)
        .ok_or_else(|| {
            source.bad(
                map,
                "IndexMap",
                "at least two pairs whose inputs rise and whose rows never fall",
                "others",
            )
        })
}

/// Bytes of an input map, blanks joined: two numbers of every digit, the sign and a blank for each row curves may have.
const LONGEST_MAP: usize = 64 << 16;

/// Inputs and the rows they fall on, `input@row`, as version 2 writes them; blanks may stand around the sign.
fn pairs<'a>(
    source: &Source<'a>,
    map: Node<'a, 'a>,
    input: Depth,
) -> Result<Vec<[f64; 2]>, ClfError> {
    let text = source.text_of(map, LONGEST_MAP)?;
    let bad = |found: &str| source.bad(map, "IndexMap", "pairs such as 64@0 940@1023", found);
    let number = |word: &str| match word.parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(value),
        _ => Err(bad(word)),
    };
    let mut words = words_and_signs(&text);
    let mut pairs = Vec::new();
    while let Some(at) = words.next() {
        let (sign, row) = (words.next(), words.next());
        let (Some("@"), Some(row)) = (sign, row) else {
            let rest = [sign, row].into_iter().flatten();
            return Err(bad(&rest.fold(at.to_owned(), |all, w| all + " " + w)));
        };
        if pairs.len() == *Lut1d::SIZES.end() {
            return Err(ClfError::TooMuchMarkup {
                at: source.place(map),
                what: "pairs in an IndexMap",
                most: *Lut1d::SIZES.end(),
            });
        }
        pairs.push([number(at)? / input.scale(), number(row)?]);
    }
    Ok(pairs)
}

/// The words of `text`, with each `@` a word of its own.
fn words_and_signs(text: &str) -> impl Iterator<Item = &str> {
    text.split_ascii_whitespace()
        .flat_map(|word| word.split_inclusive('@'))
        .flat_map(|part| match part.strip_suffix('@') {
            Some(word) => [word, "@"],
            None => [part, ""],
        })
        .filter(|word| !word.is_empty())
}

/// `LUT3D`, whose third index runs fastest.
pub(super) fn lattice<'a>(
    source: &mut Source<'a>,
    node: Node<'a, 'a>,
    out: Depth,
) -> Result<Operation, ClfError> {
    source.only(
        node,
        &["id", "name", "inBitDepth", "outBitDepth", "interpolation"],
    );
    let evaluation = match node.attribute("interpolation") {
        None | Some("trilinear") => Evaluation::Trilinear,
        Some("tetrahedral") => Evaluation::Tetrahedral,
        Some(found) => {
            return Err(source.bad(
                node,
                "interpolation",
                "\"trilinear\" or \"tetrahedral\"",
                found,
            ));
        }
    };
    let [array, index_map] = source.children(node, ["Array", "IndexMap"])?;
    if let Some(map) = index_map {
        let at = source.place(map);
        return Err(ClfError::IndexMap { at });
    }
    let array = array.ok_or_else(|| source.missing(node, "Array"))?;
    const EXPECTED: &str = "\"N N N 3\" with N from 2 to 256";
    let size = match sizes(source, array)?[..] {
        [n, g, b, 3] if n == g && n == b && Lut3d::SIZES.contains(&n) => n,
        _ => return Err(bad_dim(source, array, EXPECTED)),
    };
    let scale = out.scale();
    let nodes = triples(source, array, size.pow(3), |v| v / scale)?;
    Lut3d::new(size, crate::lut3d::with_ends_swapped(&nodes, size))
        .map(|lattice| Operation::Lattice {
            lattice,
            evaluation,
        })
        .map_err(|_| bad_dim(source, array, EXPECTED))
}

/// `Matrix`.
pub(super) fn matrix<'a>(
    source: &mut Source<'a>,
    node: Node<'a, 'a>,
    input: Depth,
    out: Depth,
) -> Result<Operation, ClfError> {
    source.only(node, &["id", "name", "inBitDepth", "outBitDepth"]);
    let [array] = source.children(node, ["Array"])?;
    let array = array.ok_or_else(|| source.missing(node, "Array"))?;
    let columns = match sizes(source, array)?[..] {
        [3, columns @ (3 | 4)] => columns,
        [3, columns @ (3 | 4), 3] => {
            source.note(array, Deviation::OldMatrixSize);
            columns
        }
        _ => return Err(bad_dim(source, array, "\"3 3\" or \"3 4\"")),
    };
    let mut rows = [[0.0; 4]; 3];
    let mut index = 0;
    source.numbers(array, 3 * columns, |v| {
        rows[index / columns][index % columns] = v;
        index += 1;
    })?;
    let ratio = input.scale() / out.scale();
    let rows =
        rows.map(|[r, g, b, offset]| [r * ratio, g * ratio, b * ratio, offset / out.scale()]);
    if let Some(value) = rows.iter().flatten().find(|v| !v.is_finite()) {
        let expected = "numbers that stay finite when scaled by the bit depths";
        return Err(source.bad(array, "Array", expected, &value.to_string()));
    }
    Ok(Operation::Matrix(Matrix { rows }))
}
