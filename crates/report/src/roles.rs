//! Roles and melody as tables.

use ripieno_study::Study;
use ripieno_texture::{Evidence, RoleSpan};
use serde_json::{Value, json};

use crate::map::part_label;
use crate::tables::{Table, rounded};

/// One row for each line and span.
#[must_use]
pub fn role_spans(study: &Study) -> Table {
    let roles = &study.roles.roles;
    let rows = roles
        .spans
        .iter()
        .zip(&study.roles.said)
        .map(|(span, said)| {
            let line = &study.lines.lines[span.line];
            let last = span.bars.end.saturating_sub(1);
            let mut row = vec![
                json!(span.part),
                json!(study.score.parts[span.part].name),
                json!(line.staff),
                json!(line.place),
                json!(span.bars.start),
                json!(study.bar_label(span.bars.start)),
                json!(last),
                json!(study.bar_label(last)),
                json!(span.from.to_string()),
                json!(span.to.to_string()),
            ];
            row.extend(held(span));
            row.push(json!(doubled(study, span)));
            row.push(json!(reasons(study, span)));
            row.push(json!(said.name));
            row.push(json!(said.corrections.join("; ")));
            row
        })
        .collect();
    let columns = &[
        "part_index",
        "part",
        "staff",
        "line",
        "first_bar_index",
        "first_bar",
        "last_bar_index",
        "last_bar",
        "onset",
        "offset",
        "role",
        "confidence",
        "other_roles",
        "goes_with",
        "reasons",
        "name",
        "corrections",
    ];
    Table { name: "roles", columns, rows }
}

/// One row for each part and bar; a part that rests has the role tacet.
#[must_use]
pub fn roles_by_bar(study: &Study) -> Table {
    let mut rows = Vec::new();
    for (part, named) in study.score.parts.iter().enumerate() {
        for bar in (0u32..).take(study.sounding.bars.len()) {
            let here: Vec<&RoleSpan> = study.roles.roles.in_bar(part, bar).collect();
            let mut told: Vec<(&str, f32)> = Vec::new();
            for held in here
                .iter()
                .flat_map(|span| span.roles.iter().take(1))
                .chain(here.iter().flat_map(|span| span.roles.iter().skip(1)))
            {
                if !told.iter().any(|(role, _)| *role == held.role.name()) {
                    told.push((held.role.name(), held.confidence));
                }
            }
            let (role, confidence) =
                told.first().map_or(("tacet", Value::Null), |(role, sure)| (*role, json!(rounded(f64::from(*sure)))));
            let others: Vec<&str> = told.iter().skip(1).map(|(role, _)| *role).collect();
            rows.push(vec![
                json!(part),
                json!(named.name),
                json!(bar),
                json!(study.bar_label(bar)),
                json!(role),
                confidence,
                json!(others.join("; ")),
            ]);
        }
    }
    let columns = &["part_index", "part", "bar_index", "bar", "role", "confidence", "other_roles"];
    Table { name: "roles_by_bar", columns, rows }
}

/// The melody from carrier to carrier.
#[must_use]
pub fn melody(study: &Study) -> Table {
    let rows = study
        .roles
        .roles
        .melody
        .iter()
        .map(|carried| {
            let last = carried.bars.end.saturating_sub(1);
            let with = study.along(carried).into_iter().map(|(part, bars)| {
                let name = part_label(study, part);
                bars.map_or_else(|| name.clone(), |bars| format!("{name} ({bars})"))
            });
            vec![
                json!(carried.bars.start),
                json!(study.bar_label(carried.bars.start)),
                json!(last),
                json!(study.bar_label(last)),
                json!(carried.from.to_string()),
                json!(carried.to.to_string()),
                json!(carried.part),
                json!(part_label(study, carried.part)),
                json!(with.collect::<Vec<_>>().join("; ")),
            ]
        })
        .collect();
    let columns =
        &["first_bar_index", "first_bar", "last_bar_index", "last_bar", "onset", "offset", "part_index", "part", "with"];
    Table { name: "melody", columns, rows }
}

/// Role, confidence, other roles.
fn held(span: &RoleSpan) -> [Value; 3] {
    let sure = span.roles.first().map(|held| rounded(f64::from(held.confidence)));
    let others: Vec<&str> = span.roles.iter().skip(1).map(|held| held.role.name()).collect();
    [json!(span.role().name()), json!(sure), json!(others.join("; "))]
}

fn doubled(study: &Study, span: &RoleSpan) -> String {
    words(study, span, |fact| matches!(fact, Evidence::Doubles { .. }))
}

fn reasons(study: &Study, span: &RoleSpan) -> String {
    words(study, span, |fact| !matches!(fact, Evidence::Doubles { .. }))
}

fn words(study: &Study, span: &RoleSpan, keep: impl Fn(&Evidence) -> bool) -> String {
    let facts = span.evidence.iter().filter(|fact| keep(fact)).map(|fact| fact.words(|part| part_label(study, part)));
    facts.collect::<Vec<_>>().join("; ")
}
