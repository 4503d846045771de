//! Brings a score a reader has filled into the order everything downstream relies on.

use crate::note::{Note, NoteFlags};
use crate::score::{Bar, BarIndex, ChangeKind, Part, PartInstrument, Score};
use crate::time::Crotchets;

impl Score {
    /// Sorts every list, mends indices and keeps everything within its bar, so that the invariants of [`Score`] hold. Readers call
    /// it once, at the end.
    ///
    /// Notes that point at a bar the score does not have are dropped (a reader reports such bars itself); what goes on beyond
    /// its barline is cut there, and a rest for the whole bar made as long as the bar; bars are made to abut by recomputing
    /// their starts from their lengths.
    pub fn finish(&mut self) {
        let mut start = Crotchets::ZERO;
        for bar in &mut self.bars {
            bar.start = start;
            bar.length = bar.length.max(Crotchets::ZERO);
            start += bar.length;
        }
        for part in &mut self.parts {
            finish_part(part, &self.bars);
        }
        let parts = self.parts.len();
        self.brackets.retain(|bracket| bracket.first <= bracket.last && bracket.last < parts);
    }

    /// Length of the whole score in crotchets, repeats not unrolled.
    #[must_use]
    pub fn length(&self) -> Crotchets {
        self.bars.last().map_or(Crotchets::ZERO, |bar| bar.start + bar.length)
    }

    /// The bar that holds the moment `at`; the last bar for moments at or after the end, `None` without bars.
    #[must_use]
    pub fn bar_at(&self, at: Crotchets) -> Option<BarIndex> {
        let after = self.bars.partition_point(|bar| bar.start <= at);
        let index = after.saturating_sub(1);
        (!self.bars.is_empty()).then(|| BarIndex(u32::try_from(index).unwrap_or(u32::MAX)))
    }
}

fn finish_part(part: &mut Part, bars: &[Bar]) {
    part.staves = part.staves.max(1);
    if part.instruments.is_empty() {
        let (id, name) = (format!("{}-I1", part.id), part.name.clone());
        part.instruments.push(PartInstrument { id, name, ..PartInstrument::default() });
    }
    keep_inside(part, bars);
    let count = u32::try_from(bars.len()).unwrap_or(u32::MAX);
    sort_notes(part, count);
    let known = |bar: BarIndex| bar.0 < count;
    part.rests.retain(|rest| known(rest.bar));
    part.rests.sort_by_key(|rest| (rest.bar, rest.at, rest.voice));
    part.directions.retain(|direction| known(direction.bar));
    part.directions.sort_by_key(|direction| (direction.bar, direction.at));
    part.changes.retain(|change| known(change.bar));
    part.changes.sort_by_key(|change| (change.bar, change.at));
    let last = u8::try_from(part.instruments.len() - 1).unwrap_or(u8::MAX);
    for note in &mut part.notes {
        note.instrument = note.instrument.min(last);
    }
    for change in &mut part.changes {
        if let ChangeKind::Instrument(instrument) = &mut change.kind {
            *instrument = (*instrument).min(last);
        }
    }
}

/// Makes positions and lengths lie within their bars.
fn keep_inside(part: &mut Part, bars: &[Bar]) {
    let length = |bar: BarIndex| bars.get(bar.at()).map_or(Crotchets::ZERO, |bar| bar.length);
    let inside = |at: &mut Crotchets, duration: &mut Crotchets, length: Crotchets| {
        *at = (*at).clamp(Crotchets::ZERO, length);
        *duration = (*duration).clamp(Crotchets::ZERO, length - *at);
    };
    for note in &mut part.notes {
        inside(&mut note.at, &mut note.duration, length(note.bar));
        // A tie without time has nothing to hold on to.
        if note.duration.is_zero() && !note.flags.contains(NoteFlags::GRACE) {
            note.flags -= NoteFlags::TIE_START;
        }
    }
    for rest in &mut part.rests {
        let length = length(rest.bar);
        if rest.whole_bar {
            (rest.at, rest.duration) = (Crotchets::ZERO, length);
        } else {
            inside(&mut rest.at, &mut rest.duration, length);
        }
    }
    // What is left of a rest that lay beyond the barline.
    part.rests.retain(|rest| rest.duration.is_positive());
    for direction in &mut part.directions {
        direction.at = direction.at.clamp(Crotchets::ZERO, length(direction.bar));
    }
    for change in &mut part.changes {
        change.at = change.at.clamp(Crotchets::ZERO, length(change.bar));
    }
}

/// Orders notes by bar, position and voice; chord members and grace notes keep their place after or before their neighbours.
fn sort_notes(part: &mut Part, bars: u32) {
    let key = |note: &Note| (note.bar, note.at, note.voice);
    let sorted = part.notes.windows(2).all(|pair| key(&pair[0]) <= key(&pair[1]));
    let inside = part.notes.iter().all(|note| note.bar.0 < bars);
    if !(sorted && inside) {
        let mut order: Vec<u32> = (0..u32::try_from(part.notes.len()).unwrap_or(u32::MAX)).collect();
        order.retain(|&index| part.notes[index as usize].bar.0 < bars);
        order.sort_by_key(|&index| key(&part.notes[index as usize]));
        let mut place = vec![u32::MAX; part.notes.len()];
        for (new, &old) in (0u32..).zip(&order) {
            place[old as usize] = new;
        }
        part.notes = order.iter().map(|&index| part.notes[index as usize].clone()).collect();
        part.marks.retain_mut(|(note, _)| {
            *note = place.get(*note as usize).copied().unwrap_or(u32::MAX);
            *note != u32::MAX
        });
    }
    let count = part.notes.len();
    part.marks.retain(|(note, _)| (*note as usize) < count);
    part.marks.sort_by_key(|(note, _)| *note);
}
