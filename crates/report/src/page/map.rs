//! The role map, in one piece and in stretches, and the reasons behind it.

use std::fmt::Write;
use std::ops::Range;

use ripieno_pictures::{Key, bar_map};
use ripieno_study::Study;
use ripieno_texture::Evidence;

use super::text::{Row, cited, escaped, legend, table};
use crate::map::{part_name, role_map};
use crate::words::{capital, counted, percent};

/// Most bars in one stretch of the detailed map: about ten pixels each on a small window.
const STRETCH: usize = 64;

/// Map, legend, stretches.
pub(super) fn roles(study: &Study) -> String {
    let map = role_map(study);
    let mut out = String::from(
        "<p>Rows are parts in score order, columns are bars; the whole piece at once. Two lines on one staff are drawn one above the other. \
Rest the pointer on a stretch for its role and reasons, or press it to find them in the <a href=\"#reasons\">list of all roles</a>. \
A percentage says how often people who annotate scores would put such a line in the role's group (melody, rhythm or harmony); it does not vouch for \
the finer choice within the group. A role you know better can be set with <code>ripieno correct</code>.</p>\n",
    );
    let shown = |role: &str| study.roles.roles.spans.iter().any(|span| span.role().name() == role);
    out.push_str(&legend(&Key::roles().into_iter().filter(|key| shown(&key.word)).collect::<Vec<_>>()));
    let bars = map.bars.len();
    let _ = write!(out, "<div class=\"picture\">\n{}</div>\n", bar_map(&map, 0..bars, false));
    let stretches = stretches(bars);
    if stretches.len() > 1 {
        let _ = writeln!(
            out,
            "<details id=\"stretches\"><summary>The same in {} stretches of about {} bars, without the parts that rest</summary>",
            stretches.len(),
            stretches[0].len()
        );
        for stretch in stretches {
            let _ = write!(out, "<div class=\"picture detail\">\n{}</div>\n", bar_map(&map, stretch, true));
        }
        out.push_str("</details>\n");
    }
    out
}

/// The bars cut into stretches of nearly equal length.
fn stretches(bars: usize) -> Vec<Range<usize>> {
    let count = bars.div_ceil(STRETCH).max(1);
    let length = bars.div_ceil(count).max(1);
    (0..bars).step_by(length).map(|first| first..(first + length).min(bars)).collect()
}

/// Every span of every part, with what decided; each row is the target of its cell on the map.
pub(super) fn reasons(study: &Study) -> String {
    let roles = &study.roles.roles;
    if roles.spans.is_empty() {
        return String::new();
    }
    let mut out =
        String::from("<p>By part. The most telling fact stands first; the same as a table in <code>roles.csv</code>.</p>\n");
    let columns = [("Bars", "bars"), ("Line", "number"), ("Role", ""), ("Sure", "number"), ("Played with", ""), ("Because", "")];
    for part in 0..study.score.parts.len() {
        let rows: Vec<Row> = roles
            .spans
            .iter()
            .enumerate()
            .filter(|(_, span)| span.part == part)
            .map(|(index, span)| {
                let bars: Vec<u32> = span.bars.clone().collect();
                let words = |doubling: bool| {
                    let facts = span.evidence.iter().filter(|fact| matches!(fact, Evidence::Doubles { .. }) == doubling);
                    let words: Vec<String> = facts.map(|fact| fact.words(|part| part_name(study, part))).collect();
                    escaped(&words.join("; "))
                };
                let named: Vec<&str> = span.roles.iter().map(|held| held.role.name()).collect();
                let sure = span.roles.first().map_or(0.0, |held| f64::from(held.confidence));
                Row {
                    cells: vec![
                        cited(&study.cite(&bars)),
                        study.lines.lines[span.line].place.to_string(),
                        named.join(", "),
                        percent(sure),
                        words(true),
                        words(false),
                    ],
                    sub: false,
                    id: Some(format!("role-{index}")),
                }
            })
            .collect();
        if !rows.is_empty() {
            let name = escaped(&capital(&part_name(study, part)));
            let _ = write!(
                out,
                "<details class=\"part\"><summary><b>{name}</b>, {}</summary>\n{}</details>\n",
                counted(rows.len(), "stretch").replace("stretchs", "stretches"),
                table(&columns, &rows, usize::MAX - 8)
            );
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stretches_hold_every_bar_once_and_none_is_a_rump() {
        for bars in [0usize, 1, 64, 65, 109, 458, 943] {
            let cut = stretches(bars);
            assert_eq!(cut.iter().map(Range::len).sum::<usize>(), bars);
            assert!(cut.iter().all(|stretch| stretch.len() <= STRETCH));
            assert!(cut.windows(2).all(|pair| pair[0].end == pair[1].start));
        }
    }
}
