//! Practice and layers as tables.

use ripieno_study::Study;
use ripieno_texture::Relation;
use serde_json::json;

use crate::map::part_label;
use crate::tables::{Table, rounded};

/// One row for each value of each measure.
pub(crate) fn practice(study: &Study) -> Table {
    let mut rows = Vec::new();
    for taken in &study.practice {
        for value in &taken.values {
            let name = |subject: ripieno_study::Subject| subject.name(&study.score, &study.groups);
            rows.push(vec![
                json!(taken.measure.name),
                json!(value.of.kind()),
                json!(name(value.of)),
                json!(value.with.map(|with| with.kind())),
                json!(value.with.map(name)),
                json!(value.aspect),
                json!(rounded(value.value)),
                json!(value.unit.name()),
                json!(study.cite(&value.bars).to_string()),
            ]);
        }
    }
    let columns = &["measure", "of_kind", "of", "with_kind", "with", "aspect", "value", "unit", "bars"];
    Table { name: "practice", columns, rows }
}

/// One row for each member of each layer.
pub(crate) fn layers(study: &Study) -> Table {
    let mut rows = Vec::new();
    for ((layer, said), number) in study.roles.roles.layers.layers.iter().zip(&study.roles.said_of_layers).zip(1u32..) {
        for member in &layer.members {
            let line = &study.lines.lines[member.line];
            let last = member.bars.end.saturating_sub(1);
            rows.push(vec![
                json!(number),
                json!(member.bars.start),
                json!(study.bar_label(member.bars.start)),
                json!(last),
                json!(study.bar_label(last)),
                json!(line.part),
                json!(part_label(study, line.part)),
                json!(line.place),
                json!(member.relation.map(Relation::name)),
                json!(said.name),
                json!(said.corrections.join("; ")),
            ]);
        }
    }
    let columns = &[
        "layer",
        "first_bar_index",
        "first_bar",
        "last_bar_index",
        "last_bar",
        "part_index",
        "part",
        "line",
        "relation",
        "name",
        "corrections",
    ];
    Table { name: "layers", columns, rows }
}

/// One row for each finding in words.
pub(crate) fn noteworthy(study: &Study) -> Table {
    let row = |found: &ripieno_study::Sentence| {
        vec![json!(found.text), json!(found.measure), json!(rounded(found.weight)), json!(study.cite(&found.bars).to_string())]
    };
    let columns = &["finding", "measure", "weight", "bars"];
    Table { name: "noteworthy", columns, rows: study.noteworthy.iter().map(row).collect() }
}

/// One row for each moment.
pub(crate) fn moments(study: &Study) -> Table {
    let row = |moment: &ripieno_study::Moment| {
        let last = moment.bars.end.saturating_sub(1);
        vec![
            json!(moment.bars.start),
            json!(study.bar_label(moment.bars.start)),
            json!(last),
            json!(study.bar_label(last)),
            json!(moment.kind),
            json!(moment.reason),
            json!(rounded(moment.weight)),
        ]
    };
    let columns = &["first_bar_index", "first_bar", "last_bar_index", "last_bar", "kind", "reason", "weight"];
    Table { name: "moments", columns, rows: study.moments.iter().map(row).collect() }
}
