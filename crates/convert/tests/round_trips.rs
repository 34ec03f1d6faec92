//! From format to format and back: exact to the depth, and what is lost is said.

use std::path::Path;

use evenstep_convert::{
    Content, Conversion, ConvertError, ConvertOptions, FileFormat, Loss, convert, parse, read,
    read_lut,
};
use evenstep_lut::format::table::NodeOrder;
use evenstep_lut::process::{Operation, ProcessList};
use evenstep_lut::{BitDepth, Evaluation, Lut, Lut1d, Lut3d};
use evenstep_picture::Format;
use proptest::prelude::*;
use proptest::test_runner::FileFailurePersistence;

const ALL: [FileFormat; 4] = [
    FileFormat::Cube,
    FileFormat::Clf,
    FileFormat::Picture,
    FileFormat::Table,
];

fn converted(content: &Content, options: &ConvertOptions) -> Conversion {
    convert(content, options).unwrap()
}

/// The content after a trip through a file of the format asked for.
fn through(content: &Content, options: &ConvertOptions) -> Content {
    let mut file = Vec::new();
    converted(content, options)
        .write_to(Format::Png, &mut file)
        .unwrap();
    let back = parse(&file, Path::new("trip")).unwrap();
    assert_eq!(back.format, options.format);
    assert_eq!(back.notes, [""; 0]);
    back.content
}

fn lattice_of(content: &Content) -> Lut3d {
    let lut = match content {
        Content::Lut(lut) => lut.clone(),
        Content::List(list) => list.to_lut().unwrap(),
    };
    lut.lattice.unwrap()
}

/// A lattice whose values are codes of `bits`.
fn any_codes(bits: u8) -> impl Strategy<Value = Content> {
    let top = f64::from(BitDepth::new(bits).unwrap().largest_code());
    let code = (0.0..=top).prop_map(move |c: f64| c.round() / top);
    prop::collection::vec(prop::array::uniform3(code), 64)
        .prop_map(|nodes| Content::Lut(Lut3d::new(4, nodes).unwrap().into()))
}

proptest! {
    // Every conversion is compared on nine thousand signals; few cases keep that short.
    #![proptest_config(ProptestConfig {
        cases: 12,
        ..ProptestConfig::with_failure_persistence(
            FileFailurePersistence::WithSource("proptest-regressions")
        )
    })]

    /// A lattice of codes passes through every format, in any order of formats, without a change in any digit.
    #[test]
    fn codes_survive_every_format(eight in any_codes(8), sixteen in any_codes(16), order in Just(ALL).prop_shuffle()) {
        for (content, bits) in [(eight, 8), (sixteen, 16)] {
            let mut now = content.clone();
            for format in order {
                let options = ConvertOptions { bits: BitDepth::new(bits), ..ConvertOptions::to(format) };
                let one = converted(&now, &options);
                let lossy = one.losses.iter().any(|l| !matches!(l, Loss::Text | Loss::OtherText | Loss::Evaluation { .. }));
                prop_assert!(!lossy, "{:?}", one.losses);
                now = through(&now, &options);
            }
            prop_assert_eq!(lattice_of(&now), lattice_of(&content));
        }
    }

    /// Between cube text and the Common LUT Format every number keeps every bit, domains and curves included.
    #[test]
    fn numbers_survive_the_text_formats(nodes in prop::collection::vec(prop::array::uniform3(-1.0..2.0_f64), 27),
                                        rows in prop::collection::vec(prop::array::uniform3(-1.0..2.0_f64), 5),
                                        low in -1.0..0.4_f64, high in 0.6..3.0_f64) {
        let lut = Lut {
            title: Some("trip".into()),
            curves: Some(Lut1d::new(rows).unwrap().with_domain([low; 3], [high; 3]).unwrap()),
            lattice: Some(Lut3d::new(3, nodes).unwrap().with_domain([low / 2.0; 3], [high / 2.0; 3]).unwrap()),
        };
        let Content::List(list) = through(&Content::Lut(lut.clone()), &ConvertOptions::to(FileFormat::Clf)) else {
            panic!("a CLF file holds a chain");
        };
        let back = list.to_lut().unwrap();
        prop_assert_eq!(&back, &lut);
        let Content::Lut(cube) = parse_cube(&Content::Lut(back)) else { panic!("cube text holds a LUT") };
        prop_assert_eq!(cube, lut);
    }
}

/// A domain that differs from channel to channel becomes a matrix, whose inverse is rounded.
#[test]
fn an_uneven_domain_comes_back_but_for_roundoff() {
    // With u half the machine epsilon, the scale 1/(max − min) is off by 2u of itself and the offset −min·scale by u more;
    // (0 − offset)/scale gives min off by 2u, (1 − offset)/scale gives max off by 2u·|max − min| + u·|min| + 2u·|max|.
    // All of it is at most 4u·(|min| + |max|).
    let bound = |min: f64, max: f64| 2.0 * f64::EPSILON * (min.abs() + max.abs());
    let mut changed = 0;
    for i in 1..200 {
        let part = f64::from(i) / 200.0;
        let min = [-part, part / 3.0, -7.0 * part];
        let max = [1.0 / part, 0.4 + part, 0.1 * part];
        let lattice = Lut3d::from_fn(2, |s| s).with_domain(min, max).unwrap();
        let content = Content::Lut(lattice.clone().into());
        let one = converted(&content, &ConvertOptions::to(FileFormat::Clf));
        assert_eq!(one.losses, []);
        let back = lattice_of(&through(&content, &ConvertOptions::to(FileFormat::Clf)));
        assert_eq!(back.nodes(), lattice.nodes());
        for c in 0..3 {
            for (got, was) in [
                (back.domain_min()[c], min[c]),
                (back.domain_max()[c], max[c]),
            ] {
                assert!(
                    (got - was).abs() <= bound(min[c], max[c]),
                    "{was} became {got}"
                );
                changed += usize::from(got != was);
            }
        }
    }
    assert!(changed > 0, "every bit is kept: the page says otherwise");
}

/// Cube text with curves before a lattice is read with notes; they are looked at elsewhere.
fn parse_cube(content: &Content) -> Content {
    let mut file = Vec::new();
    converted(content, &ConvertOptions::to(FileFormat::Cube))
        .write_to(Format::Png, &mut file)
        .unwrap();
    parse(&file, Path::new("trip.cube")).unwrap().content
}

#[test]
fn every_depth_rounds_once_and_says_so() {
    let content = Content::Lut(Lut3d::from_fn(4, |s| s.map(|v| v * 0.9 + 0.013)).into());
    for format in ALL {
        for bits in [8, 16] {
            let options = ConvertOptions {
                bits: BitDepth::new(bits),
                ..ConvertOptions::to(format)
            };
            let one = converted(&content, &options);
            assert_eq!(one.losses.len(), 1, "{:?}", one.losses);
            assert!(matches!(one.losses[0], Loss::Rounded { values, .. } if values > 100));
            // Interpolation does not enlarge what rounding does at the nodes: half a code.
            let half = 0.5 / f64::from(BitDepth::new(bits).unwrap().largest_code());
            const ROUNDOFF: f64 = 1e-12;
            assert!(
                one.difference.largest <= half + ROUNDOFF && one.difference.largest > half / 4.0
            );
            let back = through(&content, &options);
            assert_eq!(through(&back, &options), back, "{format} at {bits} bits");
        }
    }
}

#[test]
fn a_picture_takes_the_next_size_and_the_curves() {
    let lut = Lut {
        title: Some("warm".into()),
        curves: Some(Lut1d::from_fn(65, |v| [v.powf(1.2); 3])),
        lattice: Some(Lut3d::from_fn(33, |s| s.map(|v| v.powf(0.8)))),
    };
    let one = converted(
        &Content::Lut(lut.clone()),
        &ConvertOptions::to(FileFormat::Picture),
    );
    assert_eq!(one.nodes(), Some(36));
    assert!(one.losses.contains(&Loss::Curves) && one.losses.contains(&Loss::Text));
    assert!(one.losses.contains(&Loss::Nodes {
        from: Some(33),
        to: 36
    }));
    // The report is what a caller measures for itself.
    let lattice = lattice_of(&one.content);
    let (before, after) = (
        lut.sample(one.difference.at, Evaluation::Tetrahedral),
        lattice.sample(one.difference.at, Evaluation::Tetrahedral),
    );
    let largest = (0..3)
        .map(|c| (before[c] - after[c]).abs())
        .fold(0.0, f64::max);
    assert_eq!(largest, one.difference.largest);
    assert!(largest > 1e-4);
}

#[test]
fn resizing_reports_what_it_costs() {
    let content = Content::Lut(Lut3d::from_fn(33, |[r, g, b]| [r * r, g.sqrt(), b]).into());
    let to = |nodes| {
        let options = ConvertOptions {
            nodes: Some(nodes),
            ..ConvertOptions::to(FileFormat::Cube)
        };
        converted(&content, &options).difference.largest
    };
    assert!(to(65) < 1e-12, "every node of 33 is one of 65");
    assert!(to(17) > to(33) && to(9) > to(17));
    assert_eq!(to(33), 0.0);
}

#[test]
fn a_chain_is_kept_by_its_own_format_and_sampled_by_others() {
    let file = br#"<?xml version="1.0" encoding="UTF-8"?>
<ProcessList xmlns="urn:AMPAS:CLF:v3.0" id="a" compCLFversion="3.0">
  <Exponent inBitDepth="32f" outBitDepth="32f" style="basicFwd"><ExponentParams exponent="2.2"/></Exponent>
  <Matrix inBitDepth="32f" outBitDepth="32f"><Array dim="3 3">0.9 0.1 0 0 1 0 0 0.1 0.9</Array></Matrix>
</ProcessList>"#;
    let content = parse(file, Path::new("a.clf")).unwrap().content;
    let kept = converted(&content, &ConvertOptions::to(FileFormat::Clf));
    assert_eq!((&kept.content, kept.losses.len()), (&content, 0));
    assert_eq!(kept.difference.largest, 0.0);
    for format in [FileFormat::Cube, FileFormat::Picture, FileFormat::Table] {
        let one = converted(&content, &ConvertOptions::to(format));
        assert_eq!(
            one.losses[0].to_string().split(" is more").next(),
            Some("the chain Exponent, Matrix")
        );
        // Second derivative up to 2.64 over cells of 1/32: at most h²/8·f'' for each channel.
        const BOUND: f64 = 2.64 / 8.0 / (32.0 * 32.0) + 1.0 / 4095.0;
        assert!(
            one.difference.largest > 1e-5 && one.difference.largest < BOUND,
            "{:?}",
            one.difference
        );
    }
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.clf");
    std::fs::write(&path, file).unwrap();
    let refused = read_lut(&path).unwrap_err().to_string();
    assert!(
        refused.contains("the chain Exponent, Matrix is more than curves and a lattice"),
        "{refused}"
    );
}

#[test]
fn files_are_known_by_their_content() {
    let folder = tempfile::tempdir().unwrap();
    let content = Content::Lut(Lut3d::identity(4).into());
    for (format, name) in ALL
        .into_iter()
        .zip(["a.cube", "b.clf", "c.tiff", "d.table"])
    {
        let path = folder.path().join(name);
        converted(&content, &ConvertOptions::to(format))
            .write(&path, false)
            .unwrap();
        let other = folder.path().join("name.that.says.nothing");
        std::fs::rename(&path, &other).unwrap();
        let loaded = read(&other).unwrap();
        assert_eq!(loaded.format, format);
        assert_eq!(
            read_lut(&other).unwrap().0.lattice,
            Some(Lut3d::identity(4)),
            "{name}"
        );
        assert_eq!(
            loaded
                .content
                .evaluated(Evaluation::Trilinear)
                .drive([0.5; 3]),
            [0.5; 3]
        );
        std::fs::remove_file(&other).unwrap();
    }
}

#[test]
fn options_that_do_not_go_together_are_refused() {
    let content = Content::Lut(Lut3d::identity(4).into());
    let curves = Content::Lut(Lut1d::identity(4).into());
    let refused = |content: &Content, options| convert(content, &options).unwrap_err();
    let bits = |bits, format| ConvertOptions {
        bits: BitDepth::new(bits),
        ..ConvertOptions::to(format)
    };
    assert!(matches!(
        refused(&content, bits(12, FileFormat::Picture)),
        ConvertError::Bits { .. }
    ));
    assert!(matches!(
        refused(&content, bits(14, FileFormat::Clf)),
        ConvertError::Bits { .. }
    ));
    let options = ConvertOptions {
        nodes: Some(33),
        ..ConvertOptions::to(FileFormat::Picture)
    };
    assert_eq!(
        refused(&content, options),
        ConvertError::Nodes {
            nodes: 33,
            smaller: 25,
            larger: 36
        }
    );
    let options = |nodes, format| ConvertOptions {
        nodes: Some(nodes),
        ..ConvertOptions::to(format)
    };
    for format in ALL {
        for nodes in [0, 1, 257, usize::MAX] {
            let error = refused(&content, options(nodes, format));
            assert_eq!(error, ConvertError::NodeRange { nodes });
            assert!(error.to_string().contains("2 to 256 nodes"), "{error}");
        }
    }
    let error = refused(&content, options(2, FileFormat::Picture)).to_string();
    assert!(error.ends_with("use 4"), "{error}");
    let options = ConvertOptions {
        order: Some(NodeOrder::BlueFastest),
        ..ConvertOptions::to(FileFormat::Cube)
    };
    assert!(matches!(
        refused(&content, options),
        ConvertError::Order { .. }
    ));
    let options = ConvertOptions {
        nodes: Some(9),
        ..ConvertOptions::to(FileFormat::Cube)
    };
    assert_eq!(refused(&curves, options), ConvertError::NoLattice);
    assert_eq!(
        refused(
            &Content::Lut(Lut::default()),
            ConvertOptions::to(FileFormat::Clf)
        ),
        ConvertError::NoTable
    );
}

#[test]
fn a_shaper_is_put_in_and_taken_off() {
    let curves = Lut1d::from_fn(5, |v| [v * v; 3]);
    let lattice = Lut3d::from_fn(5, |[r, g, b]| [r, g * 0.5, b]);
    let both = Content::Lut(lattice.clone().into())
        .with_shaper(curves.clone())
        .unwrap();
    let (shaper, rest) = both.clone().without_shaper().unwrap();
    assert_eq!(shaper.curves, Some(curves.clone()));
    assert_eq!(rest, Content::Lut(lattice.into()));
    assert_eq!(
        both.with_shaper(curves).unwrap_err(),
        ConvertError::TwoShapers
    );
    assert_eq!(rest.without_shaper().unwrap_err(), ConvertError::NoShaper);
}

#[test]
fn a_chain_keeps_its_text_and_its_evaluation_through_a_shaper() {
    let mut list = ProcessList::of_lut(
        &Lut {
            curves: None,
            ..Lut3d::identity(3)
                .with_domain([0.1; 3], [0.9; 3])
                .unwrap()
                .into()
        },
        Evaluation::Trilinear,
    );
    list.id = Some("a".into());
    list.descriptions = vec!["for the foyer".into()];
    list.nodes[1].name = Some("lattice".into());
    let curves = Lut1d::from_fn(5, |v| [v * v; 3])
        .with_domain([0.0; 3], [2.0; 3])
        .unwrap();
    let both = Content::List(list.clone())
        .with_shaper(curves.clone())
        .unwrap();
    let (shaper, rest) = both.clone().without_shaper().unwrap();
    assert_eq!(shaper.curves, Some(curves.clone()));
    // It is another list now, and so is what is left of it.
    list.id = None;
    assert_eq!(rest, Content::List(list.clone()));
    let Content::List(both) = both else {
        panic!("a chain")
    };
    let lut = both.to_lut().unwrap();
    assert_eq!(lut.curves, Some(curves.clone()));
    assert_eq!(lut.lattice, list.to_lut().unwrap().lattice);
    assert_eq!(both.descriptions, list.descriptions);

    list.nodes.push(Operation::Curves(curves.clone()).into());
    let expected = ConvertError::Chain {
        operations: "Range, LUT3D, LUT1D".into(),
    };
    let chain = Content::List(list);
    assert_eq!(chain.clone().with_shaper(curves).unwrap_err(), expected);
    assert_eq!(chain.without_shaper().unwrap_err(), expected);
    assert!(expected.to_string().contains("sample it first"));
}
