//! From the analysis of a score to the notes on its page: the role of each, and the staff of its layer.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use ripieno_formats::excerpt::NoteOrigin;
use ripieno_score::{BarIndex, Head, Score, Sounding};
use ripieno_texture::{Lines, Role, RoleReading, RoleSpan};

use crate::NoteRoles;

/// The span each written note of a score belongs to, `[part][note]`, an index into [`RoleReading::spans`]. `sounding` is the score bar by
/// bar as written ([`ripieno_score::Unroll::AsWritten`]), `lines` and `reading` come from it.
#[must_use]
pub fn note_spans(score: &Score, sounding: &Sounding, lines: &Lines, reading: &RoleReading) -> Vec<Vec<Option<usize>>> {
    let mut of_line: BTreeMap<usize, Vec<(Range<u32>, usize)>> = BTreeMap::new();
    for (index, span) in reading.spans.iter().enumerate() {
        of_line.entry(span.line).or_default().push((span.bars.clone(), index));
    }
    let span = |row: usize, bar: BarIndex| {
        let spans = of_line.get(&(*lines.of_row.get(row)? as usize))?;
        let here = spans.iter().find(|(bars, _)| bars.contains(&bar.0));
        // A note held beyond the last bar of its span keeps its role.
        here.or_else(|| spans.iter().rev().find(|(bars, _)| bars.end <= bar.0)).map(|(_, index)| *index)
    };
    rows_of_notes(score, sounding)
        .iter()
        .zip(&score.parts)
        .map(|(rows, part)| rows.iter().zip(&part.notes).map(|(row, note)| span((*row)?, note.bar)).collect())
        .collect()
}

/// The role of each written note of a score, `[part][note]`; arguments as for [`note_spans`].
#[must_use]
pub fn note_roles(score: &Score, sounding: &Sounding, lines: &Lines, reading: &RoleReading) -> NoteRoles {
    roles_of_spans(&note_spans(score, sounding, lines, reading), reading)
}

/// The role of each note from its span.
#[must_use]
pub fn roles_of_spans(spans: &[Vec<Option<usize>>], reading: &RoleReading) -> NoteRoles {
    let role = |span: &Option<usize>| reading.spans.get((*span)?).map(RoleSpan::role).filter(|role| *role != Role::Tacet);
    spans.iter().map(|notes| notes.iter().map(role).collect()).collect()
}

/// The roles of an excerpt's notes.
#[must_use]
pub fn roles_of_excerpt(whole: &NoteRoles, origin: &[Vec<NoteOrigin>]) -> NoteRoles {
    let of = |from: &NoteOrigin| whole.get(from.part)?.get(from.note as usize).copied().flatten();
    origin.iter().map(|notes| notes.iter().map(of).collect()).collect()
}

/// Staves for the layers that sound in these bars: their names and, for each written note of the score, its staff. Lines of a layer that have another role
/// than its leader stand on a staff of that role, as they have a colour of their own on the map; layers of one role that never sound together follow each
/// other on one staff.
#[must_use]
pub fn layer_staves(
    score: &Score,
    sounding: &Sounding,
    lines: &Lines,
    reading: &RoleReading,
    (first, last): (BarIndex, BarIndex),
) -> (Vec<String>, Vec<Vec<Option<usize>>>) {
    let roles = note_roles(score, sounding, lines, reading);
    let rows = rows_of_notes(score, sounding);
    let layer = |row: usize, bar: BarIndex| reading.layers.of(*lines.of_row.get(row)? as usize, bar.0);
    let layer_at = |part: usize, note: usize| layer((*rows[part].get(note)?)?, score.parts[part].notes.get(note)?.bar);
    let all = || rows.iter().enumerate().flat_map(|(part, rows)| (0..rows.len()).map(move |note| (part, note)));
    // A note without a role goes with its layer.
    let mut role_of: BTreeMap<usize, Role> = BTreeMap::new();
    for (part, note) in all() {
        if let (Some(layer), Some(role)) = (layer_at(part, note), roles[part][note]) {
            role_of.entry(layer).or_insert(role);
        }
    }
    // What of a layer stands together: its lines in one role.
    let strand = |part: usize, note: usize| -> Option<(Role, usize)> {
        let layer = layer_at(part, note)?;
        Some((roles[part][note].or_else(|| role_of.get(&layer).copied())?, layer))
    };
    // Role by role the bars in which each sounds.
    let mut seen: BTreeMap<(Role, usize), BTreeSet<u32>> = BTreeMap::new();
    for (part, note) in all() {
        let bar = score.parts[part].notes.get(note).map(|note| note.bar).filter(|bar| (first..=last).contains(bar));
        if let (Some(bar), Some(strand)) = (bar, strand(part, note)) {
            seen.entry(strand).or_default().insert(bar.0);
        }
    }
    // Each on the first staff of its role that is free while it sounds.
    let mut staves: Vec<(Role, BTreeSet<u32>)> = Vec::new();
    let mut staff_of: BTreeMap<(Role, usize), usize> = BTreeMap::new();
    for role in Role::ALL {
        for (strand, bars) in seen.iter().filter(|((of, _), _)| *of == role) {
            let free = staves.iter().position(|(other, taken)| *other == role && taken.is_disjoint(bars));
            let staff = free.unwrap_or_else(|| {
                staves.push((role, BTreeSet::new()));
                staves.len() - 1
            });
            staves[staff].1.extend(bars);
            staff_of.insert(*strand, staff);
        }
    }
    let names = staves.iter().enumerate().map(|(index, (role, _))| {
        let alike = |range: Range<usize>| staves[range].iter().filter(|(other, _)| other == role).count();
        if alike(0..staves.len()) > 1 { format!("{} {}", role.name(), alike(0..index) + 1) } else { role.name().to_owned() }
    });
    let on_staff = |part: usize, note: usize| strand(part, note).and_then(|strand| staff_of.get(&strand)).copied();
    let staves_of = (0..rows.len()).map(|part| (0..rows[part].len()).map(|note| on_staff(part, note)).collect());
    (names.collect(), staves_of.collect())
}

/// For each written note the row of the sounding view it begins or prolongs.
fn rows_of_notes(score: &Score, sounding: &Sounding) -> Vec<Vec<Option<usize>>> {
    let notes = &sounding.notes;
    score
        .parts
        .iter()
        .enumerate()
        .map(|(index, part)| {
            let mut rows: Vec<Option<usize>> = vec![None; part.notes.len()];
            // Rows by staff and written place, in the order they begin: what a tie may prolong.
            let mut begun: BTreeMap<(u8, i32), Vec<usize>> = BTreeMap::new();
            for row in notes.of_part.get(index).cloned().unwrap_or_default() {
                let written = notes.written[row] as usize;
                if let Some(note) = part.notes.get(written) {
                    rows[written] = rows[written].or(Some(row));
                    begun.entry((note.staff, place(note.head))).or_default().push(row);
                }
            }
            for (note, row) in part.notes.iter().zip(&mut rows) {
                if row.is_none() && note.plays() {
                    let at = score.bars.get(note.bar.at()).map(|bar| bar.start + note.at);
                    let candidates = begun.get(&(note.staff, place(note.head)));
                    *row = at.zip(candidates).and_then(|(at, rows)| {
                        // The nearest that has begun: what comes later need not be looked at.
                        let until = rows.partition_point(|&row| notes.onset[row] <= at);
                        rows[..until].iter().rev().copied().find(|&row| at < notes.onset[row] + notes.duration[row])
                    });
                }
            }
            rows
        })
        .collect()
}

fn place(head: Head) -> i32 {
    match head {
        Head::Pitched(pitch) => pitch.semitones(),
        // Places are few; they must not meet pitches.
        Head::Unpitched(pitch) => 1000 + pitch.staff_position(),
    }
}
