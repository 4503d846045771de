//! The tables of a study. Columns are described in `docs/tables.md`.

use std::io;

use ripieno_study::{Measured, Study};

use crate::map::held_name;
use crate::music::{chords, doublings, keys, themes};
use crate::page::assumed;
use crate::playing::{combinations, dynamics, tempo, ways};
use crate::practice::{layers, moments, noteworthy, practice};
use crate::roles::{melody, role_spans, roles_by_bar};
use serde_json::{Map, Value, json};

/// A table: a name, columns, and rows as long as the columns.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// File name without ending.
    pub name: &'static str,
    /// Column names.
    pub columns: &'static [&'static str],
    /// Cells: numbers, texts, or null where there is nothing to say.
    pub rows: Vec<Vec<Value>>,
}

/// What musicians are told a table is, by its name.
const TITLES: [(&str, &str); 20] = [
    ("parts", "parts"),
    ("roles", "roles"),
    ("roles_by_bar", "roles bar by bar"),
    ("layers", "lines that act together"),
    ("melody", "melody from carrier to carrier"),
    ("doublings", "doublings"),
    ("combinations", "combinations"),
    ("chords", "chords"),
    ("keys", "keys"),
    ("themes", "themes"),
    ("tempo", "tempo"),
    ("ways", "ways of playing"),
    ("dynamics", "dynamics"),
    ("noteworthy", "findings"),
    ("moments", "moments"),
    ("practice", "scoring practice in numbers"),
    ("presence", "how much each plays"),
    ("register", "compass"),
    ("tutti", "tuttis"),
    ("findings", "remarks on the file"),
];

impl Table {
    /// What musicians are told it is: of `noteworthy` "findings", of `findings`, which come from reading the file, "remarks on the file".
    #[must_use]
    pub fn title(&self) -> &'static str {
        TITLES.iter().find(|(name, _)| *name == self.name).map_or(self.name, |(_, title)| title)
    }

    /// As comma-separated values with a header (RFC 4180), nulls left empty.
    ///
    /// # Errors
    /// Never in practice: the text is made in memory.
    pub fn csv(&self) -> io::Result<Vec<u8>> {
        let mut csv = csv::Writer::from_writer(Vec::new());
        csv.write_record(self.columns)?;
        for row in self.texts() {
            csv.write_record(row)?;
        }
        csv.into_inner().map_err(|error| io::Error::other(error.to_string()))
    }
}

impl Table {
    /// The rows as texts, nulls as nothing.
    pub fn texts(&self) -> impl Iterator<Item = Vec<String>> {
        let text = |cell: &Value| match cell {
            Value::Null => String::new(),
            Value::String(text) => text.clone(),
            other => other.to_string(),
        };
        self.rows.iter().map(move |row| row.iter().map(text).collect())
    }
}

/// All tables as one JSON object: table name to a list of row objects.
#[must_use]
pub fn tables_json(tables: &[Table]) -> String {
    let of = |table: &Table| -> Value {
        let row = |row: &Vec<Value>| -> Value {
            let fields = table.columns.iter().map(|column| (*column).to_owned()).zip(row.iter().cloned());
            Value::Object(fields.collect::<Map<_, _>>())
        };
        table.rows.iter().map(row).collect()
    };
    let all: Map<String, Value> = tables.iter().map(|table| (table.name.to_owned(), of(table))).collect();
    let mut text = serde_json::to_string_pretty(&Value::Object(all)).unwrap_or_default();
    text.push('\n');
    text
}

/// The tables of a study, in the order of `docs/tables.md`.
#[must_use]
pub fn tables(study: &Study) -> Vec<Table> {
    vec![
        parts(study),
        role_spans(study),
        roles_by_bar(study),
        layers(study),
        melody(study),
        doublings(study),
        combinations(study),
        chords(study),
        keys(study),
        themes(study),
        tempo(study),
        ways(study),
        dynamics(study),
        noteworthy(study),
        moments(study),
        practice(study),
        presence(study),
        register(study),
        tutti(study),
        findings(study),
    ]
}

fn parts(study: &Study) -> Table {
    let held = study.instruments_of_parts();
    let instruments = |part: usize| {
        let ids = held.iter().filter(|held| held.part == part).filter_map(|held| held.instrument);
        ids.map(|instrument| instrument.id.as_str()).collect::<Vec<_>>().join("; ")
    };
    let rows = study
        .score
        .parts
        .iter()
        .zip(&study.groups.parts)
        .enumerate()
        .map(|(index, (part, identity))| {
            vec![
                json!(index),
                json!(part.name),
                json!(instruments(index)),
                json!(identity.section.name()),
                json!(identity.family.name()),
                json!(part.players.least),
                json!(part.players.most),
                json!(if assumed(part) { "yes" } else { "no" }),
                json!(part.staves),
            ]
        })
        .collect();
    let columns =
        &["part_index", "part", "instruments", "section", "family", "players_least", "players_most", "players_assumed", "staves"];
    Table { name: "parts", columns, rows }
}

/// Parts, then sections, then families, each with its measures.
fn bodies(study: &Study) -> impl Iterator<Item = (&'static str, String, &Measured)> {
    let parts = study.score.parts.iter().zip(&study.of_parts).map(|(part, measured)| ("part", part.name.clone(), measured));
    let sections = study.groups.sections.iter().zip(&study.of_sections);
    let families = study.groups.families.iter().zip(&study.of_families);
    parts
        .chain(sections.map(|(group, measured)| ("section", group.name.to_owned(), measured)))
        .chain(families.map(|(group, measured)| ("family", group.name.to_owned(), measured)))
}

fn presence(study: &Study) -> Table {
    let rows = bodies(study)
        .map(|(kind, name, measured)| {
            let presence = &measured.presence;
            vec![
                json!(kind),
                json!(name),
                json!(presence.bars.len()),
                json!(rounded(presence.share_of_bars)),
                json!(presence.time.to_string()),
                json!(rounded(presence.share_of_time)),
                json!((!study.is_chart()).then_some(presence.attacks)),
                json!(study.cite(&presence.bars).to_string()),
            ]
        })
        .collect();
    let columns = &["kind", "name", "bar_count", "share_of_bars", "time", "share_of_time", "attacks", "bars"];
    Table { name: "presence", columns, rows }
}

fn register(study: &Study) -> Table {
    let instruments = study.instruments();
    let of_instruments = instruments.iter().map(|held| ("instrument", held_name(study, held), held.register.as_ref()));
    let of_bodies = bodies(study).map(|(kind, name, measured)| (kind, name, measured.register.as_ref()));
    let rows = of_bodies
        .chain(of_instruments)
        .filter_map(|(kind, name, register)| {
            let register = register?;
            Some(vec![
                json!(kind),
                json!(name),
                json!(register.lowest.key.number()),
                json!(study.bar_label(register.lowest.bar)),
                json!(register.middle.0.number()),
                json!(register.median.number()),
                json!(register.middle.1.number()),
                json!(register.highest.key.number()),
                json!(study.bar_label(register.highest.bar)),
            ])
        })
        .collect();
    let columns =
        &["kind", "name", "lowest", "lowest_bar", "lower_quartile", "median", "upper_quartile", "highest", "highest_bar"];
    Table { name: "register", columns, rows }
}

fn tutti(study: &Study) -> Table {
    let rows = study
        .full_bars()
        .iter()
        .map(|stretch| {
            let families: Vec<&str> = stretch.families.iter().map(|&family| study.groups.families[family].name).collect();
            let without: Vec<&str> = stretch.without.iter().map(|&section| study.groups.sections[section].name).collect();
            let bars = study.cite(&stretch.bars);
            vec![json!(bars.to_string()), json!(bars.count()), json!(families.join("; ")), json!(without.join("; "))]
        })
        .collect();
    Table { name: "tutti", columns: &["bars", "bar_count", "families", "without"], rows }
}

fn findings(study: &Study) -> Table {
    let rows = study
        .findings
        .iter()
        .map(|finding| {
            vec![
                json!(finding.severity.to_string()),
                json!(finding.code),
                json!(finding.place.file),
                json!(finding.place.part),
                json!(finding.place.bar),
                json!(finding.what),
                json!(finding.hint),
            ]
        })
        .collect();
    Table { name: "findings", columns: &["severity", "code", "file", "part", "bar", "what", "hint"], rows }
}

/// Four decimals: finer than anybody cites, and the same text everywhere.
pub(crate) fn rounded(share: f64) -> f64 {
    (share * 10_000.0).round() / 10_000.0
}
