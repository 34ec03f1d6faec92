//! Common LUT Format: a chain of operations in XML.
//!
//! Both editions are read: Academy S-2014-006 version 3, with its namespace or none, and SMPTE ST 2136-1:2024. The
//! namespace decides which rules hold where they differ:
//! - Academy: the attribute `id` is required, `compCLFversion` is a number up to 3.
//! - SMPTE: the name may stand in an element `Id`, or not at all; the version may also be `ST2136-1:2024`.
//!
//! Files of version 2 are read with a note: the third size of a matrix is ignored, `IndexMap` places the nodes of
//! curves. Under version 3 an `IndexMap`, and under version 2 a `Log`, is refused.
//!
//! Everything that could change the picture and is not understood is refused: other namespaces, unknown elements beside
//! the process nodes, document types. What cannot change it is read with a [`Note`](super::Note): unknown elements and
//! attributes inside a node, a missing XML declaration.
//!
//! Where the text is silent: `LogParams` and `ExponentParams` are given once for all channels or once for each; a node
//! is computed in `f64`; numbers must be finite, but for raw half-float patterns, which are kept and answered finitely.
//!
//! Memory: a file of at most [`LARGEST_FILE`] bytes is held as a whole, at most three times where it is full of
//! character references, besides the tables it declares, which hold no more numbers than the file has room for.
//!
//! # Source
//! Academy S-2014-006 (Common LUT Format) version 3.0; its implementation guide; SMPTE ST 2136-1:2024 (namespace and
//! `Id` by example files).

mod array;
mod depth;
mod error;
mod guard;
mod nodes;
mod parse;
mod writable;
mod write;
mod xml;

pub use error::ClfError;
pub use parse::{LARGEST_FILE, is_clf, parse, read};
pub use write::{ClfWriteError, write, write_list_to, write_to, written_name};

/// Namespace of the Academy's edition.
pub const ACADEMY_NAMESPACE: &str = "urn:AMPAS:CLF:v3.0";
/// Namespace of SMPTE's edition.
pub const SMPTE_NAMESPACE: &str = "http://www.smpte-ra.org/ns/2136-1/2024";
