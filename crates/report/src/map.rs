//! The study as rows of maps, and its registers as bars of the register chart.

use ripieno_pictures::{BarMap, MapCell, MapLane, MapRow, RegisterBar, RegisterChart, palette};
use ripieno_study::{Held, Loudness, Study};
use ripieno_texture::{Role, RoleSpan};

use crate::page::{key_short, metronome};
use crate::words::{capital, key_name};

/// The role map of the whole score, with tempo, metre, rehearsal marks and keys above it.
#[must_use]
pub fn role_map(study: &Study) -> BarMap {
    let mut section = None;
    let rows = (0..study.score.parts.len())
        .map(|part| {
            let here = study.groups.parts[part].section;
            let opens_group = section.replace(here) != Some(here);
            MapRow { label: part_name(study, part), opens_group, cells: cells(study, part) }
        })
        .collect();
    BarMap { title: format!("Roles by part and bar in {}", study.title()), bars: bars(study), lanes: lanes(study), rows }
}

/// The melody from carrier to carrier: a row for every part that carries it, full where it is the chief one, pale where it goes along.
#[must_use]
pub fn melody_map(study: &Study) -> BarMap {
    let melody = &study.roles.roles.melody;
    let full = palette::look(Role::Melody).map_or(palette::UNMARKED, |look| look.fill);
    let rows = (0..study.score.parts.len())
        .filter_map(|part| {
            let mut cells: Vec<MapCell> = Vec::new();
            for carried in melody.iter().filter(|carried| carried.part == part || carried.parts.contains(&part)) {
                let fill = if carried.part == part { full } else { palette::UNMARKED };
                let (first, end) = (carried.bars.start as usize, carried.bars.end as usize);
                match cells.last_mut().filter(|cell| cell.end >= first) {
                    Some(cell) if cell.fill == fill => cell.end = cell.end.max(end),
                    // Two carriers share the bar of a hand-off; the later one begins after it.
                    Some(cell) if end > cell.end => {
                        let first = cell.end;
                        cells.push(map_cell(first, end, fill));
                    }
                    Some(_) => {}
                    None => cells.push(map_cell(first, end, fill)),
                }
            }
            (!cells.is_empty()).then(|| MapRow { label: part_name(study, part), opens_group: false, cells })
        })
        .collect();
    BarMap { title: format!("Who carries the melody in {}", study.title()), bars: bars(study), lanes: lanes(study), rows }
}

fn map_cell(first: usize, end: usize, fill: &str) -> MapCell {
    MapCell { first, end, fill: fill.to_owned(), strip: (0, 1), label: String::new(), more: None }
}

/// Printed dynamics of each section; `found` is [`Study::loudness_of_sections`].
pub(crate) fn loudness_map(study: &Study, found: &[Vec<Loudness>]) -> BarMap {
    let mut family = None;
    let rows = study
        .groups
        .sections
        .iter()
        .zip(found)
        .map(|(section, here)| {
            let opens_group = family.replace(section.family) != Some(section.family);
            MapRow { label: capital(section.name), opens_group, cells: levels(here) }
        })
        .collect();
    let title = format!("Printed dynamics by section and bar in {}", study.title());
    BarMap { title, bars: bars(study), lanes: lanes(study).into_iter().take(1).collect(), rows }
}

/// Stretches of one printed level.
fn levels(here: &[Loudness]) -> Vec<MapCell> {
    let look = |loudness: &Loudness| match loudness {
        Loudness::Silent => None,
        Loudness::Unmarked => Some((palette::UNMARKED, "")),
        Loudness::Marked(level) => Some((palette::shade(level.0), level.mark())),
    };
    let mut cells: Vec<MapCell> = Vec::new();
    for (bar, loudness) in here.iter().enumerate() {
        let Some((fill, label)) = look(loudness) else { continue };
        match cells.last_mut().filter(|cell| cell.end == bar && cell.label == label && cell.fill == fill) {
            Some(cell) => cell.end = bar + 1,
            None => cells.push(MapCell {
                first: bar,
                end: bar + 1,
                fill: fill.to_owned(),
                strip: (0, 1),
                label: label.to_owned(),
                more: None,
            }),
        }
    }
    cells
}

fn bars(study: &Study) -> Vec<String> {
    (0u32..).zip(&study.sounding.bars).map(|(bar, _)| study.bar_label(bar)).collect()
}

/// What stands over the score, and its keys; lines that would be empty are left out.
fn lanes(study: &Study) -> Vec<MapLane> {
    let tempi = study.tempo_marks().into_iter().filter_map(|mark| {
        let printed = mark.metronome.map(|(beat, per_minute)| metronome(beat, per_minute));
        let text = if mark.words.is_empty() { printed? } else { mark.words };
        Some((mark.bar as usize, text))
    });
    let keys = study.harmony.keys.iter().map(|key| (study.bars_between(key.onset, key.end).start as usize, key_short(key)));
    let lanes: [(&str, Vec<(usize, String)>); 4] = [
        ("tempo", tempi.collect()),
        ("metre", study.metres().into_iter().map(|(bar, metre)| (bar as usize, metre.to_string())).collect()),
        ("rehearsal mark", study.rehearsal_marks().into_iter().map(|(bar, text)| (bar as usize, text)).collect()),
        ("key (doubtful)", keys.collect()),
    ];
    let filled = lanes.into_iter().filter(|(_, marks)| !marks.is_empty());
    filled.map(|(label, marks)| MapLane { label: label.to_owned(), marks }).collect()
}

/// Cells of one part: a span of a line each, side by side in strips where several lines sound; lines with one role share a strip.
fn cells(study: &Study, part: usize) -> Vec<MapCell> {
    let spans: Vec<(usize, &RoleSpan)> =
        study.roles.roles.spans.iter().enumerate().filter(|(_, span)| span.part == part && span.role() != Role::Tacet).collect();
    let mut cells: Vec<MapCell> = Vec::new();
    for bar in 0..study.sounding.bars.len() {
        let mut here: Vec<(usize, &RoleSpan)> =
            spans.iter().filter(|(_, span)| u32::try_from(bar).is_ok_and(|bar| span.bars.contains(&bar))).copied().collect();
        here.sort_by_key(|(_, span)| span.line);
        let mut strips: Vec<(usize, &RoleSpan)> = Vec::new();
        for (index, span) in here {
            if !strips.iter().any(|(_, known)| known.role() == span.role()) {
                strips.push((index, span));
            }
        }
        for (place, (index, span)) in strips.iter().enumerate() {
            let strip = (place, strips.len());
            let grows = cells.iter_mut().rev().take(strips.len() + 2).find(|old| old.end == bar && old.strip == strip);
            match grows {
                Some(old) if old.more == Some(*index) => old.end = bar + 1,
                _ => cells.push(MapCell {
                    first: bar,
                    end: bar + 1,
                    fill: palette::fill(span.role()),
                    strip,
                    label: String::new(),
                    more: Some(*index),
                }),
            }
        }
    }
    cells
}

/// What a part is called on the page.
pub(crate) fn part_name(study: &Study, part: usize) -> String {
    with_signs(&part_label(study, part))
}

/// What a part is called in tables: its name as in the file, where it has one.
pub(crate) fn part_label(study: &Study, part: usize) -> String {
    let name = study.score.parts.get(part).map_or("", |part| part.name.as_str());
    if name.trim().is_empty() { format!("Part {}", part + 1) } else { name.to_owned() }
}

/// A flat or sharp behind the letter of a key, which files write as `b` or `#`: "Bb Clarinet" becomes "B\u{266d} Clarinet".
pub(crate) fn with_signs(name: &str) -> String {
    let word = |word: &str| match word.as_bytes() {
        [b'A'..=b'G', b'b'] => format!("{}\u{266d}", &word[..1]),
        [b'A'..=b'G', b'#'] => format!("{}\u{266f}", &word[..1]),
        _ => word.to_owned(),
    };
    name.split(' ').map(word).collect::<Vec<_>>().join(" ")
}

/// What an instrument is called; its part's name where it was not recognised.
pub(crate) fn held_name(study: &Study, held: &Held) -> String {
    held.instrument.map_or_else(|| part_name(study, held.part), |instrument| instrument.name().to_owned())
}

/// The register chart by instrument.
#[must_use]
pub fn register_chart(study: &Study) -> RegisterChart {
    let bars = study
        .instruments()
        .iter()
        .filter_map(|held| {
            let register = held.register.as_ref()?;
            let (low, high) = (register.lowest, register.highest);
            let label = capital(&held_name(study, held));
            let tip = format!(
                "{label}: {} (bar {}) to {} (bar {}); half of the playing time lies between {} and {}, the middle at {}",
                key_name(low.key),
                study.bar_label(low.bar),
                key_name(high.key),
                study.bar_label(high.bar),
                key_name(register.middle.0),
                key_name(register.middle.1),
                key_name(register.median)
            );
            Some(RegisterBar {
                label,
                range: (low.key.number(), high.key.number()),
                middle: (register.middle.0.number(), register.middle.1.number()),
                median: register.median.number(),
                tip,
            })
        })
        .collect();
    RegisterChart { title: format!("Register by instrument in {}", study.title()), bars }
}

#[cfg(test)]
mod tests {
    use super::with_signs;

    #[test]
    fn only_keys_get_signs() {
        let names = ["Bb Clarinet", "Clarinet in Bb 1", "F# Horn", "Ab", "B Trumpet", "Bass drum"].map(with_signs);
        assert_eq!(
            names,
            ["B\u{266d} Clarinet", "Clarinet in B\u{266d} 1", "F\u{266f} Horn", "A\u{266d}", "B Trumpet", "Bass drum"]
        );
    }
}
