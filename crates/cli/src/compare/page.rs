//! A comparison as a page of its own for the browser.

use std::fmt::Write as _;

use super::Compared;
use super::rows::{FORCES, PRACTICE, bodies, cautions, first_page, headline, is_told, only, see, shown, shown_difference, what};
use super::sentences::{doubts, is_doubtful, sentence};

const STYLE: &str = "body{font:15px/1.45 Georgia,serif;max-width:72rem;margin:2rem auto;padding:0 1rem;color:#222;background:#fff}\
table{border-collapse:collapse;width:100%}th,td{text-align:left;vertical-align:top;padding:.3rem .6rem;border-bottom:1px solid #ddd}\
td.n{text-align:right;white-space:nowrap}.e{font-size:.85rem;color:#444}.wide{overflow-x:auto}\
ol.told{padding-left:1.6rem}ol.told li{margin-bottom:.9rem}ol.told p{margin:.1rem 0}dl{margin:.1rem 0;font-size:.85rem;color:#444;display:grid;\
grid-template-columns:1fr 1fr;gap:0 1.5rem}dl div{display:flex;gap:.5rem}dt{font-weight:bold}dd{margin:0}\
.doubts{border:1px solid #b58900;padding:.2rem 1rem;background:#fffbea}.doubts h2{margin:.4rem 0;font-size:1.1rem}\
@media(max-width:50rem){dl{grid-template-columns:1fr}}\
pre{white-space:pre-wrap;font:inherit}.quiet{color:#666}";

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
    let doubts = doubts([compared.a, compared.b]);
    if !doubts.is_empty() {
        page.push_str("<section class=\"doubts\"><h2>Doubtful in the files</h2><ul>");
        doubts.iter().for_each(|doubt| {
            let _ = write!(page, "<li>{}</li>", escaped(doubt));
        });
        page.push_str("</ul></section>");
    }
    let (forces, practice) = first_page(compared);
    told(&mut page, FORCES, &forces, compared);
    told(&mut page, PRACTICE, &practice, compared);
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

/// The first page: sentences, with where to look on both sides.
fn told(page: &mut String, title: &str, rows: &[&ripieno_study::Difference], compared: &Compared<'_>) {
    let _ = write!(page, "<h2>{}</h2>", escaped(title));
    let found = compared.found;
    if title == FORCES {
        for only in [only('A', &found.bodies_only_a, &found.only_a), only('B', &found.bodies_only_b, &found.only_b)] {
            let _ = write!(page, "<p>{}</p>", escaped(only.trim()));
        }
    }
    if rows.is_empty() {
        page.push_str("<p>No difference stands clear of noise.</p>");
        return;
    }
    page.push_str("<ol class=\"told\">");
    for row in rows {
        let doubtful = if is_doubtful(row, [compared.a, compared.b]) { "; <strong>doubtful, see above</strong>" } else { "" };
        let _ = write!(
            page,
            "<li><p>{}</p><p class=\"e\">{}; effect {:+.1}; {}{doubtful}</p><dl><div><dt>A</dt><dd>{}</dd></div><div><dt>B</dt><dd>{}</dd></div></dl></li>",
            escaped(&sentence(row)),
            escaped(&shown_difference(row.key.unit, row.difference)),
            row.effect.size,
            escaped(&row.sample()),
            escaped(&see(compared.a, &row.a, 4)),
            escaped(&see(compared.b, &row.b, 4))
        );
    }
    page.push_str("</ol>");
}

fn table(page: &mut String, title: &str, rows: &[&ripieno_study::Difference], compared: &Compared<'_>) {
    let _ = write!(page, "<h2>{}</h2>", escaped(title));
    if rows.is_empty() {
        page.push_str("<p>None.</p>");
        return;
    }
    page.push_str("<div class=\"wide\"><table><thead><tr>");
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
    page.push_str("</tbody></table></div>");
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}
