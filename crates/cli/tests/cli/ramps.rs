//! `ramps`: pictures and their corrected twins.

use evenstep::picture::{Depth, Picture};

use crate::support::Fixture;

#[test]
fn each_picture_has_a_twin_that_apply_would_make() {
    let f = Fixture::new();
    f.write(
        "swap.cube",
        "LUT_3D_SIZE 2\n0 0 0\n0 0 1\n0 1 0\n0 1 1\n1 0 0\n1 0 1\n1 1 0\n1 1 1\n",
    );
    let text = f
        .done(&[
            "ramps",
            "-o",
            "r",
            "--through",
            "swap.cube",
            "--size",
            "128x96",
        ])
        .out;
    insta::assert_snapshot!("ramps", text);
    assert_eq!(std::fs::read_dir(f.path("r")).unwrap().count(), 24);
    f.done(&["apply", "swap.cube", "r/skin.png", "-o", "skin.png"]);
    assert!(
        std::fs::read(f.path("skin.png")).unwrap()
            == std::fs::read(f.path("r/skin-through.png")).unwrap()
    );
    // Red and blue change places.
    let [plain, twin] =
        ["r/red.png", "r/red-through.png"].map(|p| Picture::read(&f.path(p)).unwrap());
    assert_eq!(plain.samples().signal(127 * 3), 1.0);
    assert_eq!(
        [0, 2].map(|c| twin.samples().signal(127 * 3 + c)),
        [0.0, 1.0]
    );
}

#[test]
fn the_lut_is_not_replaced_by_a_picture_and_nothing_is_half_done() {
    let f = Fixture::new();
    std::fs::create_dir(f.path("r")).unwrap();
    // By the name of a ramp, as a picture lattice may have; it is refused before it is read.
    f.write("r/skin.png", "a LUT");
    let run = f.run(&["ramps", "-o", "r", "--through", "r/skin.png", "--force"]);
    assert!(run.error().contains("this is the input"), "{run:?}");
    assert_eq!(std::fs::read(f.path("r/skin.png")).unwrap(), b"a LUT");
    assert_eq!(std::fs::read_dir(f.path("r")).unwrap().count(), 1);
}

#[test]
fn depth_format_and_size_are_as_asked_and_nothing_is_replaced() {
    let f = Fixture::new();
    let arguments = [
        "ramps", "-o", "r", "--bits", "8", "--format", "tiff", "--size", "64x64",
    ];
    f.done(&arguments);
    let picture = Picture::read(&f.path("r/near-black.tiff")).unwrap();
    let header = picture.header();
    assert_eq!(
        (header.width, header.height, header.depth),
        (64, 64, Depth::Eight)
    );
    assert!(f.run(&arguments).error().contains("already there"));
    for size in ["64", "63x64", "axb", "99999x99999"] {
        assert_eq!(f.run(&["ramps", "-o", "s", "--size", size]).code, 2);
    }
    assert!(!f.exists("s"));
}
