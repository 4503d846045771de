//! Long lists over several lines.

use std::io::IsTerminal;

/// Columns where no terminal says otherwise.
const COLUMNS: usize = 100;
/// Narrower than this nothing can be read.
const NARROWEST: usize = 30;

/// Columns to print in: what `COLUMNS` says of a terminal, else 100, so that what is piped does not depend on a window.
pub(super) fn width() -> usize {
    let told = std::env::var("COLUMNS").ok().filter(|_| std::io::stdout().is_terminal());
    told.and_then(|columns| columns.parse().ok()).unwrap_or(COLUMNS).max(NARROWEST)
}

/// A line broken where a comma parts entries of a list, each further line four columns in; with its line feed. An entry longer than a line stays whole.
pub(super) fn wrapped(line: &str, width: usize) -> String {
    const INDENT: &str = "    ";
    let mut out = String::new();
    let mut taken = 0;
    for (at, entry) in line.split(", ").enumerate() {
        let long = entry.chars().count();
        // Comma and blank before, a comma after.
        if at > 0 && taken + 2 + long + 1 > width {
            out += ",\n";
            out += INDENT;
            taken = INDENT.len();
        } else if at > 0 {
            out += ", ";
            taken += 2;
        }
        out += entry;
        taken += long;
    }
    out.push('\n');
    out
}

#[cfg(test)]
mod tests {
    use super::wrapped;

    #[test]
    fn long_lists_go_on_in_the_next_line() {
        assert_eq!(wrapped("a: 1\u{2013}2, 3", 40), "a: 1\u{2013}2, 3\n");
        let bars: Vec<String> = (1..60).map(|bar| bar.to_string()).collect();
        let line = format!("horns: melody {}", bars.join(", "));
        let text = wrapped(&line, 40);
        assert!(text.lines().count() > 4 && text.lines().all(|line| line.chars().count() <= 40), "{text}");
        let again: Vec<&str> = text.lines().map(str::trim_start).collect();
        assert_eq!(again.join(" "), line);
        assert_eq!(wrapped(&"x".repeat(90), 40), format!("{}\n", "x".repeat(90)));
    }
}
