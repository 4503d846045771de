//! The score cut at every moment at which anything begins or ends, and at barlines: within a slice nothing changes.

use std::ops::Range;

use ripieno_score::{Crotchets, Sounding};

/// A stretch in which the same notes sound.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Slice {
    /// When it begins, from the start of the piece.
    pub from: Crotchets,
    /// When it ends.
    pub to: Crotchets,
    /// The played bar it lies in, index into [`Sounding::bars`].
    pub bar: u32,
    rows: Range<usize>,
}

impl Slice {
    /// How long it lasts.
    #[must_use]
    pub fn length(&self) -> Crotchets {
        self.to - self.from
    }
}

/// All slices of a score, silent ones too, by time. Their lengths sum to the length of the piece.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Slices {
    /// The slices.
    pub slices: Vec<Slice>,
    rows: Vec<u32>,
}

impl Slices {
    /// Cuts `sounding`. Cost grows with the notes times how many sound at once.
    #[must_use]
    pub fn new(sounding: &Sounding) -> Self {
        let notes = &sounding.notes;
        let mut starts: Vec<(Crotchets, u32)> = Vec::with_capacity(notes.len());
        let mut edges: Vec<Crotchets> = Vec::with_capacity(notes.len() * 2);
        for (row, (&onset, &duration)) in (0u32..).zip(notes.onset.iter().zip(&notes.duration)) {
            if duration.is_positive() {
                starts.push((onset, row));
                edges.extend([onset, onset + duration]);
            }
        }
        starts.sort_unstable();
        let end = sounding.length();
        edges.extend(sounding.bars.iter().map(|bar| bar.start));
        edges.push(end);
        edges.sort_unstable();
        edges.dedup();
        let mut found = Self::default();
        let (mut now, mut next, mut bar): (Vec<u32>, usize, usize) = (Vec::new(), 0, 0);
        for pair in edges.windows(2) {
            let (from, to) = (pair[0], pair[1]);
            now.retain(|&row| notes.onset[row as usize] + notes.duration[row as usize] > from);
            while let Some(&(_, row)) = starts.get(next).filter(|start| start.0 <= from) {
                now.push(row);
                next += 1;
            }
            while sounding.bars.get(bar + 1).is_some_and(|bar| bar.start <= from) {
                bar += 1;
            }
            // A note may ring beyond the last barline; the piece ends there all the same.
            if from >= end {
                break;
            }
            let first = found.rows.len();
            found.rows.extend(&now);
            found.rows[first..].sort_unstable();
            let bar = u32::try_from(bar).unwrap_or(u32::MAX);
            found.slices.push(Slice { from, to, bar, rows: first..found.rows.len() });
        }
        found
    }

    /// Rows of [`Sounding::notes`] that sound in a slice, ascending (by part, then onset, then pitch).
    #[must_use]
    pub fn rows(&self, slice: &Slice) -> &[u32] {
        &self.rows[slice.rows.clone()]
    }

    /// Every slice with the rows that sound in it.
    pub fn iter(&self) -> impl Iterator<Item = (&Slice, &[u32])> {
        self.slices.iter().map(|slice| (slice, self.rows(slice)))
    }
}
