//! Who is in the score, how high and low instruments go, and what the reader noticed.

use std::fmt::Write;

use ripieno_pictures::{band_chart, register_chart};

use ripieno_study::{RegisterUse, Study};

use super::text::{Row, cited, count_of, escaped, legend, table};
use crate::map;
use crate::words::{capital, key_name};

/// The register chart, by instrument.
pub(super) fn registers(study: &Study) -> String {
    let chart = map::register_chart(study);
    if chart.bars.is_empty() {
        return String::new();
    }
    let rows: Vec<Row> = study
        .instruments()
        .iter()
        .filter_map(|held| {
            let register = held.register.as_ref()?;
            let extreme =
                |key, bar: u32| format!("{} <span class=\"quiet\">bar {}</span>", key_name(key), cited(&study.cite(&[bar])));
            Some(
                vec![
                    escaped(&capital(&map::held_name(study, held))),
                    extreme(register.lowest.key, register.lowest.bar),
                    if register.middle.0 == register.middle.1 {
                        key_name(register.middle.0)
                    } else {
                        format!("{} to {}", key_name(register.middle.0), key_name(register.middle.1))
                    },
                    key_name(register.median),
                    extreme(register.highest.key, register.highest.bar),
                ]
                .into(),
            )
        })
        .collect();
    let columns = [("Instrument", ""), ("Lowest", ""), ("Half of the time", ""), ("Middle", ""), ("Highest", "")];
    let bands = map::register_bands(study, 0..study.sounding.bars.len(), map::Register::Families);
    format!(
        "<p>Over the bars, the outermost notes of each family; where two bands lie over each other they share a register, where paper shows between them there is a gap.</p>\n\
{}<div class=\"picture\">\n{}</div>\n<p>Of each instrument. Thin: from the lowest to the highest sounding note. Thick: half of the playing time lies there. Upright stroke: the middle by time. \
Notes count for the instrument that plays them, also where a player changes it.</p>\n<div class=\"picture\">\n{}</div>\n\
<details><summary>The same as a table, with bars</summary>\n{}</details>\n",
        legend(&map::band_keys(&bands)),
        band_chart(&bands),
        register_chart(&chart),
        table(&columns, &rows, usize::MAX - 8)
    )
}

/// Parts with instrument, players and extremes; an instrument taken in turn has a row of its own.
pub(super) fn parts(study: &Study) -> String {
    let held = study.instruments_of_parts();
    let mut rows: Vec<Row> = Vec::new();
    for (index, part) in study.score.parts.iter().enumerate() {
        let of_part: Vec<_> = held.iter().filter(|held| held.part == index).collect();
        for (place, held) in of_part.iter().enumerate() {
            let extreme = |pick: fn(&RegisterUse) -> (String, u32)| {
                held.register.as_ref().map(pick).map_or_else(String::new, |(name, bar)| {
                    format!("{name} <span class=\"quiet\">bar {}</span>", cited(&study.cite(&[bar])))
                })
            };
            let sub = place > 0;
            let bars = if of_part.len() == 1 { &study.of_parts[index].presence.bars } else { &held.bars };
            let cells = vec![
                if sub { String::new() } else { escaped(&map::part_name(study, index)) },
                held.instrument
                    .map_or_else(|| "<span class=\"quiet\">not recognised</span>".to_owned(), |found| escaped(found.name())),
                if sub { String::new() } else { study.groups.parts[index].family.name().to_owned() },
                if sub { String::new() } else { players(part) },
                extreme(|register| (key_name(register.lowest.key), register.lowest.bar)),
                extreme(|register| (key_name(register.highest.key), register.highest.bar)),
                count_of(study, bars),
            ];
            rows.push(Row { cells, sub, id: None });
        }
    }
    let columns =
        [("Part", ""), ("Instrument", ""), ("Family", ""), ("Players", ""), ("Lowest", ""), ("Highest", ""), ("Bars", "number")];
    let mut out = table(&columns, &rows, 100);
    if study.score.parts.iter().any(assumed) {
        let _ = writeln!(
            out,
            "<p class=\"quiet\">Assumed: the page does not print how many play; the range is what orchestras and choirs usually have.</p>"
        );
    }
    out
}

/// Whether the number of players is no more than what is usual.
pub(crate) fn assumed(part: &ripieno_score::Part) -> bool {
    part.is_body && !part.players.is_exact()
}

fn players(part: &ripieno_score::Part) -> String {
    let range = part.players.to_string().replace('-', "–");
    if assumed(part) { format!("{range} <span class=\"quiet\">assumed</span>") } else { range }
}

/// What the reader noticed.
pub(super) fn findings(study: &Study) -> String {
    if study.findings.is_empty() {
        return "<p>Nothing: the file was read as it stands.</p>\n".to_owned();
    }
    let mut out = String::from("<ul class=\"findings\">\n");
    for finding in &study.findings {
        let _ = writeln!(out, "<li>{}</li>", escaped(&finding.to_string()));
    }
    out.push_str("</ul>\n");
    out
}
