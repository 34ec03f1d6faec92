use maud::{DOCTYPE, Markup, PreEscaped, html};

const STYLE: &str = include_str!("style.css");
const READER: &str = include_str!("read.js");

/// Nothing but what the page holds may run or be shown: a browser that keeps to this asks no network for anything.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src data: blob:";

/// A part of a page with a place in its list of contents.
pub(crate) struct Part {
    /// Name for the link.
    pub(crate) id: String,
    /// Words for the link.
    pub(crate) title: String,
    /// The part, its heading included.
    pub(crate) body: Markup,
}

impl Part {
    /// A part with a heading.
    pub(crate) fn new(id: impl Into<String>, title: impl Into<String>, body: &Markup) -> Self {
        let (id, title) = (id.into(), title.into());
        let body = html! {
            section aria-labelledby=(id) { h2 id=(id) { (title) } (body) }
        };
        Self { id, title, body }
    }
}

/// A whole page. `title` names what it is about; `opening` stands before the list of contents.
pub(crate) fn page(title: &str, opening: &Markup, parts: &[Part]) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(POLICY);
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                header { h1 { (title) } }
                main {
                    (opening)
                    nav aria-label="Contents" {
                        ul { @for part in parts { li { a href={ "#" (part.id) } { (part.title) } } } }
                    }
                    @for part in parts { (part.body) }
                }
                footer {
                    p {
                        "Made by Evenstep " (env!("CARGO_PKG_VERSION")) ". Equal inputs give this page again, byte by byte. \
                         What each figure means, with its source and its limits, is in the documentation of Evenstep, \
                         under methods."
                    }
                }
                script { (PreEscaped(READER)) }
            }
        }
    }
    .into_string()
}
