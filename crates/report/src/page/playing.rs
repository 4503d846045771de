//! Ways of playing, and loudness.

use std::fmt::Write;

use ripieno_pictures::bar_map;
use ripieno_score::DynamicLevel;
use ripieno_study::{Loudness, Study};

use super::text::{Row, cited, count_of, escaped, table};
use crate::map::{loudness_map, part_name};
use crate::words::capital;

/// Techniques and numbers of players, by part.
pub(super) fn ways(study: &Study) -> String {
    let ways = study.ways_of_playing();
    if ways.is_empty() {
        return String::new();
    }
    let mut last = None;
    let rows: Vec<Row> = ways
        .iter()
        .map(|way| {
            let name = if last.replace(way.part) == Some(way.part) { String::new() } else { part_name(study, way.part) };
            let bars = cited(&study.cite(&way.bars));
            vec![escaped(&name), escaped(&way.name), count_of(study, &way.bars), bars].into()
        })
        .collect();
    let columns = [("Part", ""), ("How", ""), ("Bars", "number"), ("Where", "bars")];
    format!(
        "<p>As marked, with the bars in which notes begin that are so played. Words hold until a word of their kind takes them back; indications of players \
(1., a 2, solo, divisi) until the next one on their staff, a solo only as long as the phrase goes on.</p>\n{}",
        table(&columns, &rows, 40)
    )
}

/// Printed dynamics of each section: a picture and how many bars at which level.
pub(super) fn dynamics(study: &Study) -> String {
    let found = study.loudness_of_sections();
    let level = |loudness: &Loudness| match loudness {
        Loudness::Marked(level) => Some(level.mark()),
        _ => None,
    };
    let mut marks: Vec<&str> = Vec::new();
    for step in 0..=12u8 {
        let mark = DynamicLevel(f32::from(step) - 2.0).mark();
        if found.iter().flatten().any(|here| level(here) == Some(mark)) {
            marks.push(mark);
        }
    }
    if marks.is_empty() {
        return String::new();
    }
    let mut columns = vec![("Section", "")];
    columns.extend(marks.iter().map(|mark| (*mark, "number")));
    columns.push(("without a mark", "number"));
    let rows: Vec<Row> = study
        .groups
        .sections
        .iter()
        .zip(&found)
        .map(|(section, here)| {
            let bars = |is: &dyn Fn(&Loudness) -> bool| -> String {
                let bars: Vec<u32> = (0u32..).zip(here).filter(|(_, loudness)| is(loudness)).map(|(bar, _)| bar).collect();
                if bars.is_empty() { String::new() } else { count_of(study, &bars) }
            };
            let mut cells = vec![escaped(&capital(section.name))];
            cells.extend(marks.iter().map(|mark| bars(&|loudness| level(loudness) == Some(*mark))));
            cells.push(bars(&|loudness| *loudness == Loudness::Unmarked));
            cells.into()
        })
        .collect();
    let map = loudness_map(study, &found);
    let mut out = String::from(
        "<p>The loudest printed level of each section in each bar; darker is louder. Marks as printed, carried on to the next; hairpins are followed between them. They tell \
the order of steps, nothing of decibels.</p>\n",
    );
    let _ = write!(out, "<div class=\"picture\">\n{}</div>\n", bar_map(&map, 0..map.bars.len(), false));
    let _ = write!(out, "<details><summary>Bars at each level, as a table</summary>\n{}</details>\n", table(&columns, &rows, 60));
    out
}
