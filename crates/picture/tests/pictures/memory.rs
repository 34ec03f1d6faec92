use std::io::Cursor;
use std::path::Path;

use evenstep_picture::{Depth, Format, Header, Picture, Reader, Samples, write_rows};

/// 24 MiB of samples.
const WIDTH: u32 = 2048;
const HEIGHT: u32 = 4096;

/// Rows in a band, 96 KiB.
const ROWS: u32 = 16;

/// What reading and writing may hold beside the file: bands, a strip of 256 KiB, the tables and windows of Deflate. A
/// twelfth of the picture, so that holding it whole would be seen.
const MOST: u64 = 2 << 20;

#[test]
fn memory_does_not_grow_with_the_picture() {
    let header = Header::rgb(WIDTH, HEIGHT, Depth::Eight);
    for format in [Format::Png, Format::Tiff] {
        // Room for the file itself, which is no part of the measure.
        let mut file = Cursor::new(Vec::with_capacity(32 << 20));
        let written = allocation_counter::measure(|| {
            let mut row = 0;
            write_rows(&mut file, format, &header, |batch| {
                let samples = (0..ROWS * WIDTH * 3).map(|i| (i / 3 + row) as u8);
                *batch = Samples::Eight(samples.collect());
                row += ROWS;
                Ok::<(), std::io::Error>(())
            })
            .unwrap();
        });
        let read = allocation_counter::measure(|| {
            let mut reader = Reader::new(Cursor::new(file.get_ref()), Path::new("large")).unwrap();
            let mut band = Samples::empty(Depth::Eight);
            while reader.read_rows(ROWS, &mut band).unwrap() > 0 {}
            assert_eq!(reader.rows_read(), HEIGHT);
        });
        for held in [written.bytes_max, read.bytes_max] {
            assert!(held < MOST, "{format}: {held} bytes");
        }
    }
}

/// Neither a picture held whole nor a large batch is held a second time.
#[test]
fn what_the_caller_holds_is_not_copied() {
    let header = Header::rgb(WIDTH, HEIGHT / 4, Depth::Sixteen);
    let samples = vec![0x1234; header.row_samples() * header.height as usize];
    let picture = Picture::new(header.clone(), Samples::Sixteen(samples.clone())).unwrap();
    for format in [Format::Png, Format::Tiff] {
        let mut file = Cursor::new(Vec::with_capacity(32 << 20));
        let whole = allocation_counter::measure(|| picture.write(&mut file, format).unwrap());
        // One batch, made before.
        let mut given = Some(Samples::Sixteen(samples.clone()));
        file.set_position(0);
        let batch = allocation_counter::measure(|| {
            write_rows(&mut file, format, &header, |batch| {
                *batch = given.take().expect("one call");
                Ok::<(), std::io::Error>(())
            })
            .unwrap();
        });
        for held in [whole.bytes_max, batch.bytes_max] {
            assert!(held < MOST, "{format}: {held} bytes");
        }
    }
}
