//! Lines of text within a width.

/// How texts are wrapped. Paths, ids and dates are not broken, not at their hyphens either: they are there to be copied.
pub fn whole_words(width: usize) -> textwrap::Options<'static> {
    textwrap::Options::new(width)
        .break_words(false)
        .word_splitter(textwrap::WordSplitter::NoHyphenation)
}

/// Wraps a text into lines: the first begins with `first`, the others with as many blanks.
pub fn hanging(first: &str, text: &str, width: usize) -> Vec<String> {
    let indent = " ".repeat(textwrap::core::display_width(first));
    let options = whole_words(width)
        .initial_indent(first)
        .subsequent_indent(&indent);
    textwrap::wrap(text.trim(), options)
        .into_iter()
        .map(|line| line.trim_end().to_owned())
        .collect()
}

/// A text padded or cut to a width, with a mark where it was cut.
pub fn fit(text: &str, width: usize) -> String {
    let mut fitted = cut(text, width);
    let length = textwrap::core::display_width(&fitted);
    fitted.push_str(&" ".repeat(width.saturating_sub(length)));
    fitted
}

/// A text cut to a width, with a mark where it was cut. No width leaves no room for the mark either.
pub fn cut(text: &str, width: usize) -> String {
    if textwrap::core::display_width(text) <= width {
        return text.to_owned();
    }
    let Some(room) = width.checked_sub(1) else {
        return String::new();
    };
    let mut cut = String::new();
    for sign in text.chars() {
        cut.push(sign);
        if textwrap::core::display_width(&cut) > room {
            cut.pop();
            break;
        }
    }
    cut.push('…');
    cut
}

/// Two texts at both ends of a line, two blanks apart at least.
pub fn ends(left: &str, right: &str, width: usize) -> String {
    let used = textwrap::core::display_width(left) + textwrap::core::display_width(right);
    let gap = width.saturating_sub(used).max(2);
    format!("{left}{}{right}", " ".repeat(gap))
}

/// Adds to a text.
pub fn add(text: &mut String, more: std::fmt::Arguments<'_>) {
    text.push_str(&std::fmt::format(more));
}

/// A number with its noun: `1 stop`, `3 stops`.
pub fn count(number: usize, noun: &str) -> String {
    if number == 1 {
        format!("1 {noun}")
    } else {
        format!("{number} {noun}s")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_hang_and_fit() {
        assert_eq!(
            hanging("  a: ", "one two three", 12),
            ["  a: one two", "     three"]
        );
        assert_eq!(fit("Larkmoor", 5), "Lark…");
        assert_eq!(fit("Elm", 5), "Elm  ");
        assert_eq!(cut("Elm", 5), "Elm");
        assert_eq!(ends("left", "right", 12), "left   right");
        assert_eq!(count(1, "stop"), "1 stop");
    }

    #[test]
    fn ids_are_not_broken_at_their_hyphens() {
        assert_eq!(
            hanging("", "mow j-birch-weld now", 10),
            ["mow", "j-birch-weld", "now"]
        );
    }

    #[test]
    fn a_text_is_cut_to_any_width() {
        assert_eq!(fit("Elm", 0), "");
        assert_eq!(fit("Elm", 1), "…");
        assert_eq!(fit("", 2), "  ");
        // Signs of two columns do not always fill what is left.
        assert_eq!(fit("\u{6797}\u{6797}", 2), "… ");
    }
}
