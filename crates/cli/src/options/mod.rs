//! Options that several commands share.

mod common;
mod model;
mod next;
mod picture;
mod target;

pub(crate) use common::{CommonArgs, HtmlArg, JsonArg, RangeArg, ScaleArg, ThreadsArg};
pub(crate) use model::ModelArgs;
pub(crate) use next::NextArgs;
pub(crate) use picture::bits;
pub(crate) use target::TargetArgs;
