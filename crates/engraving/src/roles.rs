//! From the analysis of a score to the notes on its page: the role of each, and the staff of its layer.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use ripieno_formats::excerpt::NoteOrigin;
use ripieno_score::{BarIndex, Crotchets, Head, Score, Sounding};
use ripieno_texture::{Lines, Role, RoleReading, RoleSpan};

use crate::NoteRoles;

/// The span each written note of some bars belongs to, an index into [`RoleReading::spans`]. Notes of other bars are not looked at, but for those
/// that are held into these.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct NoteSpans {
    /// Part by part the first written note of the bars, and the spans from there on.
    parts: Vec<(usize, Vec<Option<usize>>)>,
}

impl NoteSpans {
    /// The span of a written note, counted as in [`ripieno_score::Part::notes`]; none for notes of other bars.
    #[must_use]
    pub fn get(&self, part: usize, note: usize) -> Option<usize> {
        let (first, spans) = self.parts.get(part)?;
        *spans.get(note.checked_sub(*first)?)?
    }

    /// The role of a written note.
    #[must_use]
    pub fn role(&self, reading: &RoleReading, part: usize, note: usize) -> Option<Role> {
        reading.spans.get(self.get(part, note)?).map(RoleSpan::role).filter(|role| *role != Role::Tacet)
    }
}

/// The spans of the notes of bars `first` to `last`. `sounding` is the score bar by bar as written ([`ripieno_score::Unroll::AsWritten`]),
/// `lines` and `reading` come from it.
#[must_use]
pub fn note_spans(
    score: &Score,
    sounding: &Sounding,
    lines: &Lines,
    reading: &RoleReading,
    bars: (BarIndex, BarIndex),
) -> NoteSpans {
    spans_of_rows(score, lines, reading, rows_of_notes(score, sounding, bars))
}

fn spans_of_rows(score: &Score, lines: &Lines, reading: &RoleReading, rows: Vec<RowsOfPart>) -> NoteSpans {
    let line_of = |row: &Option<usize>| lines.of_row.get((*row)?).map(|&line| line as usize);
    let mut of_line: BTreeMap<usize, Vec<(Range<u32>, usize)>> =
        rows.iter().flat_map(|part| part.rows.iter().filter_map(line_of)).map(|line| (line, Vec::new())).collect();
    for (index, span) in reading.spans.iter().enumerate() {
        if let Some(spans) = of_line.get_mut(&span.line) {
            spans.push((span.bars.clone(), index));
        }
    }
    let span = |row: &Option<usize>, bar: BarIndex| {
        let spans = of_line.get(&line_of(row)?)?;
        let here = spans.iter().find(|(bars, _)| bars.contains(&bar.0));
        // A note held beyond the last bar of its span keeps its role.
        here.or_else(|| spans.iter().rev().find(|(bars, _)| bars.end <= bar.0)).map(|(_, index)| *index)
    };
    let parts = rows.iter().zip(&score.parts).map(|(of, part)| {
        let notes = part.notes.get(of.first..).unwrap_or_default();
        (of.first, of.rows.iter().zip(notes).map(|(row, note)| span(row, note.bar)).collect())
    });
    NoteSpans { parts: parts.collect() }
}

/// The roles of an excerpt's notes; `spans` are those of its bars.
#[must_use]
pub fn roles_of_excerpt(spans: &NoteSpans, reading: &RoleReading, origin: &[Vec<NoteOrigin>]) -> NoteRoles {
    let of = |from: &NoteOrigin| spans.role(reading, from.part, from.note as usize);
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
    bars: (BarIndex, BarIndex),
) -> (Vec<String>, Vec<Vec<Option<usize>>>) {
    let rows = rows_of_notes(score, sounding, bars);
    let layer = |row: usize, bar: BarIndex| reading.layers.of(*lines.of_row.get(row)? as usize, bar.0);
    let layers: Vec<Vec<Option<usize>>> = rows
        .iter()
        .zip(&score.parts)
        .map(|(of, part)| {
            let notes = part.notes.get(of.first..).unwrap_or_default();
            of.rows.iter().zip(notes).map(|(row, note)| layer((*row)?, note.bar)).collect()
        })
        .collect();
    let firsts: Vec<usize> = rows.iter().map(|of| of.first).collect();
    let spans = spans_of_rows(score, lines, reading, rows);
    let layer_at = |part: usize, note: usize| *layers.get(part)?.get(note.checked_sub(firsts[part])?)?;
    let all = || {
        layers
            .iter()
            .zip(&firsts)
            .enumerate()
            .flat_map(|(part, (of, &first))| (first..first + of.len()).map(move |note| (part, note)))
    };
    // A note without a role goes with its layer.
    let mut role_of: BTreeMap<usize, Role> = BTreeMap::new();
    for (part, note) in all() {
        if let (Some(layer), Some(role)) = (layer_at(part, note), spans.role(reading, part, note)) {
            role_of.entry(layer).or_insert(role);
        }
    }
    // What of a layer stands together: its lines in one role.
    let strand = |part: usize, note: usize| -> Option<(Role, usize)> {
        let layer = layer_at(part, note)?;
        Some((spans.role(reading, part, note).or_else(|| role_of.get(&layer).copied())?, layer))
    };
    // Role by role the bars in which each sounds.
    let mut seen: BTreeMap<(Role, usize), BTreeSet<u32>> = BTreeMap::new();
    for (part, note) in all() {
        if let (Some(note_at), Some(strand)) = (score.parts[part].notes.get(note), strand(part, note)) {
            seen.entry(strand).or_default().insert(note_at.bar.0);
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
    let mut staves_of: Vec<Vec<Option<usize>>> = score.parts.iter().map(|part| vec![None; part.notes.len()]).collect();
    for (part, note) in all() {
        staves_of[part][note] = strand(part, note).and_then(|strand| staff_of.get(&strand)).copied();
    }
    (names.collect(), staves_of)
}

/// The rows of the sounding view that the notes of one part begin or prolong.
struct RowsOfPart {
    /// The first written note looked at.
    first: usize,
    rows: Vec<Option<usize>>,
}

/// For each written note of some bars the row of the sounding view it begins or prolongs.
fn rows_of_notes(score: &Score, sounding: &Sounding, (first, last): (BarIndex, BarIndex)) -> Vec<RowsOfPart> {
    let notes = &sounding.notes;
    let begins = sounding.bars.get(first.at()).map_or(Crotchets::ZERO, |bar| bar.start);
    let ends = sounding.bars.get(last.at()).map_or_else(|| sounding.length(), |bar| bar.start + bar.length);
    score
        .parts
        .iter()
        .enumerate()
        .map(|(index, part)| {
            let begin = part.notes.partition_point(|note| note.bar < first);
            let here = &part.notes[begin..begin + part.notes[begin..].partition_point(|note| note.bar <= last)];
            let mut rows: Vec<Option<usize>> = vec![None; here.len()];
            // Rows by staff and written place, in the order they begin: what a tie may prolong.
            let mut begun: BTreeMap<(u8, i32), Vec<usize>> = BTreeMap::new();
            let of_part = notes.of_part.get(index).cloned().unwrap_or_default();
            let onsets = &notes.onset[of_part.clone()];
            let from = of_part.start + onsets.partition_point(|&onset| onset < begins);
            let to = of_part.start + onsets.partition_point(|&onset| onset <= ends);
            for row in from..to {
                let note = (notes.written[row] as usize).checked_sub(begin);
                if let Some((note, slot)) = note.and_then(|note| Some((here.get(note)?, rows.get_mut(note)?))) {
                    *slot = slot.or(Some(row));
                    begun.entry((note.staff, place(note.head))).or_default().push(row);
                }
            }
            // What is held into these bars began before: the rows before them are gone back through only as far as it did.
            let mut held: BTreeMap<(u8, i32), Vec<(usize, Crotchets)>> = BTreeMap::new();
            for (at_note, (note, row)) in
                here.iter().zip(&mut rows).enumerate().filter(|(_, (note, row))| row.is_none() && note.plays())
            {
                let Some(at) = score.bars.get(note.bar.at()).map(|bar| bar.start + note.at) else { continue };
                let key = (note.staff, place(note.head));
                let rows = begun.get(&key).map_or(&[][..], Vec::as_slice);
                // The nearest that has begun: what comes later need not be looked at.
                let until = rows.partition_point(|&row| notes.onset[row] <= at);
                *row = rows[..until].iter().rev().copied().find(|&row| at < notes.onset[row] + notes.duration[row]);
                if row.is_none() {
                    held.entry(key).or_default().push((at_note, at));
                }
            }
            for row in (of_part.start..from).rev() {
                if held.is_empty() {
                    break;
                }
                let Some(note) = part.notes.get(notes.written[row] as usize) else { continue };
                let key = (note.staff, place(note.head));
                if let Some(waiting) = held.get_mut(&key) {
                    let end = notes.onset[row] + notes.duration[row];
                    waiting.retain(|&(note, at)| {
                        if at < end {
                            rows[note] = Some(row);
                        }
                        at >= end
                    });
                    if waiting.is_empty() {
                        held.remove(&key);
                    }
                }
            }
            RowsOfPart { first: begin, rows }
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
