//! `apply`: a picture in, a picture out, and refusals that leave nothing behind.

use std::fs::File;

use evenstep::picture::{Depth, Format, Header, Picture, Samples};

use crate::documents::Apply;
use crate::support::Fixture;

const HALVED: &str = "LUT_3D_SIZE 2\n0 0 0\n0.5 0 0\n0 0.5 0\n0.5 0.5 0\n0 0 0.5\n0.5 0 0.5\n0 0.5 0.5\n0.5 0.5 0.5\n";

/// Of a LUT of one cell: signal, unit, place, weight, products and sums, eight roundings by up to 2⁻²⁴ of 1.
const SINGLE: f64 = 8.0 / 16_777_216.0;

/// A folder with `half.cube` and `a.png`: 300 × 200 pixels at 16 bits.
fn fixture() -> Fixture {
    let f = Fixture::new();
    f.write("half.cube", HALVED);
    let all = (0..300 * 200 * 3_u32)
        .map(|i| (i * 7919 % 65_536) as u16)
        .collect();
    let header = Header::rgb(300, 200, Depth::Sixteen);
    let picture = Picture::new(header, Samples::Sixteen(all)).expect("a picture");
    let file = File::create(f.path("a.png")).expect("a file");
    picture.write(file, Format::Png).expect("written");
    f
}

#[test]
fn a_picture_goes_through_and_the_report_says_what_changed() {
    let f = fixture();
    let json = f
        .done(&[
            "apply",
            "half.cube",
            "a.png",
            "-o",
            "b.tif",
            "--bits",
            "8",
            "--json",
            "-",
        ])
        .out;
    let report: Apply = serde_json::from_str(&json).unwrap();
    assert_eq!(
        (
            report.schema.as_str(),
            report.lut.as_str(),
            report.image.as_str(),
            report.out.as_str()
        ),
        ("evenstep/apply/1", "half.cube", "a.png", "b.tif")
    );
    assert_eq!(
        (report.width, report.height, report.pixels),
        (300, 200, 60_000)
    );
    assert_eq!((report.bits_in, report.bits_out), (16, 8));
    assert_eq!(
        (report.evaluation.as_str(), report.dither.as_str()),
        ("tetrahedral", "none")
    );
    // 255 becomes 127.5: the even one.
    assert_eq!(report.largest_change_codes, 128);
    assert!(report.tags_lost.is_empty());
    let after = Picture::read(&f.path("b.tif")).unwrap();
    let before = Picture::read(&f.path("a.png")).unwrap();
    let mut changed = 0;
    for pixel in 0..60_000 {
        let mut is_changed = false;
        for i in 3 * pixel..3 * pixel + 3 {
            let (code, signal) = (
                after.samples().signal(i) * 255.0,
                before.samples().signal(i),
            );
            assert!(
                (code - signal / 2.0 * 255.0).abs() <= 0.5 + 255.0 * SINGLE,
                "{i}"
            );
            is_changed |= (signal * 255.0).round() != code.round();
        }
        changed += u64::from(is_changed);
    }
    assert_eq!(report.pixels_changed, changed);

    let text = f
        .done(&[
            "apply",
            "half.cube",
            "a.png",
            "-o",
            "c.png",
            "--dither",
            "blue-noise",
        ])
        .out;
    insta::assert_snapshot!("apply", text);
}

#[test]
fn bytes_are_the_same_on_one_thread_and_on_three() {
    let f = fixture();
    for (threads, out) in [("1", "one.png"), ("3", "three.png")] {
        f.done(&[
            "apply",
            "half.cube",
            "a.png",
            "-o",
            out,
            "--bits",
            "8",
            "--dither",
            "blue-noise",
            "--threads",
            threads,
        ]);
    }
    let bytes = |name| std::fs::read(f.path(name)).unwrap();
    assert!(bytes("one.png") == bytes("three.png"));
}

#[test]
fn what_is_no_picture_is_refused_and_leaves_nothing() {
    let f = fixture();
    let whole = std::fs::read(f.path("a.png")).unwrap();
    std::fs::write(f.path("cut.png"), &whole[..whole.len() / 2]).unwrap();
    f.write("text.png", "not a picture");
    // A header that promises 2³⁰ × 2³⁰ pixels, its checksum among the bytes.
    let mut huge = b"\x89PNG\r\n\x1a\n\0\0\0\x0dIHDR\x40\0\0\0\x40\0\0\0\x08\x02\0\0\0".to_vec();
    huge.extend([0xd7, 0xf6, 0x79, 0xe9]);
    std::fs::write(f.path("huge.png"), huge).unwrap();
    for (image, reason) in [
        ("cut.png", "damaged or cut short"),
        ("text.png", "neither a PNG nor a TIFF"),
        ("huge.png", "pixels are more than"),
        ("gone.png", "cannot read"),
    ] {
        let run = f.run(&["apply", "half.cube", image, "-o", "out.png"]);
        let error = run.error();
        assert!(
            error.starts_with(image) && error.contains(reason),
            "{error}"
        );
        assert!(!f.exists("out.png"));
    }
    let left: Vec<_> = std::fs::read_dir(f.path("."))
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .filter(|name| name.contains("evenstep"))
        .collect();
    assert!(left.is_empty(), "{left:?}");
    for (out, reason) in [("a.png", "already there"), ("b.jpeg", "which format?")] {
        let run = f.run(&["apply", "half.cube", "a.png", "-o", out]);
        assert!(run.error().contains(reason), "{run:?}");
    }
    let run = f.run(&["apply", "half.cube", "a.png", "-o", "a.png", "--force"]);
    assert!(run.error().contains("this is the input"), "{run:?}");
}
