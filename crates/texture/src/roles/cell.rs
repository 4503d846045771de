//! What one line does in one bar: the plain facts roles are decided from.

use ripieno_score::{Crotchets, Sounding};

use super::standing::{Standing, standings};
use crate::techniques::Techniques;

/// A line in a bar in which it sounds. Lengths are in crotchets, shares 0 to 1.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Cell {
    /// The line.
    pub line: u32,
    /// Its part.
    pub part: usize,
    /// The played bar.
    pub bar: usize,
    /// When it first sounds in the bar, and when it ends there.
    pub from: Crotchets,
    pub to: Crotchets,
    /// Rows of [`Sounding::notes`] that sound in the bar, by onset.
    pub rows: Vec<u32>,
    /// Moments of attack, ascending, grace notes left out.
    pub attacks: Vec<Crotchets>,
    /// Highest key begun at each attack; `None` without pitch.
    pub tops: Vec<Option<u8>>,
    /// Share of the bar in which it sounds.
    pub sounding: f32,
    /// The longest note, as long as it really lasts.
    pub longest: f32,
    /// The longest stretch of silence inside the bar.
    pub gap: f32,
    /// Different keys that sound.
    pub keys: Vec<u8>,
    /// Most keys at once.
    pub chord: usize,
    /// How high and low, and where among the others.
    pub standing: Standing,
    /// Share of its sounding time in notes played as tremolo or roll, and in notes of a colour.
    pub tremolo: f32,
    pub colour: f32,
    /// All colours used.
    pub techniques: Techniques,
    /// Loudness of its loudest note; `None` before any mark.
    pub level: Option<f32>,
    /// Length of the bar.
    pub length: f32,
}

impl Cell {
    /// Whether only percussion without pitch sounds.
    pub fn is_unpitched(&self) -> bool {
        self.keys.is_empty()
    }

    /// The one pitch class that sounds, when there is only one.
    pub fn single_class(&self) -> Option<u8> {
        let first = self.keys.first()? % 12;
        self.keys.iter().all(|key| key % 12 == first).then_some(first)
    }
}

/// All cells of all lines, by line and then by bar.
pub(crate) fn cells(sounding: &Sounding, line_of: &[u32], part_of: &[usize], techniques: &[Techniques]) -> Vec<Cell> {
    let notes = &sounding.notes;
    let standing = standings(sounding, line_of, part_of.len());
    let mut rows_of: Vec<Vec<u32>> = vec![Vec::new(); part_of.len()];
    for (row, &line) in (0u32..).zip(line_of) {
        rows_of[line as usize].push(row);
    }
    let mut found = Vec::new();
    for (line, rows) in (0u32..).zip(&rows_of) {
        // Rows that sound in each bar the line touches; a bar appears once its first row does, so the list stays in order.
        let mut bars: Vec<(usize, Vec<u32>)> = Vec::new();
        for &row in rows {
            let end = notes.onset[row as usize] + notes.duration[row as usize];
            let first = notes.bar[row as usize] as usize;
            for (bar, played) in sounding.bars.iter().enumerate().skip(first) {
                if bar > first && played.start >= end {
                    break;
                }
                match bars.binary_search_by_key(&bar, |entry| entry.0) {
                    Ok(place) => bars[place].1.push(row),
                    Err(place) => bars.insert(place, (bar, vec![row])),
                }
            }
        }
        for (bar, rows) in bars {
            found.push(cell(sounding, line, part_of[line as usize], bar, rows, standing[line as usize][bar], techniques));
        }
    }
    found
}

#[allow(clippy::cast_possible_truncation)] // single precision is plenty for shares
fn cell(
    sounding: &Sounding,
    line: u32,
    part: usize,
    bar: usize,
    mut rows: Vec<u32>,
    standing: Standing,
    techniques: &[Techniques],
) -> Cell {
    let notes = &sounding.notes;
    let (start, length) = (sounding.bars[bar].start, sounding.bars[bar].length);
    let end = start + length;
    rows.sort_unstable_by_key(|&row| (notes.onset[row as usize], row));
    let mut cell = Cell {
        line,
        part,
        bar,
        from: end,
        to: start,
        rows: Vec::new(),
        attacks: Vec::new(),
        tops: Vec::new(),
        sounding: 0.0,
        longest: 0.0,
        gap: 0.0,
        keys: Vec::new(),
        chord: 0,
        standing,
        tremolo: 0.0,
        colour: 0.0,
        techniques: Techniques::empty(),
        level: None,
        length: length.to_f64() as f32,
    };
    let (mut reached, mut total, mut covered, mut gap) = (start, 0.0f64, Crotchets::ZERO, Crotchets::ZERO);
    let mut chord: (Option<Crotchets>, usize) = (None, 0);
    for &row in &rows {
        let index = row as usize;
        let (onset, duration) = (notes.onset[index], notes.duration[index]);
        let (from, to) = (onset.max(start), (onset + duration).min(end));
        let key = notes.key[index].map(ripieno_score::MidiKey::number);
        if onset >= start && duration.is_positive() {
            if cell.attacks.last() == Some(&onset) {
                if let Some(top) = cell.tops.last_mut() {
                    *top = (*top).max(key);
                }
            } else {
                cell.attacks.push(onset);
                cell.tops.push(key);
            }
        }
        if from < to {
            gap = gap.max(from - from.min(reached));
            covered += (to - to.min(from.max(reached))).max(Crotchets::ZERO);
            reached = reached.max(to);
            let time = (to - from).to_f64();
            total += time;
            cell.tremolo += if techniques[index].contains(Techniques::TREMOLO) { time as f32 } else { 0.0 };
            cell.colour += if techniques[index].intersects(Techniques::COLOUR) { time as f32 } else { 0.0 };
        }
        chord = if chord.0 == Some(onset) { (chord.0, chord.1 + 1) } else { (Some(onset), 1) };
        cell.chord = cell.chord.max(chord.1);
        cell.from = cell.from.min(from);
        cell.to = cell.to.max(to).max(from);
        cell.techniques |= techniques[index];
        cell.longest = cell.longest.max(duration.to_f64() as f32);
        cell.keys.extend(key);
        cell.level = cell.level.max_by(notes.level[index].map(|level| level.0));
    }
    cell.gap = gap.max(end - end.min(reached)).to_f64() as f32;
    cell.sounding = (covered.to_f64() / length.to_f64().max(f64::MIN_POSITIVE)) as f32;
    if total > 0.0 {
        cell.tremolo /= total as f32;
        cell.colour /= total as f32;
    }
    cell.keys.sort_unstable();
    cell.keys.dedup();
    cell.rows = rows;
    cell
}

/// The larger of two levels of which either may be missing.
trait MaxBy {
    fn max_by(self, other: Self) -> Self;
}

impl MaxBy for Option<f32> {
    fn max_by(self, other: Self) -> Self {
        match (self, other) {
            (Some(a), Some(b)) => Some(a.max(b)),
            (a, b) => a.or(b),
        }
    }
}
