//! The study as rows of maps, and its registers as bars of the register chart.

use std::collections::BTreeMap;

use ripieno_instruments::printed;
use ripieno_pictures::{Band, BandChart, BandStep, BarMap, Key, MapCell, MapLane, MapRow, RegisterBar, RegisterChart, palette};
use ripieno_score::Crotchets;
use ripieno_study::acoustics::{EvenGrade, Grade};
use ripieno_study::{Balance, Group, Held, Loudness, Study};
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
            let has_it = melody.iter().flat_map(|carried| {
                let chief = (carried.part == part).then_some((&carried.bars, full));
                let along = carried.support.iter().filter(|along| along.part == part).map(|along| (&along.bars, palette::ALONG));
                chief.into_iter().chain(along)
            });
            for (bars, fill) in has_it {
                let (first, end) = (bars.start as usize, bars.end as usize);
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
    // Of tempi none may seem to go on where another follows.
    filled.map(|(label, marks)| MapLane { label: label.to_owned(), marks, staggered: label == "tempo" }).collect()
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

/// What a part is called on the page: "Clarinet 1 in B♭".
pub(crate) fn part_name(study: &Study, part: usize) -> String {
    printed(&part_label(study, part))
}

/// What a part is called in tables: its name as in the file, where it has one.
pub(crate) fn part_label(study: &Study, part: usize) -> String {
    let name = study.score.parts.get(part).map_or("", |part| part.name.as_str());
    if name.trim().is_empty() { format!("Part {}", part + 1) } else { name.to_owned() }
}

/// What an instrument is called; its part's name where it was not recognised.
pub(crate) fn held_name(study: &Study, held: &Held) -> String {
    held.instrument.map_or_else(|| part_name(study, held.part), |instrument| instrument.name().to_owned())
}

/// Grades of a line in a bar from the lowest, and of a full chord from the best.
const HEARD: [Grade; 5] = [Grade::Covered, Grade::Hard, Grade::Among, Grade::Clear, Grade::Prominent];
const EVEN: [EvenGrade; 3] = [EvenGrade::Even, EvenGrade::Fair, EvenGrade::Uneven];

/// How well the melody is heard bar by bar, and how evenly full chords ring.
#[must_use]
pub fn balance_map(study: &Study, balance: &Balance) -> BarMap {
    let heard = balance.melody.iter().map(|told| {
        let grade = told.audible.grade();
        // The words of the legend, less what the row says already.
        let word = grade.to_string().trim_start_matches("heard ").to_owned();
        (told.bar, palette::HEARD[HEARD.iter().position(|one| *one == grade).unwrap_or(0)], word)
    });
    let even = balance.chords.iter().map(|chord| {
        let grade = chord.evenness.grade();
        (chord.bar, palette::EVEN[EVEN.iter().position(|one| *one == grade).unwrap_or(0)], String::new())
    });
    let row = |label: &str, told: Vec<MapCell>| MapRow { label: label.to_owned(), opens_group: true, cells: told };
    BarMap {
        title: format!("How well the melody is heard and how evenly full chords ring in {}, estimated", study.title()),
        bars: bars(study),
        lanes: lanes(study),
        rows: vec![row("melody", joined(heard)), row("full chords", joined(even))],
    }
}

/// Bars of one fill that follow each other as one cell.
fn joined(told: impl Iterator<Item = (u32, &'static str, String)>) -> Vec<MapCell> {
    let mut cells: Vec<MapCell> = Vec::new();
    for (bar, fill, label) in told {
        let bar = bar as usize;
        match cells.last_mut().filter(|cell| cell.end == bar && cell.fill == fill) {
            Some(cell) => cell.end = bar + 1,
            None => cells.push(MapCell { label, ..map_cell(bar, bar + 1, fill) }),
        }
    }
    cells
}

/// What the fills of [`balance_map`] mean.
#[must_use]
pub fn balance_keys() -> Vec<Key> {
    let heard = HEARD.iter().zip(palette::HEARD).map(|(grade, fill)| Key::new(fill, &format!("melody {grade}")));
    let even = EVEN.iter().zip(palette::EVEN).map(|(grade, fill)| Key::new(fill, &format!("chord {grade}")));
    heard.chain(even).collect()
}

/// Steps of the band chart at most, over all its bars, and in one bar.
const MOST_STEPS: usize = 500;
const MOST_IN_BAR: usize = 16;

/// What a register picture shows over the bars.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Register {
    /// The outermost notes of each family.
    Families,
    /// Those of each section, in shades of its family's colour.
    Sections,
    /// Every note, in the ink of its role.
    Notes,
}

/// How high and low each group sounds over these bars: the outermost notes, so that gaps and overlaps between groups are seen; or every note by itself.
#[must_use]
pub fn register_bands(study: &Study, columns: std::ops::Range<usize>, of: Register) -> BandChart {
    let all = &study.sounding.bars;
    let columns = columns.start.min(all.len())..columns.end.min(all.len());
    let (what, bands) = match of {
        Register::Families => {
            let colour = |group: &Group| palette::family(group.name).to_owned();
            ("the families", bands_of(study, &columns, study.groups.families.iter().map(|group| (group, colour(group)))))
        }
        Register::Sections => {
            let sections = &study.groups.sections;
            let colour = |(place, group): (usize, &Group)| {
                let alike =
                    |range: std::ops::Range<usize>| sections[range].iter().filter(|other| other.family == group.family).count();
                let family = palette::family(group.family.name());
                palette::shades(family, alike(0..sections.len())).swap_remove(alike(0..place))
            };
            let coloured = sections.iter().enumerate().map(|(place, group)| (group, colour((place, group))));
            ("the sections", bands_of(study, &columns, coloured))
        }
        Register::Notes => ("every note", notes_by_role(study, &columns)),
    };
    BandChart {
        title: format!("Register of {what} over the bars of {}", study.title()),
        bands: bands.into_iter().filter(|band| !band.steps.is_empty()).collect(),
        first: columns.start,
        bars: bars(study)[columns].to_vec(),
    }
}

/// Where a moment lies among these bars, in bars.
#[allow(clippy::cast_precision_loss)] // places in a picture
fn column_of(study: &Study, columns: &std::ops::Range<usize>, at: Crotchets) -> f64 {
    let all = &study.sounding.bars;
    let bar = all.partition_point(|bar| bar.start <= at).saturating_sub(1);
    let (start, length) = all.get(bar).map_or((0.0, 1.0), |bar| (bar.start.to_f64(), bar.length.to_f64()));
    let share = if length > 0.0 { ((at.to_f64() - start) / length).clamp(0.0, 1.0) } else { 0.0 };
    bar as f64 + share - columns.start as f64
}

/// The notes with a pitch and a length that sound in these bars: row, from and to in bars, key.
#[allow(clippy::cast_precision_loss)] // places in a picture
fn drawn_notes<'a>(study: &'a Study, columns: &'a std::ops::Range<usize>) -> impl Iterator<Item = (usize, f64, f64, u8)> + 'a {
    let notes = &study.sounding.notes;
    (0..notes.len()).filter_map(move |row| {
        let key = notes.key[row].filter(|_| notes.duration[row] > Crotchets::ZERO)?.number();
        let (from, to) = (notes.onset[row], notes.onset[row] + notes.duration[row]);
        let (from, to) = (column_of(study, columns, from), column_of(study, columns, to));
        (to > 0.0 && from < columns.len() as f64).then_some((row, from, to, key))
    })
}

#[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation, clippy::cast_sign_loss)] // places in a picture
fn bands_of<'a>(study: &Study, columns: &std::ops::Range<usize>, groups: impl Iterator<Item = (&'a Group, String)>) -> Vec<Band> {
    let fine = (MOST_STEPS / columns.len().max(1)).clamp(1, MOST_IN_BAR);
    let count = columns.len() * fine;
    let groups: Vec<(&Group, String)> = groups.collect();
    let mut reach: Vec<Vec<Option<(u8, u8)>>> = vec![vec![None; count]; groups.len()];
    let group_of: Vec<Option<usize>> =
        (0..study.score.parts.len()).map(|part| groups.iter().position(|(group, _)| group.parts.contains(&part))).collect();
    for (row, from, to, key) in drawn_notes(study, columns) {
        let Some(group) = group_of.get(usize::from(study.sounding.notes.part[row])).copied().flatten() else { continue };
        let (from, to) = (from * fine as f64, to * fine as f64);
        let first = (from.max(0.0) + 1e-6) as usize;
        let last = ((to - 1e-6).max(0.0).ceil() as usize).clamp(first + 1, count.max(first + 1));
        for step in reach[group].iter_mut().take(last).skip(first) {
            *step = Some(step.map_or((key, key), |(low, high)| (low.min(key), high.max(key))));
        }
    }
    let band = |(group, colour): (&Group, String), reach: Vec<Option<(u8, u8)>>| {
        let mut steps: Vec<BandStep> = Vec::new();
        for (at, reach) in reach.iter().enumerate() {
            let Some((low, high)) = *reach else { continue };
            let (from, to) = (at as f64 / fine as f64, (at + 1) as f64 / fine as f64);
            match steps.last_mut().filter(|step| step.to == from && (step.low, step.high) == (low, high)) {
                Some(step) => step.to = to,
                None => steps.push(BandStep { from, to, low, high }),
            }
        }
        Band { label: group.name.to_owned(), colour, steps, is_solid: false }
    };
    groups.into_iter().zip(reach).map(|(group, reach)| band(group, reach)).collect()
}

/// Every note, a band for each role; those without a role come first and are grey.
#[allow(clippy::cast_precision_loss)] // places in a picture
fn notes_by_role(study: &Study, columns: &std::ops::Range<usize>) -> Vec<Band> {
    let spans = study.spans_of_notes();
    let role = |row: usize| study.roles.roles.spans.get(spans[row]?).map(RoleSpan::role).filter(|role| *role != Role::Tacet);
    let mut of_role: BTreeMap<Option<Role>, Vec<BandStep>> = BTreeMap::new();
    for (row, from, to, key) in drawn_notes(study, columns) {
        let step = BandStep { from: from.max(0.0), to: to.min(columns.len() as f64), low: key, high: key };
        of_role.entry(role(row)).or_default().push(step);
    }
    let band = |(role, steps): (Option<Role>, Vec<BandStep>)| Band {
        label: role.map_or("no role", Role::name).to_owned(),
        colour: role.and_then(palette::ink).unwrap_or_else(|| "#8d8678".to_owned()),
        steps,
        is_solid: true,
    };
    of_role.into_iter().map(band).collect()
}

/// What the colours of [`register_bands`] mean.
#[must_use]
pub fn band_keys(chart: &BandChart) -> Vec<Key> {
    chart.bands.iter().map(|band| Key::new(&band.colour, &band.label)).collect()
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
