//! A comparison as a page of its own for the browser.

use std::fmt::Write as _;

use super::Compared;
use super::rows::{bodies, cautions, headline, is_told, see, shown, shown_difference, what};

const STYLE: &str = "body{font:15px/1.45 Georgia,serif;max-width:72rem;margin:2rem auto;padding:0 1rem;color:#222;background:#fff}\
table{border-collapse:collapse;width:100%}th,td{text-align:left;vertical-align:top;padding:.3rem .6rem;border-bottom:1px solid #ddd}\
td.n{text-align:right;white-space:nowrap}td.e{font-size:.85rem;color:#444}pre{white-space:pre-wrap;font:inherit}.quiet{color:#666}";

/// Rows that are not clear are listed up to this many.
const MOST: usize = 300;

/// The page: the first page of differences, then all that are clear, then those that are not claimed.
pub fn html(compared: &Compared<'_>, changes: Option<&str>) -> String {
    let mut page = String::from(
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><title>Two practices side by side</title>",
    );
    let _ = write!(page, "<style>{STYLE}</style></head><body><h1>Two practices side by side</h1>");
    for line in [headline('A', compared.a), headline('B', compared.b)] {
        let _ = write!(page, "<p>{}</p>", escaped(&line));
    }
    let _ = write!(page, "<p class=\"quiet\">{}</p>", escaped(&cautions(compared)));
    if let Some(changes) = changes {
        let _ = write!(page, "<h2>Changed bars and parts</h2><pre>{}</pre>", escaped(changes));
    }
    table(&mut page, "Where to look first", &compared.found.leading(compared.most), compared);
    let clear: Vec<_> = compared.found.rows.iter().take(compared.found.clear()).collect();
    table(&mut page, &format!("All {} clear differences", clear.len()), &clear, compared);
    let rest: Vec<_> = compared.found.rows.iter().skip(compared.found.clear()).filter(|row| is_told(row)).collect();
    let title = format!(
        "Not claimed: the first {} of {} values that differ within noise, or whose noise is not known",
        rest.len().min(MOST),
        rest.len()
    );
    table(&mut page, &title, &rest[..rest.len().min(MOST)], compared);
    page.push_str("</body></html>\n");
    page
}

fn table(page: &mut String, title: &str, rows: &[&ripieno_study::Difference], compared: &Compared<'_>) {
    let _ = write!(page, "<h2>{}</h2>", escaped(title));
    if rows.is_empty() {
        page.push_str("<p>None.</p>");
        return;
    }
    page.push_str("<table><thead><tr>");
    for head in ["whom", "what", "unit", "A", "B", "B less A", "effect", "rests on", "see in A", "see in B"] {
        let _ = write!(page, "<th scope=\"col\">{head}</th>");
    }
    page.push_str("</tr></thead><tbody>");
    for row in rows {
        let unit = row.key.unit;
        let numbers = [
            shown(unit, row.a.pooled.mean),
            shown(unit, row.b.pooled.mean),
            shown_difference(unit, row.difference),
            format!("{:+.1}", row.effect.size),
        ];
        let _ = write!(
            page,
            "<tr><td>{}</td><td>{}</td><td>{}</td>",
            escaped(&bodies(&row.key)),
            escaped(&what(&row.key)),
            unit.name()
        );
        numbers.iter().for_each(|number| {
            let _ = write!(page, "<td class=\"n\">{}</td>", escaped(number));
        });
        let (a, b) = (see(compared.a, &row.a, 4), see(compared.b, &row.b, 4));
        let _ = write!(
            page,
            "<td>{}</td><td class=\"e\">{}</td><td class=\"e\">{}</td></tr>",
            escaped(&row.sample()),
            escaped(&a),
            escaped(&b)
        );
    }
    page.push_str("</tbody></table>");
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}
