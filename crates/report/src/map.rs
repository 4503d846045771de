//! The study's roles as rows of the role map, and its registers as bars of the register chart.

use ripieno_pictures::{MapCell, MapRow, RegisterBar, RegisterChart, RoleMap};
use ripieno_score::DirectionKind;
use ripieno_study::Study;
use ripieno_texture::RoleSpan;

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

/// Cells of one part: a span of a line each, side by side in strips where several lines sound; lines with one role share a strip.
fn cells(study: &Study, part: usize) -> Vec<MapCell> {
    let spans = study.roles.roles.of_part(part);
    let mut cells: Vec<MapCell> = Vec::new();
    for bar in 0..study.sounding.bars.len() {
        let mut here: Vec<&RoleSpan> =
            spans.iter().filter(|span| u32::try_from(bar).is_ok_and(|bar| span.bars.contains(&bar))).collect();
        here.sort_by_key(|span| span.line);
        let mut strips: Vec<&RoleSpan> = Vec::new();
        for span in here {
            if !strips.iter().any(|known| known.role() == span.role()) {
                strips.push(span);
            }
        }
        for (strip, span) in strips.iter().enumerate() {
            let cell =
                MapCell { first: bar, end: bar + 1, role: span.role(), strip: (strip, strips.len()), tip: tip(study, span) };
            let grows = cells.iter_mut().rev().take(strips.len() + 2).find(|old| old.end == bar && old.strip == cell.strip);
            match grows {
                Some(old) if old.role == cell.role && old.tip == cell.tip => old.end = bar + 1,
                _ => cells.push(cell),
            }
        }
    }
    cells
}

/// "Horn 1.2 in F, bars 35–45: countermelody, 0.31 (moves over 9 different notes; in unison with Horn 3.4 in F)"
fn tip(study: &Study, span: &RoleSpan) -> String {
    let bars: Vec<u32> = span.bars.clone().collect();
    let roles: Vec<String> = span.roles.iter().map(|held| format!("{} ({:.0} %)", held.role, held.confidence * 100.0)).collect();
    let reasons: Vec<String> = span.evidence.iter().map(|fact| fact.words(|part| part_name(study, part))).collect();
    let what = if bars.len() == 1 { "bar" } else { "bars" };
    format!("{}, {what} {}: {} - {}", part_name(study, span.part), study.cite(&bars), roles.join(", "), reasons.join("; "))
}

/// What a part is called.
pub(crate) fn part_name(study: &Study, part: usize) -> String {
    label(study.score.parts.get(part).map_or("", |part| &part.name), part)
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
