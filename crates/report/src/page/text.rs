//! Words, links and tables as HTML.

use std::fmt::Write;

use ripieno_pictures::Key;
use ripieno_study::{BarSpans, Study};

/// Text with markup escaped.
pub(crate) fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

/// Text that leads to bars on the map.
pub(crate) fn linked(text: &str, bars: &BarSpans) -> String {
    if bars.spans.is_empty() {
        return escaped(text);
    }
    let spans: Vec<String> = bars.spans.iter().map(|(span, ..)| format!("{}-{}", span.first, span.last)).collect();
    format!("<a href=\"#bars-{}\">{}</a>", spans.join("_"), escaped(text))
}

/// Each span as a link of its own; long lists fold after the first dozen.
pub(crate) fn cited(bars: &BarSpans) -> String {
    const SHOWN: usize = 12;
    let links: Vec<String> = bars
        .spans
        .iter()
        .map(|(span, first, last)| {
            let text = if span.first == span.last { escaped(first) } else { format!("{}–{}", escaped(first), escaped(last)) };
            format!("<a href=\"#bars-{}-{}\">{text}</a>", span.first, span.last)
        })
        .collect();
    if links.len() <= SHOWN + 3 {
        return links.join(", ");
    }
    let (shown, folded) = links.split_at(SHOWN);
    format!("{}<details><summary>and {} more</summary>{}</details>", shown.join(", "), folded.len(), folded.join(", "))
}

/// How many bars, as a link to them.
pub(crate) fn count_of(study: &Study, bars: &[u32]) -> String {
    let spans = study.cite(bars);
    linked(&spans.count().to_string(), &spans)
}

/// What fills mean, as a list.
pub(crate) fn legend(keys: &[Key]) -> String {
    let item = |key: &Key| {
        format!(
            "<li><svg width=\"26\" height=\"14\" aria-hidden=\"true\"><rect width=\"26\" height=\"14\" fill=\"{}\"/></svg>{}</li>\n",
            key.fill,
            escaped(&key.word)
        )
    };
    format!("<ul class=\"legend\">\n{}</ul>\n", keys.iter().map(item).collect::<String>())
}

/// A column: heading, and the class of its cells: empty, `number` or `bars`.
pub(crate) type Column<'a> = (&'a str, &'a str);

/// A row of cells, already HTML; `sub` rows stand under the one before, `id` can be linked to.
#[derive(Default)]
pub(crate) struct Row {
    pub cells: Vec<String>,
    pub sub: bool,
    pub id: Option<String>,
}

impl From<Vec<String>> for Row {
    fn from(cells: Vec<String>) -> Self {
        Self { cells, ..Self::default() }
    }
}

/// A table; rows beyond `shown` lie under a fold that says how many they are.
pub(crate) fn table(columns: &[Column<'_>], rows: &[Row], shown: usize) -> String {
    let mut out = String::new();
    // A fold that hides two or three rows costs more than it saves.
    let shown = if rows.len() <= shown + 4 { rows.len() } else { shown };
    let (open, folded) = rows.split_at(shown);
    write_table(&mut out, columns, open);
    if !folded.is_empty() {
        let _ = writeln!(out, "<details class=\"more\"><summary>{} more rows</summary>", folded.len());
        write_table(&mut out, columns, folded);
        out.push_str("</details>\n");
    }
    out
}

fn write_table(out: &mut String, columns: &[Column<'_>], rows: &[Row]) {
    let class = |class: &str| if class.is_empty() { String::new() } else { format!(" class=\"{class}\"") };
    out.push_str("<div class=\"frame\"><table>\n<thead><tr>");
    for (heading, kind) in columns {
        let _ = write!(out, "<th scope=\"col\"{}>{}</th>", class(kind), escaped(heading));
    }
    out.push_str("</tr></thead>\n<tbody>\n");
    for row in rows {
        let id = row.id.as_ref().map_or_else(String::new, |id| format!(" id=\"{id}\""));
        let _ = write!(out, "<tr{id}{}>", if row.sub { " class=\"sub\"" } else { "" });
        for (cell, (_, kind)) in row.cells.iter().zip(columns) {
            let _ = write!(out, "<td{}>{cell}</td>", class(kind));
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</tbody>\n</table></div>\n");
}

/// Names of notes and keys as musicians write them: `Bb` becomes B♭, `F#` F♯.
pub(crate) fn signs(name: &str) -> String {
    let (letter, rest) = name.split_at(name.chars().next().map_or(0, char::len_utf8));
    format!("{letter}{}", rest.replace('b', "\u{266d}").replace('#', "\u{266f}"))
}
