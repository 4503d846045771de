//! The score as lines to listen for: the melody with all who play it, and beside it every part with what else it plays.

use ripieno_acoustics::Line;
use ripieno_score::Crotchets;

use crate::Study;

/// The melody among the lines; the parts follow.
pub(super) const MELODY: usize = 0;

/// The line of a part.
pub(super) const fn of_part(part: usize) -> usize {
    part + 1
}

/// The part of a line; `None` for the melody.
pub(super) const fn part_of(line: usize) -> Option<usize> {
    line.checked_sub(1)
}

/// The melody: what its carrier plays from carrier to carrier, and whoever doubles that in unison or octaves for as long as they do. Then all parts, whose
/// notes of the melody count with the melody.
pub(super) fn lines(study: &Study) -> Vec<Line> {
    let onset = &study.sounding.notes.onset;
    let mut of_line: Vec<Vec<usize>> = vec![Vec::new(); study.lines.lines.len()];
    for (row, line) in study.lines.of_row.iter().enumerate() {
        if let Some(rows) = of_line.get_mut(*line as usize) {
            rows.push(row);
        }
    }
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
    let mut lines = vec![Line { name: "the melody".to_owned(), rows }];
    let parts = study.score.parts.iter().zip(&study.sounding.notes.of_part);
    lines.extend(parts.map(|(part, rows)| Line { name: part.name.trim().to_owned(), rows: rows.clone().collect() }));
    lines
}

/// Which rows belong to the melody.
pub(super) fn of_first(lines: &[Line], rows: usize) -> Vec<bool> {
    let mut of = vec![false; rows];
    lines[MELODY].rows.iter().for_each(|row| of[*row] = true);
    of
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
