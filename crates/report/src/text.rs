use evenstep_fit::NextPatch;

/// Widest line of a text report, in columns.
pub const TEXT_WIDTH: usize = 100;

/// Width of the labels at the left of a summary.
const LABEL: usize = 11;

/// A labelled paragraph, wrapped, its lines after the first set in under the text.
pub(crate) fn labelled(label: &str, text: &str) -> String {
    wrapped(&format!("{label:<LABEL$} "), &" ".repeat(LABEL + 1), text)
}

/// A paragraph wrapped to [`TEXT_WIDTH`], `first` before its first line and `rest` before the others.
pub(crate) fn wrapped(first: &str, rest: &str, text: &str) -> String {
    let (mut out, mut line) = (String::new(), first.to_owned());
    let mut is_fresh = true;
    for word in text.split_whitespace() {
        // The prefix ends with its own blank.
        let width = line.chars().count() + usize::from(!is_fresh) + word.chars().count();
        if width > TEXT_WIDTH && !is_fresh {
            out.push_str(line.trim_end());
            out.push('\n');
            line = rest.to_owned();
            is_fresh = true;
        }
        if !is_fresh {
            line.push(' ');
        }
        line.push_str(word);
        is_fresh = false;
    }
    out.push_str(line.trim_end());
    out.push('\n');
    out
}

/// A number with three significant digits, as a calibrator would write it.
pub(crate) fn three_digits(value: f64) -> String {
    let size = value.abs();
    let decimals = if size >= 100.0 || size == 0.0 {
        0
    } else if size >= 10.0 {
        1
    } else if size >= 1.0 {
        2
    } else {
        // Beyond nine decimals lies no light that anything measures.
        (2 - size.log10().floor() as i32).clamp(3, 9) as usize
    };
    format!("{value:.decimals$}")
}

/// Patches shown in the text; the JSON and the patch file hold all.
const NEXT_SHOWN: usize = 6;

/// Drives of patches to read next and what is missed there.
pub(crate) fn next_in_words(next: &[NextPatch]) -> String {
    let one = |patch: &NextPatch| {
        let drive = [patch.r, patch.g, patch.b].map(|v| format!("{:.1}", 100.0 * v));
        format!("{} ({:.1})", drive.join(" "), patch.expected_itp)
    };
    let list: Vec<String> = next.iter().take(NEXT_SHOWN).map(one).collect();
    format!(
        "drives in per cent, in brackets how far the model is off in ΔE ITP: {}",
        list.join(", ")
    )
}

/// "1 patch", "3 patches".
pub(crate) fn counted(count: usize, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paragraphs_stay_within_the_width_and_lose_no_word() {
        let words: Vec<String> = (0..60).map(|i| format!("word{i}")).collect();
        let text = labelled("Label", &words.join(" "));
        assert!(text.lines().count() > 3);
        assert!(text.lines().all(|line| line.chars().count() <= TEXT_WIDTH));
        let back: Vec<&str> = text.split_whitespace().skip(1).collect();
        assert_eq!(back, words);
        assert!(
            text.lines()
                .skip(1)
                .all(|line| line.starts_with("            word"))
        );
    }

    #[test]
    fn numbers_keep_three_digits() {
        for (value, text) in [
            (0.0, "0"),
            (143.27, "143"),
            (14.327, "14.3"),
            (1.4327, "1.43"),
            (0.14327, "0.143"),
            (0.000_901, "0.000901"),
        ] {
            assert_eq!(three_digits(value), text);
        }
    }
}
