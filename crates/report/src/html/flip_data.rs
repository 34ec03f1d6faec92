use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use evenstep_lut::{CodeScale, Lut};
use serde::Serialize;

use super::ink::Ink;

/// A correction that the page can draw pictures through.
#[derive(Clone, Copy)]
pub(crate) struct FlipLut<'a> {
    pub(crate) name: &'a str,
    pub(crate) ink: Ink,
    pub(crate) lut: &'a Lut,
}

/// Widest table that travels as 16-bit numbers between its own ends: 65 535 steps over it are 0.008 of an 8-bit code.
/// A wider one, with a stray node far out say, travels as 32-bit floats, and the page is larger.
const WIDEST: f64 = 2.0;

/// A table of triples.
#[derive(Serialize)]
struct Table {
    size: usize,
    min: [f64; 3],
    max: [f64; 3],
    /// 16: whole numbers from `low` to `high`; 32: floats.
    bits: u8,
    low: f64,
    high: f64,
    /// Little-endian, red green blue of each row, the lattice red fastest.
    rows: String,
}

#[derive(Serialize)]
struct Entry<'a> {
    name: &'a str,
    hue: &'static str,
    curves: Option<Table>,
    lattice: Option<Table>,
}

#[derive(Serialize)]
struct Document<'a> {
    /// Positions in the LUT at which black and white enter and leave it.
    black: f64,
    white: f64,
    evaluation: &'a str,
    skin: [f64; 3],
    sky: [f64; 3],
    near_black: f64,
    luts: Vec<Entry<'a>>,
}

/// What the script of the page draws from, as JSON that may stand inside a script element.
pub(crate) fn document(
    luts: &[FlipLut],
    scale: CodeScale,
    evaluation: &str,
    near_black: f64,
) -> String {
    let document = Document {
        black: scale.position_from_signal(0.0),
        white: scale.position_from_signal(1.0),
        evaluation,
        skin: evenstep_lut::SKIN_END,
        sky: evenstep_lut::SKY_END,
        near_black,
        luts: luts.iter().map(entry).collect(),
    };
    // Serialising numbers and text does not fail; without data the page says that there is nothing to look at.
    let json = serde_json::to_string(&document).unwrap_or_default();
    // In a script element nothing but this could end it.
    json.replace('<', "\\u003c")
}

fn entry<'a>(flip: &FlipLut<'a>) -> Entry<'a> {
    Entry {
        name: flip.name,
        hue: flip.ink.hex(),
        curves: flip.lut.curves.as_ref().map(|curves| {
            table(
                curves.size(),
                curves.domain_min(),
                curves.domain_max(),
                curves.rows(),
            )
        }),
        lattice: flip.lut.lattice.as_ref().map(|lattice| {
            table(
                lattice.size(),
                lattice.domain_min(),
                lattice.domain_max(),
                lattice.nodes(),
            )
        }),
    }
}

fn table(size: usize, min: [f64; 3], max: [f64; 3], rows: &[[f64; 3]]) -> Table {
    // Readers of LUTs let no value through that is not finite.
    let low = rows.iter().flatten().copied().fold(0.0, f64::min);
    let high = rows.iter().flatten().copied().fold(1.0, f64::max);
    let values = rows.iter().flatten();
    let (bits, bytes): (u8, Vec<u8>) = if high - low <= WIDEST {
        let scale = f64::from(u16::MAX) / (high - low);
        // A cast saturates.
        let code = |v: &f64| (((v - low) * scale).round() as u16).to_le_bytes();
        (16, values.flat_map(code).collect())
    } else {
        let most = f64::from(f32::MAX);
        let float = |v: &f64| (v.clamp(-most, most) as f32).to_le_bytes();
        (32, values.flat_map(float).collect())
    };
    Table {
        bits,
        size,
        min,
        max,
        low,
        high,
        rows: STANDARD.encode(bytes),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenstep_lut::{BitDepth, CodeRange, Lut3d};

    const SCALE: CodeScale = CodeScale {
        depth: BitDepth::TEN,
        range: CodeRange::Full,
    };

    #[test]
    fn nodes_come_back_within_half_a_step() {
        let lut = Lut::from(Lut3d::from_fn(5, |[r, g, b]| [1.3 * r - 0.1, g * b, b]));
        let name = "a < b </script>";
        let flip = FlipLut {
            name,
            ink: Ink::First,
            lut: &lut,
        };
        let text = document(&[flip], SCALE, "tetrahedral", 0.1);
        assert!(!text.contains('<'));
        let json: serde_json::Value = serde_json::from_str(&text).unwrap();
        assert_eq!(json["luts"][0]["name"], name);
        let table = &json["luts"][0]["lattice"];
        let (low, high) = (
            table["low"].as_f64().unwrap(),
            table["high"].as_f64().unwrap(),
        );
        assert_eq!((low, high), (-0.1, 1.2));
        let bytes = STANDARD.decode(table["rows"].as_str().unwrap()).unwrap();
        let half_a_step = 0.5 * (high - low) / 65_535.0 + 1e-12;
        let nodes = lut.lattice.as_ref().unwrap().nodes();
        assert_eq!(bytes.len(), 6 * nodes.len());
        for (pair, value) in bytes.chunks(2).zip(nodes.iter().flatten()) {
            let back =
                low + f64::from(u16::from_le_bytes([pair[0], pair[1]])) / 65_535.0 * (high - low);
            assert!((back - value).abs() <= half_a_step, "{back} {value}");
        }
    }

    /// One stray node must not make the others coarse.
    #[test]
    fn a_wide_table_keeps_the_precision_of_floats() {
        let mut lattice = Lut3d::identity(5);
        lattice.nodes_mut()[0] = [1e308, -1000.0, 0.1];
        let lut = Lut::from(lattice);
        let flip = FlipLut {
            name: "stray",
            ink: Ink::First,
            lut: &lut,
        };
        let text = document(&[flip], SCALE, "tetrahedral", 0.1);
        let json: serde_json::Value = serde_json::from_str(&text).unwrap();
        let table = &json["luts"][0]["lattice"];
        assert_eq!(table["bits"], 32);
        let bytes = STANDARD.decode(table["rows"].as_str().unwrap()).unwrap();
        let nodes = lut.lattice.as_ref().unwrap().nodes();
        assert_eq!(bytes.len(), 12 * nodes.len());
        for (four, value) in bytes.chunks(4).zip(nodes.iter().flatten()).skip(1) {
            let back = f32::from_le_bytes([four[0], four[1], four[2], four[3]]);
            assert_eq!(back, *value as f32);
        }
    }

    #[test]
    fn narrow_range_enters_at_its_own_positions() {
        let scale = CodeScale {
            range: CodeRange::Narrow,
            ..SCALE
        };
        let json: serde_json::Value =
            serde_json::from_str(&document(&[], scale, "trilinear", 0.1)).unwrap();
        assert!((json["black"].as_f64().unwrap() - 64.0 / 1023.0).abs() < 1e-15);
        assert!((json["white"].as_f64().unwrap() - 940.0 / 1023.0).abs() < 1e-15);
    }
}
