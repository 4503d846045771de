//! The melody from carrier to carrier, and what comes back.

use std::fmt::Write;

use ripieno_pictures::bar_map;
use ripieno_study::Study;
use ripieno_texture::{Statement, Theme};

use super::text::{Row, cited, escaped, table};
use crate::map::{melody_map, part_name};
use crate::words::counted;

/// The melody from carrier to carrier.
pub(super) fn melody(study: &Study) -> String {
    let melody = &study.roles.roles.melody;
    if melody.is_empty() {
        return String::new();
    }
    let rows: Vec<Row> = melody
        .iter()
        .map(|carried| {
            let bars: Vec<u32> = carried.bars.clone().collect();
            let others = study.along(carried).into_iter().map(|(part, bars)| {
                let name = escaped(&part_name(study, part));
                bars.map_or_else(|| name.clone(), |bars| format!("{name} ({})", cited(&bars)))
            });
            let others = others.collect::<Vec<_>>().join(", ");
            vec![cited(&study.cite(&bars)), escaped(&part_name(study, carried.part)), others].into()
        })
        .collect();
    let columns = [("Bars", "bars"), ("Carrier", ""), ("With", "")];
    let map = melody_map(study);
    format!(
        "<p>The main line from carrier to carrier: full who leads it, pale who plays it too, in unison or octaves.</p>\n<div class=\"picture\">\n{}</div>\n\
<details><summary>The same as a table</summary>\n{}</details>\n",
        bar_map(&map, 0..map.bars.len(), false),
        table(&columns, &rows, usize::MAX - 8)
    )
}

/// Recurring ideas: first those that are sung, then figures.
pub(super) fn themes(study: &Study) -> String {
    if study.themes.is_empty() {
        return String::new();
    }
    let mut out = String::from(
        "<p>Ideas that return, possibly at another pitch, slower or faster, or in part. A theme may be told as several where its \
statements share too little.</p>\n",
    );
    let sung = |theme: &&Theme| {
        let sings = |s: &&Statement| study.roles.roles.sings(s.part, s.onset, s.end);
        theme.statements.iter().filter(sings).count() * 2 >= theme.statements.len()
    };
    let (sung, figures): (Vec<&Theme>, Vec<&Theme>) = study.themes.iter().partition(sung);
    for (heading, list, shown) in [("Melodies", sung, 12), ("Accompanying figures", figures, 6)] {
        if list.is_empty() {
            continue;
        }
        let _ = writeln!(out, "<h3>{heading}</h3>");
        list.iter().take(shown).for_each(|each| theme(&mut out, study, each));
        if let Some(more) = list.len().checked_sub(shown).filter(|&more| more > 0) {
            let _ = writeln!(out, "<p class=\"quiet\">{more} more, with fewer notes, in <code>themes.csv</code>.</p>");
        }
    }
    out
}

fn theme(out: &mut String, study: &Study, theme: &Theme) {
    let first = theme.statements.iter().map(|s| study.bars_between(s.onset, s.end).start).min();
    let _ = writeln!(
        out,
        "<details><summary>Theme {}: {}, first in bar {}</summary>",
        theme.id,
        counted(theme.statements.len(), "statement"),
        first.map_or_else(String::new, |bar| study.bar_label(bar)),
    );
    let rows: Vec<Row> = theme
        .statements
        .iter()
        .map(|statement| {
            let bars: Vec<u32> = study.bars_between(statement.onset, statement.end).collect();
            let with: Vec<String> = statement.supporters.iter().map(|one| part_name(study, one.part)).collect();
            vec![
                cited(&study.cite(&bars)),
                escaped(&part_name(study, statement.part)),
                escaped(&with.join(", ")),
                format!("{:+}", statement.transposition),
                format!("&times;&nbsp;{}", statement.time_scale),
            ]
            .into()
        })
        .collect();
    let columns = [
        ("Bars", "bars"),
        ("Carrier", ""),
        ("With", ""),
        ("Semitones from the first full form", "number"),
        ("Note values", "number"),
    ];
    out.push_str(&table(&columns, &rows, 24));
    out.push_str("</details>\n");
}
