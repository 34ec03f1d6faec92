//! Every loss is said, and nothing is said to be lost that is kept.

use std::path::Path;

use evenstep_convert::{Content, Conversion, ConvertOptions, FileFormat, Loss, convert, parse};
use evenstep_lut::process::{Exponent, ExponentStyle, Operation, ProcessList, Range};
use evenstep_lut::{Evaluation, Lut, Lut1d, Lut3d};
use evenstep_picture::Format;

fn to(format: FileFormat) -> ConvertOptions {
    ConvertOptions::to(format)
}

fn titled(title: &str) -> Content {
    Content::Lut(Lut {
        title: Some(title.into()),
        ..Lut3d::identity(4).into()
    })
}

fn lattice() -> Lut3d {
    Lut3d::from_fn(4, |[r, g, b]| [r * g, g * b, b * r])
}

fn title_back(done: &Conversion) -> Option<String> {
    let mut file = Vec::new();
    done.write_to(Format::Png, &mut file).unwrap();
    match parse(&file, Path::new("back")).unwrap().content {
        Content::Lut(lut) => lut.title,
        Content::List(list) => list.title().map(str::to_owned),
    }
}

#[test]
fn a_title_is_kept_or_said_to_be_cut() {
    let long = "wärm ".repeat(300);
    for (title, cut_by) in [
        ("warm white", &[][..]),
        ("of \"quotes\"", &[FileFormat::Cube]),
        (long.trim(), &[FileFormat::Cube, FileFormat::Clf]),
    ] {
        for format in [FileFormat::Cube, FileFormat::Clf, FileFormat::Table] {
            let done = convert(&titled(title), &to(format)).unwrap();
            let is_cut = cut_by.contains(&format);
            assert_eq!(
                done.losses.contains(&Loss::Title),
                is_cut,
                "{format}: {title}"
            );
            assert_eq!(
                title_back(&done).as_deref() != Some(title),
                is_cut,
                "{format}: {title}"
            );
        }
    }
    // The longest line of an integer table, and one letter more.
    for (letters, is_cut) in [(65_530, false), (65_531, true)] {
        let done = convert(&titled(&"a".repeat(letters)), &to(FileFormat::Table)).unwrap();
        assert_eq!(done.losses == [Loss::Title], is_cut);
        assert_eq!(title_back(&done).unwrap().len(), 65_530);
    }
}

#[test]
fn text_beyond_a_title_is_said_to_be_dropped() {
    let plain = || ProcessList {
        name: Some("warm".into()),
        ..ProcessList::of_lut(&lattice().into(), Evaluation::Tetrahedral)
    };
    type Change = fn(&mut ProcessList);
    let changes: [(Change, bool); 9] = [
        (|_| {}, false),
        (
            |l| l.descriptions = l.name.take().into_iter().collect(),
            false,
        ),
        (|l| l.id = Some("a".into()), true),
        (|l| l.inverse_of = Some("a".into()), true),
        (|l| l.descriptions.push("a".into()), true),
        (|l| l.output.push("a".into()), true),
        (|l| l.info.push(("Author".into(), "a".into())), true),
        (|l| l.nodes[0].name = Some("a".into()), true),
        (|l| l.nodes[0].descriptions.push("a".into()), true),
    ];
    for (change, is_lost) in changes {
        let mut list = plain();
        change(&mut list);
        let content = Content::List(list.clone());
        let says = |format, loss| {
            convert(&content, &to(format))
                .unwrap()
                .losses
                .contains(&loss)
        };
        assert_eq!(says(FileFormat::Cube, Loss::OtherText), is_lost, "{list:?}");
        assert!(says(FileFormat::Picture, Loss::Text), "{list:?}");
        assert!(!says(FileFormat::Clf, Loss::OtherText), "{list:?}");
    }
}

#[test]
fn a_chain_is_sampled_as_it_asks_unless_the_user_says_otherwise() {
    let list = ProcessList::of_lut(&lattice().into(), Evaluation::Trilinear);
    let as_read = |how: Evaluation| {
        let resized = Lut3d::from_fn(9, |s| lattice().sample(s, how));
        Content::Lut(resized.into())
    };
    let nine = |evaluation| ConvertOptions {
        nodes: Some(9),
        evaluation,
        ..to(FileFormat::Cube)
    };
    let done = |content: &Content, evaluation| convert(content, &nine(evaluation)).unwrap().content;
    let chain = Content::List(list);
    assert_eq!(done(&chain, None), as_read(Evaluation::Trilinear));
    let tetrahedral = as_read(Evaluation::Tetrahedral);
    assert_eq!(done(&chain, Some(Evaluation::Tetrahedral)), tetrahedral);
    assert_eq!(done(&Content::Lut(lattice().into()), None), tetrahedral);
    assert_ne!(as_read(Evaluation::Trilinear), tetrahedral);
}

#[test]
fn an_evaluation_without_a_word_is_said() {
    let asked = Evaluation::Weights { bits: 8 };
    let options = |format| ConvertOptions {
        evaluation: Some(asked),
        ..to(format)
    };
    let content = Content::Lut(lattice().into());
    let done = convert(&content, &options(FileFormat::Clf)).unwrap();
    assert_eq!(done.losses, [Loss::Weights { asked }]);
    assert!(
        done.losses[0]
            .to_string()
            .ends_with("it asks for tetrahedral")
    );
    assert_eq!(
        convert(&content, &options(FileFormat::Cube))
            .unwrap()
            .losses,
        []
    );
    let curves = Content::Lut(Lut1d::identity(4).into());
    assert_eq!(
        convert(&curves, &options(FileFormat::Clf)).unwrap().losses,
        []
    );
}

#[test]
fn a_sampled_chain_says_that_its_domain_ends() {
    let power = Exponent {
        style: ExponentStyle::Basic,
        is_reverse: false,
        exponent: 2.0,
        offset: 0.0,
    };
    let range = |high: f64, clamps| {
        Operation::Range(Range {
            low: Some([0.0, 0.0]),
            high: Some([high, 1.0]),
            clamps,
        })
    };
    for (first, says) in [
        (Operation::Exponent([power; 3]), true),
        (range(1.0, false), true),
        (range(4.0, true), true),
        (range(1.0, true), false),
        (Operation::Curves(Lut1d::identity(3)), false),
    ] {
        let list = ProcessList {
            nodes: vec![first.into(), Operation::Exponent([power; 3]).into()],
            ..ProcessList::default()
        };
        let done = convert(&Content::List(list), &to(FileFormat::Cube)).unwrap();
        assert!(matches!(done.losses[0], Loss::Chain { .. }));
        assert_eq!(
            done.losses.contains(&Loss::Domain),
            says,
            "{:?}",
            done.losses
        );
    }
}
