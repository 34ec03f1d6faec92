//! Text dressed for the terminal it goes to: folded where that is narrow, verdicts in colour where colour is wanted.

use std::io::IsTerminal as _;

use anstyle::{AnsiColor, Style};

/// Lines are folded no narrower than this: below it nothing can be read anyway.
const NARROWEST: usize = 30;

/// What is worth a colour, and which; earlier ones win. The words say the same without it.
const VERDICTS: [(&str, AnsiColor); 3] = [
    ("do not load", AnsiColor::Red),
    ("load with care", AnsiColor::Yellow),
    ("with care", AnsiColor::Yellow),
];
/// How the first line of a report ends where nothing is wrong.
const GOOD: &str = ": load";

/// Text for the standard output: as it is for files and pipes, dressed for a terminal.
pub(crate) fn dressed(text: &str) -> String {
    if !std::io::stdout().is_terminal() {
        return text.to_owned();
    }
    let width = terminal_size::terminal_size().map(|(width, _)| usize::from(width.0));
    let text = width.map_or_else(|| text.to_owned(), |width| folded(text, width));
    // https://no-color.org (2017): set and not empty means no colour.
    let is_plain = std::env::var_os("NO_COLOR").is_some_and(|v| !v.is_empty())
        || std::env::var_os("TERM").is_some_and(|v| v == "dumb");
    if is_plain { text } else { coloured(&text) }
}

/// Lines longer than `width` go on below, set in two columns further than they began.
fn folded(text: &str, width: usize) -> String {
    let width = width.max(NARROWEST);
    let mut out = String::with_capacity(text.len());
    for line in text.split_inclusive('\n') {
        let (body, end) = line
            .strip_suffix('\n')
            .map_or((line, ""), |body| (body, "\n"));
        if body.chars().count() <= width {
            out += body;
        } else {
            fold(&mut out, body, width);
        }
        out += end;
    }
    out
}

fn fold(out: &mut String, line: &str, width: usize) {
    let indent = line.chars().take_while(|c| *c == ' ').count();
    let hang = " ".repeat((indent + 2).min(width / 2));
    let mut rest = line.to_owned();
    while rest.chars().count() > width {
        let fits = |at: &usize| rest[..*at].chars().count() <= width;
        let lead = rest.len() - rest.trim_start().len();
        let breaks = rest.match_indices(' ').map(|(at, _)| at);
        // A word wider than the terminal is cut by the terminal itself.
        let Some(at) = breaks.filter(|at| *at > lead).take_while(fits).last() else {
            break;
        };
        *out += rest[..at].trim_end();
        *out += "\n";
        rest = format!("{hang}{}", rest[at..].trim_start());
    }
    *out += &rest;
}

fn coloured(text: &str) -> String {
    text.split_inclusive('\n').map(coloured_line).collect()
}

fn coloured_line(line: &str) -> String {
    let dress = |at: usize, words: &str, colour: AnsiColor| {
        let style = Style::new().bold().fg_color(Some(colour.into()));
        let (before, after) = (&line[..at], &line[at + words.len()..]);
        format!("{before}{style}{words}{style:#}{after}")
    };
    for (words, colour) in VERDICTS {
        if let Some(at) = line.find(words) {
            return dress(at, words, colour);
        }
    }
    match line.trim_end().strip_suffix(GOOD) {
        Some(before) => dress(before.len() + 2, "load", AnsiColor::Green),
        None => line.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn folding_keeps_words_order_and_width() {
        let text = "a.cube: do not load: visible reversal on the neutral ramp\n  12 13 14 15 16 17 18 19 20 21\nshort\n";
        let narrow = folded(text, 34);
        assert!(narrow.lines().all(|l| l.chars().count() <= 34), "{narrow}");
        let words = |t: &str| t.split_whitespace().map(str::to_owned).collect::<Vec<_>>();
        assert_eq!(words(&narrow), words(text));
        assert!(narrow.ends_with("short\n"));
        assert_eq!(folded(text, 100), text);
    }

    #[test]
    fn colour_adds_nothing_but_escapes() {
        let text = "a: load\nb: do not load: folds\n 1. with care: tint\nplain, to load later\n";
        let dressed = coloured(text);
        assert_eq!(dressed.matches('\u{1b}').count(), 3 * 3);
        let stripped = anstream::adapter::strip_str(&dressed).to_string();
        assert_eq!(stripped, text);
        assert!(dressed.ends_with("plain, to load later\n"));
    }
}
