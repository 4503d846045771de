//! Chords, keys and themes as tables.

use ripieno_score::Crotchets;
use ripieno_study::{FEWEST_NOTES, Study};
use ripieno_texture::{Mode, Statement};
use serde_json::{Value, json};

use crate::map::part_label;
use crate::tables::{Table, rounded};

/// First and last played bar with their printed numbers, then the moments.
fn place(study: &Study, from: Crotchets, to: Crotchets) -> Vec<Value> {
    let bars = study.bars_between(from, to);
    let last = bars.end.saturating_sub(1);
    vec![
        json!(bars.start),
        json!(study.bar_label(bars.start)),
        json!(last),
        json!(study.bar_label(last)),
        json!(from.to_string()),
        json!(to.to_string()),
    ]
}

/// One row for each chord.
pub(crate) fn chords(study: &Study) -> Table {
    let rows = study
        .harmony
        .chords
        .iter()
        .map(|chord| {
            let mut row = place(study, chord.onset, chord.end);
            row.extend([
                json!(chord.root.to_string()),
                json!(chord.quality.to_string()),
                json!(chord.inversion),
                json!(chord.bass.map(|bass| bass.to_string())),
                json!(rounded(f64::from(chord.confidence))),
            ]);
            row
        })
        .collect();
    let columns = &[
        "first_bar_index",
        "first_bar",
        "last_bar_index",
        "last_bar",
        "onset",
        "offset",
        "root",
        "quality",
        "inversion",
        "bass",
        "confidence",
    ];
    Table { name: "chords", columns, rows }
}

/// One row for each doubling between two parts.
pub(crate) fn doublings(study: &Study) -> Table {
    let lines = &study.lines.lines;
    let rows = study
        .doublings
        .all
        .iter()
        .filter(|doubling| lines[doubling.a].part != lines[doubling.b].part)
        .map(|doubling| {
            let (a, b) = (&lines[doubling.a], &lines[doubling.b]);
            let mut row = place(study, doubling.from, doubling.to);
            row.extend([
                json!(a.part),
                json!(part_label(study, a.part)),
                json!(a.place),
                json!(b.part),
                json!(part_label(study, b.part)),
                json!(b.place),
                json!(doubling.interval),
                json!(doubling.shared),
                json!(if doubling.shared < FEWEST_NOTES { "yes" } else { "no" }),
                json!(rounded(f64::from(doubling.share_of_a()))),
                json!(rounded(f64::from(doubling.share_of_b()))),
            ]);
            row
        })
        .collect();
    let columns = &[
        "first_bar_index",
        "first_bar",
        "last_bar_index",
        "last_bar",
        "onset",
        "offset",
        "part_index",
        "part",
        "line",
        "other_index",
        "other",
        "other_line",
        "interval",
        "shared_notes",
        "few_notes",
        "share_of_part",
        "share_of_other",
    ];
    Table { name: "doublings", columns, rows }
}

/// One row for each local key.
pub(crate) fn keys(study: &Study) -> Table {
    let rows = study
        .harmony
        .keys
        .iter()
        .map(|key| {
            let mut row = place(study, key.onset, key.end);
            row.extend([json!(key.tonic.to_string()), json!(mode(key.mode)), json!(rounded(f64::from(key.confidence)))]);
            row
        })
        .collect();
    let columns =
        &["first_bar_index", "first_bar", "last_bar_index", "last_bar", "onset", "offset", "tonic", "mode", "confidence"];
    Table { name: "keys", columns, rows }
}

/// "major" or "minor".
pub(crate) const fn mode(mode: Mode) -> &'static str {
    match mode {
        Mode::Major => "major",
        Mode::Minor => "minor",
    }
}

/// One row for each statement of each theme.
pub(crate) fn themes(study: &Study) -> Table {
    let rows = study
        .themes
        .iter()
        .flat_map(|theme| theme.statements.iter().map(move |statement| (theme, statement)))
        .map(|(theme, statement)| {
            let mut row = vec![json!(theme.id)];
            row.extend(place(study, statement.onset, statement.end));
            row.extend([
                json!(statement.part),
                json!(part_label(study, statement.part)),
                json!(with(study, statement)),
                json!(statement.transposition),
                json!(statement.time_scale.to_string()),
                json!(statement.notes.len()),
                json!(rounded(f64::from(statement.similarity))),
            ]);
            row
        })
        .collect();
    let columns = &[
        "theme",
        "first_bar_index",
        "first_bar",
        "last_bar_index",
        "last_bar",
        "onset",
        "offset",
        "part_index",
        "part",
        "with",
        "transposition",
        "time_scale",
        "notes",
        "similarity",
    ];
    Table { name: "themes", columns, rows }
}

/// Who plays a statement along.
fn with(study: &Study, statement: &Statement) -> String {
    let names = statement.supporters.iter().map(|supporter| part_label(study, supporter.part));
    names.collect::<Vec<_>>().join("; ")
}
