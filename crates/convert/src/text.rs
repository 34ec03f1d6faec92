//! Titles, names and other text: what a file keeps of them.

use evenstep_lut::format::{clf, cube, table};
use evenstep_lut::process::ProcessList;

use crate::{Content, FileFormat, Loss};

/// What the file of `format` that `content` is written to will not hold of the text of `source`.
pub(crate) fn loss(source: &Content, content: &Content, format: FileFormat) -> Option<Loss> {
    let (title, has_more) = match source {
        Content::Lut(lut) => (lut.title.as_deref(), false),
        Content::List(list) => (list.title(), has_more(list)),
    };
    if format == FileFormat::Picture {
        return (title.is_some() || has_more).then_some(Loss::Text);
    }
    if let Content::List(list) = content {
        let nodes = list.nodes.iter().map(|n| &n.name);
        let mut names = [&list.id, &list.name, &list.inverse_of]
            .into_iter()
            .chain(nodes)
            .flatten();
        return names
            .any(|name| clf::written_name(name) != *name)
            .then_some(Loss::Title);
    }
    if has_more {
        return Some(Loss::OtherText);
    }
    let title = title?.trim();
    let written = match format {
        FileFormat::Cube => cube::written_title(title),
        FileFormat::Table => table::written_title(title),
        FileFormat::Clf | FileFormat::Picture => clf::written_name(title),
    };
    (written != title).then_some(Loss::Title)
}

/// Whether a list says more than its title.
fn has_more(list: &ProcessList) -> bool {
    let in_title = usize::from(list.name.is_none());
    list.id.is_some()
        || list.inverse_of.is_some()
        || list.descriptions.len() > in_title
        || !list.input.is_empty()
        || !list.output.is_empty()
        || !list.info.is_empty()
        || list
            .nodes
            .iter()
            .any(|n| n.name.is_some() || !n.descriptions.is_empty())
}
