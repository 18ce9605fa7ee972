//! Lines on a terminal are broken between words, not wherever its width ends.

use console::Term;

use crate::ringout::text::fit_to;

/// A text whose lines fit into so many columns; what fits already stays as it is, with
/// its spaces. What is broken keeps the space it began with.
pub(super) fn wrapped(text: &str, columns: usize) -> String {
    let lines: Vec<String> = text.split('\n').map(|line| broken(line, columns)).collect();
    lines.join("\n")
}

fn broken(line: &str, columns: usize) -> String {
    // A prompt ends with a space that the answer is typed behind.
    let ends = line.len() - line.trim_end().len();
    if line.chars().count() <= columns {
        return line.to_owned();
    }
    let indent = line.chars().take_while(|it| *it == ' ').count();
    let mut out = " ".repeat(indent);
    let mut used = indent;
    for word in line.split_whitespace() {
        let length = word.chars().count();
        if used > indent && used + 1 + length > columns {
            out.push('\n');
            out.push_str(&" ".repeat(indent));
            used = indent;
        }
        if used > indent {
            out.push(' ');
            used += 1;
        }
        out.push_str(word);
        used += length;
    }
    out + &" ".repeat(ends)
}

/// The same for standard error, as wide as it is; unchanged where it is no terminal.
pub(super) fn for_stderr(text: &str) -> String {
    let columns = columns(&Term::stderr());
    columns.map_or_else(|| text.to_owned(), |columns| wrapped(text, columns))
}

/// Has reports written as wide as standard output is, where that is a terminal.
pub(super) fn fit_reports() {
    if let Some(columns) = columns(&Term::stdout()) {
        fit_to(columns);
    }
}

fn columns(term: &Term) -> Option<usize> {
    let (_, columns) = term.size_checked().filter(|_| term.is_term())?;
    Some(usize::from(columns)).filter(|columns| *columns >= 20)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_broken_between_words() {
        let text = "a  b\n    one two three four\nx";
        assert_eq!(wrapped(text, 15), "a  b\n    one two\n    three four\nx");
        assert_eq!(wrapped(text, 80), text, "what fits stays");
        assert_eq!(wrapped("one two three: ", 9), "one two\nthree: ");
        assert_eq!(wrapped("unbreakable", 4), "unbreakable");
        assert_eq!(wrapped("", 4), "");
    }
}
