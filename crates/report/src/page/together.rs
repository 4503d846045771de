//! Tutti and doublings.

use std::fmt::Write;

use ripieno_study::{Combination, FEWEST_NOTES, Layout, Study};

use super::text::{Row, cited, count_of, escaped, linked, table};
use crate::map::part_name;
use crate::words::{capital, listed, octaves_lower, whole};

/// Stretches of the whole orchestra, with those who are missing.
pub(super) fn tutti(study: &Study) -> String {
    let full = study.full_bars();
    let mut out = String::from(
        "<p>A tutti here: woodwind, brass and strings sound in every bar, each with at least two thirds of its sections; a single bar that falls short between two such stretches does not part them. Percussion, harp, keyboards and voices \
are named where they join and keep nothing from being a tutti.</p>\n",
    );
    let (long, short): (Vec<_>, Vec<_>) = full.iter().partition(|stretch| stretch.bars.len() > 1);
    if full.is_empty() {
        out.push_str("<p>There is none in this score.</p>\n");
        return out;
    }
    let rows: Vec<Row> = long
        .iter()
        .map(|stretch| {
            let families: Vec<&str> = stretch.families.iter().map(|&family| study.groups.families[family].name).collect();
            let without: Vec<&str> = stretch.without.iter().map(|&section| study.groups.sections[section].name).collect();
            vec![
                cited(&study.cite(&stretch.bars)),
                count_of(study, &stretch.bars),
                capital(&escaped(&listed(&families))),
                escaped(&listed(&without)),
            ]
            .into()
        })
        .collect();
    if !rows.is_empty() {
        let columns = [("Bars", "bars"), ("How many", "number"), ("Families together", ""), ("Without", "")];
        out.push_str(&table(&columns, &rows, 24));
    }
    let short: Vec<u32> = short.iter().flat_map(|stretch| stretch.bars.iter().copied()).collect();
    if !short.is_empty() {
        let _ = writeln!(out, "<p>Single bars: {}.</p>", cited(&study.cite(&short)));
    }
    out
}

/// Combinations of sections that play one line.
pub(super) fn doublings(study: &Study) -> String {
    let combinations = study.combinations();
    if combinations.is_empty() {
        return String::new();
    }
    let (among, between): (Vec<_>, Vec<_>) = combinations.iter().partition(|combination| combination.sections.len() == 1);
    let mut out = format!(
        "<p>Which sections play one line together, note for note, in unison or octaves; longest first. Meetings of fewer than {FEWEST_NOTES} common notes are left \
out as chord tones that happen to agree; <code>doublings.csv</code> keeps them, pair by pair. A bar counts for a combination when it lasts for some of it; bars in which one of them rests are left out.</p>\n"
    );
    let columns = [
        ("Sections", ""),
        ("Bars", "number"),
        ("Crotchets", "number"),
        ("At which interval, from the top", ""),
        ("Where", "bars"),
    ];
    let rows: Vec<Row> = between.iter().map(|combination| row(study, combination)).collect();
    out.push_str(&table(&columns, &rows, 20));
    if !among.is_empty() {
        let rows: Vec<Row> = among.iter().map(|combination| row(study, combination)).collect();
        let _ = write!(out, "<h3>Within a section</h3>\n{}", table(&columns, &rows, 12));
    }
    out
}

fn row(study: &Study, combination: &Combination) -> Row {
    let sections: Vec<String> =
        combination.sections.iter().map(|&section| escaped(&capital(study.groups.sections[section].name))).collect();
    let mut name = sections.join(" + ");
    if combination.sections.len() == 1 {
        let parts: Vec<String> = combination.parts.iter().map(|&part| part_name(study, part)).collect();
        let _ = write!(name, " <span class=\"quiet\">({})</span>", escaped(&parts.join(", ")));
    }
    const SHOWN: usize = 4;
    let mut layouts: Vec<String> = combination
        .layouts
        .iter()
        .take(SHOWN)
        .map(|layout| {
            let spans = study.cite(&layout.bars);
            let words = escaped(&layout_words(study, layout));
            if combination.layouts.len() == 1 {
                words
            } else {
                format!("{words} ({})", linked(&spans.count().to_string(), &spans))
            }
        })
        .collect();
    if combination.layouts.len() > SHOWN {
        layouts.push(format!("<span class=\"quiet\">and {} other ways</span>", combination.layouts.len() - SHOWN));
    }
    vec![
        name,
        count_of(study, &combination.bars),
        whole(combination.time.to_f64()),
        layouts.join("; "),
        cited(&study.cite(&combination.bars)),
    ]
    .into()
}

/// "unison", or "flutes on top, oboes and violins an octave lower".
pub(crate) fn layout_words(study: &Study, layout: &Layout) -> String {
    let mut levels: Vec<i16> = layout.octaves.iter().map(|(_, octaves)| *octaves).collect();
    levels.sort_unstable_by_key(|octaves| -octaves);
    levels.dedup();
    if levels.len() == 1 {
        return "unison".to_owned();
    }
    let one_section = layout.octaves.iter().all(|(section, _)| *section == layout.octaves[0].0);
    if one_section {
        return if levels.len() == 2 { "octaves".to_owned() } else { format!("{} octaves deep", levels.len() - 1) };
    }
    let at = |level: i16| {
        let here = layout.octaves.iter().filter(|(_, octaves)| *octaves == level);
        let names: Vec<&str> = here.map(|(section, _)| study.groups.sections[*section].name).collect();
        listed(&names)
    };
    let words: Vec<String> = levels
        .iter()
        .map(|&level| if level == 0 { format!("{} on top", at(0)) } else { format!("{} {}", at(level), octaves_lower(level)) })
        .collect();
    words.join(", ")
}
