//! Time and memory that the largest lawful file of each format takes to write and to read: `limits FOLDER` writes the files
//! there, reads them and prints a row for each. `docs/methods/formats.md` holds such a table.

#![expect(clippy::print_stdout, reason = "printing is what the example is for")]

use std::path::Path;
use std::time::Instant;

use evenstep_convert::{Content, ConvertOptions, FileFormat, convert, read};
use evenstep_lut::process::{HalfCurves, Operation, ProcessList};
use evenstep_lut::{BitDepth, Lut, Lut1d, Lut3d};

type Outcome<T> = Result<T, Box<dyn std::error::Error>>;

fn main() -> Outcome<()> {
    let folder = std::env::args().nth(1).ok_or("usage: limits FOLDER")?;
    let folder = Path::new(&folder);
    // Values of many digits, as a fit gives them.
    let lattice = |size| Lut3d::from_fn(size, |[r, g, b]| [r.sqrt(), (g + b) / 2.1, b * b]);
    let curves = || Lut1d::from_fn(65_536, |v| [v.sqrt(), v * v, v / 1.1]);
    let both = |size| {
        Content::Lut(Lut {
            title: None,
            curves: Some(curves()),
            lattice: Some(lattice(size)),
        })
    };
    let codes = BitDepth::new(16);
    let half = HalfCurves::new((0..HalfCurves::SIZE).map(|i| [i as f64 / 7.0; 3]).collect());
    let half = half.ok_or("the table is full")?;
    let chain = Content::List(ProcessList {
        nodes: vec![Operation::HalfCurves(half).into()],
        ..ProcessList::default()
    });
    println!("| file | bytes | reading, s | memory, MiB | writing, s | memory, MiB |");
    println!("| --- | --- | --- | --- | --- | --- |");
    for (name, what, content, bits) in [
        (
            "a.cube",
            "cube text, 65536 rows and 256³ nodes, every digit",
            both(256),
            None,
        ),
        (
            "b.clf",
            "Common LUT Format, 65536 rows and 256³ nodes of 16 bits",
            both(256),
            codes,
        ),
        (
            "c.clf",
            "Common LUT Format, 129³ nodes, every digit",
            both(129),
            None,
        ),
        (
            "d.clf",
            "Common LUT Format, curves over half floats",
            chain,
            None,
        ),
        (
            "e.png",
            "picture lattice, 256³ nodes of 16 bits, PNG",
            Content::Lut(lattice(256).into()),
            codes,
        ),
        (
            "f.tif",
            "picture lattice, 256³ nodes of 16 bits, TIFF",
            Content::Lut(lattice(256).into()),
            codes,
        ),
        (
            "g.table",
            "integer table, 65536 rows and 256³ nodes of 16 bits",
            both(256),
            codes,
        ),
    ] {
        let path = folder.join(name);
        let format = FileFormat::of_name(&path)?;
        let options = ConvertOptions {
            bits,
            ..ConvertOptions::to(format)
        };
        let (writing, most_written) =
            measured(|| Ok(convert(&content, &options)?.write(&path, true)?))?;
        drop(content);
        let bytes = std::fs::metadata(&path)?.len();
        let (reading, most_read) = measured(|| Ok(read(&path).map(drop)?))?;
        std::fs::remove_file(&path)?;
        println!(
            "| {what} | {bytes} | {reading:.2} | {most_read} | {writing:.2} | {most_written} |"
        );
    }
    Ok(())
}

/// The seconds that a step takes and the most memory it allocates, in MiB.
fn measured(step: impl FnOnce() -> Outcome<()>) -> Outcome<(f64, u64)> {
    let started = Instant::now();
    let mut outcome = Ok(());
    let memory = allocation_counter::measure(|| outcome = step());
    outcome?;
    Ok((started.elapsed().as_secs_f64(), memory.bytes_max >> 20))
}
