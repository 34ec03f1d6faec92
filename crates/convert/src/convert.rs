use evenstep_lut::format::table::{NodeOrder, TableLayout};
use evenstep_lut::process::{Operation, ProcessList};
use evenstep_lut::{BitDepth, Correction, Evaluation, Lut, Lut1d, Lut3d};

use crate::read::asked;
use crate::rounding::{round_list, rounded};
use crate::{Content, Difference, FileFormat, Loss, picture_sizes, text};

/// Nodes along each axis where nothing says how many.
const NODES: usize = 33;
/// Rows of curves that sample a chain. Our choice: four to a code of 10 bits.
const ROWS: usize = 4096;

/// Why a LUT cannot be converted as asked.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum ConvertError {
    /// The LUT holds nothing.
    #[error("the LUT holds no table; there is nothing to convert")]
    NoTable,
    /// Codes of a depth that the format does not have.
    #[error("{format} does not hold codes of {bits} bits; use {use_instead}")]
    Bits {
        /// The format.
        format: FileFormat,
        /// Bits asked for.
        bits: u8,
        /// Those it has.
        use_instead: &'static str,
    },
    /// An order for a format that has its own.
    #[error("{format} has an order of its own, {own}; --order is for integer tables")]
    Order {
        /// The format.
        format: FileFormat,
        /// Its order.
        own: NodeOrder,
    },
    /// A number of nodes that a picture does not hold.
    #[error("a picture does not hold {nodes} nodes along each axis; use {}", either(*smaller, *larger))]
    Nodes {
        /// Asked for.
        nodes: usize,
        /// The nearest that it holds below, or the least.
        smaller: usize,
        /// The nearest above, or the most.
        larger: usize,
    },
    /// A number of nodes that no lattice has.
    #[error(
        "a lattice has {} to {} nodes along each axis, not {nodes}; use one of these",
        Lut3d::SIZES.start(),
        Lut3d::SIZES.end()
    )]
    NodeRange {
        /// Asked for.
        nodes: usize,
    },
    /// A chain where curves and a lattice are needed.
    #[error(
        "the chain {operations} is more than curves and a lattice; sample it first: evenstep convert LUT -o LUT.cube"
    )]
    Chain {
        /// Its operations.
        operations: String,
    },
    /// A number of nodes for a LUT without a lattice.
    #[error("--nodes, but the LUT has curves alone; leave it out, or name a picture as output")]
    NoLattice,
    /// Curves to put before a LUT that has curves.
    #[error(
        "--shaper-in, but the LUT has curves of its own; take them off first with --shaper-out"
    )]
    TwoShapers,
    /// No curves to take off.
    #[error("--shaper-out, but the LUT has no curves before a lattice; leave it out")]
    NoShaper,
}

fn either(smaller: usize, larger: usize) -> String {
    if smaller == larger {
        smaller.to_string()
    } else {
        format!("{smaller} or {larger}")
    }
}

/// What the output should be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ConvertOptions {
    /// Its format.
    pub format: FileFormat,
    /// Nodes along each axis, 2 to 256; those of the input unless given.
    pub nodes: Option<usize>,
    /// Bits of the codes that values are rounded to; as many as the format needs, or none, unless given.
    pub bits: Option<BitDepth>,
    /// Order of an integer table.
    pub order: Option<NodeOrder>,
    /// How the input is read between nodes where it is sampled, and the output where both are compared; what the input
    /// asks for unless given, tetrahedral where it asks for nothing.
    pub evaluation: Option<Evaluation>,
}

impl ConvertOptions {
    /// A plain change of format.
    #[must_use]
    pub fn to(format: FileFormat) -> Self {
        Self {
            format,
            nodes: None,
            bits: None,
            order: None,
            evaluation: None,
        }
    }
}

/// A LUT made ready for its format, and what that cost.
#[derive(Clone, Debug, PartialEq)]
pub struct Conversion {
    /// What is to be written.
    pub content: Content,
    /// The format.
    pub format: FileFormat,
    /// Bits of the codes; `None` for numbers that are not rounded.
    pub bits: Option<BitDepth>,
    /// Layout of an integer table.
    pub layout: Option<TableLayout>,
    /// How a Common LUT Format file asks to be read between nodes.
    pub evaluation: Evaluation,
    /// What the output does not hold as the input did.
    pub losses: Vec<Loss>,
    /// How far the output lies from the input.
    pub difference: Difference,
}

impl Conversion {
    /// Nodes along each axis of the output's lattice.
    #[must_use]
    pub fn nodes(&self) -> Option<usize> {
        match &self.content {
            Content::Lut(lut) => lut.lattice.as_ref().map(Lut3d::size),
            Content::List(list) => list.nodes.iter().find_map(|n| match &n.operation {
                Operation::Lattice { lattice, .. } => Some(lattice.size()),
                _ => None,
            }),
        }
    }

    /// Rows of the output's curves.
    #[must_use]
    pub fn rows(&self) -> Option<usize> {
        match &self.content {
            Content::Lut(lut) => lut.curves.as_ref().map(Lut1d::size),
            Content::List(_) => None,
        }
    }
}

/// Makes `source` ready for the format of `options`. Nothing is written.
///
/// # Errors
/// [`ConvertError`]: the options do not go with the LUT or the format, or ask for a lattice of fewer than 2 or more than
/// 256 nodes along each axis.
pub fn convert(source: &Content, options: &ConvertOptions) -> Result<Conversion, ConvertError> {
    check(options)?;
    let mut losses = Vec::new();
    let bits = options.bits.or(match options.format {
        FileFormat::Picture => BitDepth::new(16),
        FileFormat::Table => Some(BitDepth::TWELVE),
        FileFormat::Cube | FileFormat::Clf => None,
    });
    let asks = match source {
        Content::Lut(_) => None,
        Content::List(list) => asked(list),
    };
    let how = options
        .evaluation
        .or(asks)
        .unwrap_or(Evaluation::Tetrahedral);
    let (content, evaluation) = match source {
        Content::List(list) if options.format == FileFormat::Clf && options.nodes.is_none() => {
            let rounded = round_list(list, bits, &mut losses);
            (Content::List(rounded), asks.unwrap_or(how))
        }
        Content::List(list) => match list.to_lut() {
            Some(lut) => {
                if let Some(asked) = asks.filter(|_| options.format != FileFormat::Clf) {
                    losses.push(Loss::Evaluation { asked });
                }
                (
                    Content::Lut(fitted(lut, options, how, bits, &mut losses)?),
                    asks.unwrap_or(how),
                )
            }
            None => {
                let lut = sampled(list, options, &mut losses);
                let rounded = rounded(lut, options.format, bits, &mut losses);
                (Content::Lut(rounded), how)
            }
        },
        Content::Lut(lut) => {
            if lut.curves.is_none() && lut.lattice.is_none() {
                return Err(ConvertError::NoTable);
            }
            (
                Content::Lut(fitted(lut.clone(), options, how, bits, &mut losses)?),
                how,
            )
        }
    };
    if options.format == FileFormat::Clf
        && matches!(evaluation, Evaluation::Weights { .. })
        && holds_lattice(&content)
    {
        losses.push(Loss::Weights { asked: evaluation });
    }
    losses.extend(text::loss(source, &content, options.format));
    // A chain that became a LUT is compared as that is read, so that only the change of values shows.
    let reduced = match source {
        Content::List(list) if matches!(content, Content::Lut(_)) => {
            list.to_lut().map(Content::Lut)
        }
        _ => None,
    };
    let before = reduced.as_ref().unwrap_or(source);
    let difference = Difference::between(&*before.evaluated(how), &*content.evaluated(how));
    let layout = (options.format == FileFormat::Table).then(|| TableLayout {
        order: options.order.unwrap_or_default(),
        ..TableLayout::of_depth(bits.unwrap_or(BitDepth::TWELVE))
    });
    Ok(Conversion {
        content,
        format: options.format,
        bits,
        layout,
        evaluation,
        losses,
        difference,
    })
}

fn holds_lattice(content: &Content) -> bool {
    match content {
        Content::Lut(lut) => lut.lattice.is_some(),
        Content::List(list) => asked(list).is_some(),
    }
}

fn check(options: &ConvertOptions) -> Result<(), ConvertError> {
    let format = options.format;
    if let Some(nodes) = options.nodes.filter(|n| !Lut3d::SIZES.contains(n)) {
        return Err(ConvertError::NodeRange { nodes });
    }
    if let Some(depth) = options.bits {
        let bits = depth.bits();
        let refuse = |use_instead| {
            Err(ConvertError::Bits {
                format,
                bits,
                use_instead,
            })
        };
        match format {
            FileFormat::Picture if !matches!(bits, 8 | 16) => return refuse("8 or 16"),
            FileFormat::Clf if !matches!(bits, 8 | 10 | 12 | 16) => {
                return refuse("8, 10, 12 or 16");
            }
            _ => {}
        }
    }
    let own = match format {
        FileFormat::Cube | FileFormat::Picture => NodeOrder::RedFastest,
        FileFormat::Clf => NodeOrder::BlueFastest,
        FileFormat::Table => options.order.unwrap_or_default(),
    };
    if options.order.is_some_and(|order| order != own) {
        return Err(ConvertError::Order { format, own });
    }
    if format == FileFormat::Picture
        && let Some(nodes) = options.nodes
        && !picture_sizes().any(|n| n == nodes)
    {
        let smaller = picture_sizes().filter(|n| *n < nodes).last().unwrap_or(4);
        let larger = picture_sizes().find(|n| *n > nodes).unwrap_or(256);
        return Err(ConvertError::Nodes {
            nodes,
            smaller,
            larger,
        });
    }
    Ok(())
}

/// The number of nodes a lattice gets that is sampled anew for `format`.
fn nodes(options: &ConvertOptions, lattice: Option<usize>) -> usize {
    let wanted = options.nodes.or(lattice).unwrap_or(NODES);
    match options.format {
        // No fewer than the input has, where there is such a picture.
        FileFormat::Picture => picture_sizes().find(|n| *n >= wanted).unwrap_or(256),
        _ => wanted,
    }
}

fn sampled(list: &ProcessList, options: &ConvertOptions, losses: &mut Vec<Loss>) -> Lut {
    losses.push(Loss::Chain {
        operations: Content::operations(list),
    });
    if looks_beyond_unit(list) {
        losses.push(Loss::Domain);
    }
    let title = list.title().map(str::to_owned);
    if list.is_per_channel() && options.format != FileFormat::Picture && options.nodes.is_none() {
        return Lut {
            title,
            ..Lut1d::from_fn(ROWS, |v| list.drive([v; 3])).into()
        };
    }
    let lattice = list.nodes.iter().find_map(|n| match &n.operation {
        Operation::Lattice { lattice, .. } => Some(lattice.size()),
        _ => None,
    });
    let to = nodes(options, lattice);
    losses.push(Loss::Nodes { from: None, to });
    Lut {
        title,
        ..Lut3d::from_fn(to, |signal| list.drive(signal)).into()
    }
}

/// Whether the first operation of a chain tells signals below 0 from 0, or above 1 from 1.
fn looks_beyond_unit(list: &ProcessList) -> bool {
    match list.nodes.first().map(|n| &n.operation) {
        None | Some(Operation::Curves(_) | Operation::Lattice { .. }) => false,
        Some(Operation::Range(range)) => {
            let within =
                |end: Option<[f64; 2]>| end.is_some_and(|[at, _]| (0.0..=1.0).contains(&at));
            !(range.clamps && within(range.low) && within(range.high))
        }
        Some(_) => true,
    }
}

/// `lut` as the format can hold it; `how` is how it is read between nodes where it is sampled.
fn fitted(
    lut: Lut,
    options: &ConvertOptions,
    how: Evaluation,
    bits: Option<BitDepth>,
    losses: &mut Vec<Loss>,
) -> Result<Lut, ConvertError> {
    let format = options.format;
    let is_picture = format == FileFormat::Picture;
    if options.nodes.is_some() && lut.lattice.is_none() && !is_picture {
        return Err(ConvertError::NoLattice);
    }
    let curves = lut
        .curves
        .as_ref()
        .map(|c| (c.domain_min(), c.domain_max()));
    let lattice = lut
        .lattice
        .as_ref()
        .map(|l| (l.domain_min(), l.domain_max()));
    let domains: Vec<_> = curves.into_iter().chain(lattice).collect();
    let is_unit = domains.iter().all(|d| *d == ([0.0; 3], [1.0; 3]));
    let is_even = domains
        .iter()
        .all(|(min, max)| *min == [min[0]; 3] && *max == [max[0]; 3]);
    let both = curves.is_some() && lattice.is_some();
    let holds_domain = match format {
        FileFormat::Clf => true,
        FileFormat::Cube => !both || is_even,
        FileFormat::Picture | FileFormat::Table => is_unit,
    };
    let size = lut.lattice.as_ref().map(Lut3d::size);
    let whole = |losses: &mut Vec<Loss>| {
        let to = nodes(options, size);
        if size != Some(to) {
            losses.push(Loss::Nodes { from: size, to });
        }
        Lut {
            title: lut.title.clone(),
            ..Lut3d::from_fn(to, |signal| lut.sample(signal, how)).into()
        }
    };
    let mut out = lut.clone();
    if is_picture && lut.curves.is_some() {
        losses.push(Loss::Curves);
        if !is_unit {
            losses.push(Loss::Domain);
        }
        out = whole(losses);
    } else if !holds_domain {
        losses.push(Loss::Domain);
        out = match (&lut.curves, &lut.lattice) {
            (Some(curves), None) => Lut {
                title: lut.title.clone(),
                ..resampled_curves(curves).into()
            },
            _ => {
                if lut.curves.is_some() {
                    losses.push(Loss::Curves);
                }
                whole(losses)
            }
        };
    } else if let Some(lattice) = &lut.lattice {
        let to = nodes(options, size);
        if lattice.size() != to {
            let from = Some(lattice.size());
            losses.push(Loss::Nodes { from, to });
            out.lattice = Some(resized(lattice, to, how));
        }
    }
    Ok(rounded(out, format, bits, losses))
}

/// `curves` over 0 to 1, with rows enough for its own and for the codes.
fn resampled_curves(curves: &Lut1d) -> Lut1d {
    let rows = curves.size().max(ROWS);
    Lut1d::from_fn(rows, |v| curves.sample([v; 3]))
}

/// A lattice over the same domain with other nodes.
fn resized(lattice: &Lut3d, nodes: usize, how: Evaluation) -> Lut3d {
    let (min, max) = (lattice.domain_min(), lattice.domain_max());
    let at = |unit: [f64; 3]| {
        [0, 1, 2].map(|c| {
            if unit[c] == 1.0 {
                max[c]
            } else {
                min[c] + unit[c] * (max[c] - min[c])
            }
        })
    };
    let other = Lut3d::from_fn(nodes, |unit| lattice.sample(at(unit), how));
    // A domain that one lattice has suits another, but for the last few numbers an f64 can hold.
    other.clone().with_domain(min, max).unwrap_or(other)
}
