//! The score as lines to listen for: one line with all who play it, and beside it every section with what else it plays.
//!
//! What masks is told by sections: three trombones on three staves mask as the trombones, each alone would be worth little.

use ripieno_acoustics::{Line, Masker};
use ripieno_instruments::{Family, catalogue};
use ripieno_score::{Crotchets, Part};
use ripieno_texture::Role;

use super::Masking;
use crate::Study;

/// The line listened for; the sections follow.
pub(super) const OWN: usize = 0;

/// The rows of the melody: what its carrier plays from carrier to carrier, and whoever doubles that in unison or octaves for as long as they do.
pub(super) fn melody(study: &Study) -> Vec<usize> {
    let onset = &study.sounding.notes.onset;
    let of_line = rows_of_lines(study);
    let mut rows: Vec<usize> = Vec::new();
    let mut take = |line: usize, from: Crotchets, to: Crotchets| {
        let of_line = of_line.get(line).map_or(&[][..], Vec::as_slice);
        rows.extend(of_line.iter().copied().filter(|row| onset[*row] >= from && onset[*row] < to));
    };
    for carried in &study.roles.roles.melody {
        take(carried.line, carried.from, carried.to);
        for doubling in study.doublings.of_line(carried.line) {
            let other = if doubling.a == carried.line { doubling.b } else { doubling.a };
            take(other, doubling.from.max(carried.from), doubling.to.min(carried.to));
        }
    }
    rows.sort_unstable();
    rows.dedup();
    rows
}

/// By line, its rows.
fn rows_of_lines(study: &Study) -> Vec<Vec<usize>> {
    let mut of_line: Vec<Vec<usize>> = vec![Vec::new(); study.lines.lines.len()];
    for (row, line) in study.lines.of_row.iter().enumerate() {
        if let Some(rows) = of_line.get_mut(*line as usize) {
            rows.push(row);
        }
    }
    of_line
}

/// Which rows are tones of a chord: those of lines whose role there is bass, harmony, pedal, rhythm or a hit. Tunes, figures and effects pass through chords without being asked
/// to ring with them, and drums have no place in one even where they are tuned.
pub(super) fn chordal(study: &Study) -> Vec<bool> {
    let (notes, of_line) = (&study.sounding.notes, rows_of_lines(study));
    let drum = |part: &Part| catalogue().by_id(&part.instrument_id).is_some_and(|item| item.family == Family::Percussion);
    let drums: Vec<bool> = study.score.parts.iter().map(drum).collect();
    let mut chordal = vec![false; notes.len()];
    for span in &study.roles.roles.spans {
        let chord = matches!(span.role(), Role::Bass | Role::Harmony | Role::Pedal | Role::Rhythm | Role::Punctuation);
        if chord && !drums.get(span.part).copied().unwrap_or_default() {
            let rows = of_line.get(span.line).map_or(&[][..], Vec::as_slice);
            // Rows of a line go on in time, and so do their bars.
            let before = |bar: u32| rows.partition_point(|row| notes.bar[*row] < bar);
            rows[before(span.bars.start)..before(span.bars.end)].iter().for_each(|row| chordal[*row] = true);
        }
    }
    chordal
}

/// One line beside all sections.
#[derive(Debug)]
pub(super) struct Beside {
    /// That line, then the sections; a note of the line counts with the line.
    pub(super) lines: Vec<Line>,
    /// Which rows are the line's.
    pub(super) own: Vec<bool>,
    /// By played bar: the parts that sound beside the line, in score order.
    parts: Vec<Vec<usize>>,
    /// The section of each part, as a line.
    section_of: Vec<usize>,
}

impl Beside {
    /// Whether others than a part begin notes of the line in a bar.
    pub(super) fn is_shared(&self, study: &Study, part: usize, bar: u32) -> bool {
        let notes = &study.sounding.notes;
        let own = self.lines.first().map_or(&[][..], |line| &line.rows);
        own.iter().any(|&row| notes.bar[row] == bar && usize::from(notes.part[row]) != part)
    }

    pub(super) fn of(study: &Study, rows: Vec<usize>) -> Self {
        let notes = &study.sounding.notes;
        let mut own = vec![false; notes.len()];
        rows.iter().for_each(|row| own[*row] = true);
        let mut section_of = vec![0; study.score.parts.len()];
        let mut lines = vec![Line { name: "the line".to_owned(), rows }];
        for section in &study.groups.sections {
            let mut rows: Vec<usize> = section.parts.iter().flat_map(|part| notes.of_part[*part].clone()).collect();
            rows.sort_unstable();
            section.parts.iter().for_each(|part| section_of[*part] = lines.len());
            lines.push(Line { name: section.name.to_owned(), rows });
        }
        let bars = &study.sounding.bars;
        let mut parts: Vec<Vec<usize>> = vec![Vec::new(); bars.len()];
        for (part, rows) in notes.of_part.iter().enumerate() {
            for row in rows.clone().filter(|row| !own[*row]) {
                let (first, end) = (notes.bar[row] as usize, notes.onset[row] + notes.duration[row]);
                let later = bars.iter().skip(first + 1).take_while(|bar| bar.start < end).count();
                for here in parts.iter_mut().skip(first).take(later + 1).filter(|here| here.last() != Some(&part)) {
                    here.push(part);
                }
            }
        }
        Self { lines, own, parts, section_of }
    }

    /// The parts of a section that sound beside the line in a bar.
    pub(super) fn parts_of(&self, section: usize, bar: usize) -> Vec<usize> {
        let here = self.parts.get(bar).map_or(&[][..], Vec::as_slice);
        here.iter().copied().filter(|part| self.section_of[*part] == section).collect()
    }

    /// The line of the section of a part.
    pub(super) fn section_of(&self, part: usize) -> usize {
        self.section_of.get(part).copied().unwrap_or_default()
    }

    /// What masks the line in a bar, in the parts that do.
    pub(super) fn maskings(&self, maskers: &[Masker], bar: usize) -> Vec<Masking> {
        let masking = |masker: &Masker| {
            let parts = self.parts_of(masker.line?, bar);
            (!parts.is_empty()).then_some(Masking { parts, gain_db: masker.gain_db })
        };
        maskers.iter().filter_map(masking).collect()
    }
}

/// By played bar, the part that leads the melody for most of it.
pub(super) fn leaders(study: &Study) -> Vec<Option<usize>> {
    let mut longest: Vec<Option<(Crotchets, usize)>> = vec![None; study.sounding.bars.len()];
    for carried in &study.roles.roles.melody {
        for bar in carried.bars.clone() {
            let Some((played, longest)) = study.sounding.bars.get(bar as usize).zip(longest.get_mut(bar as usize)) else {
                continue;
            };
            let shared = carried.to.min(played.start + played.length) - carried.from.max(played.start);
            if longest.is_none_or(|(time, _)| shared > time) {
                *longest = Some((shared, carried.part));
            }
        }
    }
    longest.into_iter().map(|longest| longest.map(|(_, part)| part)).collect()
}
