//! Theorems of the CLF reader and writer.

use std::path::Path;

use evenstep_lut::format::clf::{self, ClfError};
use evenstep_lut::process::{
    Camera, Cdl, CdlStyle, Exponent, ExponentStyle, HalfCurves, Log, LogStyle, Matrix, Operation,
    ProcessList, ProcessNode, Range,
};
use evenstep_lut::{BitDepth, Correction, Evaluation, Lut, Lut1d, Lut3d};
use proptest::prelude::*;
use proptest::test_runner::FileFailurePersistence;

fn parse(bytes: &[u8]) -> Result<ProcessList, ClfError> {
    clf::parse(bytes, Path::new("a.clf")).map(|(list, _)| list)
}

fn text(list: &ProcessList) -> Vec<u8> {
    let mut bytes = Vec::new();
    clf::write_list_to(list, None, &mut bytes).unwrap();
    bytes
}

fn any_number() -> impl Strategy<Value = f64> {
    prop_oneof![
        any::<u64>()
            .prop_map(f64::from_bits)
            .prop_filter("finite", |v| v.is_finite()),
        -1.0..2.0,
    ]
}

fn any_rows(count: usize) -> impl Strategy<Value = Vec<[f64; 3]>> {
    prop::collection::vec(prop::array::uniform3(any_number()), count)
}

fn any_operation() -> impl Strategy<Value = Operation> {
    let curves = (2_usize..20)
        .prop_flat_map(any_rows)
        .prop_map(|rows| Operation::Curves(Lut1d::new(rows).unwrap()));
    let lattice = (2_usize..5, any::<bool>()).prop_flat_map(|(size, trilinear)| {
        any_rows(size.pow(3)).prop_map(move |nodes| Operation::Lattice {
            lattice: Lut3d::new(size, nodes).unwrap(),
            evaluation: if trilinear {
                Evaluation::Trilinear
            } else {
                Evaluation::Tetrahedral
            },
        })
    });
    let matrix = prop::array::uniform3(prop::array::uniform4(any_number()))
        .prop_map(|rows| Operation::Matrix(Matrix { rows }));
    let range = (
        -2.0..0.5,
        0.6..3.0,
        -2.0..0.5,
        0.6..3.0,
        any::<bool>(),
        0..3,
    )
        .prop_map(|(a, b, c, d, clamps, ends)| {
            Operation::Range(match ends {
                0 => Range {
                    low: Some([a, a]),
                    high: None,
                    clamps: true,
                },
                1 => Range {
                    low: None,
                    high: Some([b, b]),
                    clamps: true,
                },
                _ => Range {
                    low: Some([a, c]),
                    high: Some([b, d]),
                    clamps,
                },
            })
        });
    let log = (
        any::<bool>(),
        1.1..12.0,
        0.1..3.0,
        -1.0..1.0,
        prop::option::of(0.01..0.2),
    )
        .prop_map(|(forward, base, log_slope, log_offset, lin_break)| {
            let style = if forward {
                LogStyle::LinToLog
            } else {
                LogStyle::LogToLin
            };
            let camera = lin_break.map(|lin_break| Camera {
                lin_break,
                linear_slope: None,
            });
            let log = Log {
                log_slope,
                log_offset,
                camera,
                ..Log::plain(style, base)
            };
            Operation::Log([
                log,
                Log {
                    lin_offset: 0.5,
                    ..log
                },
                log,
            ])
        });
    let exponent = (
        prop::sample::select(vec![
            ExponentStyle::Basic,
            ExponentStyle::BasicMirror,
            ExponentStyle::BasicPassThrough,
            ExponentStyle::MonCurve,
            ExponentStyle::MonCurveMirror,
        ]),
        any::<bool>(),
        1.0..4.0,
        0.0..0.9,
    )
        .prop_map(|(style, is_reverse, exponent, offset)| {
            let has_line = matches!(
                style,
                ExponentStyle::MonCurve | ExponentStyle::MonCurveMirror
            );
            let offset = if has_line { offset } else { 0.0 };
            let one = Exponent {
                style,
                is_reverse,
                exponent,
                offset,
            };
            Operation::Exponent([
                one,
                one,
                Exponent {
                    exponent: exponent + 1.0,
                    ..one
                },
            ])
        });
    let three = || prop::array::uniform3(0.1..2.0);
    let cdl = (
        prop::sample::select(vec![
            CdlStyle::Forward,
            CdlStyle::Reverse,
            CdlStyle::ForwardNoClamp,
            CdlStyle::ReverseNoClamp,
        ]),
        three(),
        three(),
        three(),
        0.1..2.0,
    )
        .prop_map(|(style, slope, offset, power, saturation)| {
            Operation::Cdl(Cdl {
                style,
                slope,
                offset,
                power,
                saturation,
            })
        });
    prop_oneof![curves, lattice, matrix, range, log, exponent, cdl]
}

fn any_list() -> impl Strategy<Value = ProcessList> {
    let words =
        || "[ !-~äß–]{0,20}".prop_map(|s| s.split_whitespace().collect::<Vec<_>>().join(" "));
    let named = (
        "[a-z]{1,8}",
        prop::option::of(words()),
        prop::collection::vec(words(), 0..3),
    );
    (named, prop::collection::vec(any_operation(), 1..5)).prop_map(
        |((id, name, descriptions), operations)| ProcessList {
            id: Some(id),
            name,
            input: descriptions.clone(),
            info: descriptions
                .iter()
                .map(|d| ("Copyright".to_owned(), d.clone()))
                .collect(),
            descriptions,
            nodes: operations.into_iter().map(ProcessNode::from).collect(),
            ..ProcessList::default()
        },
    )
}

fn config() -> ProptestConfig {
    let beside = FileFailurePersistence::WithSource("proptest-regressions");
    ProptestConfig::with_failure_persistence(beside)
}

proptest! {
    #![proptest_config(config())]

    /// Reading what was written gives the same chain, every number the same.
    #[test]
    fn read_undoes_write(list in any_list()) {
        prop_assert_eq!(parse(&text(&list)).unwrap(), list);
    }

    /// Whatever chain: the answer to whatever signal is finite.
    #[test]
    fn every_answer_is_finite(list in any_list(), at in prop::array::uniform3(prop::num::f64::ANY)) {
        prop_assert!(list.drive(at).iter().all(|v| v.is_finite()));
    }

    /// A file cut anywhere is refused, for a reason on one line.
    #[test]
    fn a_cut_file_is_refused(list in any_list(), share in 0.0..1.0) {
        let whole = text(&list);
        let length = ((whole.len() - 2) as f64 * share) as usize;
        let message = parse(&whole[..length]).unwrap_err().to_string();
        prop_assert_eq!(message.lines().count(), 1, "{}", message);
    }

    /// Codes of a depth come back as they were written: one rounding, and none after it.
    #[test]
    fn codes_are_rounded_once(values in any_rows_of_codes(), bits in prop::sample::select(vec![8_u8, 10, 12, 16])) {
        let depth = BitDepth::new(bits).unwrap();
        let top = f64::from(depth.largest_code());
        let lut = Lut::from(Lut3d::new(2, values).unwrap());
        let write = |lut: &Lut| {
            let mut bytes = Vec::new();
            clf::write_to(lut, Evaluation::Tetrahedral, Some(depth), &mut bytes).unwrap();
            bytes
        };
        let once = parse(&write(&lut)).unwrap().to_lut().unwrap();
        for (node, was) in once.lattice.as_ref().unwrap().nodes().iter().zip(lut.lattice.as_ref().unwrap().nodes()) {
            for c in 0..3 {
                prop_assert_eq!(node[c], (was[c] * top).round() / top);
            }
        }
        prop_assert_eq!(parse(&write(&once)).unwrap().to_lut().unwrap().lattice, once.lattice);
    }

    /// No bytes make the reader panic, and neither do pieces that look much like a file.
    #[test]
    fn shuffled_pieces_do_not_panic(pieces in prop::collection::vec(prop::sample::select(vec![
        "<?xml version=\"1.0\"?>", "<ProcessList id='a' compCLFversion='3'>", "</ProcessList>",
        "<LUT1D inBitDepth='8i' outBitDepth='8i'>", "<Array dim='2 1'>", "</Array>", "0 1", "</LUT1D>",
        "<Range inBitDepth='8i' outBitDepth='8i'>", "</Range>", "<minInValue>0</minInValue>", "<!-- x -->", "&#48;", "<![CDATA[1]]>",
        "<Matrix inBitDepth='8i' outBitDepth='8i'><Array dim='3 3'>1 0 0 0 1 0 0 0 1</Array></Matrix>", "<", "&", "é", "nan", "\r\n",
    ]), 0..12), bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        let _ = parse(&bytes);
        if let Ok(list) = parse(pieces.concat().as_bytes()) {
            prop_assert_eq!(parse(&text(&list)).unwrap(), list);
        }
    }
}

fn any_rows_of_codes() -> impl Strategy<Value = Vec<[f64; 3]>> {
    prop::collection::vec(prop::array::uniform3(-0.5..1.5), 8)
}

/// Found by fuzzing: many small input maps, each of which grows to 65536 rows when written.
#[test]
fn a_list_without_end_is_refused() {
    let node = "<Range inBitDepth='32f' outBitDepth='32f'><minInValue>0</minInValue><minOutValue>0</minOutValue></Range>";
    let list = |count: usize| {
        format!(
            "<ProcessList id='a' compCLFversion='3'>{}</ProcessList>",
            node.repeat(count)
        )
    };
    assert!(parse(list(128).as_bytes()).is_ok());
    let refused = parse(list(129).as_bytes()).unwrap_err().to_string();
    assert!(
        refused.contains("process nodes, more than the 128"),
        "{refused}"
    );
}

#[test]
fn curves_over_half_floats_keep_their_patterns() {
    let rows = (0..=u16::MAX)
        .rev()
        .map(|bits| [half::f16::from_bits(bits).to_f64(); 3])
        .collect();
    let list = ProcessList {
        nodes: vec![Operation::HalfCurves(HalfCurves::new(rows).unwrap()).into()],
        ..ProcessList::default()
    };
    let once = text(&list);
    // NaN is no equal of itself, so the files are compared: raw patterns, with one NaN for all.
    let (back, notes) = clf::parse(&once, Path::new("a.clf")).unwrap();
    assert_eq!(
        text(&ProcessList {
            id: None,
            ..back.clone()
        }),
        once
    );
    assert_eq!(notes.len(), 1, "{notes:?}");
    // Entry 15360 is the number 1, and the table runs backwards: the number with pattern 65535 − 15360.
    let one = half::f16::from_bits(65_535 - 15_360).to_f64();
    assert_eq!(back.drive([1.0; 3]), [one; 3]);
}
