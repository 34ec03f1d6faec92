//! `Range`, `Log`, `Exponent` and `ASC_CDL`.

use roxmltree::Node;

use super::ClfError;
use super::depth::Depth;
use super::xml::{Source, elements, name};
use crate::format::Deviation;
use crate::process::{
    Camera, Cdl, CdlStyle, Exponent, ExponentStyle, Log, LogStyle, Operation, Range,
};

const COMMON: [&str; 5] = ["id", "name", "inBitDepth", "outBitDepth", "style"];

fn contradiction<'a>(source: &Source<'a>, node: Node<'a, 'a>, what: &'static str) -> ClfError {
    let at = source.place(node);
    ClfError::Contradiction { at, what }
}

/// `Range`.
pub(super) fn range<'a>(
    source: &mut Source<'a>,
    node: Node<'a, 'a>,
    input: Depth,
    out: Depth,
) -> Result<Operation, ClfError> {
    source.only(node, &COMMON);
    let clamps = match node.attribute("style") {
        None | Some("Clamp") => true,
        Some("noClamp") => false,
        Some(found) => return Err(source.bad(node, "style", "\"Clamp\" or \"noClamp\"", found)),
    };
    const ENDS: [&str; 4] = ["minInValue", "maxInValue", "minOutValue", "maxOutValue"];
    let found = source.children(node, ENDS)?;
    let mut ends = [None; 4];
    for (i, child) in found.into_iter().enumerate() {
        let scale = if i < 2 { input.scale() } else { out.scale() };
        if let Some(child) = child {
            let [value] = source.exactly::<1>(child)?;
            ends[i] = Some(value / scale);
        }
    }
    let pair = |at: Option<f64>, out: Option<f64>| match (at, out) {
        (Some(at), Some(out)) => Ok(Some([at, out])),
        (None, None) => Ok(None),
        _ => Err(contradiction(
            source,
            node,
            "a Range with one value of a pair; give minInValue with minOutValue and maxInValue with maxOutValue",
        )),
    };
    let (low, high) = (pair(ends[0], ends[2])?, pair(ends[1], ends[3])?);
    match (low, high) {
        (None, None) => {
            return Err(contradiction(
                source,
                node,
                "a Range without any value; give one pair or both",
            ));
        }
        (Some(low), Some(high)) => {
            if low[0] >= high[0] || low[1] > high[1] {
                return Err(contradiction(
                    source,
                    node,
                    "a Range whose low end is not below its high end; exchange the values",
                ));
            }
        }
        (Some(one), None) | (None, Some(one)) => {
            if !clamps {
                return Err(contradiction(
                    source,
                    node,
                    "a Range of style noClamp with one pair of values; give both pairs or clamp",
                ));
            }
            // Printed integers and decimals of the same limit; a part in a million tells them from a slip.
            const SAME: f64 = 1e-6;
            if (one[0] - one[1]).abs() > SAME * one[0].abs().max(1.0) {
                return Err(contradiction(
                    source,
                    node,
                    "a Range with one pair whose values differ once scaled by the bit depths; make them the same limit",
                ));
            }
        }
    }
    Ok(Operation::Range(Range { low, high, clamps }))
}

/// The parameters for each channel: the element `child` given once without a channel, or once for each. `None` where
/// there is none.
fn by_channel<'a, T: Copy>(
    source: &mut Source<'a>,
    node: Node<'a, 'a>,
    child: &'static str,
    read: impl Fn(&mut Source<'a>, Node<'a, 'a>) -> Result<T, ClfError>,
) -> Result<Option<[T; 3]>, ClfError> {
    let (mut all, mut each) = (None, [None; 3]);
    for element in elements(node) {
        if name(element) != child {
            if name(element) != "Description" {
                source.note(element, Deviation::UnknownElement);
            }
            continue;
        }
        let slot = match element.attribute("channel") {
            None => &mut all,
            Some("R") => &mut each[0],
            Some("G") => &mut each[1],
            Some("B") => &mut each[2],
            Some(found) => return Err(source.bad(element, "channel", "R, G or B", found)),
        };
        if slot.is_some() {
            return Err(ClfError::RepeatedElement {
                at: source.place(element),
                element: name(node).to_owned(),
                child: child.to_owned(),
            });
        }
        *slot = Some(read(source, element)?);
    }
    match (all, each) {
        (None, [None, None, None]) => Ok(None),
        (Some(all), [None, None, None]) => Ok(Some([all; 3])),
        (None, [Some(r), Some(g), Some(b)]) => Ok(Some([r, g, b])),
        _ => Err(contradiction(
            source,
            node,
            "parameters for some channels; give them once without a channel, or for R, G and B",
        )),
    }
}

/// `Log`.
pub(super) fn log<'a>(source: &mut Source<'a>, node: Node<'a, 'a>) -> Result<Operation, ClfError> {
    use LogStyle::{LinToLog, LogToLin};
    source.only(node, &COMMON);
    let style = source.required(node, "style")?;
    let (way, base, is_camera) = match style {
        "log10" => (LinToLog, Some(10.0), false),
        "log2" => (LinToLog, Some(2.0), false),
        "antiLog10" => (LogToLin, Some(10.0), false),
        "antiLog2" => (LogToLin, Some(2.0), false),
        "linToLog" => (LinToLog, None, false),
        "logToLin" => (LogToLin, None, false),
        "cameraLinToLog" => (LinToLog, None, true),
        "cameraLogToLin" => (LogToLin, None, true),
        found => {
            let expected = "log10, log2, antiLog10, antiLog2, linToLog, logToLin, cameraLinToLog or cameraLogToLin";
            return Err(source.bad(node, "style", expected, found));
        }
    };
    let logs = by_channel(source, node, "LogParams", |source, params| {
        log_params(source, params, style, way, is_camera)
    })?;
    match (base, logs) {
        (Some(base), None) => Ok(Operation::Log([Log::plain(way, base); 3])),
        (Some(_), Some(_)) => Err(ClfError::NotWithStyle {
            at: source.place(node),
            name: "LogParams",
            style: style.to_owned(),
        }),
        (None, Some(logs)) => Ok(Operation::Log(logs)),
        (None, None) => Err(source.missing(node, "LogParams")),
    }
}

fn log_params<'a>(
    source: &mut Source<'a>,
    node: Node<'a, 'a>,
    style: &str,
    way: LogStyle,
    is_camera: bool,
) -> Result<Log, ClfError> {
    const KNOWN: [&str; 8] = [
        "base",
        "logSideSlope",
        "logSideOffset",
        "linSideSlope",
        "linSideOffset",
        "linSideBreak",
        "linearSlope",
        "channel",
    ];
    source.only(node, &KNOWN);
    let lin_break = source.number(node, "linSideBreak")?;
    let linear_slope = source.number(node, "linearSlope")?;
    let camera = match (is_camera, lin_break, linear_slope) {
        (true, Some(lin_break), linear_slope) => Some(Camera {
            lin_break,
            linear_slope,
        }),
        (true, None, _) => {
            return Err(ClfError::MissingAttribute {
                at: source.place(node),
                element: name(node).to_owned(),
                attribute: "linSideBreak",
            });
        }
        (false, None, None) => None,
        (false, ..) => {
            return Err(ClfError::NotWithStyle {
                at: source.place(node),
                name: if lin_break.is_some() {
                    "linSideBreak"
                } else {
                    "linearSlope"
                },
                style: style.to_owned(),
            });
        }
    };
    let log = Log {
        style: way,
        base: source.number(node, "base")?.unwrap_or(2.0),
        log_slope: source.number(node, "logSideSlope")?.unwrap_or(1.0),
        log_offset: source.number(node, "logSideOffset")?.unwrap_or(0.0),
        lin_slope: source.number(node, "linSideSlope")?.unwrap_or(1.0),
        lin_offset: source.number(node, "linSideOffset")?.unwrap_or(0.0),
        camera,
    };
    if log.base <= 0.0 || log.base == 1.0 {
        return Err(source.bad(node, "base", "above 0 and not 1", &log.base.to_string()));
    }
    let flat = log.log_slope == 0.0
        || log.lin_slope == 0.0
        || camera.is_some_and(|c| c.linear_slope == Some(0.0));
    if flat {
        return Err(contradiction(
            source,
            node,
            "a logarithm with a slope of 0; it has no inverse, correct the slope",
        ));
    }
    // The line and the curve are told apart by the value at the break, which needs both to rise.
    let rises = log.log_slope.signum() * log.lin_slope.signum() * log.base.ln().signum() > 0.0;
    if camera.is_some_and(|c| !rises || c.linear_slope.is_some_and(|s| s < 0.0)) {
        return Err(contradiction(
            source,
            node,
            "a camera's curve that falls; use a base above 1 and slopes above 0",
        ));
    }
    if camera.is_some_and(|c| log.lin_slope * c.lin_break + log.lin_offset <= 0.0) {
        return Err(contradiction(
            source,
            node,
            "a break where the logarithm does not exist; raise linSideBreak or linSideOffset",
        ));
    }
    Ok(log)
}

/// `Exponent`.
pub(super) fn exponent<'a>(
    source: &mut Source<'a>,
    node: Node<'a, 'a>,
) -> Result<Operation, ClfError> {
    use ExponentStyle::{Basic, BasicMirror, BasicPassThrough, MonCurve, MonCurveMirror};
    source.only(node, &COMMON);
    let style = source.required(node, "style")?;
    let (kind, is_reverse) = match style {
        "basicFwd" => (Basic, false),
        "basicRev" => (Basic, true),
        "basicMirrorFwd" => (BasicMirror, false),
        "basicMirrorRev" => (BasicMirror, true),
        "basicPassThruFwd" => (BasicPassThrough, false),
        "basicPassThruRev" => (BasicPassThrough, true),
        "monCurveFwd" => (MonCurve, false),
        "monCurveRev" => (MonCurve, true),
        "monCurveMirrorFwd" => (MonCurveMirror, false),
        "monCurveMirrorRev" => (MonCurveMirror, true),
        found => {
            let expected = "basic, basicMirror, basicPassThru, monCurve or monCurveMirror with Fwd or Rev behind";
            return Err(source.bad(node, "style", expected, found));
        }
    };
    let has_line = matches!(kind, MonCurve | MonCurveMirror);
    let read = |source: &mut Source<'a>, params: Node<'a, 'a>| {
        source.only(params, &["exponent", "offset", "channel"]);
        let exponent = source.number(params, "exponent")?;
        let exponent = exponent.ok_or_else(|| ClfError::MissingAttribute {
            at: source.place(params),
            element: name(params).to_owned(),
            attribute: "exponent",
        })?;
        let offset = source.number(params, "offset")?;
        let shown = exponent.to_string();
        if has_line {
            if !(1.0..=10.0).contains(&exponent) {
                return Err(source.bad(params, "exponent", "from 1 to 10", &shown));
            }
        } else if !(0.01..=100.0).contains(&exponent) {
            return Err(source.bad(params, "exponent", "from 0.01 to 100", &shown));
        }
        let offset = match offset {
            Some(_) if !has_line => {
                return Err(ClfError::NotWithStyle {
                    at: source.place(params),
                    name: "offset",
                    style: style.to_owned(),
                });
            }
            Some(offset) if !(0.0..=0.9).contains(&offset) => {
                return Err(source.bad(params, "offset", "from 0 to 0.9", &offset.to_string()));
            }
            None if has_line => {
                return Err(ClfError::MissingAttribute {
                    at: source.place(params),
                    element: name(params).to_owned(),
                    attribute: "offset",
                });
            }
            given => given.unwrap_or(0.0),
        };
        Ok(Exponent {
            style: kind,
            is_reverse,
            exponent,
            offset,
        })
    };
    by_channel(source, node, "ExponentParams", read)?
        .map(Operation::Exponent)
        .ok_or_else(|| source.missing(node, "ExponentParams"))
}

/// `ASC_CDL`.
pub(super) fn cdl<'a>(source: &mut Source<'a>, node: Node<'a, 'a>) -> Result<Operation, ClfError> {
    source.only(node, &COMMON);
    let style = match node.attribute("style") {
        None | Some("Fwd") => CdlStyle::Forward,
        Some("Rev") => CdlStyle::Reverse,
        Some("FwdNoClamp") => CdlStyle::ForwardNoClamp,
        Some("RevNoClamp") => CdlStyle::ReverseNoClamp,
        Some(found) => {
            return Err(source.bad(node, "style", "Fwd, Rev, FwdNoClamp or RevNoClamp", found));
        }
    };
    let [sop, sat] = source.children(node, ["SOPNode", "SatNode"])?;
    let mut cdl = Cdl {
        style,
        slope: [1.0; 3],
        offset: [0.0; 3],
        power: [1.0; 3],
        saturation: 1.0,
    };
    if let Some(sop) = sop {
        let [slope, offset, power] = source.children(sop, ["Slope", "Offset", "Power"])?;
        cdl.slope = source.exactly(slope.ok_or_else(|| source.missing(sop, "Slope"))?)?;
        cdl.offset = source.exactly(offset.ok_or_else(|| source.missing(sop, "Offset"))?)?;
        cdl.power = source.exactly(power.ok_or_else(|| source.missing(sop, "Power"))?)?;
    }
    if let Some(sat) = sat {
        let [value] = source.children(sat, ["Saturation"])?;
        let value = value.ok_or_else(|| source.missing(sat, "Saturation"))?;
        [cdl.saturation] = source.exactly(value)?;
    }
    if sop.is_none() && sat.is_none() {
        return Err(source.missing(node, "SOPNode or SatNode"));
    }
    if cdl.slope.iter().any(|v| *v < 0.0)
        || cdl.power.iter().any(|v| *v <= 0.0)
        || cdl.saturation < 0.0
    {
        return Err(contradiction(
            source,
            node,
            "slopes and saturation must be 0 or more and powers above 0; correct them",
        ));
    }
    let is_reverse = matches!(style, CdlStyle::Reverse | CdlStyle::ReverseNoClamp);
    if is_reverse && (cdl.slope.contains(&0.0) || cdl.saturation == 0.0) {
        return Err(contradiction(
            source,
            node,
            "a slope or saturation of 0 cannot be undone; use a style that goes forward",
        ));
    }
    Ok(Operation::Cdl(cdl))
}
