//! What is read can be written, and what is written is read: the odd corners. What no file can hold is refused before
//! the first byte of it.

use std::path::Path;

use evenstep_lut::format::clf::{self, ClfWriteError};
use evenstep_lut::process::{
    Camera, Exponent, ExponentStyle, HalfCurves, Log, LogStyle, Matrix, Operation, ProcessList,
};
use evenstep_lut::{BitDepth, Correction, Lut1d};

fn list(inside: &str) -> String {
    format!(
        "<?xml version=\"1.0\"?><ProcessList xmlns=\"{}\" compCLFversion=\"3.0\">{inside}</ProcessList>",
        clf::SMPTE_NAMESPACE
    )
}

fn parse(text: &str) -> Result<ProcessList, String> {
    clf::parse(text.as_bytes(), Path::new("a.clf"))
        .map(|(list, _)| list)
        .map_err(|e| e.to_string())
}

fn written(list: &ProcessList) -> String {
    let mut bytes = Vec::new();
    clf::write_list_to(list, None, &mut bytes).unwrap();
    String::from_utf8(bytes).unwrap()
}

fn refused(operation: Operation, bits: Option<u8>) -> ClfWriteError {
    let list = ProcessList {
        nodes: vec![operation.into()],
        ..ProcessList::default()
    };
    let mut bytes = Vec::new();
    let depth = bits.and_then(BitDepth::new);
    let error = clf::write_list_to(&list, depth, &mut bytes).unwrap_err();
    assert!(bytes.is_empty(), "refused too late");
    error
}

const RANGE: &str = "<Range inBitDepth=\"32f\" outBitDepth=\"32f\"><minInValue>0</minInValue><minOutValue>0</minOutValue></Range>";

#[test]
fn raw_halfs_that_are_not_finite_survive_an_integer_depth() {
    let patterns: String = (0..=u16::MAX).map(|bits| format!("{bits}\n")).collect();
    let text = list(&format!(
        "<LUT1D inBitDepth=\"16i\" outBitDepth=\"8i\" halfDomain=\"true\" rawHalfs=\"true\"><Array dim=\"65536 1\">{patterns}</Array></LUT1D>"
    ));
    let read = parse(&text).unwrap();
    let Operation::HalfCurves(curves) = &read.nodes[0].operation else {
        panic!("curves over halfs");
    };
    // Patterns of the two infinities and of a NaN (IEEE 754 binary16), as the note says they answer.
    let at = |bits: usize| curves.rows()[bits][0];
    assert_eq!(
        [at(0x7C00), at(0xFC00), at(0x7E00), at(0x3C00)],
        [f64::from(f32::MAX), f64::from(f32::MIN), 0.0, 1.0 / 255.0]
    );
    let back = parse(&written(&read)).unwrap();
    assert_eq!(back.nodes, read.nodes);
}

#[test]
fn an_empty_name_is_refused_wherever_it_stands() {
    for id in ["<Id/>", "<Id> </Id>"] {
        let error = parse(&list(&format!("{id}{RANGE}"))).unwrap_err();
        assert!(error.contains("id must be a name"), "{error}");
    }
    assert_eq!(
        parse(&list(&format!("<Id>a</Id>{RANGE}"))).unwrap().id,
        Some("a".into())
    );
    // What is set by hand gets a name of its own.
    let mut read = parse(&list(RANGE)).unwrap();
    read.id = Some("\u{1} ".into());
    let back = parse(&written(&read)).unwrap();
    assert!(back.id.unwrap().starts_with("evenstep-"));
}

#[test]
fn a_name_of_any_length_and_any_letters_can_be_read_back() {
    let mut read = parse(&list(RANGE)).unwrap();
    for letter in ["\"", "é", "a", "\u{80}", "\u{7F}", "\n"] {
        let long = format!("x{}", letter.repeat(5000));
        (read.id, read.name, read.inverse_of) =
            (Some(long.clone()), Some(long.clone()), Some(long.clone()));
        read.nodes[0].name = Some(long.clone());
        let back = parse(&written(&read)).unwrap();
        let cut = clf::written_name(&long);
        assert!(cut.len() > 190 && cut.len() <= 1200);
        assert_eq!(back.name.as_deref(), Some(cut.as_str()));
        assert_eq!(back.nodes[0].name, back.name);
    }
    assert_eq!(clf::written_name("warm <white>"), "warm <white>");
}

#[test]
fn tags_without_text_do_not_grow() {
    // 1 MiB of tags are read; twice as many would not be.
    let text = list(&format!("{}{RANGE}", "<Description/>".repeat(60_000)));
    let read = parse(&text).unwrap();
    assert_eq!(read.descriptions.len(), 60_000);
    assert_eq!(parse(&written(&read)).unwrap().descriptions.len(), 60_000);
}

#[test]
fn numbers_that_overflow_a_depth_are_refused() {
    let matrix = |depths: &str| {
        parse(&list(&format!(
            "<Matrix {depths}><Array dim=\"3 3\">1e305 0 0 0 1 0 0 0 1</Array></Matrix>"
        )))
    };
    assert!(matrix("inBitDepth=\"32f\" outBitDepth=\"32f\"").is_ok());
    let error = matrix("inBitDepth=\"16i\" outBitDepth=\"32f\"").unwrap_err();
    assert!(
        error.contains("Array must be numbers that stay finite"),
        "{error}"
    );
    let mut rows = [[0.0; 4]; 3];
    rows[1][3] = f64::NAN;
    assert!(matches!(
        refused(Operation::Matrix(Matrix { rows }), None),
        ClfWriteError::Number {
            operation: "Matrix"
        }
    ));
    let large = Lut1d::new(vec![[0.0; 3], [1e305; 3]]).unwrap();
    assert!(matches!(
        refused(Operation::Curves(large), Some(16)),
        ClfWriteError::Number { operation: "LUT1D" }
    ));
    let mut rows = vec![[0.3; 3]; HalfCurves::SIZE];
    rows[7][1] = f64::INFINITY;
    assert!(matches!(
        refused(Operation::HalfCurves(HalfCurves::new(rows).unwrap()), None),
        ClfWriteError::NotFinite(_)
    ));
}

#[test]
fn channels_that_go_different_ways_are_refused() {
    let plain = Log::plain(LogStyle::LinToLog, 2.0);
    let camera = Log {
        camera: Some(Camera {
            lin_break: 0.1,
            linear_slope: None,
        }),
        ..plain
    };
    let back = Log::plain(LogStyle::LogToLin, 2.0);
    for other in [camera, back] {
        assert!(matches!(
            refused(Operation::Log([plain, plain, other]), None),
            ClfWriteError::Channels { operation: "Log" }
        ));
    }
    let power = Exponent {
        style: ExponentStyle::Basic,
        is_reverse: false,
        exponent: 2.0,
        offset: 0.0,
    };
    let back = Exponent {
        is_reverse: true,
        ..power
    };
    assert!(matches!(
        refused(Operation::Exponent([power, back, power]), None),
        ClfWriteError::Channels {
            operation: "Exponent"
        }
    ));
}

#[test]
fn a_camera_curve_must_rise() {
    let log = |parameters: &str| {
        parse(&list(&format!(
            "<Log inBitDepth=\"32f\" outBitDepth=\"32f\" style=\"cameraLogToLin\"><LogParams linSideBreak=\"0.1\" {parameters}/></Log>"
        )))
    };
    for falls in [
        "base=\"2\" logSideSlope=\"-1\"",
        "base=\"0.5\"",
        "base=\"2\" linearSlope=\"-1\"",
        "base=\"2\" linSideSlope=\"-1\" linSideOffset=\"1\"",
    ] {
        let error = log(falls).unwrap_err();
        assert!(error.contains("a camera's curve that falls"), "{error}");
    }
    // The inverse finds its branch on both sides of the break.
    let back = log("base=\"2\" logSideSlope=\"0.3\" logSideOffset=\"0.6\"").unwrap();
    let mut there = back.clone();
    let Operation::Log(logs) = &mut there.nodes[0].operation else {
        panic!("a logarithm");
    };
    logs.iter_mut().for_each(|l| l.style = LogStyle::LinToLog);
    const ROUNDOFF: f64 = 1e-14; // a logarithm and a power of values up to 1
    for at in [0.01, 0.099, 0.101, 1.0] {
        let again = back.drive(there.drive([at; 3]));
        assert!((again[0] - at).abs() < ROUNDOFF, "{at} to {}", again[0]);
    }
}

/// Each place costs a walk from the start of the text; half a million of them took minutes.
#[test]
fn what_is_noted_often_is_counted_in_elements() {
    let unknown = "<x/>".repeat(200_000);
    let text = list(&RANGE.replace("</Range>", &format!("{unknown}</Range>")));
    let (_, notes) = clf::parse(text.as_bytes(), Path::new("a.clf")).unwrap();
    assert_eq!(notes.len(), 1);
    assert!(
        notes[0].to_string().ends_with("(200000 elements)"),
        "{}",
        notes[0]
    );
}

#[test]
fn long_texts_are_refused_by_name() {
    let long = "a ".repeat(1 << 19);
    for (open, close, name) in [
        ("<Description>", "</Description>", "Description"),
        ("<Info><Author>", "</Author></Info>", "Author"),
    ] {
        let with = |text: &str| parse(&list(&format!("{open}{text}{close}{RANGE}")));
        assert!(with(&long).is_ok());
        let error = with(&format!("{long} bc")).unwrap_err();
        let expected = format!("more than 1048576 bytes of text in {name};");
        assert!(error.contains(&expected), "{error}");
    }
}
