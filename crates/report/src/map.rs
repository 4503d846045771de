//! The study's roles as rows of the role map, and its registers as bars of the register chart.

use ripieno_pictures::{MapCell, MapRow, RegisterBar, RegisterChart, RoleMap};
use ripieno_score::DirectionKind;
use ripieno_study::Study;

use crate::words::{capital, key_name};

/// The role map of the whole score.
pub(crate) fn role_map(study: &Study) -> RoleMap {
    let mut section = None;
    let rows = study
        .score
        .parts
        .iter()
        .enumerate()
        .map(|(part, named)| {
            let here = study.groups.parts[part].section;
            let opens_group = section.replace(here) != Some(here);
            MapRow { label: label(&named.name, part), opens_group, cells: cells(study, part) }
        })
        .collect();
    RoleMap {
        title: format!("Roles by part and bar in {}", study.title()),
        bars: (0u32..).zip(&study.sounding.bars).map(|(bar, _)| study.bar_label(bar)).collect(),
        headings: headings(study),
        rows,
    }
}

fn label(name: &str, part: usize) -> String {
    if name.trim().is_empty() { format!("Part {}", part + 1) } else { name.to_owned() }
}

/// Bars in a row with the same role and the same reason become one cell.
fn cells(study: &Study, part: usize) -> Vec<MapCell> {
    let roles = &study.roles[part];
    let name = label(&study.score.parts[part].name, part);
    let mut cells: Vec<MapCell> = Vec::new();
    for (bar, here) in roles.iter().enumerate() {
        match cells.last_mut() {
            Some(cell) if roles[cell.first] == *here => cell.end = bar + 1,
            _ => cells.push(MapCell { first: bar, end: bar + 1, role: here.role, tip: String::new() }),
        }
    }
    for cell in &mut cells {
        let bars: Vec<u32> = (cell.first..cell.end).filter_map(|bar| u32::try_from(bar).ok()).collect();
        cell.tip = format!("{name}, bar {}: {} ({})", study.cite(&bars), cell.role, roles[cell.first].reason);
    }
    cells
}

/// Rehearsal marks, from whichever part has them.
fn headings(study: &Study) -> Vec<(usize, String)> {
    let mut headings: Vec<(usize, String)> = study
        .score
        .parts
        .iter()
        .flat_map(|part| &part.directions)
        .filter_map(|direction| match &direction.kind {
            DirectionKind::Rehearsal(text) => Some((direction.bar.at(), text.to_string())),
            _ => None,
        })
        .collect();
    headings.sort();
    headings.dedup();
    headings
}

/// The register chart by section.
pub(crate) fn register_chart(study: &Study) -> RegisterChart {
    let bars = study
        .groups
        .sections
        .iter()
        .zip(&study.of_sections)
        .filter_map(|(section, measured)| {
            let register = measured.register.as_ref()?;
            let (low, high) = (register.lowest, register.highest);
            let tip = format!(
                "{}: {} (bar {}) to {} (bar {}); half of the playing time lies between {} and {}, the middle at {}",
                capital(section.name),
                key_name(low.key),
                study.bar_label(low.bar),
                key_name(high.key),
                study.bar_label(high.bar),
                key_name(register.middle.0),
                key_name(register.middle.1),
                key_name(register.median)
            );
            Some(RegisterBar {
                label: capital(section.name),
                range: (low.key.number(), high.key.number()),
                middle: (register.middle.0.number(), register.middle.1.number()),
                median: register.median.number(),
                tip,
            })
        })
        .collect();
    RegisterChart { title: format!("Register by section in {}", study.title()), bars }
}
